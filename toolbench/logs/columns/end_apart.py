"""A file that ends oddly - a cut row, a footer, zero bytes - read in two pieces, so that only the end is read the careful way."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from toolbench.errors import RecordingError
from toolbench.logs.cells import split_line
from toolbench.logs.columns.fast_table import can_be_fast, read_fast
from toolbench.logs.columns.table import read_careful
from toolbench.logs.columns.tables import Table
from toolbench.logs.large.pieces import Piece, count_lines, last_line_end
from toolbench.logs.names import Column
from toolbench.logs.source import TAIL_SIZE, Source
from toolbench.logs.text.encoding import Encoding
from toolbench.logs.text.one_row import read_row
from toolbench.logs.text.shape import Layout

_WORTH_IT = 4 * TAIL_SIZE
"""A smaller file is read as fast the careful way."""
_END = 16_384


def ends_oddly(source: Source, layout: Layout) -> bool:
    """Whether the last line is cut or no row of the table."""
    if not source.tail.endswith(b"\n"):
        return True
    line = source.tail.rstrip(b"\r\n").rpartition(b"\n")[2].decode("utf-8", errors="replace")
    row = read_row(0, line, layout.delimiter)
    blank = source.tail.endswith((b"\n\n", b"\n\r\n"))
    return blank or row is None or not layout.used <= len(row.kinds) or any(row.cells[layout.width :])


def read_with_end_apart(
    source: Source,
    encoding: Encoding,
    layout: Layout,
    wanted: Sequence[Column],
    skip: Sequence[int],
    missing: Collection[str],
) -> Table | None:
    """The table, None where the file is small, is no simple table but for its end, or the end alone decides nothing."""
    if source.size < _WORTH_IT or not ends_oddly(source, layout):
        return None
    data = source.everything()
    cut = last_line_end(data[: max(0, len(data.rstrip(b"\0\r\n ")) - _END)], b"\n")
    front = replace_data(source, data[:cut])
    lines = count_lines(front.data)
    if lines <= layout.first_data_line or not can_be_fast(front, encoding, layout, skip):
        return None
    table = read_fast(front, layout, wanted, missing)
    if table is None:
        return None
    behind = replace(layout, first_data_line=1, header_line=None, unit_line=None, preamble=())
    try:
        end = read_careful(
            replace_data(source, data[cut:]),
            encoding,
            behind,
            begun_anew(wanted, data[cut:], encoding, layout),
            frozenset(),
            missing,
        )
    except RecordingError:
        return None  # to be judged by the whole file
    return _joined(table, end, lines)


def replace_data(source: Source, data: bytes) -> Piece:
    """A part of a file as a source of its own."""
    return Piece(source.path, len(data), source.state, data[-TAIL_SIZE:], data=data)


def begun_anew(columns: Sequence[Column], data: bytes, encoding: Encoding, layout: Layout) -> list[Column]:
    """The columns with the cells of the piece's first row as their first sample, by which the reader knows where it is."""
    line = encoding.decode(data[:65_536]).replace("\r", "\n").partition("\n")[0]
    cells = split_line(line, layout.delimiter)
    return [
        replace(c, sample=(cells[c.index] if c.index < len(cells) else "", *c.sample[1:])) if c.sample else c
        for c in columns
    ]


def _joined(front: Table, end: Table, lines: int) -> Table | None:
    """Both tables as one; None where a column is numbers in one and text in the other, or the end holds rows that are lost."""
    if end.dropped or end.glued or end.whole:
        return None
    columns = {}
    for index, values in front.columns.items():
        both = _one_after_the_other(values, end.columns[index])
        if both is None:
            return None
        columns[index] = both
    offset = lines - (front.first_line - 1)
    own = np.arange(end.rows, dtype=np.int64) if end.kept is None else end.kept
    gapless = np.array_equal(own, np.arange(end.rows)) and offset == front.rows
    unreadable = {index: list(found) for index, found in front.unreadable.items()}
    for index, found in end.unreadable.items():
        unreadable.setdefault(index, []).extend((line + lines, cell) for line, cell in found)
    return Table(
        columns,
        front.rows + end.rows,
        front.first_line,
        None if gapless else np.concatenate((np.arange(front.rows, dtype=np.int64), own + offset)),
        footer=[line + lines for line in end.footer],
        blank=[line + lines for line in end.blank],
        cut=None if end.cut is None else end.cut + lines,
        zeros=end.zeros,
        unreadable=unreadable,
        extremes={
            index: (min(low, end.extremes[index][0]), max(high, end.extremes[index][1]))
            for index, (low, high) in front.extremes.items()
            if index in end.extremes
        },
    )


def _one_after_the_other(one: Any, other: Any) -> Any:
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        joined = np.concatenate((one, other))
        mixed = one.dtype != other.dtype
        return None if mixed and np.fmax.reduce(np.abs(joined), initial=0) > 2.0**53 else joined
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        return None
    return pd.concat([one, other], ignore_index=True)
