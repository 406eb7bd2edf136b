"""Numbers that mean "no value": the known spellings of loggers, where they lie far outside everything else in a column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from toolbench.logs.columns.tables import Table
from toolbench.logs.names import Column

# What loggers and spreadsheets write where a sensor gave nothing.
_NINES = (-99.0, -99.9, -99.99, -999.0, -999.9, -999.99, -999.25, -9999.0, -9999.9, -9999.99, -99999.0, -999999.0,
          9999.0, 9999.9, 99999.0, 99999.9, 999999.0)  # fmt: skip
_FULL_SCALE = (32767.0, -32768.0, 65535.0, 8388607.0, -8388608.0, 16777215.0, 2147483647.0, -2147483648.0, 4294967295.0)
_OVERFLOWS = frozenset(
    [9.9e37, 9.91e37, 9.9e36, 1e38, 3.4028234663852886e38, 3.4028235e38, 3.40282347e38, 3.402823e38, 3.40282e38, 3.4e38,
     1.7976931348623157e308, 1.797693e308, 1.79769e308]
)  # fmt: skip
_SCALED = tuple(2147483648 / 10**places for places in range(1, 7))
_FAR = 3.0  # times the span of everything else
_EXACT = 2.0**53


@dataclass(slots=True)
class Marked:
    """What was taken for "no value" in one column: the number, its lines, and the span of what remains."""

    column: Column
    value: float
    lines: list[int]
    rest: tuple[float, float] | None = None
    stated: bool = False


@dataclass(slots=True)
class Sentinels:
    """Columns in which numbers were taken as missing, and those where that could not be told."""

    marked: list[Marked] = field(default_factory=list)
    kept: list[Marked] = field(default_factory=list)


def mark_missing(table: Table, columns: Sequence[Column], stated: Sequence[str] | None) -> Sentinels:
    """Turn numbers that mean "no value" into nan, in place.

    Parameters
    ----------
    table : Table
        Its columns of numbers are looked at.
    columns : sequence of Column
        The wanted ones, without the time.
    stated : sequence of str, optional
        The spellings that the user states; none are looked for then. Default: the known ones, where they lie far outside
        everything else in their column.
    """
    found = Sentinels()
    numbers = _as_numbers(stated) if stated is not None else None
    if numbers == []:
        return found
    for column in columns:
        values = table.columns[column.index]
        if not isinstance(values, np.ndarray) or values.dtype.kind not in "iuf" or not len(values):
            continue
        if numbers is not None:
            for number in numbers:
                _mark(table, column, number, None, found, stated=True)
            continue
        low, high = table.extremes.get(column.index) or _extremes(values)
        while _is_known(low) or _is_known(high):
            value = low if _is_known(low) else high
            inside = (
                values[(values != value) & (values == values)] if values.dtype.kind == "f" else values[values != value]
            )
            rest = _extremes(inside) if len(inside) else None
            if not is_far(value, rest, len(values)):
                break
            _mark(table, column, value, rest, found, stated=False)
            if rest is None or table.columns[column.index] is values:
                break
            values = table.columns[column.index]
            low, high = rest
    return found


def _as_numbers(spellings: Sequence[str]) -> list[float]:
    numbers = []
    for spelling in spellings:
        try:
            numbers.append(float(spelling.strip().replace(",", ".")))
        except ValueError:
            continue
    return numbers


def _extremes(values: Any) -> tuple[float, float]:
    """Lowest and highest value, nan aside."""
    low, high = float(np.fmin.reduce(values)), float(np.fmax.reduce(values))
    return low, high


def _is_known(value: float) -> bool:
    if value in _NINES or value in _FULL_SCALE:
        return True
    size = abs(value)
    if size >= 9e36:
        return size in _OVERFLOWS
    if 2147483000 <= size <= 2147483648:
        return True
    return value < 0 and any(abs(size - known) <= 1e-6 * known for known in _SCALED)


def is_far(value: float, rest: tuple[float, float] | None, rows: int) -> bool:
    """Whether a value lies further from all others than three times their span; alone, only where no sensor gives it."""
    if rest is None:
        return rows > 4 and (value in _NINES[:12] or abs(value) >= 2147483000)
    low, high = rest
    distance = low - value if value < low else value - high
    return distance > _FAR * (high - low) and distance > 0.5 * max(abs(low), abs(high))


def _mark(
    table: Table, column: Column, value: float, rest: tuple[float, float] | None, found: Sentinels, *, stated: bool
) -> None:
    values = table.columns[column.index]
    rows = np.flatnonzero(values == value)
    if not len(rows):
        return
    lines = [table.line(int(row)) for row in rows]
    marked = Marked(column, value, lines, rest, stated)
    if values.dtype.kind != "f" and rest is not None and max(map(abs, rest)) > _EXACT:
        found.kept.append(marked)  # as a float the others would lose their last digits
        return
    changed = values.astype(np.float64)
    changed[rows] = np.nan
    table.columns[column.index] = changed
    table.extremes.pop(column.index, None)
    found.marked.append(marked)
