"""Where the names, the units and the rows of a logger file stand, and how its cells are parted: found from its first lines."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from toolbench.errors import RecordingError
from toolbench.logs.cells import GLUED, cell_code, is_missing
from toolbench.logs.names import Kind, looks_like_unit
from toolbench.logs.source import refusal
from toolbench.logs.text.aligned import aligned
from toolbench.logs.text.beside import facts_beside, refuse_rows_across, settings_beside
from toolbench.logs.text.header import (
    Header,
    cells_of,
    find_header,
    listed_names,
    with_whole_cells,
)
from toolbench.logs.text.one_row import SAMPLE, Row, column_kinds, read_row
from toolbench.logs.text.scanning import find_rows
from toolbench.logs.text.shape import Layout
from toolbench.records.findings import Finding
from toolbench.records.settings import DialectOverrides

ENOUGH_ROWS = 20
_LAST_LINES = 6
_THOUSANDS = {mark: re.compile(rf"[+-]?[1-9]\d{{0,2}}{re.escape(mark)}\d{{3}}\Z") for mark in ".,"}


def find_layout(lines: Sequence[str], overrides: DialectOverrides, *, file: str) -> Layout:
    """The layout under which most of the first lines are rows of numbers.

    Parameters
    ----------
    lines : sequence of str
        The first lines of the file, without line ends.
    overrides : DialectOverrides
        What the user states; it is believed.
    file : str
        The file's name, for messages.

    Raises
    ------
    RecordingError
        No rows of numbers are found, or two readings that differ are equally plausible.
    """
    lines = with_whole_cells(lines)
    wrapped = _is_wrapped(lines)
    if wrapped:
        lines = [unwrapped(line) for line in lines]
    delimiter, chosen = find_rows(lines, overrides, file)
    rows = chosen.rows
    if not rows:
        raise _nothing_found(lines, file)
    layout = replace(_of_rows(lines, delimiter, rows, overrides), wrapped=wrapped)
    beside = settings_beside(rows, layout.width)
    if beside:
        layout = _without(layout, beside)
    layout = _with_names(layout, lines, overrides, file)
    if beside:
        layout = _with_facts(layout, facts_beside(lines, rows, beside, delimiter), beside)
    refuse_rows_across(rows, lines, bool(layout.names), file)
    if not overrides.decimal:
        _refuse_thousands(layout, file)
    return _with_rows_above(layout, chosen.above) if chosen.above else layout


def _with_rows_above(layout: Layout, above: tuple[int, int]) -> Layout:
    """Say that rows of numbers stand above the table: nothing is left out without a word."""
    found = Finding(
        code="numbers-above",
        severity="doubtful",
        kind="data",
        message=f"rows of numbers in lines {above[0]} to {above[1]} stand above the table that begins in line "
        f"{layout.first_data_line}; they are not read",
        line=above[0],
        mend="if they are samples, cut the file in a copy, one table per file",
    )
    return replace(layout, findings=(*layout.findings, found))


def goes_on(layout: Layout, last_lines: Sequence[str]) -> bool:
    """Whether rows of the layout stand among the last lines of the file: else what was found is part of a preamble."""
    filled = [line for line in last_lines if line.strip(" \0\x1a" + layout.delimiter)][-_LAST_LINES:]
    lines = [unwrapped(line) if layout.wrapped else line for line in filled]
    numbers = [index for index, kind in enumerate(layout.kinds) if kind in ("number", "stamp")]
    fitting: list[bool] = []
    for line in lines:
        row = read_row(0, line, layout.delimiter, 0.2)
        if row is not None and layout.used <= len(row.kinds) and not any(row.cells[layout.width :]):
            own = sum(row.kinds[index] in (layout.kinds[index], "empty") for index in numbers)
            fitting.append(2 * own > len(numbers))
        else:
            fitting.append(False)
    return 2 * sum(fitting) > len(lines) and any(fitting[-2:])


def _of_rows(lines: Sequence[str], delimiter: str, rows: Sequence[Row], overrides: DialectOverrides) -> Layout:
    width = max(len(row.cells) for row in rows)
    first = rows[0].line
    kinds = list(column_kinds(rows, width))
    sample = rows[:SAMPLE]
    samples = [tuple(row.cells[index] for row in sample if index < len(row.cells)) for index in range(width)]
    glued = [_glued(cells) if kind == "number" else "" for cells, kind in zip(samples, kinds, strict=True)]
    for index, unit in enumerate(glued):
        if unit:
            samples[index] = tuple(cell.removesuffix(unit).rstrip() for cell in samples[index])
    codes = [Counter(map(cell_code, cells)) for cells in samples]
    for index, counted in enumerate(codes):
        if kinds[index] == "number" and 2 * counted["u"] > len(samples[index]):
            kinds[index] = "text"
    decimal = overrides.decimal or _mark(codes, ".")
    marks = [overrides.decimal or _mark([counted], decimal) for counted in codes]
    return Layout(
        delimiter,
        decimal,
        width,
        tuple(kinds),
        tuple(samples),
        first,
        rows=len(rows),
        quoted=any('"' in line for line in lines[first - 1 :]),
        marks=tuple(marks),
        glued=tuple(glued),
    )


def _mark(codes: Sequence[Counter[str]], other: str) -> str:
    """The decimal mark that more cells show."""
    points = sum(counted["p"] + counted["k"] for counted in codes)
    commas = sum(counted["c"] + counted["K"] for counted in codes)
    return "," if commas > points else "." if points > commas else other


def _glued(cells: Sequence[str]) -> str:
    """The unit behind nearly all numbers of a column."""
    found = Counter(match[2] for cell in cells if (match := GLUED["."].match(cell) or GLUED[","].match(cell)))
    if len(found) != 1:
        return ""
    [(unit, times)] = found.items()
    filled = sum(not is_missing(cell) for cell in cells)
    return unit if times >= 0.8 * filled and looks_like_unit(unit) else ""


def _without(layout: Layout, columns: range) -> Layout:
    """The layout with the columns of settings taken as empty: they hold no samples."""
    kinds: list[Kind] = ["empty" if index in columns else kind for index, kind in enumerate(layout.kinds)]
    samples = [() if index in columns else cells for index, cells in enumerate(layout.samples)]
    return replace(layout, kinds=tuple(kinds), samples=tuple(samples))


def _with_facts(layout: Layout, facts: Sequence[str], columns: range) -> Layout:
    """The settings beside the samples as lines of the preamble; a header's cells above them are settings too."""
    above = [layout.names[index] for index in columns if index < len(layout.names) and layout.names[index]]
    names = tuple("" if index in columns else name for index, name in enumerate(layout.names))
    found = Finding(
        code="settings-beside-rows",
        severity="note",
        kind="data",
        message=f"columns {columns.start + 1} to {columns.stop} hold {len(facts)} settings beside the first samples, no channel",
        line=layout.first_data_line,
    )
    headed = (layout.delimiter.join(above),) if above else ()
    return replace(
        layout,
        names=names if any(names) else (),
        unit_row=tuple("" if index in columns else unit for index, unit in enumerate(layout.unit_row)),
        preamble=(*layout.preamble, *headed, *facts),
        findings=(*layout.findings, found),
    )


