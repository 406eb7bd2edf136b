"""What is odd about a file that is read piece by piece, gathered so that the findings read as for a small one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbench.logs.clocks.seconds import GAP, count_text, of_steps
from toolbench.logs.columns.sentinels import Marked, Sentinels, is_far
from toolbench.logs.columns.tables import Table, last_filled
from toolbench.logs.names import Column
from toolbench.logs.noticed import note
from toolbench.logs.source import refusal
from toolbench.logs.text.beside import like_clocks, refuse_unequal_ends
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, TimeBase

if TYPE_CHECKING:
    from toolbench.logs.large.blocks import Found

MOST_LISTED = 100_000
"""Odd lines and cells of one kind that are kept; of more of them, so many are told."""


@dataclass(slots=True)
class Oddities:
    """Lines, cells and steps so far. `first_line` is the line of the first row."""

    first_line: int
    base: TimeBase = field(default_factory=lambda: TimeBase(source="", unit="", median_interval_s=0.0, rate_hz=0.0))
    """Of the first piece; its interval is what a gap is measured by."""
    sentinels: Sentinels = field(default_factory=Sentinels)
    of_clock: tuple[Finding, ...] = ()
    _table: Table = field(default_factory=lambda: Table({}, 0, 1))
    _missing: dict[int, tuple[int, int]] = field(default_factory=dict)
    """Count and first line of the cells without a value, by column."""
    empty: dict[int, int] = field(default_factory=dict)
    """Cells that are nan for whatever reason, by column."""
    _rest: dict[int, tuple[float, float]] = field(default_factory=dict)
    """Lowest and highest of the values that are none of the sentinels, by column."""
    _ends: dict[int, int] = field(default_factory=dict)
    """Rows up to the last one with a value, for columns that could be clocks of their own."""
    _rows: int = 0
    _gaps: list[tuple[int, float]] = field(default_factory=list)
    _repeats: list[int] = field(default_factory=list)
    _back: list[int] = field(default_factory=list)
    _smallest: float = np.inf
    _largest: float = -np.inf
    last_s: float | None = None
    _again: dict[str, int] = field(default_factory=dict)
    _overflow: bool = False

    def note_rows(self, table: Table, *, is_last: bool) -> None:
        """Lines that are no rows. What would be a footer ends the file only behind its last piece."""
        if is_last:
            self._extend(self._table.footer, table.footer)
            self._table.cut = table.cut
        else:
            table.dropped = sorted([*table.dropped, *table.footer])
        self._extend(self._table.dropped, table.dropped)
        self._extend(self._table.blank, table.blank)
        self._table.zeros += table.zeros
        self._rows += table.rows

    def note_cells(self, table: Table, wanted: Sequence[Column], found: Sentinels) -> None:
        """Cells without a number, and numbers that mean "no value"."""
        for index, bad in table.unreadable.items():
            self._extend(self._table.unreadable.setdefault(index, []), bad)
        self._table.glued.update(table.glued)
        for marked in (*found.marked, *found.kept):
            self._merge(self.sentinels.marked if marked in found.marked else self.sentinels.kept, marked)
        for column in wanted:
            values = table.columns[column.index]
            if isinstance(values, np.ndarray) and values.dtype.kind in "iuf" and len(values):
                self._note_values(column.index, values, table, found)

    def _note_values(self, index: int, values: Any, table: Table, found: Sentinels) -> None:
        low, high = table.extremes.get(index) or (float(np.fmin.reduce(values)), float(np.fmax.reduce(values)))
        before = self._rest.get(index, (np.inf, -np.inf))
        if low == low:
            self._rest[index] = (min(low, before[0]), max(high, before[1]))
        if values.dtype.kind != "f" or index in table.extremes:
            return
        missing = np.flatnonzero(np.isnan(values))
        self.empty[index] = self.empty.get(index, 0) + len(missing)
        told = {line for line, _ in table.unreadable.get(index, ())}
        told.update(line for marked in found.marked if marked.column.index == index for line in marked.lines)
        if len(missing) > len(told):
            count, line = self._missing.get(index, (0, 0))
            first = line or next((n for n in map(table.line, missing) if n not in told), table.line(int(missing[0])))
            self._missing[index] = (count + len(missing) - len(told), first)

    def _merge(self, listed: list[Marked], marked: Marked) -> None:
        for known in listed:
            if (known.column.index, known.value) == (marked.column.index, marked.value):
                self._extend(known.lines, marked.lines)
                return
        listed.append(marked)

    def note_time(self, table: Table, seconds: Floats) -> None:
        """Steps of the time that are none, back, or long."""
        if not len(seconds):
            return
        steps = np.diff(seconds) if self.last_s is None else np.diff(seconds, prepend=self.last_s)
        self.last_s = float(seconds[-1])
        if not len(steps):
            return
        ahead = table.rows - len(steps)
        smallest, largest = float(steps.min()), float(steps.max())
        self._smallest, self._largest = min(self._smallest, smallest), max(self._largest, largest)
        if largest > GAP * self.base.median_interval_s > 0:
            late = np.flatnonzero(steps > GAP * self.base.median_interval_s)
            self._extend(self._gaps, [(table.line(row + ahead), float(steps[row])) for row in late])
        if smallest <= 0:
            self._extend(self._repeats, [table.line(row + ahead) for row in np.flatnonzero(steps == 0)])
            self._extend(self._back, [table.line(row + ahead) for row in np.flatnonzero(steps < 0)])

    def note_clock(self, findings: Sequence[Finding]) -> None:
        """What the clock noticed in a later piece: the first of each kind is told."""
        for finding in findings:
            if any(known.code == finding.code for known in self.of_clock):
                self._again[finding.code] = self._again.get(finding.code, 0) + 1
            else:
                self.of_clock += (finding,)

    def note_ends(self, table: Table, parsed: Sequence[Column], rows: int) -> None:
        """Where columns that look like clocks end."""
        for column in like_clocks(parsed):
            values = table.columns[column.index]
            if isinstance(values, np.ndarray):
                last = last_filled(values)
                self._ends[column.index] = rows + last if last else self._ends.get(column.index, 0)

    def refuse_unsettled(self, found: Found) -> None:
        """Refuse what only the whole file shows: runs side by side, a number that means "no value" in some places only."""
        if found.stated.column is None:
            clocks = [
                (column, rows) for column in found.every if (rows := self._ends.get(column.index))
            ]  # no value, no run
            refuse_unequal_ends(clocks, found.source.name)
        for marked in self.sentinels.marked:
            rest = self._rest.get(marked.column.index)
            if not marked.stated and rest is not None and not is_far(marked.value, rest, self._rows):
                raise refusal(
                    found.source.name,
                    f'column {marked.column.name!r} holds {marked.value:g}, which means "no value" among the numbers around '
                    f"line {marked.lines[0]} and can be one among others ({rest[0]:g} to {rest[1]:g})",
                    line=marked.lines[0],
                    key="missing",
                    mend=f'state `missing = ["{marked.value:g}"]` for this logger, or `missing = []` where it was measured',
                )
            marked.rest = rest if not marked.stated else None

    def table_of(self, values: dict[int, Any]) -> Table:
        """A table without values, for the sentences about rows and cells."""
        return replace(self._table, columns={index: np.empty(0) for index in values}, first_line=self.first_line)

    def of_missing(self, wanted: Sequence[Column], file: str) -> Iterator[Finding]:
        """Cells without a value."""
        for column in wanted:
            if column.index in self._missing:
                count, line = self._missing[column.index]
                yield note(
                    "cells-missing", f"{count_text(count, 'cell')} of {column.name!r} without a value", file, line
                )

    def judge_time(self, rows: int, file: str) -> tuple[TimeBase, tuple[Finding, ...]]:
        """The time base over all pieces, and what is odd about it."""
        interval = self.base.median_interval_s
        if self._smallest > 0 and self._largest - self._smallest <= 0.02 * self._smallest and self.last_s is not None:
            interval = self.last_s / (rows - 1)
        base = replace(
            self.base,
            median_interval_s=interval,
            rate_hz=1 / interval if interval > 0 else float("nan"),
            gaps=tuple(self._gaps),
            repeats=tuple(self._repeats),
            steps_back=tuple(self._back),
        )
        return base, (*of_steps(base, np.array([self._smallest]), file), *self._of_bounds(file))

    def _of_bounds(self, file: str) -> Iterator[Finding]:
        for code, count in self._again.items():
            yield note(code, f"the same was noticed in {count_text(count, 'later piece')} of the file", file)
        if self._overflow:
            yield Finding(
                code="too-many-to-list",
                severity="doubtful",
                kind="data",
                message=f"more than {MOST_LISTED} lines, cells or steps of one kind are odd; so many are counted and no more",
                mend="look at the file, or record the run again",
                file=file,
            )

    def _extend(self, listed: list[Any], more: Sequence[Any]) -> None:
        room = MOST_LISTED - len(listed)
        self._overflow |= len(more) > room
        listed.extend(more[: max(room, 0)])
