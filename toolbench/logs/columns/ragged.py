"""The lines below the header, sorted: rows, blank lines, lines of another width, second tables, a row that is cut."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from toolbench.logs.cells import NUMBER, NUMBERS, cell_code, split_line
from toolbench.logs.names import split_unit
from toolbench.logs.source import Source, refusal
from toolbench.logs.text.layout import unwrapped
from toolbench.logs.text.shape import Layout


@dataclass(slots=True)
class Lines:
    """Rows as text with their offset from the first row's line, and the numbers of the lines that are none."""

    rows: list[str]
    kept: npt.NDArray[np.int64]
    blank: list[int] = field(default_factory=list)
    dropped: list[int] = field(default_factory=list)
    footer: list[int] = field(default_factory=list)
    cut: int | None = None
    zeros: int = 0
    """Zero bytes, as a loss of power leaves them."""


def sort_lines(text: str, layout: Layout, skip: frozenset[int], source: Source) -> Lines:
    """Sort the lines from the first row on.

    Raises
    ------
    RecordingError
        Too many lines do not have the width of a row, or there is no row.
    """
    zeros = text.count("\0")
    complete = text.endswith("\n")
    lines = text.rstrip("\n").split("\n")  # blank lines behind the last row are no lines of the table, however many
    body = lines[layout.first_data_line - 1 :]
    if layout.wrapped:
        body = [unwrapped(line) for line in body]
    torn = zeros > 0 and bool(body) and body[-1].endswith("\0") and bool(body[-1].strip("\0"))
    if zeros:
        complete = complete and not torn
        body = [line.strip("\0") if "\0" in line else line for line in body]
    result = _sort(body, layout, skip, complete=complete, torn=torn)
    result.zeros = zeros
    _refuse_other_order(result, body, layout, source)
    _part_second_table(result, body, layout, source)
    _refuse_ragged(source, result, body, layout)
    return result


def _sort(body: list[str], layout: Layout, skip: frozenset[int], *, complete: bool, torn: bool) -> Lines:
    """Only lines whose width is not a row's are looked at one by one."""
    delimiter, first, used = layout.delimiter, layout.first_data_line, layout.used
    blanks = " \x1a\x00\r" + ("" if delimiter == " " else delimiter) + ('"' if layout.quoted else "")
    widths = _widths(body, layout)
    empty = np.fromiter((not line.strip(blanks) for line in body), dtype=np.bool_, count=len(body))
    good = ~empty & (widths >= used) & (widths <= layout.width)
    skipped = [number - first for number in skip if 0 <= number - first < len(body)]
    good[skipped] = empty[skipped] = False
    result = Lines([], np.empty(0, dtype=np.int64), blank=(np.flatnonzero(empty) + first).tolist())
    for offset in np.flatnonzero(~good & ~empty).tolist():
        if first + offset in skip:
            continue
        line = body[offset]
        if widths[offset] > layout.width and not line.split(delimiter, layout.width)[-1].strip(blanks + '"'):
            good[offset] = True
        else:
            result.dropped.append(first + offset)
    last = int(np.flatnonzero(~empty)[-1]) if not empty.all() else -1
    if last >= 0 and not complete and last == len(body) - 1:
        before = [body[offset] for offset in np.flatnonzero(good[:last])[-20:].tolist()]
        short = widths[last] < used and _begins_like_a_row(body[last], layout)
        if torn or short or shorter(body[last], before, layout):
            result.cut = first + last
            good[last] = False
            result.dropped = [number for number in result.dropped if number != result.cut]
    result.kept = np.flatnonzero(good).astype(np.int64)
    result.rows = [body[offset] for offset in result.kept.tolist()] if not good.all() else body
    return result


def _begins_like_a_row(line: str, layout: Layout) -> bool:
    """Whether the cells of a short line are of their columns' kinds: else it is an end mark without a line end."""
    cells = split_line(line, layout.delimiter)[:-1] or split_line(line, layout.delimiter)
    pairs = [(cell_code(cell), kind) for cell, kind in zip(cells, layout.kinds, strict=False) if cell]
    return all(code != "t" for code, kind in pairs if kind in ("number", "stamp"))


def _widths(body: Sequence[str], layout: Layout) -> npt.NDArray[np.int64]:
    """Cells of every line. A delimiter inside quotes parts nothing."""
    delimiter = layout.delimiter
    if delimiter == " ":
        return np.fromiter((len(line.split()) for line in body), dtype=np.int64, count=len(body))
    widths = np.fromiter((line.count(delimiter) for line in body), dtype=np.int64, count=len(body)) + 1
    if layout.quoted:
        for offset, line in enumerate(body):
            if '"' in line and (widths[offset] != layout.width or layout.decimal == delimiter):
                widths[offset] = len(split_line(line, delimiter))
    return widths


