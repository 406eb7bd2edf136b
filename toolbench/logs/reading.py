"""`read_log`: one logger file as a `Log`. Every step is in a module of its own; this one puts them in order."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from toolbench.errors import RecordingError
from toolbench.files import digest
from toolbench.logs.clocks.clock import choose_time
from toolbench.logs.clocks.glued_clock import columns_to_read, find_glued
from toolbench.logs.clocks.seconds import judge_time, to_seconds
from toolbench.logs.columns.blank_runs import refuse_blank_runs
from toolbench.logs.columns.points import refuse_lost_points
from toolbench.logs.columns.sentinels import mark_missing
from toolbench.logs.columns.table import read_table
from toolbench.logs.columns.tables import Table, last_filled
from toolbench.logs.handed_over import to_dialect, wanted_columns
from toolbench.logs.kinds import is_no_text, suffix_differs
from toolbench.logs.large import blocks
from toolbench.logs.log import Log
from toolbench.logs.names import Column, name_columns, split_unit
from toolbench.logs.noticed import of_cells, of_dialect, of_rows
from toolbench.logs.source import HEAD_SIZES, Source, lost, open_source, refusal
from toolbench.logs.text.beside import like_clocks, refuse_side_by_side, refuse_unequal_ends
from toolbench.logs.text.encoding import Encoding, find_encoding
from toolbench.logs.text.layout import ENOUGH_ROWS, find_layout, goes_on
from toolbench.logs.text.shape import Layout
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn

LONGEST_LINE = 300_000
"""Characters: 30,000 columns of ten."""


def read_log(
    path: str | os.PathLike[str] | pd.DataFrame,
    *,
    logger: Logger | None = None,
    columns: Sequence[str] | None = None,
    group: str | None = None,
    budget: int | None = None,
    with_digest: bool = True,
) -> Log:
    """Read one recording, finding its dialect, its units and its time base.

    Parameters
    ----------
    path : str, path or DataFrame
        A file: text as loggers write it, Parquet, Feather or Arrow IPC, TDMS, MDF, or what an installed reader of others
        takes; told by its first bytes. Or a DataFrame, whose index may be the time: stamps, durations, or floats.
    logger : Logger, optional
        What is known about the logger; whatever it states is believed, the rest is found.
    columns : sequence of str, optional
        The columns wanted, each as in the file or without its bracketed unit. Default: all but the time.
    group : str, optional
        The group of channels that is meant in a file that holds several; also ``group`` of the logger.
    budget : int, optional
        Most bytes that the values of a large text file may take. Where they would take more, neighbouring rows are averaged in
        groups; `Log.thinned` then says how many and holds the lowest and highest value of each group.
    with_digest : bool
        Whether `Log.digest` is worked out, which costs one more pass over the bytes.

    Returns
    -------
    Log
        Values in the file's own units, rows as they stand; index `time_s` [s] from the first sample. Cells that are
        missing or unreadable are nan, each kind with a finding.

    Raises
    ------
    RecordingError
        The file cannot be read, can be read in two ways that differ, or is too large for one table; the message names the key
        that settles it.
    """
    try:
        return _read(path, logger, columns, group, budget, with_digest=with_digest)
    except OSError as error:
        if isinstance(path, pd.DataFrame):
            raise
        raise lost(path, error) from None


def _read(
    path: str | os.PathLike[str] | pd.DataFrame, logger: Logger | None, columns: Sequence[str] | None,
    group: str | None, budget: int | None, *, with_digest: bool,
) -> Log:  # fmt: skip
    if is_no_text(path):
        from toolbench.logs.doors.through import through_door

        door = through_door(path, logger=logger, columns=columns, group=group, with_digest=with_digest)
        if door is not None:
            return door
    assert not isinstance(path, pd.DataFrame)
    found = _found(path, logger, columns)
    if found.source.size > blocks.LARGE_BYTES:
        return blocks.read_in_blocks(found, columns, budget=budget, with_digest=with_digest)
    source, encoding, layout, every, clock = found.source, found.encoding, found.layout, found.every, found.clock
    overrides, stated, wanted, parted = found.overrides, found.stated, found.wanted, found.parted
    parsed = columns_to_read(wanted, clock, parted)
    refuse_blank_runs(source)
    table = read_table(source, encoding, layout, parsed, overrides.skip_lines, missing=overrides.missing)
    _refuse_doubtful(source, encoding, layout, table, parsed, stated)
    if parted:
        parted.part(table)
    timing = to_seconds(clock, table, file=source.name)
    clock, time_s = timing.source, timing.seconds
    wanted = wanted_columns(every, columns, clock, source.name)
    sentinels = mark_missing(table, wanted, overrides.missing)
    name = source.path.name
    base, odd = judge_time(time_s, table, clock, start=timing.start, file=name)
    findings = (
        *suffix_differs(source.path),
        *of_dialect(encoding, layout, every, name),
        *([parted.finding(name, layout.first_data_line)] if parted else []),
        *clock.findings,
        *timing.findings,
        *of_rows(table, clock, name),
        *of_cells(table, wanted, sentinels, name),
        *odd,
    )
    frame = pd.DataFrame({column.name: table.columns[column.index] for column in wanted}, copy=False)
    frame.index = pd.Index(time_s, name="time_s")
    known = digest(source.path) if with_digest else ""
    source.refuse_if_changed()
    return Log(
        data=frame,
        units={c.name: table.glued.get(c.index, "") or c.unit for c in wanted},
        names={column.name: column.written for column in wanted},
        time=base,
        dialect=to_dialect(encoding, layout, every, timing.first),
        findings=findings,
        digest=known,
        source=name,
    )


def large_columns(path: str | os.PathLike[str], *, logger: Logger | None = None) -> dict[str, str] | None:
    """Every column but the time of a large text file, by the name it has in a `Log` and as in the file, from its head alone.

    None for any other file: it is read whole, and its `Log` says. Raises RecordingError.
    """
    try:
        small = Path(path).stat().st_size <= blocks.LARGE_BYTES
    except (OSError, ValueError):
        return None
    if small or is_no_text(path):
        return None
    return {column.name: column.written for column in _found(path, logger, None).wanted}


def _found(path: str | os.PathLike[str], logger: Logger | None, columns: Sequence[str] | None) -> blocks.Found:
    """All that the head of a text file tells."""
    source = open_source(path)
    overrides = logger.dialect if logger else DialectOverrides()
    encoding, layout = look(source, overrides)
    every, parted = find_glued(
        name_columns(layout.names, layout.unit_row, layout.kinds, layout.samples, layout.glued), layout.decimal
    )
    stated = logger.time if logger else TimeColumn()
    _refuse_uncertain(layout, [*(columns or ()), *_stated_names(stated)], source.name)
    if not _stated_names(stated):
        refuse_side_by_side(every, source.name)
    clock = choose_time(every, stated, layout.preamble, file=source.name)
    return blocks.Found(
        source=source,
        encoding=encoding,
        layout=layout,
        every=every,
        clock=clock,
        wanted=wanted_columns(every, columns, clock, source.name),
        overrides=overrides,
        stated=stated,
        parted=parted,
    )


def look(source: Source, overrides: DialectOverrides) -> tuple[Encoding, Layout]:
    """Encoding and layout from as little of the head as shows enough rows."""
    for size in HEAD_SIZES:
        head = source.head(size)
        whole = len(head) >= source.size
        encoding = find_encoding(source, head, stated=overrides.encoding)
        text = encoding.decode(head).replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
        lines = text.split("\n")
        if len(lines) > 1 and (not whole or not lines[-1]):
            lines.pop()  # cut by the window, or what follows the last line end
        _refuse_long_lines(lines, overrides, source.name)
        if not whole and not text.strip(" \t\n\0\x1a"):
            if size == HEAD_SIZES[-1]:
                raise _begins_blank(len(lines), source.name)
            continue
        try:
            layout = find_layout(lines, overrides, file=source.name)
        except RecordingError:
            if whole or size == HEAD_SIZES[-1]:
                raise
            continue
        if whole or (layout.rows >= ENOUGH_ROWS and goes_on(layout, _last_lines(source, encoding))):
            break
    return encoding, layout


def _refuse_long_lines(lines: Sequence[str], overrides: DialectOverrides, file: str) -> None:
    """Refuse a line that is no line of a table before its cells are looked at, of which there may be millions."""
    skipped = set(overrides.skip_lines)
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_LINE and number not in skipped:
            raise refusal(
                file,
                f"holds more than {LONGEST_LINE} characters in this line: no line of a table with one sample in each "
                "is that long",
                line=number,
                mend="export it with one sample in each line, or name the lines to leave out with `skip_lines`",
            )


def _begins_blank(count: int, file: str) -> RecordingError:
    return refusal(
        file,
        f"begins with more than {count} blank lines; what stands behind them is not looked at",
        mend="leave the blank lines out in a copy of the file, or export it again from the logger",
    )


def _stated_names(stated: TimeColumn) -> list[str]:
    """Columns of time that the user names."""
    column = stated.column
    return [] if column is None else [column] if isinstance(column, str) else list(column)


def _refuse_uncertain(layout: Layout, asked: Sequence[str], file: str) -> None:
    """Refuse a column that is asked for by a name that cannot be told to belong to one column."""
    for name in asked:
        if any(name.strip() == known or split_unit(name)[0] == split_unit(known)[0] for known in layout.uncertain):
            found = next(finding for finding in layout.findings if finding.code == "header-misaligned")
            raise refusal(
                file,
                f"cannot tell which column {name!r} is: its header {found.message}",
                line=found.line,
                key="header_line",
                mend=found.mend,
            )


def _refuse_doubtful(
    source: Source, encoding: Encoding, layout: Layout, table: Table, parsed: Sequence[Column], stated: TimeColumn
) -> None:
    """Refuse what the whole file shows: decimal points lost in some cells, runs of different length side by side."""
    refuse_lost_points(source, encoding, layout, table, parsed)
    if not _stated_names(stated):
        clocks = [column for column in like_clocks(parsed) if isinstance(table.columns[column.index], np.ndarray)]
        ends = [(column, last_filled(table.columns[column.index])) for column in clocks]
        refuse_unequal_ends([(column, rows) for column, rows in ends if rows], source.name)  # no value, no run


def _last_lines(source: Source, encoding: Encoding) -> list[str]:
    """The last lines of the file, to see whether the rows found in its head go on."""
    even = source.tail[(source.size - len(source.tail)) % 2 :]
    return encoding.decode(even[-16_384:]).replace("\r", "\n").split("\n")[1:]