def _with_names(layout: Layout, lines: Sequence[str], overrides: DialectOverrides, file: str) -> Layout:
    """Add the lines of names and units: the ones right above the rows, or those that are stated."""
    for stated, key in ((overrides.header_line, "header_line"), (overrides.unit_line, "unit_line")):
        if stated is not None and not 1 <= stated <= len(lines):
            raise refusal(file, f"has no line {stated}", key=key, mend=f"rows begin in line {layout.first_data_line}")
    header = _stated(layout, lines, overrides) or find_header(
        lines,
        layout.first_data_line,
        delimiter=layout.delimiter,
        width=layout.width,
        used=layout.used,
        skipped=frozenset(overrides.skip_lines),
        unit_line=overrides.unit_line,
    )
    units = cells_of(lines[header.unit_line - 1], layout.delimiter) if header.unit_line else ()
    top = min(number for number in (header.line, header.unit_line, layout.first_data_line) if number)
    preamble = (*(line.rstrip("\r") for line in lines[: top - 1]), *header.beside)
    names, findings = header.names, layout.findings
    if not names and (listed := listed_names(preamble, layout.used, layout.delimiter)):
        names = listed
        findings = (*findings, _listed(names))
    layout = replace(
        layout,
        header_line=header.line,
        unit_line=header.unit_line,
        names=names,
        unit_row=units[: layout.width],
        preamble=preamble,
        findings=findings,
    )
    return aligned(layout, file)


