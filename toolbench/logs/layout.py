"""Where the names, the units and the rows of a logger file stand, and how its cells are parted: found from its first lines."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from toolbench.errors import RecordingError
from toolbench.logs.cells import NUMBER, is_missing, is_stamp, split_line
from toolbench.logs.names import Kind, is_unit_row, split_unit
from toolbench.logs.source import refusal
from toolbench.records.settings import DialectOverrides

DELIMITERS = (";", "\t", ",", "|", " ")
ENOUGH_ROWS = 20
_SAMPLE = 60
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}\Z")


@dataclass(frozen=True, slots=True)
class Layout:
    """How the lines of a file are to be read. Lines count from 1; rows are `width` cells wide."""

    delimiter: str
    decimal: str
    width: int
    kinds: tuple[Kind, ...]
    samples: tuple[tuple[str, ...], ...]
    first_data_line: int
    rows: int = 0
    header_line: int | None = None
    unit_line: int | None = None
    names: tuple[str, ...] = ()
    unit_row: tuple[str, ...] = ()
    preamble: tuple[str, ...] = ()
    quoted: bool = False
    wrapped: bool = False


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    cells: tuple[str, ...]
    kinds: tuple[Kind, ...]

    @property
    def width(self) -> int:
        """Cells up to the last filled one, so that a trailing delimiter does not make a row wider."""
        width = len(self.kinds)
        while width and not self.cells[width - 1]:
            width -= 1
        return width


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
    wrapped = _is_wrapped(lines)
    if wrapped:
        lines = [line.strip()[1:-1].replace('""', '"') if len(line.strip()) > 1 else line for line in lines]
    delimiters = (overrides.delimiter,) if overrides.delimiter else DELIMITERS
    marks = (overrides.decimal,) if overrides.decimal else (".", ",")
    best: tuple[int, list[_Row], str, str] | None = None
    for delimiter in delimiters:
        if best is not None and delimiter == " ":
            break  # blanks stand inside stamps and names: the last resort
        for mark in marks:
            if delimiter == mark:
                continue
            rows = _data_rows(lines, delimiter, mark, overrides, file)
            score = sum(sum(kind in ("number", "stamp") for kind in row.kinds) for row in rows)
            wide = bool(rows) and (len(rows[0].kinds) > 1 or delimiter == ",")
            if rows and wide and (best is None or score > best[0]):
                best = (score, rows, delimiter, mark)
    if best is None:
        raise _nothing_found(lines, file)
    layout = _describe(lines, best[1], best[2], best[3], overrides, file)
    if not overrides.decimal:
        _refuse_thousands(layout, file)
    return replace(layout, wrapped=wrapped)


def _data_rows(lines: Sequence[str], delimiter: str, mark: str, overrides: DialectOverrides, file: str) -> list[_Row]:
    """The rows of numbers that belong together: the heaviest stretch of one width, and earlier rows of the same kind."""
    start = max(overrides.header_line or 0, overrides.unit_line or 0)
    skipped = set(overrides.skip_lines)
    stretches: list[list[_Row]] = []
    previous = 0
    for number, line in enumerate(lines, 1):
        if number <= start or number in skipped:
            previous += number in skipped
            continue
        row = _row(number, line, delimiter, mark)
        if row is None:
            previous += not line.strip()  # a blank line parts nothing
            continue
        if stretches and previous == number - 1 and _alike(stretches[-1][-1], row):
            stretches[-1].append(row)
        else:
            stretches.append([row])
        previous = number
    if not stretches:
        return []
    heaviest = max(stretches, key=lambda rows: sum(kind != "text" for row in rows for kind in row.kinds))
    widest = max(heaviest, key=lambda row: len(row.kinds))
    usual = _Row(0, widest.cells, _columns(heaviest, len(widest.kinds))[0])
    rows = list(heaviest)
    for stretch in reversed(stretches[: stretches.index(heaviest)]):
        if not _alike(stretch[-1], usual):
            continue
        names = _names_between(lines, stretch[-1].line, rows[0].line, delimiter, mark)
        if names and not _names_above(lines, stretch[0].line, names, delimiter, mark):
            if len(stretch) > 1:
                raise refusal(
                    file,
                    f"rows of numbers stand above these names (from line {stretch[0].line}) and below them",
                    line=rows[0].line - 1,
                    key="header_line",
                    mend="state `header_line` for this logger; what stands above it is not read",
                )
            break
        rows = stretch + rows
    # A row with one bad cell right above is still a row: it must not pass for a line of names.
    while rows[0].line - 1 > start and (above := _row(rows[0].line - 1, lines[rows[0].line - 2], delimiter, mark)):
        if above.line in skipped or len(above.kinds) != len(usual.kinds):
            break
        rows.insert(0, above)
    return rows


def _row(number: int, line: str, delimiter: str, mark: str) -> _Row | None:
    """A line as a row when at least half of its filled cells are numbers or stamps."""
    if delimiter not in line and delimiter != ",":
        return None
    cells = tuple(split_line(line, delimiter))
    number_re = NUMBER[mark]
    kinds: list[Kind] = []
    good = filled = 0
    for cell in cells:
        if number_re.match(cell):
            kinds.append("number")
            good += 1
            filled += 1
        elif is_missing(cell):
            kinds.append("empty")
        else:
            stamp = is_stamp(cell)
            kinds.append("stamp" if stamp else "text")
            good += stamp
            filled += 1
    if not good or 2 * good < filled or "number" not in kinds:
        return None
    return _Row(number, cells, tuple(kinds))


def _alike(one: _Row, other: _Row) -> bool:
    """Whether two rows can belong to one table: same width but for empty ends, and no column both number and text."""
    if abs(len(one.kinds) - len(other.kinds)) > 1 and one.width != other.width:
        return False
    if abs(len(one.kinds) - len(other.kinds)) == 1 and max(one, other, key=lambda r: len(r.kinds)).cells[-1]:
        return False
    return all("empty" in pair or pair[0] == pair[1] for pair in zip(one.kinds, other.kinds, strict=False))


def _names_between(lines: Sequence[str], first: int, last: int, delimiter: str, mark: str) -> list[str]:
    """Cells of a line between two rows that looks like names; [] where there is none."""
    for line in lines[first : last - 1]:
        cells = split_line(line, delimiter)
        if len(cells) > 1 and any(cells) and not any(NUMBER[mark].match(cell) for cell in cells):
            return cells
    return []


def _names_above(lines: Sequence[str], first: int, rivals: Sequence[str], delimiter: str, mark: str) -> bool:
    """Whether names with at least as many units as the rivals' stand right above a row: then the rivals interrupt a table."""
    for line in reversed(lines[: first - 1]):
        cells = split_line(line, delimiter)
        if any(cells) and not any(NUMBER[mark].match(cell) for cell in cells):
            return len(cells) > 1 and _units_in(cells) >= _units_in(rivals)
    return False


