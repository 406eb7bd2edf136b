"""Starts in blows: the response falls back between them, so a line through its samples says nothing; one through the peaks does."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolbench.records.runs import Floats
from toolbench.signal.envelope import find_blow_period
from toolbench.signal.lines import fit_line
from toolbench.signal.sampling import moving_mean

LOOKED_AT_S = 1.0
"""Time after the crossing in which the response is asked whether it falls back."""

BLOCK_S = 0.125
"""One period of the slowest blows."""

FALLS_BY = 0.4
"""Blows fall back by this share of their height; the ripple of a filtered channel, 4 to 12 % each way, does not."""

MOST_BLOCKS = 0.6
"""Share of the blocks that must fall back: a short dip is no blow."""

CLEAR = 4.0
"""A blow stands out when the mean around its place is so many of its standard deviations over rest."""

FOOT_CLEAR, FOOT_SHARE = 2.5, 0.1
"""A blow begins where its flank leaves the scatter, or the lowest tenth of its height."""

MOST_BLOWS = 12
"""Blows looked at after the crossing."""

SAMPLED_HZ = 5000.0
FALLBACK_PERIOD_S = 0.1
"""Period of the blows where the spectrum shows no line: 10 Hz, a large tool (from memory)."""


def find_blows(t: Floats, clean: Floats, crossing: int, *, rest: float, scatter: float) -> float | None:
    """Period of the blows [s] where the response falls back between them after `crossing`; None where it does not.

    Parameters
    ----------
    t, clean : shape (n,) [s], [SI unit]; the response without one-sample spikes
    rest, scatter : level before the rise, and sample-to-sample noise [SI unit]
    """
    last = int(np.searchsorted(t, t[crossing] + LOOKED_AT_S))
    interval = float(t[last - 1] - t[crossing]) / max(1, last - 1 - crossing)
    stride = max(1, int(1 / (SAMPLED_HZ * interval))) if interval > 0 else 1
    part = clean[crossing:last:stride]
    width = round(BLOCK_S / (interval * stride)) if interval > 0 else 0
    if width < 4 or part.size < 3 * width:
        return None
    blocks = part[: part.size // width * width].reshape(-1, width)
    fall = (np.maximum.accumulate(blocks, axis=1) - blocks).max(axis=1)
    falls = (fall > FALLS_BY * (blocks.max(axis=1) - rest)) & (fall > 6 * scatter)
    if np.count_nonzero(falls) < MOST_BLOCKS * falls.size:
        return None
    more = int(np.searchsorted(t, t[crossing] + 2 * LOOKED_AT_S))
    return find_blow_period(t[crossing:more], clean[crossing:more]) or FALLBACK_PERIOD_S


@dataclass(frozen=True, slots=True, eq=False)
class Blows:
    """The blows from the first that stands out of the scatter on: places and heights over rest, and where the first begins."""

    places: tuple[int, ...]
    heights: Floats
    scatter: float
    """Standard deviation of a height [SI unit]."""
    foot: int
    """Last sample before the first blow that is at rest, as far as the scatter lets it be known."""
    foot_share: float
    """Share of the first blow's height at which its foot leaves the scatter."""
    duty: float
    """Length of a blow as a share of the period."""
    period_s: float


