"""The coarse part of finding an onset: is there a start, one only, with rest before it? Robust to one-sample spikes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolbench.errors import Fault, SignalError
from toolbench.records.runs import Floats
from toolbench.signal.blows import Blows, find_blows, follow_blows
from toolbench.signal.rest import find_rest
from toolbench.signal.sampling import (
    block_means,
    find_sample_interval,
    first_above,
    moving_mean,
    noise,
    share_ahead,
    without_spikes,
)

SMOOTHING_S = 0.005
"""Span of the moving mean that the coarse crossing is looked for on."""

FAST_S = 0.04
"""A rise from a tenth to a half in less than this is smoothed over a shorter span, lest the mean rounds its foot."""

ALL_RISEN = 0.9
"""Share of the rise at which it is over: no line is looked for above it."""

LASTING_S = 0.2
"""A rise lasts when at least half of the samples in this span stay above the level; a knock does not ..."""

BLOW_GAP_S = 0.13
"""... or when three such spans in a row hold samples above it: blows at 8 Hz and more that fall back between."""

GONE_S = 0.3
"""A run has ended when the response stays near rest for this long; a rise after that is a second start."""

NOISY = 6.0
"""The level is looked for this many standard deviations of the smoothed noise above rest, at least."""

SLOW_SHARE = 0.3
"""Share of the whole span that must be slow change: blows at 8 Hz leave 0.27 of their span in means over 0.15 s."""

EARLY_S = 0.02
"""So much rest at least must precede a step near the first sample."""

FEWEST_SAMPLES = 20
FIRST_SAMPLES, FIRST_S, FEWEST_FIRST = 50, 0.05, 5
"""The level at the first samples is their median: so many, within so long, and this many at least."""


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
    level: float
    """Share of the rise that the crossing was found at: the one asked for, or more where the noise reaches it."""
    blows: Blows | None
    """Where the response falls back between blows: these."""

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
    clean, scatter = without_spikes(y), noise(y)
    highest, lowest = float(clean.max()), float(clean.min())
    _require_change(clean, scatter, interval, highest, lowest)
    rest = float(np.median(y[: max(FEWEST_FIRST, min(FIRST_SAMPLES, round(FIRST_S / interval)))]))
    _require_rise(rest, lowest, highest)
    level = max(level, min(0.4, NOISY * scatter / math.sqrt(_smoothing(interval)) / (highest - rest)))
    smooth, crossing = _first_rise(clean, rest, highest - rest, level, interval)
    if crossing is None:
        raise _no_onset(lowest, highest, "no rise lasts")
    period = find_blows(t, clean, crossing, rest=rest, scatter=scatter)
    if period is None:
        smooth, crossing = _less_smooth(clean, smooth, crossing, rest, highest - rest, level, interval)
    blows = None
    if period is not None:
        blows = follow_blows(t, clean, crossing, period_s=period, rest=rest, scatter=scatter, interval=interval)
        if blows is None:
            raise started_before(t, crossing)
    height = level * (highest - rest)
    found = find_rest(
        t, y, smooth, crossing, rest=rest, height=height, highest=highest, interval_s=interval, blows=blows
    )
    if found is None:
        raise started_before(t, crossing)
    start = Start(
        time_s=t,
        raw=y,
        smooth=smooth,
        interval_s=interval,
        rest=found.level,
        rest_scatter=found.scatter,
        rest_count=found.count,
        highest=highest,
        crossing=crossing,
        level=level,
        blows=blows,
    )
    _require_one_start(start, clean, within_s)
    return start


def _first_rise(clean: Floats, rest: float, rise: float, level: float, interval: float) -> tuple[Floats, int | None]:
    """The smoothed response and its first lasting crossing; a quarter of the record will do where the rise is over in it."""
    width = _smoothing(interval)
    part = clean.size // 4
    smooth = moving_mean(clean[: part + width], width)[:part]
    crossing = _lasting(smooth > rest + level * rise, interval, 0)
    if (
        crossing is not None
        and part - crossing > 3 * BLOW_GAP_S / interval
        and first_above(smooth[crossing:], rest + ALL_RISEN * rise) is not None
    ):
        return smooth, crossing
    smooth = moving_mean(clean, width)
    return smooth, _lasting(smooth > rest + level * rise, interval, 0)


def _less_smooth(
    clean: Floats, smooth: Floats, crossing: int, rest: float, rise: float, level: float, interval: float
) -> tuple[Floats, int]:
    """Around a fast rise, a mean over an eighth of it instead: the mean over 5 ms would round its foot."""
    half = first_above(smooth[crossing:], rest + 0.5 * rise)
    width = _smoothing(interval)
    if half is None or half * interval > FAST_S or width <= 3:
        return smooth, crossing
    first, last = max(0, crossing - 2 * width - half), min(smooth.size, crossing + 2 * width + 2 * half)
    narrow = max(3, (half + width) // 8)
    fine = smooth.copy()
    fine[first:last] = moving_mean(clean[first:last], narrow)
    below = np.flatnonzero(fine[first : crossing + 2 * width] < rest + level * rise)
    return fine, min(first + int(below[-1]) + 1, fine.size - 1) if below.size else crossing


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


def _require_rise(rest: float, lowest: float, highest: float) -> None:
    if highest - rest < 0.5 * (highest - lowest):
        raise SignalError(
            Fault(
                f"the response falls from {rest:.4g} at the first sample to {lowest:.4g}: the run started before the record, "
                "or the sign is the other way round",
                mend="start recording at least 0.5 s before the run, or set invert = true for the channel",
            )
        )


def _require_change(clean: Floats, scatter: float, interval: float, highest: float, lowest: float) -> None:
    """Slow change must stand out of the noise and the blows; else the tool never ran, or ran all along."""
    width = max(5, min(round(0.15 / interval), clean.size // 4))
    slow = block_means(clean, width)
    change = float(slow.max() - slow.min())
    if change > max(SLOW_SHARE * (highest - lowest), 8 * scatter / math.sqrt(width)):
        return
    # Torque in short pulses hardly moves a mean; the highest values of the blocks tell a rest from a running tool there.
    top = clean[: slow.size * width].reshape(slow.size, width).max(axis=1)
    if top.size >= 4:
        lasting_high = float(np.minimum(np.minimum(top[:-2], top[1:-1]), top[2:]).max())
        lasting_low = float(np.maximum(top[:-1], top[1:]).min())
        if lasting_high - lasting_low > max(SLOW_SHARE * (highest - lowest), 4 * scatter):
            return
    if _steps_early(clean, scatter, interval, width, highest - lowest):
        return
    raise _no_onset(lowest, highest, "no rise stands out of its noise")


def _steps_early(clean: Floats, scatter: float, interval: float, width: int, span: float) -> bool:
    """Whether the first samples lie far below most of the next two blocks: a step after a rest too short for a block of its own."""
    first = max(FEWEST_FIRST, round(EARLY_S / interval))
    low, high = float(np.median(clean[:first])), float(np.median(clean[width : 3 * width]))
    return width > first and high - low > max(0.5 * span, 8 * scatter / math.sqrt(first))


def _lasting(mask: np.ndarray, interval: float, begin: int) -> int | None:
    """First index from `begin` on where `mask` is true and stays so for most of LASTING_S, or comes back in blows."""
    width, gap = max(3, round(LASTING_S / interval)), max(3, round(BLOW_GAP_S / interval))
    horizon = max(width, 3 * gap)
    while begin < mask.size:
        begin += int(np.argmax(mask[begin:]))
        ahead = mask[begin : begin + width]
        if mask[begin] and np.count_nonzero(ahead) >= 0.5 * ahead.size:
            return begin
        # Most often it is the first rise: a part is looked at, with the span that follows it, before the rest of the record.
        part = mask[begin : begin + 5 * horizon]
        known = part.size if begin + part.size == mask.size else part.size - horizon
        found = part[:known] & ((share_ahead(part, width)[:known] >= 0.5) | _comes_back(part, gap)[:known])
        index = int(np.argmax(found))
        if found[index]:
            return begin + index
        begin += known
    return None


def _comes_back(mask: np.ndarray, gap: int) -> np.ndarray:
    """Whether each of the next three spans of `gap` samples holds two true ones at least, shape (n,)."""
    total = np.concatenate(([0], np.cumsum(mask), np.full(3 * gap, np.count_nonzero(mask))))
    counts = total[gap:] - total[:-gap]
    n = mask.size
    return np.asarray((counts[:n] >= 2) & (counts[gap : gap + n] >= 2) & (counts[2 * gap : 2 * gap + n] >= 2))


def _require_one_start(start: Start, clean: Floats, within_s: float | None) -> None:
    """A return to rest followed by another lasting rise is a second start."""
    height = start.level * start.rise
    near_rest = start.rest + 0.5 * height
    smooth, width = start.smooth, _smoothing(start.interval_s)
    if smooth.size < clean.size:
        # A mean near rest needs samples near rest.
        if clean[smooth.size - width :].min() >= near_rest and smooth[start.crossing :].min() >= near_rest:
            return
        smooth = moving_mean(clean, width)
    after = smooth[start.crossing :]
    low = after < near_rest
    if not low.any():
        return
    gone_for = max(3, round(GONE_S / start.interval_s))
    # Near the end of the record the span is cut short and says nothing about a lasting end. Between blows the response is near
    # rest for most of the time: it is gone when nothing in the span reaches the level.
    known = max(0, low.size - gone_for)
    is_gone = low[:known] & (share_ahead(low, gone_for)[:known] >= 0.9)
    is_gone &= share_ahead(after > start.rest + height, gone_for)[:known] == 0
    gone = np.flatnonzero(is_gone)
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
            f"two starts: at {first_s:.2f} s and at {second_s:.2f} s of the record; cut the file or record again",
            mend="cut the recording to one run, or exclude it in runs.csv with a reason",
            code="two-starts",
        )
    )
