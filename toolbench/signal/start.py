"""The coarse part of finding an onset: is there a start, one only, with rest before it? Robust to one-sample spikes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolbench.errors import Fault, SignalError
from toolbench.records.runs import Floats
from toolbench.signal.lines import fit_line
from toolbench.signal.sampling import (
    block_means,
    find_sample_interval,
    first_above,
    moving_mean,
    noise,
    robust_scatter,
    share_ahead,
    without_spikes,
)

SMOOTHING_S = 0.005
"""Span of the moving mean that the coarse crossing is looked for on."""

ALL_RISEN = 0.9
"""Share of the rise at which it is over: no line is looked for above it."""

LASTING_S = 0.2
"""A rise lasts when at least half of the samples in this span stay above the level; a knock does not."""

GONE_S = 0.3
"""A run has ended when the response stays near rest for this long; a rise after that is a second start."""

REST_S = 0.5
"""The rest level is taken from the last part of the rest, this long, and at least REST_SAMPLES."""

REST_SAMPLES = 50
SLOW_SHARE = 0.3
"""Share of the whole span that must be slow change: blows at 8 Hz leave 0.27 of their span in means over 0.15 s."""

QUIET_S, QUIET_SAMPLES, SURE_S = 0.02, 25, 0.15
"""Least quiet part before the start: so long and so many samples, or so long at any rate."""

DOUBT_S = 0.25
"""A quiet part shorter than this may be the trough of a blow or the middle of the rise, and is looked at."""

RISING_SHARE = 0.1
"""A rest that climbs at this share of the rise's slope is no rest: the record began within the rise."""

HIGH_REST = 0.3
"""A short rest above this share of the highest value is taken for torque, not for preload or zero."""

FEWEST_SAMPLES = 20
FEWEST_AT_REST = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """What the coarse search found. Arrays hold the finite samples only; indices point into them. `smooth` may end where
    the rise is over."""

    time_s: Floats
    raw: Floats
    smooth: Floats
    interval_s: float
    rest: float
    rest_scatter: float
    rest_count: int
    highest: float
    crossing: int
    """First sample of the lasting rise above rest + level * (highest - rest)."""

    @property
    def rise(self) -> float:
        return self.highest - self.rest

    def span(self, low: float, high: float) -> slice:
        """Samples around the crossing between two shares of the rise, on the smoothed response."""
        below = np.flatnonzero(self.smooth[: self.crossing + 1] < self.rest + low * self.rise)
        first = int(below[-1]) if below.size else 0
        above = first_above(self.smooth[self.crossing :], self.rest + high * self.rise)
        last = self.crossing + above if above is not None else self.raw.size - 1
        return slice(first, last + 1)


def search_start(time_s: Floats, response: Floats, level: float, within_s: float | None = None) -> Start:
    """Find the one lasting rise of a response.

    Parameters
    ----------
    time_s, response : shape (n,) [s], [SI unit]; nan samples of the response are left out
    level : share of the rise that the crossing is looked for at
    within_s : a second start counts only when it comes within this time of the first [s]; None: anywhere

    Raises
    ------
    SignalError
        No onset, started before the record, or two starts (the message names both times).
    """
    finite = np.isfinite(response)
    t, y = (time_s, response) if finite.all() else (time_s[finite], response[finite])
    if t.size < FEWEST_SAMPLES:
        raise SignalError(Fault(f"holds {t.size} samples of the response; an onset needs at least {FEWEST_SAMPLES}"))
    interval = find_sample_interval(t)
    clean = without_spikes(y)
    highest, lowest = float(clean.max()), float(clean.min())
    _require_change(clean, noise(y), interval, highest, lowest)
    first = max(FEWEST_AT_REST, min(REST_SAMPLES, round(0.05 / interval)))
    rest = float(np.median(y[:first]))
    if highest - rest < 0.5 * (highest - lowest):
        raise SignalError(
            Fault(
                f"the response falls from {rest:.4g} at the first sample to {lowest:.4g}: the run started before the record, "
                "or the sign is the other way round",
                mend="start recording at least 0.5 s before the run, or set invert = true for the channel",
            )
        )
    smooth, crossing = _first_rise(clean, rest, highest - rest, level, interval)
    if crossing is None:
        raise _no_onset(lowest, highest, "no rise lasts")
    rest, scatter, count = _rest_level(t, y, smooth, crossing, rest, level * (highest - rest), level, interval)
    start = Start(
        time_s=t,
        raw=y,
        smooth=smooth,
        interval_s=interval,
        rest=rest,
        rest_scatter=scatter,
        rest_count=count,
        highest=highest,
        crossing=crossing,
    )
    _require_one_start(start, clean, level, within_s)
    return start


def _first_rise(clean: Floats, rest: float, rise: float, level: float, interval: float) -> tuple[Floats, int | None]:
    """The smoothed response and its first lasting crossing; a quarter of the record will do where the rise is over in it."""
    width = _smoothing(interval)
    part = clean.size // 4
    smooth = moving_mean(clean[: part + width], width)[:part]
    crossing = _lasting(smooth > rest + level * rise, interval, 0)
    if (
        crossing is not None
        and part - crossing > 2 * LASTING_S / interval
        and first_above(smooth[crossing:], rest + ALL_RISEN * rise) is not None
    ):
        return smooth, crossing
    smooth = moving_mean(clean, width)
    return smooth, _lasting(smooth > rest + level * rise, interval, 0)


