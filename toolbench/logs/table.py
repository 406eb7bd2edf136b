"""The rows of a file as columns. The fast way lets the parser take the file whole; the careful way sorts its lines first."""

from __future__ import annotations

import csv
import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from toolbench.logs.cells import MISSING_SPELLINGS, common_unit, is_stamp, split_line, to_float
from toolbench.logs.encoding import Encoding
from toolbench.logs.layout import Layout, unwrapped
from toolbench.logs.names import Column
from toolbench.logs.numbers import mostly_numbers, read_numbers, whole_beyond_floats
from toolbench.logs.ragged import holds_numbers, shorter, sort_lines
from toolbench.logs.source import HEAD_SIZES, Source


@dataclass(slots=True)
class Table:
    """Parsed rows: `columns` by position, `lines` of the file for each row, and what was left out."""

    columns: dict[int, Any]
    rows: int
    first_line: int
    kept: npt.NDArray[np.int64] | None = None
    """Offset of every row from `first_line`, None where no line was left out."""
    dropped: list[int] = field(default_factory=list)
    footer: list[int] = field(default_factory=list)
    blank: list[int] = field(default_factory=list)
    cut: int | None = None
    zeros: int = 0
    unreadable: dict[int, list[tuple[int, str]]] = field(default_factory=dict)
    glued: dict[int, str] = field(default_factory=dict)
    extremes: dict[int, tuple[float, float]] = field(default_factory=dict)
    """Lowest and highest value of columns that hold numbers only."""
    whole: dict[int, npt.NDArray[np.int64]] = field(default_factory=dict)
    """Exact whole numbers of a column of floats that lacks some (0 there): an epoch in nanoseconds keeps its last digit."""

    def line(self, row: int | np.integer[Any]) -> int:
        """Line of the file in which a row stands."""
        return self.first_line + int(row if self.kept is None else self.kept[row])

    def keep(self, mask: npt.NDArray[np.bool_]) -> None:
        """Leave out the rows where the mask is False; their lines are entered in `dropped`."""
        self.dropped += [self.line(int(row)) for row in np.flatnonzero(~mask)]
        offsets = np.arange(self.rows, dtype=np.int64) if self.kept is None else self.kept
        self.kept = offsets[mask]
        self.columns = {index: values[mask] for index, values in self.columns.items()}
        self.whole = {index: values[mask] for index, values in self.whole.items()}
        self.rows = len(self.kept)


def read_table(
    source: Source,
    encoding: Encoding,
    layout: Layout,
    wanted: Sequence[Column],
    skip: Sequence[int],
    iso: Sequence[int] = (),
    missing: Sequence[str] | None = None,
) -> Table:
    """All rows of the wanted columns, numbers exact to the last printed digit.

    Raises
    ------
    RecordingError
        Too many rows do not have the shape of the others.
    """
    if _can_be_fast(source, encoding, layout, skip):
        table = _read_fast(source, layout, wanted)
        if table is not None:
            return table
    return _read_careful(source, encoding, layout, wanted, frozenset(skip), missing or ())


def decoded(source: Source, encoding: Encoding) -> str:
    """The whole text with one kind of line end. CR CR LF is one line end, as an editor shows it."""
    return encoding.decode(source.everything()).replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")


def _can_be_fast(source: Source, encoding: Encoding, layout: Layout, skip: Sequence[int]) -> bool:
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


def _options(layout: Layout) -> dict[str, Any]:
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


def _read_fast(source: Source, layout: Layout, wanted: Sequence[Column]) -> Table | None:
    """The table, or None where anything in it asks for a closer look."""
    frame = _parse(source.for_parser(), _options(layout) | {"skiprows": layout.first_data_line - 1})
    if frame is None:
        return None
    table = Table({}, len(frame), layout.first_data_line)
    if not _fill_plain(table, frame, wanted, layout):
        return None
    last = layout.used - 1
    # An empty last cell may be a short row, a blank line, or text.
    filled = last in table.extremes or _is_filled(frame[last])
    return table if filled else None


