"""What lies before a rise: its level, its scatter, and whether it is a rest at all."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolbench.records.runs import Floats
from toolbench.signal.blows import Blows
from toolbench.signal.lines import fit_line
from toolbench.signal.sampling import first_above, robust_scatter

REST_S = 0.5
"""The rest level is taken from the last part of the rest, this long, and at least REST_SAMPLES."""

REST_SAMPLES = 50
FEWEST_AT_REST = 5

QUIET_S, SURE_S = 0.015, 0.25
"""A rest shorter than the first is none; one shorter than the second may be the trough of a blow or the middle of the
rise, and is looked at."""

LEVEL_SHARE = 0.2
"""A short rest must be level: known to change, over its length, by less than this share of what the rise makes in that time."""

HIGH_REST = 0.35
"""A short rest above this share of the highest value is taken for torque, not for preload or zero."""

ONE_SIDED = 2.0
"""Of 50 samples of normal scatter the outer 2.5 % reach twice as far up as down in 7 of 1,000 draws, of 100 in 1 of 5,000."""

BLOWS_OF_REST, BLOWS_REST_S = 1.5, 0.1
"""Before blows a rest must be longer than this many of their periods, since a gap between two blows looks like a rest, and
than this many seconds: of shorter ones that were let through, the onset's uncertainty covered 7 in 10."""


@dataclass(frozen=True, slots=True)
class Rest:
    """Mean and standard deviation of the rest, spikes aside [SI unit], and the number of samples before the start."""

    level: float
    scatter: float
    count: int


def find_rest(
    t: Floats,
    y: Floats,
    smooth: Floats,
    crossing: int,
    *,
    rest: float,
    height: float,
    highest: float,
    interval_s: float,
    blows: Blows | None,
) -> Rest | None:
    """The rest before a rise that crosses `height` over `rest` at `crossing`; None where what lies before is no rest."""
    below = np.flatnonzero(smooth[: crossing + 1] < rest + 0.5 * height)
    half_way = int(below[-1]) if below.size else 0
    slope = _rise_slope(t, y, smooth, crossing, half_way, rest + 2.5 * height)
    if blows is not None:
        end = blows.foot - 2
    else:
        # The line from half the level to the level, carried on to rest and a little farther: the foot of the rise is left out.
        # Of a short rest not all can be left out.
        foot = half_way - (crossing - half_way)
        end = foot - min(round(0.25 * (crossing - half_way)), max(0, foot) // 4) - 2
    if not _is_rest(t[: max(0, end)], y[: max(0, end)], slope, highest, blows):
        return None
    length = max(REST_SAMPLES, round(REST_S / interval_s))
    part = y[max(0, end - length) : end]
    if blows is not None and _is_one_sided(part):
        return None
    middle, spread = float(np.median(part)), robust_scatter(part)
    # A channel that rests on one step of its converter has no spread by the median; then nothing is set aside by it.
    kept = part[np.abs(part - middle) <= 6 * spread] if spread > 0 else part[np.abs(part - middle) <= 0.5 * height]
    return Rest(float(kept.mean()), float(kept.std(ddof=1)) if kept.size > 1 else 0.0, end)


def _rise_slope(t: Floats, y: Floats, smooth: Floats, crossing: int, half_way: int, above: float) -> float:
    """Slope of the line through the samples around the level; two crossings alone would take noise for a steep rise."""
    over = first_above(smooth[crossing:], above)
    last = min(crossing + over if over is not None else smooth.size, crossing + 20 * (crossing - half_way + 1)) + 1
    slope = fit_line(t[half_way:last], y[half_way:last]).slope
    return slope if slope > 0 else 0.0


def _is_rest(t: Floats, y: Floats, rise_slope: float, highest: float, blows: Blows | None) -> bool:
    """Whether what lies before the start is a rest: long enough, and where it is short also level and low."""
    length = float(t[-1] - t[0]) if t.size else 0.0
    if t.size < FEWEST_AT_REST or length < QUIET_S:
        return False
    if blows is not None and length < max(BLOWS_OF_REST * blows.period_s, BLOWS_REST_S):
        return False
    return length >= SURE_S or (_is_level(t, y, rise_slope) and abs(float(np.median(y))) < HIGH_REST * abs(highest))


def _is_one_sided(part: Floats) -> bool:
    """Whether the scatter before blows leans upward: then low blows are in it, and the record began among them."""
    low, middle, high = np.quantile(part, (0.025, 0.5, 0.975))
    return bool(high - middle > ONE_SIDED * (middle - low))


def _is_level(t: Floats, y: Floats, rise_slope: float) -> bool:
    """Neither climbing nor bent, as far as the scatter lets it be known: what cannot be told is no rest."""
    kept = np.abs(y - np.median(y)) <= max(6 * robust_scatter(y), 1e-9 * rise_slope * float(t[-1] - t[0]))
    if np.count_nonzero(kept) >= FEWEST_AT_REST:
        t, y = t[kept], y[kept]
    length = float(t[-1] - t[0])
    limit = LEVEL_SHARE * rise_slope * length
    line = fit_line(t, y)
    if abs(line.slope) * length + 2 * line.slope_uncertainty * length > limit:
        return False
    third = y.size // 3
    if third < 3:
        return True
    bend = 0.5 * (y[:third].mean() + y[-third:].mean()) - y[third:-third].mean()
    return bool(abs(bend) + 2 * line.scatter * math.sqrt(1.5 / third) <= limit)
