"""The rows of a file as columns. The fast way lets the parser take the file whole; the careful way sorts its lines first."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
import pandas as pd

from toolbench.logs.cells import is_stamp, split_line
from toolbench.logs.columns.fast_table import can_be_fast, options, parse, plain_column, read_fast
from toolbench.logs.columns.numbers import mostly_numbers, read_numbers, whole_beyond_floats
from toolbench.logs.columns.ragged import holds_numbers, sort_lines
from toolbench.logs.columns.tables import Table
from toolbench.logs.names import Column
from toolbench.logs.source import Source
from toolbench.logs.text.encoding import Encoding
from toolbench.logs.text.layout import unwrapped
from toolbench.logs.text.shape import Layout


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
    from toolbench.logs.columns.end_apart import ends_oddly, read_with_end_apart

    words = frozenset(word.strip().lower() for word in missing or ())
    if can_be_fast(source, encoding, layout, skip) and not ends_oddly(source, layout):
        table = read_fast(source, layout, wanted, words)
        if table is not None:
            return table
    table = read_with_end_apart(source, encoding, layout, wanted, skip, words)
    if table is not None:
        return table
    return read_careful(source, encoding, layout, wanted, frozenset(skip), words)


def decoded(source: Source, encoding: Encoding) -> str:
    """The whole text with one kind of line end. CR CR LF is one line end, as an editor shows it."""
    return encoding.decode(source.everything()).replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")


def read_careful(
    source: Source,
    encoding: Encoding,
    layout: Layout,
    wanted: Sequence[Column],
    skip: frozenset[int],
    missing: Collection[str],
) -> Table:
    """All rows of the wanted columns, every line looked at. Raises RecordingError."""
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
    _fill(table, lines.rows, layout, wanted, missing)
    table.unreadable = {
        index: [(table.line(row), cell) for row, cell in bad] for index, bad in table.unreadable.items() if bad
    }
    _part_footer(table, text, layout)
    return table


def _fill(table: Table, rows: list[str], layout: Layout, wanted: Sequence[Column], missing: Collection[str]) -> None:
    """Columns of rows that all have the right width: by the parser where it takes them as numbers, else as text."""
    frame = None
    if layout.delimiter != " ":
        frame = parse(io.BytesIO("\n".join(rows).encode("utf-8", errors="replace")), options(layout))
    slow = []
    for column in wanted:
        values = None
        if frame is not None and len(frame) == len(rows) and column.kind == "number":
            values = plain_column(frame[column.index], column, layout, table)
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


def _convert(cells: list[str], column: Column, layout: Layout, table: Table, missing: Collection[str]) -> Any:
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
