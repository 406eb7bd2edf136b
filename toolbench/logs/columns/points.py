"""Columns that lost their decimal points in some cells, as spreadsheets do: 12.345 became 12345, or 12.345.678.

No reading of such a column is certain, so it is refused with the lines.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from toolbench.logs.cells import NUMBER
from toolbench.logs.columns.table import cells_of_rows
from toolbench.logs.columns.tables import Table
from toolbench.logs.columns.threads import in_threads
from toolbench.logs.names import Column
from toolbench.logs.source import Source, refusal
from toolbench.logs.text.encoding import Encoding
from toolbench.logs.text.shape import Layout

_JUMP = 50.0
_NEAR = 12  # rows on each side that tell the level
_MOST_LOOKED_AT = 2000
_MANY_ROWS = 100_000  # worth a thread for each column
_GROUPS = re.compile(r"[+-]?\d{1,3}(?:([.,])\d{3})(?:\1\d{3})+\Z")
_MANY_POINTS = {
    ".": re.compile(r"[+-]?\d+\.\d+\.\d+(?:\.\d+)*\Z"),
    ",": re.compile(r"[+-]?\d+,\d+,\d+(?:,\d+)*\Z"),
}


@dataclass(frozen=True, slots=True)
class Lost:
    """Rows of a column whose cells lost a decimal point, the first such cell and one that kept its own."""

    rows: list[int]
    cell: str
    whole: str


def refuse_lost_points(
    source: Source, encoding: Encoding, layout: Layout, table: Table, columns: Sequence[Column]
) -> None:
    """Refuse a recording of which a wanted column lost decimal points in some cells.

    Raises
    ------
    RecordingError
        With the lines; the column need not be read where it is not wanted.
    """
    suspects = _suspects(table, columns)
    for column in columns:
        mark = layout.marks[column.index] if layout.marks else layout.decimal
        broken = [
            (line, cell) for line, cell in table.unreadable.get(column.index, ()) if _MANY_POINTS[mark].match(cell)
        ]
        values = table.columns[column.index]
        if broken:
            raise _refused(source, column, [line for line, _ in broken], broken[0][1], mark, "")
        if not isinstance(values, np.ndarray):
            _refuse_text(source, column, values, table, mark)
        elif column.index in suspects:
            cells = cells_of_rows(source, encoding, layout, table, column)
            lost = find_lost(cells, mark)
            if lost is not None:
                raise _refused(source, column, [table.line(row) for row in lost.rows], lost.cell, mark, lost.whole)


def _suspects(table: Table, columns: Sequence[Column]) -> set[int]:
    """The columns of numbers that a quick look finds suspicious."""
    floats = [c.index for c in columns if isinstance(v := table.columns[c.index], np.ndarray) and v.dtype.kind == "f"]

    def look(index: int) -> bool:
        return _may_have_lost(table.columns[index], table.extremes.get(index))

    seen = in_threads(look, floats) if table.rows > _MANY_ROWS else [look(index) for index in floats]
    return {index for index, suspicious in zip(floats, seen, strict=True) if suspicious}


def _refuse_text(source: Source, column: Column, values: Any, table: Table, mark: str) -> None:
    """A column of text of which most cells are numbers with two points and more."""
    if column.kind != "text" or not hasattr(values, "tolist"):
        return
    head = [cell for cell in values[:400].tolist() if cell]
    many = [cell for cell in head if _MANY_POINTS[mark].match(cell)]
    like = [cell for cell in head if NUMBER[mark].match(cell)]
    varied = len(set(many)) > 3 and all(_GROUPS.match(cell) for cell in many)
    if many and (like or varied) and 2 * (len(many) + len(like)) > len(head):
        lines = [table.line(row) for row, cell in enumerate(values.tolist()) if _MANY_POINTS[mark].match(cell)]
        raise _refused(source, column, lines, many[0], mark, like[0] if like else "")


def _refused(source: Source, column: Column, lines: Sequence[int], cell: str, mark: str, whole: str) -> Any:
    from toolbench.logs.clocks.seconds import lines_text

    what = "too many decimal marks" if mark in cell else "no decimal mark"
    beside = f" where others have one ({whole!r})" if whole else ""
    return refusal(
        source.name,
        f"column {column.name!r} holds {cell!r} with {what}{beside} in {lines_text(list(lines))}: "
        "a spreadsheet seems to have taken decimal marks away, so no reading of this column is certain",
        line=lines[0],
        mend="export the recording again from the logger, without a spreadsheet in between",
    )


def _may_have_lost(values: npt.NDArray[np.float64], extremes: tuple[float, float] | None) -> bool:
    """Whether whole numbers stand beside fractions that are far smaller: a quick look at the values alone."""
    if extremes is not None:
        low, high = extremes
        if max(abs(low), abs(high)) < 100 or (low > 0 and high < _JUMP * low) or (high < 0 and low > _JUMP * high):
            return False
    sizes = np.abs(values)
    up = sizes[1:] / _JUMP > sizes[:-1]
    down = sizes[:-1] / _JUMP > sizes[1:]
    big = np.concatenate((np.flatnonzero(up) + 1, np.flatnonzero(down)))
    if not len(big):
        return False
    small = np.concatenate((np.flatnonzero(up), np.flatnonzero(down) + 1))
    tall = sizes[big]
    suspicious = (tall >= 100) & (tall == np.trunc(tall)) & (sizes[small] != 0)
    return bool(suspicious.any()) and _lacks_company(sizes, big[suspicious])


def _lacks_company(sizes: npt.NDArray[np.float64], rows: npt.NDArray[np.intp]) -> bool:
    """Whether any of the rows has no neighbour of its size that shows a fraction."""
    for row in rows[:_MOST_LOOKED_AT].tolist():
        near = sizes[max(0, row - _NEAR) : row + _NEAR + 1]
        like = near[(near > sizes[row] / 20) & (near / 20 < sizes[row])]
        if not (like != np.trunc(like)).any():
            return True
    return False


def find_lost(cells: Sequence[str], mark: str) -> Lost | None:
    """The cells of a column that lost their decimal mark, None where there are none.

    A cell without a mark has lost it when the fractions around it are smaller by about a power of ten and every cell with
    a mark has the same number of decimals, or none has three (spreadsheets take "12.345" for a number with a mark between
    thousands), or several such cells differ from their neighbours by the same power of ten.
    """
    stripped = [cell.strip().strip('"') for cell in cells]
    pointed = [row for row, cell in enumerate(stripped) if mark in cell and NUMBER[mark].match(cell)]
    bare = [row for row, cell in enumerate(stripped) if len(cell.lstrip("+-")) >= 3 and cell.lstrip("+-").isdecimal()]
    if len(pointed) < 3 or not bare:
        return None
    places = {len(re.split("[eE]", stripped[row].partition(mark)[2])[0]) for row in pointed}
    sizes = np.array([abs(float(stripped[row].replace(",", "."))) for row in pointed])
    at = np.array(pointed)
    lost, usual = [], 0
    for row in bare:
        here = int(np.searchsorted(at, row))
        near = sizes[max(0, here - 3) : here + 3]
        level = float(np.median(near))
        size = float(stripped[row].lstrip("+-"))
        if level > 0 and size > _JUMP * max(level, float(near.max()) / 4) and _is_power(size / level, places):
            lost.append(row)
        else:
            usual += size > 0
    always_the_same = len(places) == 1 and not usual
    as_between_thousands = 3 not in places and len(pointed) > 4
    if not lost or not (always_the_same or as_between_thousands or len(lost) > 2):
        return None
    return Lost(lost, stripped[lost[0]], stripped[pointed[0]])


def _is_power(ratio: float, places: set[int]) -> bool:
    """Whether a ratio is about ten to the power of the decimals that other cells have, or a thousand, within a factor of 3."""
    wanted = places if len(places) == 1 else {3, 6}
    return any(10.0**power / 3 < ratio < 10.0**power * 3 for power in wanted if power >= 2)