def _stated(layout: Layout, lines: Sequence[str], overrides: DialectOverrides) -> Header | None:
    if overrides.header_line is None:
        return None
    return Header(
        overrides.header_line, overrides.unit_line, cells_of(lines[overrides.header_line - 1], layout.delimiter)
    )


def _listed(names: Sequence[str]) -> Finding:
    message = f"the names are listed above the rows: {', '.join(names)}"
    return Finding(code="names-from-preamble", severity="note", kind="data", message=message)


def unwrapped(line: str) -> str:
    """A line without the one pair of quotes around it."""
    text = line.strip()
    return text[1:-1].replace('""', '"') if len(text) > 1 and text[0] == text[-1] == '"' else line


def _is_wrapped(lines: Sequence[str]) -> bool:
    """Whether every line as a whole stands in one pair of quotes."""
    filled = [line.strip() for line in (*lines[:50], *lines[-50:]) if line.strip()]
    whole = all(
        len(line) > 2 and line[0] == line[-1] == '"' and '"' not in line[1:-1].replace('""', "") for line in filled
    )
    return len(filled) > 1 and whole and 2 * sum(any(mark in line for mark in ",;|\t") for line in filled) > len(filled)


def _refuse_thousands(layout: Layout, file: str) -> None:
    """Refuse when every mark in the numbers could part thousands as well as decimals: the two readings differ by 1000.

    Commas: in all columns that show them. Points: in a column of a file whose other columns have decimal commas.
    """
    cells = [
        (index, cell)
        for index, sample in enumerate(layout.samples)
        for cell in sample
        if layout.kinds[index] == "number" and layout.marks[index] in cell
    ]
    commas = [(index, cell) for index, cell in cells if layout.marks[index] == ","]
    if commas and all(_THOUSANDS[","].match(cell) for _, cell in commas):
        raise _thousands(layout, *commas[0], file)
    for column in sorted({index for index, _ in cells if layout.marks[index] == "."} if commas else ()):
        own = [cell for index, cell in cells if index == column]
        if len(own) > 1 and all(_THOUSANDS["."].match(cell) for cell in own):
            raise _thousands(layout, column, own[0], file)


def _thousands(layout: Layout, index: int, cell: str, file: str) -> RecordingError:
    mark = layout.marks[index]
    word = {",": "comma", ".": "point"}[mark]
    return refusal(
        file,
        f"column {index + 1} holds {cell!r}: {cell.replace(',', '.')} with a decimal {word}, "
        f"{cell.replace(mark, '')} with a {word} between thousands",
        line=layout.first_data_line,
        key="decimal",
        mend='state `decimal = ","` for this logger, or export without a mark between thousands',
    )


def _nothing_found(lines: Sequence[str], file: str) -> RecordingError:
    filled = [(number, line.strip(" \0\r")) for number, line in enumerate(lines, 1) if line.strip(" \0\r")]
    if not filled:
        return refusal(file, "holds blank lines only", mend="export it again from the logger")
    number, text = filled[-1]
    shown = text if len(text) <= 60 else text[:57] + "..."
    what = "only a header" if len(filled) == 1 else f"{len(filled)} lines of text"
    return refusal(
        file,
        f"holds {what} and no rows of numbers; the last line looked at is {shown!r}",
        line=number,
        mend="state `delimiter`, `decimal` and `header_line` for this logger if there are rows, or record it again",
        code="settings",
    )
