"""Findings about recordings that have rows instead of lines."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from typing import TypeVar

from toolbench.errors import RecordingError
from toolbench.logs.clocks.seconds import count_text, lines_text
from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.columns.tables import Table
from toolbench.logs.doors.plain import Plain
from toolbench.logs.names import Column
from toolbench.logs.noticed import note
from toolbench.records.findings import Finding
from toolbench.records.settings import DialectOverrides, Logger

_LINE = re.compile(r"\bline(s?)(?= \d)|(?<=\d )line(s?)\b(?= among)")
T = TypeVar("T", Finding, RecordingError)


def said_of_rows(told: T) -> T:
    """A finding or a refusal by the rules for text, with "row 5" where it says "line 5"."""
    if isinstance(told, Finding):
        return replace(told, message=_in_rows(told.message), mend=_in_rows(told.mend))
    return type(told)([replace(fault, message=_in_rows(fault.message)) for fault in told.faults])


def _in_rows(text: str) -> str:
    return _LINE.sub(lambda match: f"row{match[1] or match[2] or ''}", text)


def doubtful_file(said: str, file: str) -> Finding:
    return Finding(
        code="reader-doubts",
        severity="doubtful",
        kind="data",
        message=f"the file's reader says: {said}",
        mend="copy the recording again once the logger has closed it",
        file=file,
    )


def dialect_stated(logger: Logger | None, container: str, file: str) -> Iterator[Finding]:
    """What a logger states about text says nothing here; its decimal mark does where numbers are stored as text."""
    if logger is None:
        return
    stated = [
        field.name
        for field in fields(DialectOverrides)
        if field.name not in ("group", "decimal", "missing")
        and getattr(logger.dialect, field.name) not in (None, (), "")
    ]
    if stated:
        yield note("dialect-not-used", f"{', '.join(stated)} of the logger say nothing about {container}", file)


def renamed(every: Sequence[Column], file: str) -> Iterator[Finding]:
    names = [column.name for column in every]
    twice = [name for name in names if re.search(r" \(\d+\)\Z", name) and name.rpartition(" (")[0] in names]
    if twice:
        yield note("duplicate-names", f"names that occur before are numbered: {', '.join(map(repr, twice))}", file)


def rows_dropped(table: Table, clock: TimeSource, file: str) -> Iterator[Finding]:
    if table.dropped:
        yield Finding(
            code="rows-dropped",
            severity="doubtful",
            kind="data",
            message=f"{count_text(len(table.dropped), 'row')} without a time in {clock.label!r} left out: "
            f"{lines_text(table.dropped)}",
            mend="look at these rows; those around them stand as they are",
            file=file,
            line=table.dropped[0],
        )


def remarks(wanted: Sequence[Column], cells: Mapping[int, Plain], file: str) -> Iterator[Finding]:
    """What was decided about the values of a column."""
    for column in wanted:
        if cells[column.index].remark:
            yield note("read-as", f"{column.name!r}: {cells[column.index].remark}", file)
