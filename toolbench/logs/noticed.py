"""What was inferred, dropped or doubtful while a text file was read, as findings with the lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from toolbench.logs.cells import GROUPS, cell_code
from toolbench.logs.clocks.seconds import count_text, lines_text
from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.columns.sentinels import Marked, Sentinels
from toolbench.logs.columns.tables import Table
from toolbench.logs.names import Column, bare_unit, split_unit
from toolbench.logs.text.encoding import Encoding
from toolbench.logs.text.shape import Layout
from toolbench.records.findings import Finding


def of_dialect(encoding: Encoding, layout: Layout, every: Sequence[Column], file: str) -> Iterator[Finding]:
    """Encoding, names and layout."""
    if encoding.guessed:
        yield note(
            "encoding-inferred", f"the file has no mark of its encoding; {encoding.name} gives plausible text", file
        )
    if encoding.undecodable:
        yield note(
            "undecodable-bytes", f"{encoding.undecodable} bytes are no {encoding.name} and shown as U+FFFD", file
        )
    for finding in layout.findings:
        yield replace(finding, file=file)
    if not layout.names:
        yield Finding(
            code="no-header",
            severity="doubtful",
            kind="data",
            message="no line of names stands above the rows; columns are called by their position",
            mend="state `header_line` if there is one",
            file=file,
            line=layout.first_data_line,
        )
    for written, row in zip(layout.names, layout.unit_row, strict=False):
        own, below = split_unit(written)[1], bare_unit(row)
        if own and below and own.casefold() != below.casefold():
            yield Finding(
                code="units-differ",
                severity="doubtful",
                kind="data",
                message=f"the name {written!r} has the unit {own!r} and the row of units {below!r}; {below!r} is taken",
                mend="state the unit of this column",
                file=file,
                line=layout.unit_line,
            )
    for column in every:
        shown = next((cell for cell in column.sample if cell_code(cell) in GROUPS), None)
        if shown is not None and column.kind == "number":
            yield note(
                "thousands-parted",
                f"numbers of {column.name!r} have a mark between thousands, as in {shown!r}; it is no decimal mark",
                file,
            )
    twice = [
        column.name for column in every if column.name.endswith(")") and column.written and _is_second(column, every)
    ]
    if twice:
        yield note("duplicate-names", f"names that occur before are numbered: {', '.join(map(repr, twice))}", file)


def _is_second(column: Column, every: Sequence[Column]) -> bool:
    stem = column.name.rpartition(" (")[0]
    return any(other.name == stem and other.index < column.index for other in every)


def of_rows(table: Table, clock: TimeSource, file: str) -> Iterator[Finding]:
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
        yield note(
            "footer", f"lines behind the last row are left out: {lines_text(table.footer)}", file, table.footer[0]
        )
    if table.blank:
        yield note(
            "blank-lines",
            f"blank lines among the rows are passed over: {lines_text(table.blank)}",
            file,
            table.blank[0],
        )
    if table.cut is not None:
        yield note("cut-last-row", "the file ends inside its last row, which is left out", file, table.cut)
    if table.zeros:
        yield Finding(
            code="zero-bytes",
            severity="doubtful",
            kind="data",
            message=f"{count_text(table.zeros, 'zero byte')} in the file, as a loss of power leaves them; they are passed over",
            mend="look whether the end of the recording is missing",
            file=file,
        )


def of_cells(table: Table, wanted: Sequence[Column], sentinels: Sentinels, file: str) -> Iterator[Finding]:
    """Cells of numbers that hold none: missing, unreadable, or a number that means "no value"."""
    for column in wanted:
        bad = table.unreadable.get(column.index, [])
        if bad:
            yield _unreadable(column, bad, file)
        marked = [found for found in sentinels.marked if found.column == column]
        yield from _missing(table, column, bad, marked, file)
        for found in marked:
            yield _sentinel(found, file)
        for found in sentinels.kept:
            if found.column == column:
                message = _shown(found) + ": left as they are, the others need every digit"
                yield replace(_sentinel(found, file), code="sentinel-kept", message=message)
        if column.index in table.glued:
            yield note(
                "units-glued", f"every number of {column.name!r} carries its unit {table.glued[column.index]!r}", file
            )


def _unreadable(column: Column, bad: Sequence[tuple[int, str]], file: str) -> Finding:
    line, cell = bad[0]
    return Finding(
        code="cells-unreadable",
        severity="doubtful",
        kind="data",
        message=f"{count_text(len(bad), 'cell')} of {column.name!r} without a readable number, taken as missing: "
        f"{lines_text([line for line, _ in bad])}, the first is {cell!r}",
        mend="correct a copy of the file, or state `decimal` if the decimal mark was taken wrongly",
        file=file,
        line=line,
    )


def _missing(
    table: Table, column: Column, bad: Sequence[tuple[int, str]], marked: Sequence[Marked], file: str
) -> Iterator[Finding]:
    values = table.columns[column.index]
    if not isinstance(values, np.ndarray) or values.dtype.kind != "f" or column.index in table.extremes:
        return
    missing = np.flatnonzero(np.isnan(values))
    told = {line for line, _ in bad}.union(*(found.lines for found in marked))
    if len(missing) > len(told):
        line = next((n for n in map(table.line, missing) if n not in told), table.line(int(missing[0])))
        yield note(
            "cells-missing",
            f"{count_text(len(missing) - len(told), 'cell')} of {column.name!r} without a value",
            file,
            line,
        )


def _shown(found: Marked) -> str:
    rest = f", far outside the others ({found.rest[0]:g} to {found.rest[1]:g})" if found.rest else ""
    return (
        f"{count_text(len(found.lines), 'cell')} of {found.column.name!r} hold {found.value!r}, "
        f'{"stated to mean" if found.stated else "a known spelling of"} "no value"{rest}: {lines_text(found.lines)}'
    )


def _sentinel(found: Marked, file: str) -> Finding:
    if found.stated:
        return note("missing-stated", f"{_shown(found)}; taken as missing", file, found.lines[0])
    return Finding(
        code="sentinel-missing",
        severity="doubtful",
        kind="data",
        message=f"{_shown(found)}; taken as missing",
        mend=f'state `missing = ["{found.value:g}"]` for this logger, or `missing = []` where it was measured',
        file=file,
        line=found.lines[0],
    )


def note(code: str, message: str, file: str, line: int | None = None) -> Finding:
    """A finding that only says what was done."""
    return Finding(code=code, severity="note", kind="data", message=message, file=file, line=line)