def _fill_plain(table: Table, frame: pd.DataFrame, wanted: Sequence[Column], layout: Layout) -> bool:
    """Whether every wanted column could be taken over as parsed."""
    for column in wanted:
        values = _plain_column(frame[column.index], column, layout, table)
        if values is None:
            return False
        table.columns[column.index] = values
    return True


def _parse(where: Any, options: dict[str, Any]) -> pd.DataFrame | None:
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
        return _parse(where, options | {"encoding_errors": "replace"})
    except (pd.errors.ParserError, pd.errors.ParserWarning, pd.errors.EmptyDataError, OverflowError, ValueError):
        return None
    return frame


def _is_filled(values: Any) -> bool:
    array = values.to_numpy() if values.dtype.kind in "iuf" else None
    return bool(np.isfinite(array).all()) if array is not None else not values.isna().any()


def _plain_column(values: Any, column: Column, layout: Layout, table: Table) -> Any:
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
    first = to_float(column.sample[0].strip('"'), layout.decimal)
    same = len(array) > 0 and first is not None and (array[0] == first or (np.isnan(first) and np.isnan(array[0])))
    if not same:
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


def _read_careful(
    source: Source,
    encoding: Encoding,
    layout: Layout,
    wanted: Sequence[Column],
    skip: frozenset[int],
    missing: Sequence[str],
) -> Table:
    text = decoded(source, encoding)
    lines = sort_lines(text, layout, skip, source)
    table = Table(
        {},
        len(lines.rows),
        layout.first_data_line,
        lines.kept,
        dropped=lines.dropped,
        footer=lines.footer,
        blank=lines.blank,
        cut=lines.cut,
        zeros=lines.zeros,
    )
    _fill(table, lines.rows, layout, wanted, frozenset(word.strip().lower() for word in missing))
    table.unreadable = {
        index: [(table.line(row), cell) for row, cell in bad] for index, bad in table.unreadable.items() if bad
    }
    _part_footer(table, text, layout)
    return table


def _fill(table: Table, rows: list[str], layout: Layout, wanted: Sequence[Column], missing: frozenset[str]) -> None:
    """Columns of rows that all have the right width: by the parser where it takes them as numbers, else as text."""
    frame = None
    if layout.delimiter != " ":
        frame = _parse(io.BytesIO("\n".join(rows).encode("utf-8", errors="replace")), _options(layout))
    slow = []
    for column in wanted:
        values = None
        if frame is not None and len(frame) == len(rows) and column.kind == "number":
            values = _plain_column(frame[column.index], column, layout, table)
        if values is None:
            slow.append(column)
        table.columns[column.index] = values
    cells = split_all(rows, layout, slow)
    for column in slow:
        table.columns[column.index] = _convert(cells[column.index], column, layout, table, missing)
    _drop_rows_of_text(table, wanted, cells)


def cells_of_rows(source: Source, encoding: Encoding, layout: Layout, table: Table, column: Column) -> list[str]:
    """The cells of one column as text, for the rows that are in the table."""
    lines = decoded(source, encoding).split("\n")
    first = layout.first_data_line - 1
    offsets = range(table.rows) if table.kept is None else table.kept.tolist()
    rows = [lines[first + offset] for offset in offsets]
    if layout.wrapped:
        rows = [unwrapped(row) for row in rows]
    return split_all(rows, layout, [column])[column.index]


def split_all(rows: list[str], layout: Layout, wanted: Sequence[Column]) -> dict[int, list[str]]:
    """Cells of the wanted columns as text."""
    if layout.delimiter == " ":
        split = [row.split() for row in rows]
    elif not layout.quoted and len(wanted) <= 3:
        # Each row's cells are let go at once: keeping them all costs more than splitting again for the next column.
        return {c.index: [_cell(row, layout.delimiter, c.index) for row in rows] for c in wanted}
    elif layout.quoted:
        split = list(csv.reader(io.StringIO("\n".join(rows)), delimiter=layout.delimiter, skipinitialspace=True))
        if len(split) != len(rows):  # a quote left open: take every line on its own
            split = [split_line(row, layout.delimiter) for row in rows]
    else:
        split = [row.split(layout.delimiter) for row in rows]
    return {c.index: [row[c.index] if c.index < len(row) else "" for row in split] for c in wanted}