def _refuse_other_order(result: Lines, body: Sequence[str], layout: Layout, source: Source) -> None:
    """Refuse when the names stand again among the rows in another order or with other units.

    From there on values would go by a wrong name, or be in a wrong unit.
    """
    names = [name for name in layout.names if name]
    stems = [split_unit(name)[0] for name in names]
    if len(names) < 2 or len({*stems}) != len(stems):
        return
    for offset in result.kept.tolist():
        if stems[0] not in body[offset]:
            continue
        cells = split_line(body[offset], layout.delimiter)[: len(layout.names)]
        if {split_unit(cell)[0] for cell in cells} >= {*stems} and cells != [*layout.names][: len(cells)]:
            raise refusal(
                source.name,
                f"names the columns again in another order or unit: {', '.join(map(repr, cells[:6]))}",
                line=layout.first_data_line + offset,
                mend="cut the file at that line in a copy, one table per file",
            )


def _part_second_table(result: Lines, body: Sequence[str], layout: Layout, source: Source) -> None:
    """A second table of the same width, with names of its own, is no part of the first: behind it, a footer.

    Its names differ from the header's and stand behind a blank line or a line of text. Refused where it is long.
    """
    if not result.blank and not result.dropped:
        return
    first = layout.first_data_line
    apart = np.zeros(len(body) + 1, dtype=np.bool_)
    apart[np.asarray([*result.blank, *result.dropped], dtype=np.int64) - first + 1] = True
    known = {cell.casefold() for cell in (*layout.names, *layout.unit_row) if cell}
    starts = [
        place
        for place, offset in enumerate(result.kept.tolist())
        if apart[offset] and place > 0 and _are_names(body[offset], layout, known)
    ]
    if not starts:
        return
    at = starts[0]
    line = first + int(result.kept[at])
    behind = len(result.rows) - at
    if behind > max(20, at // 5):
        raise refusal(
            source.name,
            f"a second table begins in this line, with {behind - 1} rows behind its names, {at} rows before it",
            line=line,
            mend="export one table per file",
        )
    result.footer = [first + int(offset) for offset in result.kept[at:]]
    result.footer += [number for number in result.dropped if number > line]
    result.dropped = [number for number in result.dropped if number < line]
    result.kept = result.kept[:at]
    result.rows = result.rows[:at]


def _are_names(line: str, layout: Layout, known: set[str]) -> bool:
    """Whether a line names other columns: several cells, all different, all words, and not the header again."""
    cells = [cell for cell in split_line(line, layout.delimiter) if cell]
    if len(cells) < 2 or len({*cells}) != len(cells):
        return False
    if any(cell_code(cell) != "t" for cell in cells):
        return False
    return 2 * sum(cell.casefold() in known for cell in cells) < len(cells)


def _refuse_ragged(source: Source, result: Lines, body: Sequence[str], layout: Layout) -> None:
    if not result.rows:
        raise refusal(source.name, "holds no complete row", line=layout.first_data_line)
    dropped, good = result.dropped, len(result.rows)
    first = layout.first_data_line
    # Blank cells or words make no row: what counts is how many rows of numbers would be lost.
    if len(dropped) <= max(10, good // 10):
        return
    start = dropped[0]
    widths = {len(split_line(body[number - first], layout.delimiter)) for number in dropped}
    if dropped[-1] - start + 1 <= len(dropped) + len(result.blank) and len(widths) == 1:
        before = int(np.searchsorted(result.kept, start - first))
        raise refusal(
            source.name,
            f"{len(dropped)} of its rows, from this line on, hold another number of cells ({widths.pop()}) than the "
            f"{before or good} rows {'before' if before else 'behind'} them ({layout.used}): the table changes here",
            line=start,
            mend="cut the file at that line in a copy, one table per file: no column can be told to go on",
        )
    raise refusal(
        source.name,
        f"{len(dropped)} of its rows hold another number of cells than the first ones "
        f"({good} are alike), the first of them in this line",
        line=start,
        mend="export one table per file, or name the lines to leave out with `skip_lines`",
    )


def holds_numbers(line: str, layout: Layout) -> bool:
    """Whether most cells of a line that is left out are numbers: then samples are lost, not words."""
    cells = [cell for cell in split_line(line, layout.delimiter) if cell]
    return len(cells) > 1 and 2 * sum(cell_code(cell) in NUMBERS + "s" for cell in cells) > len(cells)


def shorter(line: str, before: Sequence[str], layout: Layout) -> bool:
    """Whether the last cell of a line without an end has fewer decimals than every row before it, which all have the same."""
    index = layout.used - 1
    mark = layout.marks[index] if layout.marks else layout.decimal

    def decimals(text: str) -> int | None:
        cells = split_line(text.strip(), layout.delimiter)
        cell = cells[-1].strip('"') if cells else ""
        return len(re.split("[eE]", cell.partition(mark)[2])[0]) if NUMBER[mark].match(cell) else None

    seen = [places for row in before if (places := decimals(row)) is not None]
    own = decimals(line)
    return len(seen) >= 5 and len(set(seen)) == 1 and own is not None and own < seen[0]
