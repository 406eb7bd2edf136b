"""`read_log`: one logger file as a `Log`. Every step is in a module of its own; this one puts them in order."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from toolbench.files import digest
from toolbench.logs.clock import choose_time
from toolbench.logs.doors import suffix_differs, through_door
from toolbench.logs.encoding import Encoding, find_encoding
from toolbench.logs.layout import ENOUGH_ROWS, Layout, find_layout
from toolbench.logs.log import Log
from toolbench.logs.names import Column, find_column, name_columns
from toolbench.logs.seconds import count_text, judge_time, lines_text, to_seconds
from toolbench.logs.source import HEAD_SIZES, Source, open_source
from toolbench.logs.table import Table, read_table
from toolbench.logs.timesource import TimeSource
from toolbench.records.findings import Finding
from toolbench.records.runs import Dialect
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn


def read_log(
    path: str | os.PathLike[str] | pd.DataFrame,
    *,
    logger: Logger | None = None,
    columns: Sequence[str] | None = None,
    group: str | None = None,
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
        The file cannot be read, or can be read in two ways that differ; the message names the key that settles it.
    """
    door = through_door(path, logger=logger, columns=columns, group=group, with_digest=with_digest)
    if door is not None:
        return door
    assert not isinstance(path, pd.DataFrame)
    source = open_source(path)
    overrides = logger.dialect if logger else DialectOverrides()
    encoding, layout = _look(source, overrides)
    every = name_columns(layout.names, layout.unit_row, layout.kinds, layout.samples)
    clock = choose_time(every, logger.time if logger else TimeColumn(), layout.preamble, file=source.name)
    wanted = _wanted(every, columns, clock, source.name)
    parsed = [*wanted, *(column for column in clock.needed if column not in wanted)]
    table = read_table(source, encoding, layout, parsed, overrides.skip_lines)
    timing = to_seconds(clock, table, file=source.name)
    clock, time_s = timing.source, timing.seconds
    wanted = _wanted(every, columns, clock, source.name)
    name = source.path.name
    base, odd = judge_time(time_s, table, clock, start=timing.start, file=name)
    findings = (
        *suffix_differs(source.path),
        *_of_dialect(encoding, layout, every, name),
        *clock.findings,
        *timing.findings,
        *_of_rows(table, clock, name),
        *_of_cells(table, wanted, name),
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
        dialect=_dialect(encoding, layout, every, timing.first),
        findings=findings,
        digest=known,
        source=name,
    )


def _look(source: Source, overrides: DialectOverrides) -> tuple[Encoding, Layout]:
    """Encoding and layout from as little of the head as shows enough rows."""
    from toolbench.errors import RecordingError

    for size in HEAD_SIZES:
        head = source.head(size)
        whole = len(head) >= source.size
        encoding = find_encoding(source, head, stated=overrides.encoding)
        text = encoding.decode(head).replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
        lines = text.split("\n")
        if len(lines) > 1 and (not whole or not lines[-1]):
            lines.pop()  # cut by the window, or what follows the last line end
        try:
            layout = find_layout(lines, overrides, file=source.name)
        except RecordingError:
            if whole or size == HEAD_SIZES[-1]:
                raise
            continue
        if whole or layout.rows >= ENOUGH_ROWS:
            break
    return encoding, layout


def _wanted(every: Sequence[Column], asked: Sequence[str] | None, clock: TimeSource, file: str) -> list[Column]:
    """The columns to hand over, in file order: those asked for, or all that have a name or a value."""
    if asked is not None:
        found = {find_column(every, name, file=file, key="channels").index for name in asked}
        return [column for column in every if column.index in found]
    return [column for column in every if column not in clock.columns and (column.kind != "empty" or column.written)]


def _dialect(encoding: Encoding, layout: Layout, every: Sequence[Column], first: str) -> Dialect:
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


def _of_dialect(encoding: Encoding, layout: Layout, every: Sequence[Column], file: str) -> Iterator[Finding]:
    if encoding.guessed:
        yield _note(
            "encoding-inferred", f"the file has no mark of its encoding; {encoding.name} gives plausible text", file
        )
    if encoding.undecodable:
        yield _note(
            "undecodable-bytes", f"{encoding.undecodable} bytes are no {encoding.name} and shown as U+FFFD", file
        )
    if layout.header_line is None:
        yield Finding(
            code="no-header",
            severity="doubtful",
            kind="data",
            message="no line of names stands above the rows; columns are called by their position",
            mend="state `header_line` if there is one",
            file=file,
            line=layout.first_data_line,
        )
    twice = [
        column.name for column in every if column.name.endswith(")") and column.written and _is_second(column, every)
    ]
    if twice:
        yield _note("duplicate-names", f"names that occur before are numbered: {', '.join(map(repr, twice))}", file)


def _is_second(column: Column, every: Sequence[Column]) -> bool:
    stem = column.name.rpartition(" (")[0]
    return any(other.name == stem and other.index < column.index for other in every)


def _of_rows(table: Table, clock: TimeSource, file: str) -> Iterator[Finding]:
    """Lines that are no row: left out, and said."""
    if table.dropped:
        counted = clock.kind == "rate"  # then every row that is left out moves all later ones
        yield Finding(
            code="rows-dropped",
            severity="wrong" if counted else "doubtful",
            kind="data",
            message=f"{count_text(len(table.dropped), 'line')} among the rows cannot be read as a row, left out: "
            f"{lines_text(table.dropped)}"
            + ("; the time is counted by rows, so it is wrong from there on" if counted else ""),
            mend="record the run again" if counted else "look at these lines; the rows around them stand as they are",
            file=file,
            line=table.dropped[0],
        )
    if table.footer:
        yield _note(
            "footer", f"lines behind the last row are left out: {lines_text(table.footer)}", file, table.footer[0]
        )
    if table.blank:
        yield _note(
            "blank-lines",
            f"blank lines among the rows are passed over: {lines_text(table.blank)}",
            file,
            table.blank[0],
        )
    if table.cut is not None:
        yield _note("cut-last-row", "the file ends inside its last row, which is left out", file, table.cut)


def _of_cells(table: Table, wanted: Sequence[Column], file: str) -> Iterator[Finding]:
    """Cells of numbers that hold none: missing, unreadable or infinite."""
    for column in wanted:
        bad = table.unreadable.get(column.index, [])
        if bad:
            line, cell = bad[0]
            yield Finding(
                code="cells-unreadable",
                severity="doubtful",
                kind="data",
                message=f"{count_text(len(bad), 'cell')} of {column.name!r} without a readable number, taken as missing: "
                f"{lines_text([line for line, _ in bad])}, the first is {cell!r}",
                mend="correct a copy of the file, or state `decimal` if the decimal mark was taken wrongly",
                file=file,
                line=line,
            )
        values = table.columns[column.index]
        if isinstance(values, np.ndarray) and values.dtype.kind == "f":
            missing = np.flatnonzero(np.isnan(values))
            if len(missing) > len(bad):
                broken = {line for line, _ in bad}
                line = next((n for n in map(table.line, missing) if n not in broken), table.line(int(missing[0])))
                yield _note(
                    "cells-missing",
                    f"{count_text(len(missing) - len(bad), 'cell')} of {column.name!r} without a value",
                    file,
                    line,
                )
        if column.index in table.glued:
            yield _note(
                "units-glued", f"every number of {column.name!r} carries its unit {table.glued[column.index]!r}", file
            )


def _note(code: str, message: str, file: str, line: int | None = None) -> Finding:
    return Finding(code=code, severity="note", kind="data", message=message, file=file, line=line)
