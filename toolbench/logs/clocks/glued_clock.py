"""A clock that stands in one cell with the first value, parted by a blank or an arrow: "10:15:03.250 -> 0.123"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from toolbench.logs.cells import to_float
from toolbench.logs.clocks.stamp_grammar import understand
from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.columns.tables import Table
from toolbench.logs.names import Column
from toolbench.records.findings import Finding

_GLUED = re.compile(
    r"(?P<stamp>.*\d:\d\d(?:[:.,]\d+)*(?:\s?[AaPp]\.?[Mm]\.?)?)\s*(?:->|\s|=>)\s*(?P<value>[+-]?[\d.,]+(?:[eE][+-]?\d+)?)"
)


@dataclass(frozen=True, slots=True)
class Glued:
    """The two columns that one column of cells is parted into."""

    clock: Column
    value: Column
    decimal: str

    def part(self, table: Table) -> None:
        """Put clock and value in the place of the cells that hold both. A cell without both has no time, and its row will go."""
        cells = [str(cell).strip(' "') for cell in table.columns[self.clock.index]]
        found = [_GLUED.fullmatch(cell) for cell in cells]
        values = [to_float(match["value"], self.decimal) if match else None for match in found]
        table.columns[self.clock.index] = pd.Series([match["stamp"] if match else "" for match in found], dtype="str")
        table.columns[self.value.index] = np.array([np.nan if value is None else value for value in values])

    def finding(self, file: str, line: int) -> Finding:
        """That cells were parted."""
        return Finding(
            code="clock-parted",
            severity="note",
            kind="data",
            message=f"each cell of {self.value.written or self.value.name!r} holds a clock and a value; they are parted at the blank",
            file=file,
            line=line,
        )


def find_glued(columns: Sequence[Column], decimal: str) -> tuple[tuple[Column, ...], Glued | None]:
    """The columns, with one that holds a clock and a value parted in two; its name stays with the value."""
    for column in columns:
        cells = [cell.strip(' "') for cell in column.sample if cell.strip(' "')]
        if column.kind not in ("stamp", "text") or not cells or understand(cells[0]) is not None:
            continue
        found: list[Any] = [_GLUED.fullmatch(cell) for cell in cells]
        if not all(
            match and understand(match["stamp"]) and to_float(match["value"], decimal) is not None for match in found
        ):
            continue
        clock = replace(
            column, name=f"clock of {column.name}", written="", unit="", kind="stamp", sample=tuple(m["stamp"] for m in found)
        )  # fmt: skip
        value = replace(
            column, index=1 + max(c.index for c in columns), kind="number", sample=tuple(m["value"] for m in found)
        )
        every = [part for c in columns for part in ((clock, value) if c is column else (c,))]
        return tuple(every), Glued(clock, value, decimal)
    return tuple(columns), None


def columns_to_read(wanted: Sequence[Column], clock: TimeSource, parted: Glued | None) -> list[Column]:
    """The columns to read: those to hand over and those of the clocks; of a cell that is parted, the one column of the file."""
    known = {column.index: column for column in (*clock.needed, *wanted)}
    if parted and parted.value.index in known:
        del known[parted.value.index]
        known[parted.clock.index] = parted.clock
    return [known[index] for index in sorted(known)]
