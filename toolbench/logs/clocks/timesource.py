"""Where the time of a recording comes from, before any row is read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from toolbench.logs.names import Column
from toolbench.records.findings import Finding

Ratio = tuple[int, int]
Kind = Literal["number", "epoch", "stamp", "index", "rate", "unsettled"]

_ISO_CELL = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:\.\d{1,9})?Z?\Z")


@dataclass(frozen=True, slots=True)
class TimeSource:
    """One clock of a file. `ratio` is seconds in one unit, as a fraction.

    `columns` hold its parts in the order date, clock, part of a second, or year to second; `roles` says so. `others` are the other
    clocks that the file may hold: witnesses of a unit, or the better choice where this one turns out to step back.
    """

    kind: Kind
    label: str
    unit: str
    columns: tuple[Column, ...] = ()
    roles: tuple[str, ...] = ()
    ratio: Ratio = (1, 1)
    rate_hz: float = 0.0
    origin_s: int = 0
    """Seconds from 1970 to the zero of an epoch that counts from another year."""
    format: str | None = None
    zone: str | None = None
    spread: bool = False
    stated: bool = False
    named: bool = True
    """Whether the column's name says that it is the time."""
    findings: tuple[Finding, ...] = ()
    others: tuple[TimeSource, ...] = ()
    above: tuple[str, ...] = ()
    """Lines above the names: they may hold the date of a clock that has none."""

    @property
    def column(self) -> Column | None:
        """The first column, None where rows are counted."""
        return self.columns[0] if self.columns else None

    @property
    def needed(self) -> tuple[Column, ...]:
        """Every column that has to be read to settle the time."""
        found = {column.index: column for source in (self, *self.others) for column in source.columns}
        return tuple(found.values())

    @property
    def iso(self) -> tuple[int, ...]:
        """Position of the column when its stamps are ISO 8601 of one width as far as the head shows."""
        if self.kind != "stamp" or self.format or len(self.columns) != 1:
            return ()
        cells = [cell for cell in self.columns[0].sample if cell]
        plain = bool(cells) and all(len(cell) == len(cells[0]) and _ISO_CELL.match(cell) for cell in cells)
        return (self.columns[0].index,) if plain else ()


def numbers_of(column: Column) -> list[float]:
    """Numbers in the first cells of a column."""
    values = []
    for cell in column.sample:
        try:
            values.append(float(cell.strip('"').replace(",", ".")))
        except ValueError:
            continue
    return values


def label_of(columns: Sequence[Column]) -> str:
    """The name of a clock of one column or several, as written."""
    return " + ".join(column.written or column.name for column in columns)
