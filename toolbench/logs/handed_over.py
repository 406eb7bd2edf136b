"""What a `Log` of a text file says beside its values, read whole or in pieces: the wanted columns, and how lines were read."""

from __future__ import annotations

from collections.abc import Sequence

from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.names import Column, find_column
from toolbench.logs.text.encoding import Encoding
from toolbench.logs.text.shape import Layout
from toolbench.records.runs import Dialect


def wanted_columns(every: Sequence[Column], asked: Sequence[str] | None, clock: TimeSource, file: str) -> list[Column]:
    """The columns to hand over, in file order: those asked for, or all that have a name or a value."""
    if asked is not None:
        found = {find_column(every, name, file=file, key="channels").index for name in asked}
        return [column for column in every if column.index in found]
    used = {column.index for column in clock.columns}
    return [column for column in every if column.index not in used and (column.kind != "empty" or column.written)]


def to_dialect(encoding: Encoding, layout: Layout, every: Sequence[Column], first: str) -> Dialect:
    """How the lines were read; `first` is the time of the first row as written."""
    return Dialect(
        encoding=encoding.name,
        delimiter=layout.delimiter,
        decimal=layout.decimal,
        header_line=layout.header_line,
        unit_line=layout.unit_line,
        first_data_line=layout.first_data_line,
        columns=tuple(column.written for column in every),
        preamble=layout.preamble,
        extra={"time_of_first_row": first} if first else {},
    )
