"""The fast way to read a table: the parser takes the file whole, and only the rows with odd cells are looked at again."""

from __future__ import annotations

import csv
import warnings
from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
import pandas as pd

from toolbench.logs.cells import MISSING_SPELLINGS, common_unit, to_float
from toolbench.logs.columns.numbers import mostly_numbers
from toolbench.logs.columns.odd_rows import most_odd, odd_lines, read_mixed
from toolbench.logs.columns.ragged import shorter
from toolbench.logs.columns.tables import Table
from toolbench.logs.names import Column
from toolbench.logs.source import HEAD_SIZES, Source
from toolbench.logs.text.encoding import Encoding
from toolbench.logs.text.shape import Layout


def can_be_fast(source: Source, encoding: Encoding, layout: Layout, skip: Sequence[int]) -> bool:
    """Whether the parser may have the file as it is: nothing in it shifts lines or needs the true encoding."""
    if skip or layout.wrapped or layout.delimiter == " " or not encoding.like_utf8:
        return False
    if "text" in layout.kinds and not encoding.name.startswith("utf-8"):
        return False
    if any(layout.glued) or any(mark != layout.decimal for mark in layout.marks):
        return False
    if layout.quoted and any('"' in line for line in layout.preamble):
        return False
    if _looks_cut(source, layout):
        return False
    # CR CR LF is two line ends for the parser and one for an editor: lines would be counted differently.
    seen = source.head(HEAD_SIZES[0]) + source.tail
    return b"\0" not in seen and b"\r" not in seen.replace(b"\r\n", b"").removesuffix(b"\r")


def _looks_cut(source: Source, layout: Layout) -> bool:
    """Whether the file ends inside its last row, as far as its last lines show."""
    if source.tail.endswith((b"\n", b"\r")):
        return False
    lines = source.tail.decode("utf-8", errors="replace").splitlines()
    return len(lines) > 1 and shorter(lines[-1], lines[-21:-1], layout)


def options(layout: Layout) -> dict[str, Any]:
    # Each of these keeps the parser's parallel path; memory_map, comment, nrows or a list for skiprows would leave it.
    return {
        "sep": layout.delimiter,
        "decimal": layout.decimal,
        "header": None,
        "names": range(layout.width),
        "index_col": False,
        "skip_blank_lines": False,
        "na_values": MISSING_SPELLINGS,
        "quoting": csv.QUOTE_MINIMAL if layout.quoted else csv.QUOTE_NONE,
        "encoding": "utf-8",
    }


def read_fast(source: Source, layout: Layout, wanted: Sequence[Column], missing: Collection[str] = ()) -> Table | None:
    """The table, or None where anything in it asks for a closer look than at the rows with odd cells."""
    frame = parse(source.for_parser(), options(layout) | {"skiprows": layout.first_data_line - 1})
    if frame is None:
        return None
    table = Table({}, len(frame), layout.first_data_line)
    odd: set[int] = set()
    for column in wanted:
        values = _column(frame[column.index], column, layout, table, missing, odd)
        if values is None:
            return None
        table.columns[column.index] = values
    last = layout.used - 1
    if last not in table.extremes:
        # An empty last cell may be a short row, a blank line, or text.
        odd.update(np.flatnonzero(_not_filled(frame[last])).tolist())
    if len(odd) > most_odd(table.rows):
        return None
    return table if not odd or _settle(table, source, layout, wanted, sorted(odd)) else None


def _column(values: Any, column: Column, layout: Layout, table: Table, missing: Collection[str], odd: set[int]) -> Any:
    """A column as parsed, or with the cells read one by one that are no numbers; their rows are entered in `odd`."""
    plain = plain_column(values, column, layout, table)
    if plain is not None:
        return plain
    if column.kind == "number" and values.dtype.kind not in "iufb":
        mixed = read_mixed(values, layout.decimal, missing)
        if mixed is None or not _begins_right(mixed[0], column, layout):
            return None
        table.unreadable[column.index] = mixed[1]
        odd.update(row for row, _ in mixed[1])
        return mixed[0]
    if column.kind in ("stamp", "text") and values.dtype == "str":
        gaps = np.flatnonzero(values.isna())
        if 0 < len(gaps) <= most_odd(len(values)):
            odd.update(gaps.tolist())
            return plain_column(values.fillna("-"), column, layout, table)
    return None


def _settle(table: Table, source: Source, layout: Layout, wanted: Sequence[Column], odd: Sequence[int]) -> bool:
    """Look at the lines of the odd rows; whether all of them are rows with a number, their gaps in text now as in the file."""
    cells = odd_lines(source, layout, odd, table.rows)
    if cells is None:
        return False
    numbers = [column.index for column in wanted if column.kind == "number"]
    bad = {row for found in table.unreadable.values() for row, _ in found}
    if any(not any(np.isfinite(table.columns[index][row]) for index in numbers) for row in bad):
        return False
    for column in wanted:
        if column.kind in ("stamp", "text"):
            texts = table.columns[column.index].tolist()
            for row in odd:
                texts[row] = cells[row][column.index].strip()
            table.columns[column.index] = pd.Series(texts, dtype="str")
    table.unreadable = {
        index: [(table.line(row), cell) for row, cell in found] for index, found in table.unreadable.items() if found
    }
    return True


def parse(where: Any, options: dict[str, Any]) -> pd.DataFrame | None:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            warnings.simplefilter("ignore", pd.errors.DtypeWarning)
            frame: pd.DataFrame = pd.read_csv(where, **options)
    except UnicodeDecodeError:
        # Replacing what is no UTF-8 takes the parser three times as long for a column of text: only where it must.
        if "encoding_errors" in options:
            return None
        if hasattr(where, "seek"):
            where.seek(0)
        return parse(where, options | {"encoding_errors": "replace"})
    except (pd.errors.ParserError, pd.errors.ParserWarning, pd.errors.EmptyDataError, OverflowError, ValueError):
        return None
    return frame


def _not_filled(values: Any) -> Any:
    return ~np.isfinite(values.to_numpy()) if values.dtype.kind in "iuf" else values.isna().to_numpy()


def plain_column(values: Any, column: Column, layout: Layout, table: Table) -> Any:
    """A parsed column that needs no second look, else None. A column without gaps enters its extremes in the table."""
    if column.kind in ("stamp", "text"):
        is_text = values.dtype == "str" and not values.isna().any()
        if not is_text or common_unit(column.sample, layout.decimal):
            return None
        if column.kind == "stamp":
            return values
        return None if mostly_numbers(values.tolist()) else values.str.strip()
    if values.dtype.kind not in "iuf":
        return None
    array = values.to_numpy()
    if column.kind == "empty":
        return array
    # The first row must be the one that was found in the head: a stray quote above it would shift all rows.
    if not _begins_right(array, column, layout):
        return None
    low, high = array.min(), array.max()
    if low == low:  # nan where any cell is missing
        if np.isinf(low) or np.isinf(high):
            return None
        table.extremes[column.index] = (float(low), float(high))
        return array
    size = np.fmax.reduce(np.abs(array))
    # A missing one makes floats of whole numbers, which rounds those beyond 2^53: these are read cell by cell.
    rounded = size > 2.0**53 and not any(layout.decimal in cell for cell in column.sample)
    return None if np.isinf(size) or rounded else array


def _begins_right(array: Any, column: Column, layout: Layout) -> bool:
    if len(array) == 0 or not column.sample:
        return False
    first = to_float(column.sample[0].strip('"'), layout.decimal, grouped=True)
    if first is None or np.isnan(first):
        return bool(np.isnan(array[0]))
    return bool(array[0] == first)
