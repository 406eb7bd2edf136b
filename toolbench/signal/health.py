"""What is wrong or doubtful about one run's recording. Each check is set so that a flawless run passes: a check that cries
wolf is switched off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, Onset
from toolbench.signal.losses import loss_findings
from toolbench.signal.sampling import noise, robust_scatter, without_spikes

FEWEST_CLIPPED = 5
"""Consecutive samples at the highest value that make it a limit; noise of 1.5 steps has five in a row in 1 of 10,000 runs."""

REST_S, REST_SAMPLES = 0.3, 50
"""Rest before the onset: so long, or so many samples, to know the zero."""

ZERO_SHARE = 0.01
"""A zero that differs after the run by more than this share of the rise has shifted."""

SPIKE_SHARE = 0.25
"""A one-sample excursion by more than this share of the rise, and 20 times the noise, is a spike ..."""

SPIKES_PER_S = 2.0
"""... unless there are more of them in a second than this: then they are the blows."""

DROPOUT_S = 0.01
"""Samples missing, or a value that stands still, for longer than this and DROPOUT_SAMPLES is a dropout."""

DROPOUT_SAMPLES = 3
FROZEN_SAMPLES = 25


def run_findings(
    time_s: Floats,
    channels: Mapping[str, Floats],
    response: str,
    unit: str,
    *,
    onset: Onset,
    duration_s: float,
    sample_interval_s: float,
    sensor_range: tuple[float, float] | None = None,
    extremes: tuple[Floats, Floats] | None = None,
) -> list[Finding]:
    """Everything noticed about one response of one run.

    Parameters
    ----------
    time_s : shape (n,), seconds **after the onset**
    channels : name to values of shape (n,) [SI unit]; the response is one of them
    response, unit : name of the channel and its unit
    onset : found on that response
    duration_s : the checks of the run itself end here [s]
    sensor_range : lower and upper end of the sensor's range [unit]; None: not stated
    extremes : lowest and highest sample that each value is the average of, shape (n,) [unit]; None: the values are samples

    Returns
    -------
    list of Finding
        Without subjects and file: who knows the run adds them. Codes: clipped, over-range, rest-short, run-short,
        zero-shift, spikes, dropout, frozen, rate-uneven, sampling-coarse, trigger-released, socket-slipped, supply-sag,
        response-lost.
    """
    values = channels[response]
    rise = onset.highest - onset.rest
    first, last = np.searchsorted(time_s, (0.0, duration_s))
    running_t, running = time_s[first:last], values[first:last]
    found = _rest_and_length(time_s, onset, duration_s, sample_interval_s)
    found += _sampling(time_s, duration_s, sample_interval_s)
    found += _dropouts(running_t, running, response, sample_interval_s)
    finite = np.isfinite(running)
    known = running if finite.all() else running[finite]
    if extremes is not None:
        low, high = (ends[first:last][finite] for ends in extremes)
        found += _clipped_averages(low, high, response, unit, sensor_range)
    elif known.size > FEWEST_CLIPPED:
        found += _clipped(known, response, unit, sensor_range)
        found += _spikes(known, response, unit, rise, duration_s)
    found += _zero_shift(time_s, values, response, unit, onset, duration_s)
    found += loss_findings(
        time_s, channels, response, unit, onset=onset, duration_s=duration_s, interval_s=sample_interval_s
    )
    return [replace(finding, message=finding.message[0].upper() + finding.message[1:]) for finding in found]


def _rest_and_length(time_s: Floats, onset: Onset, duration_s: float, interval_s: float) -> list[Finding]:
    found = []
    samples = round(onset.rest_length_s / interval_s)
    if onset.rest_length_s < REST_S and samples < REST_SAMPLES:
        found.append(
            Finding(
                code="rest-short",
                severity="doubtful",
                kind="data",
                message=f"Only {onset.rest_length_s:.2g} s ({samples} samples) of rest lie before the onset, too little to know the zero.",
                mend=f"start recording at least {REST_S + 0.2:.1f} s before the run",
            )
        )
    available = float(time_s[-1])
    if available < duration_s - 2 * interval_s:
        found.append(
            Finding(
                code="run-short",
                severity="wrong",
                kind="data",
                message=f"The recording ends {available:.3g} s after the onset, before the duration of {duration_s:.3g} s.",
                mend="record longer, or state a shorter duration for the protocol",
            )
        )
    return found


def _sampling(time_s: Floats, duration_s: float, interval_s: float) -> list[Finding]:
    """Rate the same in both halves within 1 %, gaps aside; enough samples for the metrics."""
    found = []
    steps = np.diff(time_s)
    regular = steps if steps.max() < 1.5 * interval_s else steps[steps < 1.5 * interval_s]
    half = regular.size // 2
    if half > 100:
        early, late = float(regular[:half].mean()), float(regular[half:].mean())
        if abs(late / early - 1) > 0.01:
            found.append(
                Finding(
                    code="rate-uneven",
                    severity="doubtful",
                    kind="data",
                    message=f"The sample rate changes from {1 / early:.4g} Hz to {1 / late:.4g} Hz within the recording.",
                    mend="check the logger's clock",
                )
            )
    if duration_s / interval_s < 100:
        found.append(
            Finding(
                code="sampling-coarse",
                severity="doubtful",
                kind="data",
                message=f"Only {duration_s / interval_s:.0f} samples cover the duration of {duration_s:.3g} s.",
                mend="sample at least 100 times in a run, and ten times in a blow period",
            )
        )
    return found


def _longest_run(mask: np.ndarray) -> tuple[int, int]:
    """Length and first index of the longest stretch of true samples."""
    places = np.flatnonzero(mask)
    if not places.size:
        return 0, 0
    breaks = np.flatnonzero(np.diff(places) > 1)
    begins, ends = np.append(0, breaks + 1), np.append(breaks, places.size - 1)
    lengths = ends - begins + 1
    longest = int(np.argmax(lengths))
    return int(lengths[longest]), int(places[begins[longest]])


def _dropouts(time_s: Floats, values: Floats, response: str, interval_s: float) -> list[Finding]:
    """Samples missing in a row, and a value that stands still while the rest of the run does not."""
    fewest = max(DROPOUT_SAMPLES, math.ceil(DROPOUT_S / interval_s))
    missing = ~np.isfinite(values)
    length, at = _longest_run(missing)
    if length >= fewest:
        message = f"{response} is missing for {length * interval_s:.3g} s from {time_s[at]:.2f} s after the onset on."
        return [_dropout("dropout", "wrong", message)]
    if values.size < 4 * FROZEN_SAMPLES:
        return []
    steps = np.diff(values)
    length, at = _longest_run(steps == 0)
    # A coarse converter stands still by nature; then many steps are zero and this one says nothing. A stretch at the highest
    # value is clipping, which has its own sentence.
    long_enough = length >= max(FROZEN_SAMPLES, math.ceil(0.05 / interval_s))
    if long_enough and values[at] < np.nanmax(values) and np.count_nonzero(steps == 0) - length < 0.2 * steps.size:
        message = f"{response} stands still at {values[at]:.4g} for {length * interval_s:.3g} s from {time_s[at]:.2f} s after the onset on."
        return [_dropout("frozen", "wrong", message)]
    return []


def _dropout(code: str, severity: str, message: str) -> Finding:
    return Finding(
        code=code,
        severity=severity,  # type: ignore[arg-type]
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
        return [_clipping("clipped", message)]
    if sensor_range is not None and (over := int(np.count_nonzero(high > sensor_range[1]))) >= 3:
        message = f"{response} exceeds the sensor's range, {sensor_range[1]:.4g} {unit}, in {over} averages; its highest value is {top:.4g} {unit}."
        return [_clipping("over-range", message)]
    return []


def _clipped(values: Floats, response: str, unit: str, sensor_range: tuple[float, float] | None) -> list[Finding]:
    """Consecutive samples at the highest value while the noise elsewhere exceeds one step."""
    top = float(values.max())
    at_top = values == top
    length, _ = _longest_run(at_top)
    if length >= FEWEST_CLIPPED:
        inside = values[~at_top]
        steps = np.abs(np.diff(inside))
        moving = steps[steps > 0]
        if moving.size > 20:
            # The smallest step a converter makes; a channel with free digits has none to speak of. The noise comes from second
            # differences (variance 6 times that of a sample), else the slope of a blow would pass for noise.
            scatter = robust_scatter(np.diff(inside, n=2)) / math.sqrt(6.0)
            if scatter > 1.5 * float(moving.min()):
                message = f"{response} stays at its highest value, {top:.4g} {unit}, for {length} samples in a row, {np.count_nonzero(at_top)} in all: clipped."
                return [_clipping("clipped", message)]
    if sensor_range is not None:
        over = int(np.count_nonzero(values > sensor_range[1]))
        if over >= 3:
            message = f"{response} exceeds the sensor's range, {sensor_range[1]:.4g} {unit}, in {over} samples; its highest value is {top:.4g} {unit}."
            return [_clipping("over-range", message)]
    return []


def _clipping(code: str, message: str) -> Finding:
    return Finding(
        code=code,
        severity="wrong" if code == "clipped" else "doubtful",
        kind="data",
        message=message,
        mend="use a wider range, repeat the run, or exclude it: clipped",
    )


def _spikes(values: Floats, response: str, unit: str, rise: float, duration_s: float) -> list[Finding]:
    away = without_spikes(values)
    np.abs(np.subtract(values, away, out=away), out=away)
    limit = max(SPIKE_SHARE * rise, 20 * noise(values))
    count = int(np.count_nonzero(away > limit))
    if not 0 < count <= max(1.0, SPIKES_PER_S * duration_s):
        return []
    return [
        Finding(
            code="spikes",
            severity="doubtful",
            kind="data",
            message=f"{response} has {count} one-sample {'spike' if count == 1 else 'spikes'} of up to {away.max():.4g} {unit}.",
            mend="check cable and connectors; levels at marks near a spike are in doubt",
        )
    ]


def _zero_shift(
    time_s: Floats, values: Floats, response: str, unit: str, onset: Onset, duration_s: float
) -> list[Finding]:
    """Zero after the run against zero before, where the recording goes on until the response has come back to rest."""
    tail = values[np.searchsorted(time_s, max(duration_s, float(time_s[-1]) - 0.2)) :]
    tail = tail[np.isfinite(tail)]
    rise = onset.highest - onset.rest
    if tail.size < 10:
        return []
    half = tail.size // 2
    early, late = float(tail[:half].mean()), float(tail[half:].mean())
    shift = 0.5 * (early + late) - onset.rest
    u_mean = max(onset.rest_scatter, noise(tail)) / math.sqrt(tail.size)
    # Ten per cent and more is torque that is still there, and a response that still moves has not come back yet.
    if abs(shift) > 0.1 * rise or abs(late - early) > max(0.2 * abs(shift), 4 * u_mean):
        return []
    if abs(shift) <= max(ZERO_SHARE * rise, 5 * u_mean):
        return []
    return [
        Finding(
            code="zero-shift",
            severity="wrong",
            kind="data",
            message=f"{response} rests at {onset.rest:.4g} {unit} before the run and at {onset.rest + shift:.4g} {unit} after it: the zero shifted by {shift:+.4g} {unit}.",
            mend="check sensor, cable and amplifier, repeat the run, or exclude it: zero shift",
        )
    ]
