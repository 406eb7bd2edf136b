"""A small plot for a terminal: minimum and maximum per character column, so that peaks stay."""

from __future__ import annotations

import numpy as np

from toolbench.records.runs import Floats


def sketch(time_s: Floats, values: Floats, *, width: int = 64, height: int = 10, plain: bool = False) -> str:
    """Draw values against time as text.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        Time [s] and a channel in any unit; nan is left blank.
    width, height : int
        Characters of the plot itself, the axis comes on top.
    plain : bool
        ASCII only, for a stream that cannot show block characters.

    Returns
    -------
    str
        Lines without a newline at the end; "" where there is nothing to draw.
    """
    good = np.isfinite(values) & np.isfinite(time_s)
    if not good.any():
        return ""
    time, level = time_s[good], values[good]
    first, last = float(time.min()), float(time.max())
    low, high = float(level.min()), float(level.max())
    span, reach = (last - first) or 1.0, (high - low) or 1.0
    column = np.minimum(((time - first) / span * width).astype(int), width - 1)
    row = np.minimum(((level - low) / reach * height).astype(int), height - 1)
    top, bottom = np.full(width, -1), np.full(width, height)
    np.maximum.at(top, column, row)
    np.minimum.at(bottom, column, row)
    ink, bar = ("#", "|") if plain else ("█", "│")
    labels = {height - 1: f"{high:.4g}", 0: f"{low:.4g}"}
    margin = max(map(len, labels.values()))
    lines = [
        f"{labels.get(at, ''):>{margin}} {bar}"
        + "".join(ink if bottom[x] <= at <= top[x] else " " for x in range(width)).rstrip()
        for at in range(height - 1, -1, -1)
    ]
    left, right = f"{first:.4g} s", f"{last:.4g} s"
    foot = left + right.rjust(max(width - len(left), len(right) + 1))
    return "\n".join([*lines, " " * (margin + 2) + foot])