def _units_in(cells: Sequence[str]) -> int:
    return sum(bool(split_unit(cell)[1]) for cell in cells)


def _describe(
    lines: Sequence[str], rows: Sequence[_Row], delimiter: str, mark: str, overrides: DialectOverrides, file: str
) -> Layout:
    counts = Counter(len(row.kinds) for row in rows)
    width = max(counts)
    first = rows[0].line
    kinds, samples = _columns(rows, width)
    layout = Layout(
        delimiter,
        mark,
        width,
        kinds,
        samples,
        first,
        rows=len(rows),
        quoted=any('"' in line for line in lines[first - 1 :]),
    )
    return _with_names(layout, lines, overrides, file)


def _columns(rows: Sequence[_Row], width: int) -> tuple[tuple[Kind, ...], tuple[tuple[str, ...], ...]]:
    sample = rows[:_SAMPLE]
    kinds: list[Kind] = []
    samples = []
    for index in range(width):
        seen: Counter[Kind] = Counter(row.kinds[index] for row in sample if index < len(row.kinds))
        seen.pop("empty", None)
        kinds.append(seen.most_common(1)[0][0] if seen else "empty")
        samples.append(tuple(row.cells[index] for row in sample if index < len(row.cells)))
    return tuple(kinds), tuple(samples)


