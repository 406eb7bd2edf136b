"""A small plot for a terminal: minimum and maximum per character column, so that peaks stay."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from toolbench.records.runs import Floats

_BLOCKS = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}
_SIGNS = {(True, True): "#", (True, False): "'", (False, True): ".", (False, False): " "}


def sketch(
    time_s: Floats,
    values: Floats,
    *,
    width: int = 64,
    height: int = 10,
    plain: bool = False,
    mark_s: float | None = None,
) -> str:
    """Draw values against time as text.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        Time [s] and a channel in any unit; nan is left blank.
    width, height : int
        Characters of the plot itself, the axes come on top.
    plain : bool
        ASCII only, for a stream that cannot show block characters.
    mark_s : float, optional
        A time [s] to point at on the axis.

    Returns
    -------
    str
        Lines without a newline at the end; "" where there is nothing to draw.
    """
    good = np.isfinite(values) & np.isfinite(time_s)
    if not good.any():
        return ""
    time, level = (time_s, values) if good.all() else (time_s[good], values[good])
    first, last = float(time.min()), float(time.max())
    low, high = float(level.min()), float(level.max())
    inked = _inked(time, level, (first, last), (low, high), (width, 2 * height))
    labels = {height - 1: f"{high:.4g}", 0: f"{low:.4g}"}
    margin = max(map(len, labels.values()))
    signs, bar = (_SIGNS, "|") if plain else (_BLOCKS, "│")
    lines = [
        f"{labels.get(at, ''):>{margin}} {bar}"
        + "".join(signs[bool(inked[2 * at + 1, x]), bool(inked[2 * at, x])] for x in range(width)).rstrip()
        for at in range(height - 1, -1, -1)
    ]
    if mark_s is not None and first <= mark_s <= last:
        corner, dash, point = ("+", "-", "^") if plain else ("└", "─", "▲")
        axis = [dash] * width
        axis[_place(mark_s, first, last, width)] = point
        lines.append(" " * (margin + 1) + corner + "".join(axis))
    left, right = f"{first:.4g} s", f"{last:.4g} s"
    foot = left + right.rjust(max(width - len(left), len(right) + 1))
    return "\n".join([*lines, " " * (margin + 2) + foot])


def _place(time_s: float, first: float, last: float, width: int) -> int:
    return min(int((time_s - first) / ((last - first) or 1.0) * width), width - 1)


def _inked(
    time: Floats, level: Floats, span: tuple[float, float], reach: tuple[float, float], size: tuple[int, int]
) -> npt.NDArray[np.bool_]:
    """Which cells are drawn, shape (rows, columns), row 0 at the bottom: from lowest to highest, joined to the neighbour."""
    width, rows = size
    length, range_ = (span[1] - span[0]) or 1.0, (reach[1] - reach[0]) or 1.0
    column = np.minimum(((time - span[0]) / length * width).astype(np.intp), width - 1)
    lowest, highest = np.full(width, np.inf), np.full(width, -np.inf)
    if column.size > 1 and np.all(column[1:] >= column[:-1]):
        starts = np.flatnonzero(np.r_[True, column[1:] != column[:-1]])
        lowest[column[starts]] = np.minimum.reduceat(level, starts)
        highest[column[starts]] = np.maximum.reduceat(level, starts)
    else:
        np.minimum.at(lowest, column, level)
        np.maximum.at(highest, column, level)
    inked = np.zeros((rows, width), dtype=np.bool_)
    before: tuple[int, int] | None = None
    for x in range(width):
        if lowest[x] > highest[x]:
            before = None
            continue
        bottom, top = (min(int((y - reach[0]) / range_ * rows), rows - 1) for y in (lowest[x], highest[x]))
        # A steep rise would leave a hole between two columns: it is closed on the later one.
        if before is not None and bottom > before[1] + 1:
            inked[before[1] + 1 : bottom, x] = True
        if before is not None and top < before[0] - 1:
            inked[top + 1 : before[0], x] = True
        inked[bottom : top + 1, x] = True
        before = (bottom, top)
    return inked
