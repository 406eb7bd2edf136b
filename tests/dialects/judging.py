"""What is wrong with the reading of a made file: a list of sentences, empty where all is right."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
from made_table import Column, Made

from toolbench.errors import RecordingError
from toolbench.logs import Log, read_log
from toolbench.records.settings import Logger, TimeColumn


def faults(made: Made, path: Path) -> list[str]:
    """Write the file, read it, and compare; a refused file is read again with what settles it."""
    path.write_bytes(made.content)
    try:
        log = read_log(path, with_digest=False)
    except RecordingError as error:
        return list(_of_refusal(made, error, path))
    if not made.may_read:
        return [f"read, though it must be refused ({' or '.join(r.words for r in made.refusals)})"]
    return list(_of_log(made, log))


def _of_refusal(made: Made, error: RecordingError, path: Path) -> Iterator[str]:
    text = str(error)
    fault = error.faults[0]
    if not any(refusal.fits(fault.key or "", text) for refusal in made.refusals):
        yield f"refused: {text}"
        return
    if fault.file != str(path):
        yield f"the refusal names {fault.file!r}"
    if len(text.splitlines()) > 3:
        yield "the refusal is longer than three lines"
    if made.settle:
        yield from _settled(made, path)


def _settled(made: Made, path: Path) -> Iterator[str]:
    first = next((c for c in made.columns if c.clock), None)
    number = 1 + made.columns.index(first) if first else 0
    name = (first.header if made.header_line else f"column {number}") if first else ""
    keys = {key: name if value == "@" else value for key, value in made.settle.items()}
    try:
        log = read_log(path, logger=Logger(id="rig", time=TimeColumn(**keys)), with_digest=False)  # type: ignore[arg-type]
    except RecordingError as error:
        yield f"refused with {keys} stated: {error}"
        return
    for fault in _of_values(made, log):
        yield f"with {keys} stated: {fault}"


def _of_log(made: Made, log: Log) -> Iterator[str]:
    yield from _of_values(made, log)
    yield from _of_findings(made, log)
    if made.header_line is not None and log.dialect.header_line != made.header_line and made.lines[0] != made.lines[-1]:
        yield f"names found in line {log.dialect.header_line}, not {made.header_line}"
    above = "\n".join(log.dialect.preamble)
    for words in made.preamble_holds:
        if words not in above:
            yield f"{words!r} is not in the preamble"


def _of_values(made: Made, log: Log) -> Iterator[str]:
    if len(log.data) != len(made.seconds):
        yield f"{len(log.data)} rows, not {len(made.seconds)}"
        return
    yield from _of_seconds(made, log)
    yield from _of_start(made, log)
    got = _channels(made, log)
    wanted = [c for c in made.columns if not c.clock]
    if len(got) != len(wanted):
        wanted = [c for c in wanted if not c.optional]
    if len(got) != len(wanted):
        yield f"columns {list(log.data.columns)}, not {[c.header for c in wanted]}"
        return
    for name, column in zip(got, wanted, strict=True):
        yield from _of_column(name, column, log, named=made.header_line is not None)


def _of_start(made: Made, log: Log) -> Iterator[str]:
    if made.start and not log.time.start.startswith(made.start):
        yield f"starts at {log.time.start!r}, not {made.start!r}"


def _channels(made: Made, log: Log) -> list[str]:
    """Columns of the log without further clocks, which may stay beside the channels."""
    clocks = {c.header.strip() for c in made.columns if c.clock}
    if made.header_line is None:
        clocks = {f"column {k}" for k, c in enumerate(made.columns, 1) if c.clock}
    return [name for name in log.data.columns if log.names.get(name, name).strip() not in clocks and name not in clocks]


def _of_seconds(made: Made, log: Log) -> Iterator[str]:
    for row, (got, want) in enumerate(zip(log.data.index.tolist(), made.seconds, strict=True)):
        near = float(want)
        if not abs(got - near) <= made.slack + abs(near) * 2.0**-52:
            yield f"row {row} (line {made.lines[row]}) at {got!r} s, not {near!r} s; source {log.time.source!r} in {log.time.unit!r}"
            return


def _of_column(name: str, column: Column, log: Log, *, named: bool) -> Iterator[str]:
    values = log.data[name].tolist()
    for row, (got, want) in enumerate(zip(values, column.values, strict=True)):
        missing = want is None and (got is None or got == "" or pd.isna(got))
        # A whole number of nineteen digits may come as it is, or as the nearest double.
        if not missing and got != want and not (isinstance(got, int) and str(got) == column.cells[row]):
            yield f"column {name!r} row {row}: {got!r}, not {want!r} (printed {column.cells[row]!r})"
            break
    if not named:
        return
    if column.keys and name not in column.keys:
        yield f"column {column.header!r} is called {name!r}, not {column.keys[0]!r}"
    if log.names[name].strip() != column.header.strip() and column.header:
        yield f"name as in the file {log.names[name]!r}, not {column.header!r}"
    if column.unit != "?" and log.units[name] != column.unit:
        yield f"unit of {column.header!r} is {log.units[name]!r}, not {column.unit!r}"


def _of_findings(made: Made, log: Log) -> Iterator[str]:
    for want in made.must:
        fitting = [f for f in log.findings if re.search(want.words, f"{f.code} {f.message} {f.mend}", re.IGNORECASE)]
        if not fitting:
            yield f"no finding of {want.words!r}; there are {[(f.code, f.line) for f in log.findings]}"
        elif want.line is not None and all(f.line != want.line and str(want.line) not in f.message for f in fitting):
            yield f"finding {fitting[0].code} names line {fitting[0].line}, not {want.line}"
    for finding in log.findings:
        expected = made.allowed and re.search(made.allowed, f"{finding.code} {finding.message}", re.IGNORECASE)
        if finding.severity != "note" and not expected:
            yield f"{finding.severity} finding that is not due: {finding.code}: {finding.message}"
