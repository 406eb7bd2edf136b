"""Values that were not measured: samples missing, a channel that stands still or falls to nothing, and tops cut off flat."""

from __future__ import annotations

import math

import numpy as np

from toolbench.records.findings import Finding
from toolbench.records.runs import Floats
from toolbench.signal.sampling import robust_scatter

FEWEST_CLIPPED = 5
"""Consecutive samples at the highest value that make it a limit; noise of 1.5 steps has five in a row in 1 of 10,000 runs."""

TOP_BAND = 0.5
"""An amplifier's limit is flat within this share of the noise elsewhere: what comes behind it has noise of its own ..."""

FEWEST_IN_BAND = 8
"""... and so many samples in a row there are no chance: a sample in a thousand lies so near the highest."""

PILE = 4.0
"""Short flats: the highest value is met this many times as often as the two below it together."""

FEWEST_IN_PILE = 10
_LOOKED_AT = 8192

DROPOUT_S = 0.01
"""Samples missing for longer than this, and DROPOUT_SAMPLES, are a dropout."""

DROPOUT_SAMPLES = 3

FROZEN_SAMPLES, FROZEN_S = 25, 0.05
"""A value stands still for so many samples and so long ..."""

FINE_SAMPLES, FINE_S, FINE_SHARE = 8, 0.02, 0.02
"""... or so, where fewer than this share of the other steps are zero: a channel with many digits does not repeat itself."""

FALLEN_SHARE, RUNNING_SHARE = 0.05, 0.5
"""From over the second share of the rise to under the first within one sample, and back so: a loose contact."""

LONGEST_FALL_S = 0.3
"""A fall that lasts longer is a lost response, which has its own sentence."""

FALLS_PER_S = 2.0
"""More falls in a second than this are the blows."""


def flat_findings(
    time_s: Floats,
    values: Floats,
    response: str,
    unit: str,
    *,
    rest: float,
    rise: float,
    interval_s: float,
    sensor_range: tuple[float, float] | None = None,
    extremes: tuple[Floats, Floats] | None = None,
) -> list[Finding]:
    """Clipping, values beyond the sensor's range, samples missing, standing still or fallen to rest while the tool runs.

    Parameters
    ----------
    time_s, values : shape (n,) [s after the onset], [unit]; the running part alone
    rest, rise : level before the onset, and highest value over it [unit]
    extremes : lowest and highest sample that each value is the average of, shape (n,) [unit]; None: the values are samples
    """
    finite = np.isfinite(values)
    found = _missing(time_s, finite, response, interval_s)
    known_t, known = (time_s, values) if finite.all() else (time_s[finite], values[finite])
    if extremes is not None:
        found = found or _stands_still(known_t, known, response, interval_s)
        return found + _clipped_averages(extremes[0][finite], extremes[1][finite], response, unit, sensor_range)
    if known.size <= FEWEST_CLIPPED:
        return found
    if not found:
        found = _stands_still(known_t, known, response, interval_s) or _falls(
            known_t, known, response, unit, rest, rise, interval_s
        )
    return found + (
        _clipped(known_t, known, response, unit) or _beyond_range(known_t, known, response, unit, sensor_range)
    )