def _cell(row: str, delimiter: str, index: int) -> str:
    cells = row.split(delimiter, index + 1)
    return cells[index] if index < len(cells) else ""


def _convert(cells: list[str], column: Column, layout: Layout, table: Table, missing: frozenset[str]) -> Any:
    """A column of numbers as an array; a column of text as it stands."""
    mark = layout.marks[column.index] if layout.marks else layout.decimal
    glued = layout.glued[column.index] if layout.glued else ""
    words = column.kind == "text" and not glued
    if column.kind == "stamp" or ((words or column.kind == "empty") and not mostly_numbers(cells)):
        return pd.Series([cell.strip() for cell in cells], dtype="str")
    if glued:
        table.glued[column.index] = glued
        cells = [cell.strip().removesuffix(glued) for cell in cells]
    values, bad = read_numbers(cells, mark, missing=missing, grouped=True)
    table.unreadable[column.index] = bad
    if values.dtype.kind == "f" and (exact := whole_beyond_floats(cells, values)) is not None:
        table.whole[column.index] = exact
    return values


def _drop_rows_of_text(table: Table, wanted: Sequence[Column], cells: dict[int, list[str]]) -> None:
    """Leave out rows in which no column of numbers holds one and at least one holds words: a second header, an end mark."""
    numbers = [column.index for column in wanted if column.kind == "number"]
    stamps = [column.index for column in wanted if column.kind == "stamp"]
    bad = sorted({row for index in numbers for row, _ in table.unreadable.get(index, ())})
    words = [
        row
        for row in bad
        if not any(np.isfinite(table.columns[index][row]) for index in numbers)
        and not any(is_stamp(cells[index][row].strip()) for index in stamps)
    ]
    if len(numbers) < 2 and not stamps:
        # One bad cell in the only column is a bad cell; behind the last number it is a footer.
        numeric = np.flatnonzero(np.isfinite(table.columns[numbers[0]])) if numbers else np.empty(0, dtype=np.int64)
        words = [row for row in words if len(numeric) and row > numeric[-1]]
    if not words:
        return
    mask = np.ones(table.rows, dtype=np.bool_)
    mask[words] = False
    moved = np.cumsum(mask) - 1
    table.unreadable = {
        index: [(int(moved[row]), cell) for row, cell in found if mask[row]]
        for index, found in table.unreadable.items()
    }
    table.keep(mask)
    for index, exact in table.whole.items():
        if np.isfinite(table.columns[index]).all():
            table.columns[index] = exact


def _part_footer(table: Table, text: str, layout: Layout) -> None:
    """Dropped lines behind the last row are a footer, not lost data, unless most of them hold numbers."""
    last = table.line(table.rows - 1) if table.rows else table.first_line
    behind = [line for line in table.dropped if line > last]
    if behind:
        lines = text.split("\n")
        if sum(holds_numbers(lines[line - 1], layout) for line in behind) > max(2, len(behind) // 2):
            behind = []
    table.footer = sorted({*table.footer, *behind})
    table.dropped = sorted(line for line in table.dropped if line not in set(behind))
    table.blank = [line for line in table.blank if line < last]


def _looks_cut(source: Source, layout: Layout) -> bool:
    """Whether the file ends inside its last row, as far as its last lines show."""
    if source.tail.endswith((b"\n", b"\r")):
        return False
    lines = source.tail.decode("utf-8", errors="replace").splitlines()
    return len(lines) > 1 and shorter(lines[-1], lines[-21:-1], layout)
