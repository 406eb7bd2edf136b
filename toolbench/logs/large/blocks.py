"""A large text file read piece by piece by the same rules as a small one, within bounds of memory.

Whatever is found about a row or a cell is found as in a small file, with its line. Three things are judged on the first piece
instead of on all rows: which column is the time and in which unit, the interval that a gap is measured by, and how many rows
there are about.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from toolbench.errors import RecordingError
from toolbench.files import digest
from toolbench.logs.clocks.glued_clock import Glued, columns_to_read
from toolbench.logs.clocks.seconds import Timing, judge_time, to_seconds
from toolbench.logs.clocks.standstill import find_standstills, of_standstills
from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.columns.end_apart import begun_anew
from toolbench.logs.columns.points import refuse_lost_points
from toolbench.logs.columns.ragged import holds_numbers
from toolbench.logs.columns.sentinels import mark_missing
from toolbench.logs.columns.table import decoded, read_table
from toolbench.logs.columns.tables import Table
from toolbench.logs.handed_over import to_dialect, wanted_columns
from toolbench.logs.kinds import suffix_differs
from toolbench.logs.large.oddities import Oddities
from toolbench.logs.large.pieces import Piece, read_pieces
from toolbench.logs.large.thinning import TIME, Collected
from toolbench.logs.log import Log, Thinned
from toolbench.logs.names import Column
from toolbench.logs.noticed import note, of_cells, of_dialect, of_rows
from toolbench.logs.source import Source, refusal
from toolbench.logs.text.encoding import Encoding
from toolbench.logs.text.shape import Layout
from toolbench.records.runs import Floats
from toolbench.records.settings import DialectOverrides, TimeColumn

LARGE_BYTES = 100_000_000
"""A text file of more bytes than this is read in pieces."""

TABLE_BYTES = 4_000_000_000
"""A table that needs more memory than this is refused."""

AVERAGED_SHARE = 2 / 3
"""Averages take this share of the budget: where samples are lost anyhow, memory counts for more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What the head of a file tells: all that is known before rows are read."""

    source: Source
    encoding: Encoding
    layout: Layout
    every: Sequence[Column]
    clock: TimeSource
    wanted: Sequence[Column]
    overrides: DialectOverrides
    stated: TimeColumn
    parted: Glued | None = None


def read_in_blocks(found: Found, columns: Sequence[str] | None, *, budget: int | None, with_digest: bool) -> Log:
    """The recording as `read_log` gives it; with a budget, averaged in groups of rows so that its arrays fit.

    Raises
    ------
    RecordingError
        As `read_log`; and without a budget, the table would need more than `TABLE_BYTES`.
    """
    reader = _Reader(found, columns, budget)
    for piece, encoding in read_pieces(found.source, found.encoding):
        reader.take(piece, encoding)
    name = found.source.path.name
    base, odd = reader.odd.judge_time(reader.collected.rows, name)
    reader.odd.refuse_unsettled(found)
    known = digest(found.source.path) if with_digest else ""
    found.source.refuse_if_changed()
    every, rows = reader.collected.every, reader.collected.rows
    values, low, high = reader.collected.finish()
    time = pd.Index(values.pop(TIME), name="time_s")

    def frame(columns: dict[int, Any]) -> pd.DataFrame:
        made = pd.DataFrame({c.name: columns[c.index] for c in reader.wanted if c.index in columns}, copy=False)
        made.index = time
        return made

    thinned = None
    if every > 1:
        missing = {c.name: reader.odd.empty.get(c.index, 0) for c in reader.wanted}
        last_s = reader.odd.last_s or 0.0
        thinned = Thinned(every=every, rows=rows, low=frame(low), high=frame(high), missing=missing, last_s=last_s)
        message = f"the file is too large to be held whole: of {rows} rows every {every} neighbours are averaged"
        odd = (*odd, note("rows-averaged", message, name))
    table, clock = reader.odd.table_of(values), reader.timing.source
    return Log(
        data=frame(values),
        units={c.name: table.glued.get(c.index, "") or c.unit for c in reader.wanted},
        names={column.name: column.written for column in reader.wanted},
        time=base,
        dialect=to_dialect(found.encoding, found.layout, found.every, reader.timing.first),
        findings=(
            *suffix_differs(found.source.path),
            *of_dialect(found.encoding, found.layout, found.every, name),
            *([found.parted.finding(name, found.layout.first_data_line)] if found.parted else []),
            *clock.findings,
            *reader.odd.of_clock,
            *of_rows(table, clock, name),
            *of_cells(table, reader.wanted, reader.odd.sentinels, name),
            *reader.odd.of_missing(reader.wanted, name),
            *odd,
        ),
        digest=known,
        source=found.source.name,
        thinned=thinned,
    )


class _Reader:
    """Takes the pieces one after the other."""

    def __init__(self, found: Found, columns: Sequence[str] | None, budget: int | None) -> None:
        self.found = found
        self.columns = columns
        self.budget = budget
        self.wanted = found.wanted
        self.parsed = columns_to_read(found.wanted, found.clock, found.parted)
        self.timing: Timing
        self.collected = Collected()
        self.odd = Oddities(found.layout.first_data_line)
        self._before: dict[int, Any] = {}
        """Cells of the row that later pieces count their time from, `_base_s` after the first sample."""
        self._base_s = 0.0

    def take(self, piece: Piece, encoding: Encoding) -> None:
        """Read one piece, and collect its rows and what is odd about them."""
        found, first = self.found, piece.first_line == 1
        layout = found.layout if first else _continued(found.layout)
        skip = [line - piece.first_line + 1 for line in found.overrides.skip_lines if line >= piece.first_line]
        columns = self.parsed if first else begun_anew(self.parsed, piece.data, encoding, layout)
        missing = found.overrides.missing
        try:
            table = read_table(piece, encoding, layout, columns, skip, missing=missing)
        except RecordingError as error:
            raise _moved(error, piece.first_line - 1) from None
        if table.footer and not piece.is_last:
            _refuse_second_table(piece, encoding, layout, table)
        _move(table, piece.first_line - 1)
        refuse_lost_points(piece, encoding, layout, table, columns)
        self.odd.note_ends(table, self.parsed, self.collected.rows)
        if found.parted:
            found.parted.part(table)
        seconds = self._begin(table, piece) if first else self._go_on(table)
        self.odd.note_cells(table, self.wanted, mark_missing(table, self.wanted, missing))
        self.odd.note_rows(table, is_last=piece.is_last)
        self.odd.note_time(table, seconds)
        stills = find_standstills(seconds, table, self.timing.source)
        self.odd.note_clock(of_standstills(stills, table, self.found.source.name))
        self.collected.add({TIME: seconds, **{c.index: table.columns[c.index] for c in self.wanted}})

    def _begin(self, table: Table, piece: Piece) -> Floats:
        file = self.found.source.name
        self.timing = timing = to_seconds(self.found.clock, table, file=file)
        if timing.source.spread:
            raise refusal(
                file,
                f"equal stamps are spread in files of up to {LARGE_BYTES / 1e6:.0f} MB, and this one has {self.found.source.size / 1e6:.0f}",
                key="time",
                mend="record each run in a file of its own, or leave `spread` out",
            )
        self.wanted = wanted_columns(self.found.every, self.columns, timing.source, file)
        self.odd.base, _ = judge_time(timing.seconds, table, timing.source, start=timing.start, file=file)
        self.odd.of_clock += timing.findings
        self._remember(table, timing.seconds, first=True)
        self.collected.every = self._every(table.rows * self.found.source.size / piece.size)
        return timing.seconds

    def _every(self, rows: float) -> int:
        """How many rows make a group: one where all of them fit."""
        wanted = len(self.wanted)
        if self.budget is None:
            needed = 8 * rows * (wanted + 1)
            if needed > TABLE_BYTES:
                raise refusal(
                    self.found.source.name,
                    f"holds about {rows / 1e6:.0f} million rows of {wanted} columns, a table of {needed / 1e9:.1f} GB",
                    mend="name the columns wanted with columns=[...], or let a season reduce it, which reads it piece by piece",
                )
            return 1
        # Once as they are; averaged, each column has its lowest and highest too.
        if 8 * rows * (wanted + 1) <= self.budget:
            return 1
        return max(2, int(np.ceil(8 * rows * (3 * wanted + 1) / (AVERAGED_SHARE * self.budget))))

    def _remember(self, table: Table, seconds: Floats, *, first: bool = False) -> None:
        """A row that the next piece counts its time from: numbers from the very first, a clock without a date from the last."""
        source = self.timing.source
        if not len(seconds) or not (first or source.kind == "stamp"):
            return
        row = len(seconds) - 1 if source.kind == "stamp" else 0
        self._base_s = float(seconds[row])
        self._before = {c.index: table.columns[c.index][row : row + 1] for c in source.columns}

    def _go_on(self, table: Table) -> Floats:
        """Seconds of a later piece: read with a row of an earlier one in front, whose seconds are known."""
        source = replace(self.timing.source, others=(), above=())
        if not self._before:
            begun = self.collected.rows
            return np.arange(begun, begun + table.rows) / source.rate_hz
        offsets = np.arange(table.rows, dtype=np.int64) if table.kept is None else table.kept
        columns = {index: _in_front(cell, table.columns[index]) for index, cell in self._before.items()}
        longer = Table(columns, table.rows + 1, table.first_line, kept=np.append(-1, offsets))
        timing = to_seconds(source, longer, file=self.found.source.name)
        assert longer.kept is not None
        if longer.rows <= table.rows:
            table.keep(np.isin(offsets, longer.kept[1:], assume_unique=True))
        self.odd.note_clock(timing.findings)
        seconds = np.asarray(timing.seconds[1:] + self._base_s)
        self._remember(table, seconds)
        return seconds


def _continued(layout: Layout) -> Layout:
    """The layout of a later piece: rows from its first line on."""
    return replace(layout, first_data_line=1, header_line=None, unit_line=None, preamble=())


def _move(table: Table, lines: int) -> None:
    """Count the table's lines from the beginning of the file."""
    if not lines:
        return
    table.first_line += lines
    for listed in (table.dropped, table.footer, table.blank):
        listed[:] = [line + lines for line in listed]
    table.cut = None if table.cut is None else table.cut + lines
    table.unreadable = {i: [(line + lines, cell) for line, cell in bad] for i, bad in table.unreadable.items()}


def _moved(error: RecordingError, lines: int) -> RecordingError:
    """A refusal of a piece with its line in the file; what it counts, it counts in the piece."""
    return RecordingError(
        [
            replace(fault, line=fault.line + lines, message=f"{fault.message} (counted in a part of the file)")
            if lines and fault.line is not None
            else fault
            for fault in error.faults
        ]
    )


def _in_front(cell: Any, values: Any) -> Any:
    if isinstance(cell, np.ndarray) and isinstance(values, np.ndarray):
        return np.concatenate((cell, values))
    return pd.concat([pd.Series(cell), pd.Series(values)], ignore_index=True)


def _refuse_second_table(piece: Piece, encoding: Encoding, layout: Layout, table: Table) -> None:
    """Rows of numbers behind names of their own, in the middle of a file: where they end cannot be told from one piece."""
    lines = decoded(piece, encoding).split("\n")
    if any(holds_numbers(lines[line - 1], layout) for line in table.footer):
        raise refusal(
            piece.name,
            "a second table begins in this line",
            line=table.footer[0] + piece.first_line - 1,
            mend="export one table per file",
        )