def _with_names(layout: Layout, lines: Sequence[str], overrides: DialectOverrides, file: str) -> Layout:
    """Add the lines of names and units: the ones right above the rows, blank lines aside, or those that are stated."""
    skipped = set(overrides.skip_lines)
    above = [
        number
        for number in range(layout.first_data_line - 1, 0, -1)
        if number not in skipped and lines[number - 1].strip(" \r" + layout.delimiter)
    ]
    header, unit = overrides.header_line, overrides.unit_line
    for stated, key in ((header, "header_line"), (unit, "unit_line")):
        if stated is not None and not 1 <= stated <= len(lines):
            raise refusal(file, f"has no line {stated}", key=key, mend=f"rows begin in line {layout.first_data_line}")
    if header is None:
        header, unit = _find_names(layout, lines, above, unit)
    names = _names_of(lines[header - 1], layout) if header else ()
    units = _names_of(lines[unit - 1], layout) if unit else ()
    filled = len(names) - next((i for i, name in enumerate(reversed(names)) if name), len(names))
    used = max((i + 1 for i, kind in enumerate(layout.kinds) if kind != "empty"), default=layout.width)
    if names and (filled > layout.width or filled < used):
        raise refusal(
            file,
            f"names {filled} columns, but its rows (from line {layout.first_data_line}) hold {used} cells",
            line=header,
            key="header_line",
            mend="state `header_line`, or mend the line of names in a copy of the file",
        )
    top = min(number for number in (header, unit, layout.first_data_line) if number)
    return replace(
        layout,
        header_line=header,
        unit_line=unit,
        names=tuple(names),
        unit_row=tuple(units),
        preamble=tuple(line.rstrip("\r") for line in lines[: top - 1]),
    )


def _find_names(
    layout: Layout, lines: Sequence[str], above: Sequence[int], unit: int | None
) -> tuple[int | None, int | None]:
    """Line of the names and line of the units, each None where there is none."""
    rows = [number for number in above if number != unit][:3]
    if not rows:
        return None, unit
    nearest = _names_of(lines[rows[0] - 1], layout)
    if unit is None and len(rows) > 1 and is_unit_row(nearest):
        upper = _names_of(lines[rows[1] - 1], layout)
        if _can_be_names(upper, layout):
            return rows[1], rows[0]
    return (rows[0] if _can_be_names(nearest, layout) else None), unit


def _can_be_names(cells: Sequence[str], layout: Layout) -> bool:
    filled = [cell for cell in cells if cell]
    if not filled or (len(filled) == 1 and layout.width > 1):
        return False
    return not any(NUMBER[layout.decimal].match(cell) for cell in filled)


def _names_of(line: str, layout: Layout) -> list[str]:
    """Cells of a line of names; a comment sign in front of the first is no part of it."""
    text = line.strip("\r\n")
    bare = text.lstrip()
    if bare.startswith("#"):
        text = bare.lstrip("#").lstrip()
    return split_line(text, layout.delimiter)


def _is_wrapped(lines: Sequence[str]) -> bool:
    """Whether every line as a whole stands in one pair of quotes."""
    filled = [line.strip() for line in lines[:50] if line.strip()]
    return len(filled) > 1 and all(
        len(line) > 2
        and line[0] == line[-1] == '"'
        and '"' not in line[1:-1].replace('""', "")
        and any(mark in line for mark in ",;\t")
        for line in filled
    )


def _refuse_thousands(layout: Layout, file: str) -> None:
    """Refuse when every comma in the numbers could part thousands as well as decimals: the two readings differ by 1000."""
    if layout.decimal != ",":
        return
    commas = [
        (i, cell)
        for i, cells in enumerate(layout.samples)
        for cell in cells
        if "," in cell and layout.kinds[i] == "number"
    ]
    if commas and all(_THOUSANDS.match(cell) for _, cell in commas):
        index, cell = commas[0]
        raise refusal(
            file,
            f"column {index + 1} holds {cell!r}: {cell.replace(',', '.')} with a decimal comma, "
            f"{cell.replace(',', '')} with a comma between thousands",
            line=layout.first_data_line,
            key="decimal",
            mend='state `decimal = ","` for this logger, or export without a mark between thousands',
        )


def _nothing_found(lines: Sequence[str], file: str) -> RecordingError:
    filled = [(number, line.strip()) for number, line in enumerate(lines, 1) if line.strip()]
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
    )