def _smoothing(interval: float) -> int:
    return max(3, round(SMOOTHING_S / interval))


def _no_onset(lowest: float, highest: float, why: str) -> SignalError:
    return SignalError(
        Fault(
            f"no onset found: the response stays between {lowest:.4g} and {highest:.4g} and {why}",
            mend="check that the right column is named as the response and that the tool ran",
        )
    )


def started_before(t: Floats, crossing: int) -> SignalError:
    """The sentence for a record without a rest before its rise."""
    return SignalError(
        Fault(
            f"the run started before the record: the response has risen within {t[crossing] - t[0]:.3g} s of the first "
            "sample, and what lies before is no rest",
            mend="start recording at least 0.5 s before the run",
        )
    )


def _require_change(clean: Floats, scatter: float, interval: float, highest: float, lowest: float) -> None:
    """Slow change must stand out of the noise and the blows; else the tool never ran, or ran all along."""
    width = max(5, min(round(0.15 / interval), clean.size // 4))
    slow = block_means(clean, width)
    change = float(slow.max() - slow.min())
    if not change > max(SLOW_SHARE * (highest - lowest), 8 * scatter / math.sqrt(width)):
        raise _no_onset(lowest, highest, "no rise stands out of its noise")


def _lasting(mask: np.ndarray, interval: float, begin: int) -> int | None:
    """First index from `begin` on where `mask` is true and stays so for most of LASTING_S."""
    width = max(3, round(LASTING_S / interval))
    while begin < mask.size:
        begin += int(np.argmax(mask[begin:]))
        # Most often it is the first rise: a part is looked at, with the span that follows it, before the rest of the record.
        part = mask[begin : begin + 9 * width]
        ahead = share_ahead(part, width)
        known = part.size if begin + part.size == mask.size else part.size - width
        found = part[:known] & (ahead[:known] >= 0.5)
        index = int(np.argmax(found))
        if found[index]:
            return begin + index
        begin += known
    return None


def _rest_level(
    t: Floats, y: Floats, smooth: Floats, crossing: int, rest: float, height: float, level: float, interval: float
) -> tuple[float, float, int]:
    """Mean and standard deviation of the rest before the start, spikes aside, and the number of samples before it."""
    below = np.flatnonzero(smooth[: crossing + 1] < rest + 0.5 * height)
    half_way = int(below[-1]) if below.size else 0
    # The line from half the level to the level, carried on to rest and a little farther: the foot of the rise is left out.
    end = half_way - round(1.25 * (crossing - half_way)) - 2
    slope = 0.5 * height / float(t[crossing] - t[half_way]) if crossing > half_way else math.inf
    if not _is_rest(t[: max(0, end)], y[: max(0, end)], slope, rest + height / level):
        raise started_before(t, crossing)
    length = max(REST_SAMPLES, round(REST_S / interval))
    part = y[max(0, end - length) : end]
    middle, spread = float(np.median(part)), robust_scatter(part)
    # A channel that rests on one step of its converter has no spread by the median; then nothing is set aside by it.
    kept = part[np.abs(part - middle) <= 6 * spread] if spread > 0 else part[np.abs(part - middle) <= 0.5 * height]
    return float(kept.mean()), float(kept.std(ddof=1)) if kept.size > 1 else 0.0, end


def _is_rest(t: Floats, y: Floats, rise_slope: float, highest: float) -> bool:
    """Whether what lies before the start is a rest: long enough, and where it is short also level and low."""
    if t.size < FEWEST_AT_REST:
        return False
    quiet = float(t[-1] - t[0])
    if quiet < QUIET_S or (t.size < QUIET_SAMPLES and quiet < SURE_S):
        return False
    if quiet > DOUBT_S:
        return True
    line = fit_line(t, y)
    is_climbing = line.slope > max(RISING_SHARE * rise_slope, 2.5 * line.slope_uncertainty)
    return not is_climbing and abs(line.mean_y) < HIGH_REST * abs(highest)


def _require_one_start(start: Start, clean: Floats, level: float, within_s: float | None) -> None:
    """A return to rest followed by another lasting rise is a second start."""
    height = level * start.rise
    near_rest = start.rest + 0.5 * height
    smooth, width = start.smooth, _smoothing(start.interval_s)
    if smooth.size < clean.size:
        # A mean near rest needs samples near rest.
        if clean[smooth.size - width :].min() >= near_rest and smooth[start.crossing :].min() >= near_rest:
            return
        smooth = moving_mean(clean, width)
    low = smooth[start.crossing :] < near_rest
    if not low.any():
        return
    gone_for = max(3, round(GONE_S / start.interval_s))
    share = share_ahead(low, gone_for)
    # Near the end of the record the span is cut short and says nothing about a lasting end.
    gone = np.flatnonzero(low[: max(0, low.size - gone_for)] & (share[: max(0, low.size - gone_for)] >= 0.9))
    if not gone.size:
        return
    second = _lasting(smooth > start.rest + height, start.interval_s, start.crossing + int(gone[0]))
    if second is None:
        return
    first_s, second_s = float(start.time_s[start.crossing]), float(start.time_s[second])
    if within_s is not None and second_s - first_s > within_s:
        return
    raise SignalError(
        Fault(
            f"holds two starts, at {first_s:.3f} s and at {second_s:.3f} s of the record",
            mend="cut the recording to one run, or exclude it in runs.csv with a reason",
        )
    )
