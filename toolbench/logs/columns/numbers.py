"""A column of cells as numbers, exact to the last printed digit: most cells at once, the odd ones each on its own."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from toolbench.logs.cells import NUMBER, NUMBERS, cell_code, is_missing, plain_number, to_float

_ENOUGH = 400


def read_numbers(
    cells: Sequence[str], mark: str, *, missing: Collection[str] = (), grouped: bool = False
) -> tuple[Any, list[tuple[int, str]]]:
    """Values of a column, nan where a cell is missing, and the (row, cell) that cannot be read.

    Parameters
    ----------
    cells : sequence of str
        As in the file.
    mark : str
        The decimal mark.
    missing : collection of str
        Further spellings of "no value", in lower case.
    grouped : bool
        Whether another sign may part groups of three digits.

    Returns
    -------
    array, shape (rows,)
        int64 where every cell is a whole number, so that an epoch in nanoseconds keeps its last digit; else float64.
    list of (int, str)
    """
    whole = _whole_numbers(cells)
    if whole is not None:
        return whole, []
    values, odd = _floats(cells, mark)
    bad = []
    for row in odd:
        cell = cells[row].strip()
        value = None if cell.lower() not in missing else np.nan
        if value is None:
            value = to_float(cell, mark, grouped=grouped)
        if value is None or np.isinf(value):
            bad.append((row, cell))
            value = np.nan
        values[row] = value
    return values, bad


def _floats(cells: Sequence[str], mark: str) -> tuple[npt.NDArray[np.float64], list[int]]:
    """What Python takes as numbers as they stand, and the rows of the other cells."""
    text = "\n".join(cells)
    if not text.isascii() or "_" in text or (mark == "," and "." in text) or text.count("\n") >= len(cells) > 0:
        # Python's float would take more for a number than a logger writes; a cell in quotes may hold an end of line.
        match = NUMBER[mark].match
        odd = [row for row, cell in enumerate(cells) if not match(cell.strip())]
        plain = [cell.strip() for cell in cells]
        for row in odd:
            plain[row] = "nan"
        text = "\n".join(plain)
    else:
        odd = []
    parts = plain_number(text, mark).split("\n")
    try:
        values = np.array(list(map(float, parts)), dtype=np.float64)
    except ValueError:
        values = np.full(len(parts), np.nan)
        seen = set(odd)
        for row, part in enumerate(parts):
            try:
                values[row] = float(part)
            except ValueError:
                seen.add(row)
        odd = sorted(seen)
    infinite = np.flatnonzero(np.isinf(values)).tolist()
    return values, sorted({*odd, *infinite}) if infinite else odd


def _whole_numbers(cells: Sequence[str]) -> npt.NDArray[np.int64] | None:
    """Integers stay integers, so that an epoch in nanoseconds keeps its last digit."""
    if not all(cell.strip().lstrip("+-").isdecimal() for cell in cells):
        return None
    try:
        return np.array([int(cell) for cell in cells], dtype=np.int64)
    except (OverflowError, ValueError):
        return None


def whole_beyond_floats(cells: Sequence[str], values: npt.NDArray[np.float64]) -> npt.NDArray[np.int64] | None:
    """Whole numbers that a float would round, where only some cells hold none (0 there); None where no number is that long."""
    finite = np.isfinite(values)
    if not finite.any() or float(np.abs(values[finite]).max()) <= 2.0**53:
        return None
    return _whole_numbers([cell if good else "0" for cell, good in zip(cells, finite.tolist(), strict=True)])


def mostly_numbers(cells: Sequence[str]) -> bool:
    """Whether more than half of the filled cells of a whole column are numbers; a sample of a long one decides."""
    step = max(1, len(cells) // _ENOUGH)
    filled = [cell for cell in (cell.strip() for cell in cells[::step]) if cell and not is_missing(cell)]
    if not filled and step > 1:
        filled = [cell.strip() for cell in cells if not is_missing(cell)][:_ENOUGH]
    return bool(filled) and 2 * sum(cell_code(cell) in NUMBERS for cell in filled) > len(filled)
