"""Recordings that are no text - Parquet, Arrow, TDMS, MDF, a DataFrame, a reader of others - as the same `Log` as a CSV.

Rows count from 1, and a finding's `line` is the row. The time base is found by the same rules as in text.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path

import pandas as pd

from toolbench.errors import RecordingError
from toolbench.files import digest
from toolbench.logs.clocks.clock import choose_time
from toolbench.logs.clocks.seconds import judge_time, to_seconds
from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.columns.sentinels import mark_missing
from toolbench.logs.columns.tables import Table
from toolbench.logs.doors.frames import NAME, content_digest, frame_parts
from toolbench.logs.doors.plain import Plain, UnfitError, plain
from toolbench.logs.doors.recorded import Part, Recorded
from toolbench.logs.doors.rows import dialect_stated, doubtful_file, remarks, renamed, rows_dropped, said_of_rows
from toolbench.logs.kinds import OWN_SUFFIXES, find_container, suffix_differs
from toolbench.logs.log import Log
from toolbench.logs.names import Column, find_column, name_columns, split_unit
from toolbench.logs.noticed import note, of_cells
from toolbench.logs.source import Source, open_source, refusal
from toolbench.records.findings import Finding
from toolbench.records.runs import Dialect, TimeBase
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn

RATES_AGREE = 0.01


def through_door(
    path: str | os.PathLike[str] | pd.DataFrame,
    *,
    logger: Logger | None,
    columns: Sequence[str] | None,
    group: str | None,
    with_digest: bool,
) -> Log | None:
    """The recording as a Log, or None where the file is text.

    Raises
    ------
    RecordingError
        The file is damaged, of a kind that is not read, holds several tables, or its time cannot be told.
    """
    if isinstance(path, pd.DataFrame):
        return _read(frame_parts(path), NAME, None, logger, columns, group, with_digest=with_digest)
    if not isinstance(path, (str, os.PathLike)):
        kind = type(path).__name__
        raise refusal(f"a {kind}", "is no recording", mend="give the path of a file, or a DataFrame of pandas")
    where = Path(path)
    container = find_container(where)
    if container is not None:
        _refuse_beyond(where, container.name, where.stat().st_size)
    parts = container.parts(where) if container else ()
    if container is None or not (parts or container.suffixes in _OWN):
        return None
    source = open_source(where)
    if not parts:
        raise refusal(source.name, f"is {container.name}, and holds no channel with a value", mend="record it again")
    log = _read(parts, source.name, source, logger, columns, group, with_digest=with_digest)
    odd = suffix_differs(where, log.dialect.container, container.suffixes)
    return replace(log, findings=(*odd, *log.findings)) if odd else log


WHOLE_BYTES = 2_000_000_000
"""A file that is no text is held whole while it is read; a larger one is refused."""


def _refuse_beyond(where: Path, name: str, size: int) -> None:
    if size > WHOLE_BYTES:
        raise refusal(
            str(where),
            f"holds {size / 1e9:.1f} GB of {name}, and at most {WHOLE_BYTES / 1e9:.0f} GB are read at once",
            mend="export the part that is needed, or the recording as CSV, which is read piece by piece",
        )


_OWN = {container.suffixes for container in OWN_SUFFIXES.values()}


def _read(
    parts: Sequence[Part], file: str, source: Source | None, logger: Logger | None, columns: Sequence[str] | None,
    group: str | None, *, with_digest: bool,
) -> Log:  # fmt: skip
    name = source.path.name if source else file
    stated = group if group is not None else (logger.dialect.group if logger else None)
    part = _choose(parts, stated, _asked(logger, columns), file)
    recorded = part.load()
    dialect = logger.dialect if logger else DialectOverrides()
    found, left_out = _columns(recorded, dialect, file, name)
    every = tuple(column for column, _ in found)
    cells = {column.index: one for column, one in found}
    if not every:
        raise refusal(file, "holds no column that can be kept", mend=left_out[0].message if left_out else None)
    rows = len(recorded.columns[0].values)
    held = Table({index: one.values for index, one in cells.items()}, rows, 1)
    held.unreadable = {
        i: [(row + 1, cell) for row, cell in one.unreadable] for i, one in cells.items() if one.unreadable
    }
    try:
        clock = _clock(recorded, every, _time_stated(logger, every, cells), file)
        timing = to_seconds(clock, held, file=file)
        clock, time_s = timing.source, timing.seconds
        base, odd = judge_time(time_s, held, clock, start=timing.start or recorded.start, file=name)
        _refuse_two_rates(recorded, clock, base, logger, file)
    except RecordingError as error:
        raise said_of_rows(error) from None
    wanted = _wanted(every, columns, clock, file, left_out)
    sentinels = mark_missing(held, wanted, dialect.missing)
    frame = pd.DataFrame({column.name: held.columns[column.index] for column in wanted}, copy=False)
    frame.index = pd.Index(time_s, name="time_s")
    findings = (
        *(doubtful_file(said, name) for said in recorded.doubts),
        *(note("read-as", remark, name) for remark in recorded.remarks),
        *([note("group-chosen", _chosen(part, parts), name)] if len(parts) > 1 else []),
        *dialect_stated(logger, recorded.container, name),
        *left_out,
        *renamed(every, name),
        *clock.findings,
        *timing.findings,
        *rows_dropped(held, clock, name),
        *of_cells(held, wanted, sentinels, name),
        *remarks(wanted, cells, name),
        *odd,
    )
    known = _digest(source, every, cells) if with_digest else ""
    if source:
        source.refuse_if_changed()
    return Log(
        data=frame,
        units={column.name: column.unit for column in wanted},
        names={column.name: column.written for column in wanted},
        time=base,
        dialect=_dialect(recorded, part, every, timing.first),
        findings=tuple(said_of_rows(finding) for finding in findings),
        digest=known,
        source=name,
    )


def _digest(source: Source | None, every: Sequence[Column], cells: dict[int, Plain]) -> str:
    return digest(source.path) if source else content_digest(every, [cells[column.index].values for column in every])


def _dialect(recorded: Recorded, part: Part, every: Sequence[Column], first: str) -> Dialect:
    extra = {"group": part.label} if part.label else {}
    return Dialect(
        encoding="",
        delimiter="",
        decimal="",
        header_line=None,
        unit_line=None,
        first_data_line=1,
        columns=tuple(column.written for column in every),
        preamble=recorded.metadata,
        extra=extra | ({"time_of_first_row": first} if first else {}),
        container=recorded.container,
    )


def _asked(logger: Logger | None, columns: Sequence[str] | None) -> list[str]:
    """Every column that the user names, to tell by them which table of a file is meant."""
    named = list(columns or ())
    if logger:
        named += [channel.column for channel in logger.channels.values()]
        time = logger.time.column
        named += [time] if isinstance(time, str) else list(time or ())
    return list(dict.fromkeys(named))


def _choose(parts: Sequence[Part], stated: str | None, asked: Sequence[str], file: str) -> Part:
    """The one table of a file, the one that is stated, or the only one that holds every column asked for."""
    labels = [part.label for part in parts]
    if stated is not None and any(labels):
        found = [part for part in parts if part.label == stated]
        if not found:
            near = get_close_matches(stated, labels, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"it holds {_listed(labels)}"
            raise refusal(file, f"holds no group {stated!r}", key="group", mend=hint)
        return found[0]
    if len(parts) == 1:
        return parts[0]
    fitting = [part for part in parts if asked and all(_holds(part, name) for name in asked)]
    if len(fitting) == 1:
        return fitting[0]
    shown = "; ".join(f"{part.label!r} with {_listed(part.names, 4)}" for part in parts[:6])
    more = f" and {len(parts) - 6} more" if len(parts) > 6 else ""
    raise refusal(
        file,
        f"holds {len(parts)} groups that cannot stand in one table: {shown}{more}",
        key="group",
        mend=f'state the one meant: group = "{labels[0]}" in [loggers.ID], or group="..." in read_log',
    )


def _holds(part: Part, name: str) -> bool:
    wanted = {name.strip(), split_unit(name)[0]}
    return any(held.strip() in wanted or split_unit(held)[0] in wanted for held in part.names)


def _listed(names: Sequence[str], most: int = 12) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(map(repr, names[:most])) + more


def _chosen(part: Part, parts: Sequence[Part]) -> str:
    others = [other.label for other in parts if other is not part]
    return f"the file holds {len(parts)} groups; {part.label!r} is read, {_listed(others, 6)} not"


def _columns(
    recorded: Recorded, dialect: DialectOverrides, file: str, name: str
) -> tuple[list[tuple[Column, Plain]], list[Finding]]:
    """Columns with their values as numbers, text or stamps, and a finding for each that has no place there."""
    cells: list[Plain] = []
    left_out: list[Finding] = []
    kept: list[int] = []
    for at, column in enumerate(recorded.columns):
        try:
            cells.append(plain(column.values, mark=dialect.decimal or ".", missing=dialect.missing or ()))
            kept.append(at)
        except UnfitError as error:
            if at == recorded.clock:
                raise refusal(file, f"its time {column.name!r} holds {error}", key="time") from None
            left_out.append(_left_out(column.name, str(error), name))
    columns = [recorded.columns[at] for at in kept]
    named = name_columns(
        [column.name for column in columns],
        [f"[{column.unit}]" if column.unit else "" for column in columns],
        [one.kind for one in cells],
        [one.sample for one in cells],
    )
    glued = [replace(c, unit=one.unit) if one.unit else c for c, one in zip(named, cells, strict=True)]
    return [(replace(c, index=at), one) for c, one, at in zip(glued, cells, kept, strict=True)], left_out


def _left_out(column: str, reason: str, file: str) -> Finding:
    return Finding(
        code="column-left-out",
        severity="doubtful",
        kind="data",
        message=f"the column {column!r} is left out: it holds {reason}",
        mend="store it as numbers, text or stamps if it is needed",
        file=file,
    )


def _wanted(
    every: Sequence[Column], asked: Sequence[str] | None, clock: TimeSource, file: str, left_out: Sequence[Finding]
) -> list[Column]:
    if asked is None:
        used = {column.index for column in _of_time(clock)}
        return [column for column in every if column.index not in used]
    for name in asked:
        for finding in left_out:
            if f"column {name!r} " in finding.message:
                raise refusal(file, finding.message, mend=finding.mend)
    found = {find_column(every, name, file=file, key="channels").index for name in asked}
    return [column for column in every if column.index in found]


def _time_stated(logger: Logger | None, every: Sequence[Column], cells: dict[int, Plain]) -> TimeColumn:
    """What the user says about the time; a unit is passed over where the column holds durations, which have their own."""
    stated = logger.time if logger else TimeColumn()
    for column in every:
        if cells[column.index].duration and stated.column in (column.name, column.written):
            return replace(stated, unit=None)
    return stated


def _of_time(clock: TimeSource) -> Sequence[Column]:
    return clock.columns


def _clock(recorded: Recorded, every: Sequence[Column], stated: TimeColumn, file: str) -> TimeSource:
    """The time by the rules for text; where nothing is stated, first by what the file itself calls its time, or its rate."""
    own = next((column for column in every if column.index == recorded.clock), None)
    if stated.column is None and stated.rate_hz is None:
        if own is not None:
            others = [column for column in every if column is own or column.name != own.name]
            return choose_time(others, replace(stated, column=own.name), recorded.metadata, file=file)
        if recorded.rate_hz is not None:
            try:
                return choose_time(every, stated, (), file=file)
            except RecordingError:
                return choose_time(every, replace(stated, rate_hz=recorded.rate_hz), (), file=file)
    return choose_time(every, stated, recorded.metadata, file=file)


def _refuse_two_rates(recorded: Recorded, clock: TimeSource, base: TimeBase, logger: Logger | None, file: str) -> None:
    """A column of time and a stated rate that say different things are two readings, unless the user said which counts."""
    stated = logger is not None and (logger.time.column is not None or logger.time.rate_hz is not None)
    rate = recorded.rate_hz
    if stated or rate is None or not base.rate_hz > 0 or abs(base.rate_hz / rate - 1) <= RATES_AGREE:
        return
    column = re.sub(r'(["\\])', r"\\\1", clock.label)
    raise refusal(
        file,
        f"its properties state {rate:g} Hz, its column {clock.label!r} gives {base.rate_hz:g} Hz",
        key="time",
        mend=f'state which counts: time = "{column}", or time = {{ rate = "{rate:g} Hz" }}',
    )
