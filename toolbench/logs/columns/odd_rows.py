"""Rows with cells that are no numbers, in a table that the parser took whole: only their lines are looked at."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from toolbench.logs.cells import split_line
from toolbench.logs.columns.numbers import read_numbers
from toolbench.logs.source import Source
from toolbench.logs.text.shape import Layout

_Read = tuple[npt.NDArray[np.float64], list[tuple[int, str]]]
# Spellings that are read all at once, exact to the last digit; all others cell by cell.
_PLAIN = {
    ".": r"^-?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?$",
    ",": r"^-?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]{1,3})?$",
}
_SHARE = 0.1
_ALWAYS = 500
"""So many odd rows are looked at one by one, or this share of all; where there are more, the careful way is as fast."""


def most_odd(rows: int) -> int:
    """How many odd rows are worth looking at one by one."""
    return max(_ALWAYS, int(_SHARE * rows))


def read_mixed(values: Any, mark: str, missing: Collection[str]) -> _Read | None:
    """A column that the parser took for numbers in some places only, and the (row, cell) without one.

    None where there are many such cells, or a number that a float would round.
    """
    if values.dtype != "str":
        return _read_in_parts(values.tolist(), mark, missing)
    cells = pc.utf8_trim_whitespace(pa.array(values, from_pandas=True, type=pa.large_string()))
    plain = pc.match_substring_regex(cells, _PLAIN[mark])
    numbers = pc.if_else(plain, cells, None)
    array = pc.cast(numbers if mark == "." else pc.replace_substring(numbers, ",", "."), pa.float64())
    values = np.array(array.to_numpy(zero_copy_only=False), dtype=np.float64)
    texts = np.flatnonzero(pc.fill_null(pc.invert(plain), False).to_numpy(zero_copy_only=False))
    found, bad = read_numbers(
        [str(cell) for cell in cells.take(pa.array(texts)).to_pylist()], mark, missing=missing, grouped=True
    )
    values[texts] = found
    return _unless_odd(values, [(int(texts[place]), cell) for place, cell in bad])


def _read_in_parts(cells: list[Any], mark: str, missing: Collection[str]) -> _Read | None:
    """A column of which the parser took some parts for numbers and left others as text."""
    texts = [row for row, cell in enumerate(cells) if isinstance(cell, str)]
    found, bad = read_numbers([cells[row] for row in texts], mark, missing=missing, grouped=True)
    for row in texts:
        cells[row] = np.nan
    try:
        array = np.array(cells, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        return None
    array[texts] = found
    return _unless_odd(array, [(texts[place], cell) for place, cell in bad])


def _unless_odd(array: npt.NDArray[np.float64], bad: list[tuple[int, str]]) -> _Read | None:
    size = np.fmax.reduce(np.abs(array), initial=0.0)
    return None if len(bad) > most_odd(len(array)) or np.isinf(size) or size > 2.0**53 else (array, bad)


def odd_lines(source: Source, layout: Layout, rows: Sequence[int], total: int) -> dict[int, list[str]] | None:
    """The cells of some rows, by row; None where one of their lines is no row, or rows and lines do not belong together."""
    data = source.everything()
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n"))
    first = layout.first_data_line - 1
    if len(ends) + (not data.endswith(b"\n")) - first != total:
        return None
    found = {}
    for row in rows:
        number = first + row
        begin = int(ends[number - 1]) + 1 if number else 0
        end = int(ends[number]) if number < len(ends) else len(data)
        cells = split_line(data[begin:end].decode("utf-8", errors="replace").strip("\r"), layout.delimiter)
        if not any(cells) or not layout.used <= len(cells) or any(cells[layout.width :]):
            return None
        found[row] = cells
    return found