def stretches(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First index and length of each stretch of true samples."""
    places = np.flatnonzero(mask)
    if not places.size:
        return places, places
    breaks = np.flatnonzero(np.diff(places) > 1)
    begins, ends = places[np.append(0, breaks + 1)], places[np.append(breaks, places.size - 1)]
    return begins, ends - begins + 1


def _missing(time_s: Floats, finite: np.ndarray, response: str, interval_s: float) -> list[Finding]:
    if finite.all():
        return []
    begins, lengths = stretches(~finite)
    long = lengths >= max(DROPOUT_SAMPLES, math.ceil(DROPOUT_S / interval_s))
    if not long.any():
        return []
    length, at = int(lengths[long].max()), int(begins[long][np.argmax(lengths[long])])
    more = (
        f"; {np.count_nonzero(long)} times, {lengths[long].sum() * interval_s:.3g} s in all" if long.sum() > 1 else ""
    )
    return [
        _dropout(
            "dropout",
            f"{response} is missing for {length * interval_s:.3g} s from {time_s[at]:.2f} s after the onset on{more}.",
        )
    ]


def _stands_still(time_s: Floats, values: Floats, response: str, interval_s: float) -> list[Finding]:
    """A value that stands still while the rest of the run does not."""
    if values.size < 4 * FROZEN_SAMPLES:
        return []
    same = values[1:] == values[:-1]
    count = int(np.count_nonzero(same))
    if count < FINE_SAMPLES:
        return []
    begins, lengths = stretches(same)
    longest = int(np.argmax(lengths))
    length, at = int(lengths[longest]), int(begins[longest])
    elsewhere = (count - length) / same.size
    fewest = max(FROZEN_SAMPLES, math.ceil(FROZEN_S / interval_s))
    if elsewhere < FINE_SHARE:
        fewest = max(FINE_SAMPLES, math.ceil(FINE_S / interval_s))
    # A coarse converter stands still by nature; then many steps are zero and this one says nothing. A stretch at the highest
    # value is clipping, which has its own sentence.
    if length < fewest or elsewhere >= 0.2 or values[at] >= values.max():
        return []
    return [
        _dropout(
            "frozen",
            f"{response} stands still at {values[at]:.4g} for {length * interval_s:.3g} s from {time_s[at]:.2f} s after the onset on.",
        )
    ]


def _falls(
    time_s: Floats, values: Floats, response: str, unit: str, rest: float, rise: float, interval_s: float
) -> list[Finding]:
    """Falls to rest or to zero and back, each within one sample, of two samples and more."""
    # One pass: from a rest below zero a fall to zero is one too.
    low = values <= max(rest + FALLEN_SHARE * rise, 0.0)
    begins, lengths = stretches(low)
    ends = begins + lengths
    inner = (begins > 0) & (ends < values.size)
    begins, lengths, ends = begins[inner], lengths[inner], ends[inner]
    high = rest + RUNNING_SHARE * rise
    sudden = (values[begins - 1] > high) & (values[ends] > high) & (lengths > 1)
    sudden &= lengths * interval_s <= LONGEST_FALL_S
    count = int(np.count_nonzero(sudden))
    if not 0 < count <= max(1.0, FALLS_PER_S * float(time_s[-1] - time_s[0])):
        return []
    first, length = int(begins[sudden][0]), int(lengths[sudden].max())
    times = "" if count == 1 else f"{count} times, the longest "
    return [
        _dropout(
            "dropout",
            f"{response} falls from {values[first - 1]:.4g} to {values[first]:.4g} {unit} within one sample and comes back, "
            f"{times}for {length * interval_s:.3g} s, from {time_s[first]:.2f} s after the onset on.",
        )
    ]


def _dropout(code: str, message: str) -> Finding:
    return Finding(
        code=code,
        severity="wrong",
        kind="data",
        message=message,
        mend="check cable and logger, repeat the run, or exclude it: dropout",
    )


def _clipped_averages(
    low: Floats, high: Floats, response: str, unit: str, sensor_range: tuple[float, float] | None
) -> list[Finding]:
    """Averages all of whose samples stand at the highest value of the run, where others scatter below it."""
    if high.size < 2:
        return []
    top = float(high.max())
    held = low == top
    count = int(np.count_nonzero(held))
    spread = high - low
    if 0 < count < held.size and float(np.median(spread[~held])) > 0:
        message = (
            f"{response} stays at its highest value, {top:.4g} {unit}, in all samples of {count} averages: clipped."
        )
        return [_clipping(message)]
    if sensor_range is not None and (over := int(np.count_nonzero(high > sensor_range[1]))) >= 3:
        message = f"{response} exceeds the sensor's range, {sensor_range[1]:.4g} {unit}, in {over} averages; its highest value is {top:.4g} {unit}."
        return [_clipping(message, code="over-range")]
    return []


def _clipped(time_s: Floats, values: Floats, response: str, unit: str) -> list[Finding]:
    """Consecutive samples at the highest value while the noise elsewhere exceeds one step."""
    top = _lasting_top(values)
    at_top = values == top
    length = int(stretches(at_top)[1].max(initial=0))
    scatter, step = _scatter_and_step(values, top)
    if scatter <= 1.5 * step:
        return []
    first = int(np.argmax(at_top))
    if length >= FEWEST_CLIPPED:
        return [_clipping(f"{response} stays at its highest value, {top:.4g} {unit}, for {length} samples in a row,"
                          f" {np.count_nonzero(at_top)} in all, from {time_s[first]:.2f} s after the onset on: clipped.")]  # fmt: skip
    if np.count_nonzero(at_top) >= FEWEST_IN_PILE and _piles_up(values, top):
        return [_clipping(f"{response} meets its highest value, {top:.4g} {unit}, {np.count_nonzero(at_top)} times and hardly"
                          f" the values below it, from {time_s[first]:.2f} s after the onset on: clipped.")]  # fmt: skip
    near = values >= top - TOP_BAND * scatter
    if np.count_nonzero(near) < FEWEST_IN_BAND:
        return []
    begins, lengths = stretches(near & (values <= top + TOP_BAND * scatter))
    if lengths.size and int(lengths.max()) >= FEWEST_IN_BAND:
        at = int(begins[np.argmax(lengths)])
        return [_clipping(f"{response} stays within {TOP_BAND * scatter:.2g} {unit} of its highest value, {top:.4g} {unit}, for"
                          f" {lengths.max()} samples in a row from {time_s[at]:.2f} s after the onset on, while its noise elsewhere"
                          f" is {scatter:.2g} {unit}: clipped.")]  # fmt: skip
    return []


def _scatter_and_step(values: Floats, top: float) -> tuple[float, float]:
    """Noise, and the smallest step that the converter makes; a channel with free digits has none to speak of.

    The noise comes from second differences (variance 6 times that of a sample), else the slope of a blow would pass for noise.
    Some thousand of them below the top, evenly spread, do.
    """
    each = max(1, values.size // _LOOKED_AT)
    one, two, three = values[:-2:each], values[1:-1:each], values[2::each]
    scatter, step = 0.0, 0.0
    # What a limit leaves of the noise is less than the noise: a second look leaves out what lies near the top.
    for _ in range(2):
        below_top = top - 6 * scatter
        below = (one < below_top) & (two < below_top) & (three < below_top)
        steps = np.abs(two - one)[below]
        moving = steps[steps > 0]
        if moving.size <= 20:
            break
        scatter = robust_scatter((three - 2 * two + one)[below]) / math.sqrt(6.0)
        step = float(moving.min())
    return scatter, step


def _lasting_top(values: Floats) -> float:
    """The highest value that two samples in a row reach: a spike over a limit does not hide it."""
    return float(np.minimum(values[:-1], values[1:]).max())


def _piles_up(values: Floats, top: float) -> bool:
    """Whether the highest value is met far more often than those below it."""
    high = np.sort(values[values >= top - 0.1 * abs(top)])
    levels, counts = np.unique(high[high <= top], return_counts=True)
    return levels.size > 3 and bool(counts[-1] >= PILE * (counts[-3] + counts[-2]))


def _beyond_range(
    time_s: Floats, values: Floats, response: str, unit: str, sensor_range: tuple[float, float] | None
) -> list[Finding]:
    if sensor_range is None:
        return []
    beyond = values > sensor_range[1]
    if np.count_nonzero(beyond) < 3:
        return []
    return [
        _clipping(
            f"{response} exceeds the sensor's range, {sensor_range[1]:.4g} {unit}, in {np.count_nonzero(beyond)} samples, "
            f"from {time_s[int(np.argmax(beyond))]:.2f} s after the onset on; its highest value is {values.max():.4g} {unit}.",
            code="over-range",
        )
    ]


def _clipping(message: str, code: str = "clipped") -> Finding:
    return Finding(
        code=code,
        severity="wrong" if code == "clipped" else "doubtful",
        kind="data",
        message=message,
        mend="use a wider range, repeat the run, or exclude it: clipped",
    )