def follow_blows(
    t: Floats, clean: Floats, crossing: int, *, period_s: float, rest: float, scatter: float, interval: float
) -> Blows | None:
    """The blows before and after `crossing`; None where the record begins with one.

    The places come from the blows that stand out and are carried on by the period; the height is a mean around the place, so that
    no noise is picked for being high.
    """
    width = max(4, round(period_s / interval))
    # The first samples alone know the rest less well than the mean of a blow is known.
    known = max(crossing // 3, min(crossing, 50), 1)
    rest = float(np.median(clean[:known]))
    places = [crossing + _first_summit(clean[crossing : crossing + width] - rest)]
    while len(places) < MOST_BLOWS and places[-1] + 2 * width < clean.size:
        places.append(_highest_near(clean, places[-1] + width, width // 3))
    tallest = max(places, key=lambda place: float(clean[place]))
    half = _half_width(clean, tallest, rest, width)
    sigma = scatter * math.hypot(1 / math.sqrt(2 * half + 1), 1.25 / math.sqrt(known))
    limit, hidden, place = CLEAR * sigma, 0, places[0]
    while hidden < 2:
        place -= width
        if place - width // 2 < 0:
            if hidden == 0:
                return None
            break
        if _height(clean, place, half, rest) > limit:
            place = _highest_near(clean, place, width // 6)
            places.insert(0, place)
            hidden = 0
        else:
            hidden += 1
    heights = np.array([_height(clean, place, half, rest) for place in places])
    begin, span = max(0, places[0] - width), max(1, half // 2)
    flank = moving_mean(clean[begin : places[0] + span + 1], span)[: places[0] - begin + 1]
    peak = max(float(flank[-1]) - rest, 1e-300)
    share = min(0.9, max(FOOT_CLEAR * scatter / math.sqrt(span) / peak, FOOT_SHARE))
    below = np.flatnonzero(flank < rest + share * peak)
    foot = begin + (int(below[-1]) if below.size else 0)
    return Blows(tuple(places), heights, sigma, foot, share, min(0.9, 3 * half / width), period_s)


def _first_summit(heights: Floats) -> int:
    """Index of the highest sample before the heights first fall back, noise smoothed away."""
    smooth = moving_mean(heights, max(3, heights.size // 20))
    fallen = np.flatnonzero(smooth < (1 - FALLS_BY) * np.maximum.accumulate(smooth))
    return int(np.argmax(smooth[: int(fallen[0]) if fallen.size and fallen[0] else smooth.size]))


def _highest_near(clean: Floats, place: int, half: int) -> int:
    first = max(0, place - half)
    return first + int(np.argmax(clean[first : place + half + 1]))


def _half_width(clean: Floats, peak: int, rest: float, width: int) -> int:
    """Samples to each side of a peak that stay over half its height."""
    limit = rest + 0.5 * (float(clean[peak]) - rest)
    before = np.flatnonzero(clean[max(0, peak - width // 2) : peak][::-1] < limit)
    after = np.flatnonzero(clean[peak : peak + width // 2] < limit)
    return min(int(before[0]) if before.size else width // 4, int(after[0]) - 1 if after.size else width // 4)


def _height(clean: Floats, place: int, half: int, rest: float) -> float:
    return float(clean[max(0, place - half) : place + half + 1].mean()) - rest


def start_of_blows(t: Floats, blows: Blows, *, rise: float, interval: float) -> tuple[float, float]:
    """Onset and standard uncertainty [s]: the foot of the first blow, and what blows too low to be seen may have begun before.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 (rectangular distribution between the earliest and the latest that is possible).
    """
    peak, latest = float(t[blows.places[0]]), float(t[blows.foot]) + interval
    # The flank is at least as steep as a parabola: there it began.
    flank = min((peak - latest + interval) / (1 - math.sqrt(blows.foot_share)), 0.5 * blows.period_s)
    earliest, doubt = min(peak - flank, latest - interval), 0.0
    # Of a build-up that is not convex the first blow is at least this share of the second.
    least = 0.5 * blows.duty / (1 + 0.5 * blows.duty)
    if CLEAR * blows.scatter > least * float(blows.heights[0]):
        met, doubt = _meets_rest(t, blows, rise)
        earliest = min(met, earliest - blows.period_s)
    return 0.5 * (earliest + latest), math.hypot((latest - earliest) / math.sqrt(12.0), doubt)


def _meets_rest(t: Floats, blows: Blows, rise: float) -> tuple[float, float]:
    """Where the line through the first heights meets rest, and the standard uncertainty of that [s]."""
    tall = np.flatnonzero(blows.heights >= 0.5 * float(blows.heights.max()))
    count = max(3, int(tall[0]) + 1)
    x = t[list(blows.places[:count])]
    line = fit_line(x, blows.heights[:count])
    if line.n < 3 or line.slope <= 2 * line.slope_uncertainty:
        return float(x[0]) - blows.period_s, blows.period_s
    met = line.meets(0.0)
    return met, min(line.uncertainty_at(met) / line.slope, float(x[-1] - x[0]))
