"""When two curves part: stretches of time in which a simultaneous band leaves zero, and how well their ends are known.

A simultaneous band speaks of all times at once, so at every time at which it leaves zero the difference has its direction.
It may come back to zero for a moment only because the scatter of few runs is judged anew at each time: pieces of one
direction that lie closer together than scatter keeps its course are one stretch, and the share of it that the band leaves
zero in is said with it. An end of a stretch is where the direction is shown, not where the difference begins; that lies
between there and where the band begins to allow the direction at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from toolbench.records.comparison import Band, Span
from toolbench.records.runs import Floats

WIDEST_GAP = 0.1
"""Share of the run that a gap inside a stretch may last at most, however long scatter keeps its course."""

_Places = npt.NDArray[np.intp]


def find_spans(bands: Sequence[Band], *, after_s: float = 0.0) -> tuple[Span, ...]:
    """Stretches of time in which the simultaneous band of a percent difference leaves zero, and how large it was there.

    `smallest_percent` and `largest_percent` are the differences nearest to and farthest from zero where the band leaves
    zero. Nothing is said before `after_s` [s]: close to the onset a percentage speaks of the onset, not of the tool.
    """
    found: list[Span] = []
    for band in bands:
        if band.percent is None or band.percent_simultaneous is None:
            continue
        judged = band.time_s >= after_s
        if judged.any():
            found += _spans_of(band, band.percent, band.percent_simultaneous, int(np.argmax(judged)))
    return tuple(found)


def _spans_of(band: Band, percent: Floats, edges: tuple[Floats, Floats], judged: int) -> list[Span]:
    lower, upper = edges
    side = np.where(lower > 0, 1, np.where(upper < 0, -1, 0))
    side[:judged] = 0
    ends = np.flatnonzero(np.diff(side, prepend=0, append=0))
    pieces = [(int(a), int(b) - 1) for a, b in pairwise(ends) if side[a] != 0]
    longest = min(_finite(band.correlation_s), WIDEST_GAP * float(band.time_s[-1] - band.time_s[0]))
    return [
        _span(band, percent, edges, judged, side, first, last) for first, last in _joined(band, side, pieces, longest)
    ]


def _joined(band: Band, side: _Places, pieces: Sequence[tuple[int, int]], longest_s: float) -> list[tuple[int, int]]:
    """Neighbouring pieces of one direction, taken together over gaps of at most `longest_s`."""
    joined: list[tuple[int, int]] = []
    for first, last in pieces:
        if joined and side[first] == side[joined[-1][0]]:
            # A gap is what lies between: from the last point of one piece to the first of the next, less one step.
            gap = band.time_s[first - 1] - band.time_s[joined[-1][1]]
            if gap <= longest_s:
                joined[-1] = (joined[-1][0], last)
                continue
        joined.append((first, last))
    return joined


def _span(
    band: Band, percent: Floats, edges: tuple[Floats, Floats], judged: int, side: _Places, first: int, last: int
) -> Span:
    sign, time = int(side[first]), band.time_s
    apart = np.flatnonzero(side[first : last + 1] == sign) + first
    sizes = sorted(percent[apart].tolist(), key=abs)
    by_mean = _reach(time, sign * percent, judged, first, last)
    allowed = _reach(time, sign * edges[1 if sign > 0 else 0], judged, first, last)
    return Span(
        item=band.item,
        baseline=band.baseline,
        response=band.response,
        from_s=float(time[first]),
        to_s=float(time[last]),
        smallest_percent=sizes[0],
        largest_percent=sizes[-1],
        share=apart.size / (last - first + 1),
        mean_from_s=by_mean[0],
        mean_to_s=by_mean[1],
        outer_from_s=allowed[0],
        outer_to_s=allowed[1],
    )


def _reach(time_s: Floats, values: Floats, judged: int, first: int, last: int) -> tuple[float, float]:
    """Times around a stretch between which `values` stay above zero; a point without a value ends them too.

    An end of the stretch that is an end of what is judged stays where it is; infinite where `values` reach beyond it.
    """
    not_above = np.flatnonzero(~(values > 0))
    before = not_above[(not_above < first) & (not_above >= judged)]
    after = not_above[not_above > last]
    begin, end = -math.inf, math.inf
    if first == judged or before.size:
        begin = _crossing(time_s, values, int(before[-1]) + 1, -1) if before.size else float(time_s[first])
    if last == time_s.size - 1 or after.size:
        end = _crossing(time_s, values, int(after[0]) - 1, 1) if after.size else float(time_s[last])
    return begin, end


def _crossing(time_s: Floats, values: Floats, at: int, step: int) -> float:
    """Time at which `values`, above zero at `at`, cross it on a straight line to the next point."""
    here, beyond = float(values[at]), float(values[at + step])
    if not math.isfinite(beyond):
        return float(time_s[at])
    return float(time_s[at] + (time_s[at + step] - time_s[at]) * here / (here - beyond))


def _finite(value: float) -> float:
    return value if math.isfinite(value) else 0.0
