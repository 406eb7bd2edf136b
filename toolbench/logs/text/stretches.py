"""Which stretch of rows is the table: the heaviest, those above that go on in it, and what is left above."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from toolbench.errors import RecordingError
from toolbench.logs.cells import NUMBERS, cell_code, is_missing, split_line
from toolbench.logs.names import looks_like_unit, split_unit
from toolbench.logs.source import refusal
from toolbench.logs.text.one_row import Row, alike, column_kinds, is_numbered, read_row
from toolbench.records.settings import DialectOverrides

_MOST_CELLS = 100
_FEW = 3
"""Fewer rows of numbers than these are facts above a table, no table."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """The rows of the table, the refusal where they cannot be told from others, and the rows above that are not read."""

    rows: list[Row] = field(default_factory=list)
    refused: RecordingError | None = None
    above: tuple[int, int] | None = None
    """First and last line of rows of numbers above the names."""


def choose_rows(
    lines: Sequence[str],
    filled: Sequence[int],
    delimiter: str,
    overrides: DialectOverrides,
    file: str,
    share: float = 0.5,
) -> Chosen:
    """The rows that belong together: the heaviest stretch of one width, and earlier rows of the same kind.

    `filled` are the numbers of the lines that are not blank: of these there may be millions, and every delimiter is tried.
    A stretch at the end that stands below names with units goes before a heavier one without names.
    """
    start = max(overrides.header_line or 0, overrides.unit_line or 0)
    skipped = set(overrides.skip_lines)
    stretches = _stretches(lines, filled, delimiter, start, skipped, share)
    if not stretches:
        return Chosen()
    heaviest = max(stretches, key=_weight)
    chosen = _headed(stretches, heaviest, lines, delimiter) or heaviest
    before = stretches[: stretches.index(chosen)]
    refused = _refused_change(before, chosen, lines, delimiter, file)
    if refused is not None:
        return Chosen(chosen, refused)
    if chosen is not heaviest:
        return Chosen(chosen, above=_span(before))
    widest = max(chosen, key=lambda row: len(row.kinds))
    usual = Row(0, widest.cells, widest.codes, column_kinds(chosen, len(widest.kinds)))
    rows, left, refused = _joined(before, chosen, usual, lines, delimiter, file)
    if refused is not None:
        return Chosen(rows, refused)
    return Chosen(_with_rows_above(rows, usual, lines, delimiter, start, skipped, share), above=_span(left))


def _joined(
    before: Sequence[list[Row]], chosen: list[Row], usual: Row, lines: Sequence[str], delimiter: str, file: str
) -> tuple[list[Row], list[list[Row]], RecordingError | None]:
    """The chosen rows with earlier ones of the same kind, the stretches left above, and the refusal of two tables."""
    pieces, left = [chosen], []  # from below upwards
    for place in range(len(before) - 1, -1, -1):
        stretch = before[place]
        if not alike(stretch[-1], usual):
            left.append(stretch)
            continue
        names = _names_between(lines, stretch[-1].line, pieces[-1][0].line, delimiter)
        if names and not _names_above(lines, stretch[0].line, names, delimiter):
            if len(stretch) > 1:
                return _in_order(pieces), left, _rows_above_names(stretch, pieces[-1], file)
            left += before[: place + 1]
            break
        pieces.append(stretch)
    return _in_order(pieces), left, None


def _in_order(pieces: Sequence[Sequence[Row]]) -> list[Row]:
    return [row for piece in reversed(pieces) for row in piece]


def _rows_above_names(stretch: Sequence[Row], rows: Sequence[Row], file: str) -> RecordingError:
    return refusal(
        file,
        f"rows of numbers stand above these names (from line {stretch[0].line}) and below them",
        line=rows[0].line - 1,
        key="header_line",
        mend="state `header_line` for this logger; what stands above it is not read",
    )


def _headed(
    stretches: Sequence[list[Row]], heaviest: list[Row], lines: Sequence[str], delimiter: str
) -> list[Row] | None:
    """The last stretch, where names of which most have units stand right above it and none above the heaviest."""
    last = stretches[-1]
    if last is heaviest or len(last) < _FEW or _names_right_above(lines, heaviest[0].line, delimiter):
        return None
    names = _names_right_above(lines, last[0].line, delimiter)
    own = max(len(row.kinds) for row in last)
    return last if len(names) == own and 2 * _units_in(names) > len(names) else None


def _names_right_above(lines: Sequence[str], first: int, delimiter: str) -> list[str]:
    """Cells of the nearest filled line above a row where it names columns; a row of units above it is none."""
    for line in reversed(lines[: first - 1]):
        cells = split_line(line, delimiter)
        if any(cells):
            return cells if len(cells) > 1 and not _has_number(cells) else []
    return []


def _span(stretches: Sequence[Sequence[Row]]) -> tuple[int, int] | None:
    """First and last line of stretches that could be rows of a table: several of them, numbers only."""
    tables = [rows for rows in stretches if len(rows) >= _FEW and rows[-1].width > 1 and "text" not in rows[-1].kinds]
    lines = [row.line for rows in tables for row in rows]
    return (min(lines), max(lines)) if lines else None


def _refused_change(
    before: Sequence[list[Row]], chosen: list[Row], lines: Sequence[str], delimiter: str, file: str
) -> RecordingError | None:
    """The refusal where rows of another width stand right above, or above names of their own: the table changes."""
    if not before:
        return None
    above = before[-1]
    last, first = above[-1], chosen[0]
    shared = {*_names_right_above(lines, above[0].line, delimiter)} & {
        *_names_right_above(lines, first.line, delimiter)
    }
    # A row or two below names of their own are facts, unless the names are the table's.
    if min(len(above), len(chosen)) < _FEW and len(shared) < 2:
        return None
    if "text" in last.kinds or last.width < 2 or last.width == first.width or alike(last, first):
        return None
    begun = [number for number in range(last.line + 1, first.line) if lines[number - 1].strip(" \0")]
    if begun and not (len(begun) < _FEW and _names_right_above(lines, above[0].line, delimiter)):
        return None
    return refusal(
        file,
        f"its rows hold {first.width} cells from line {first.line} on and {last.width} in lines {above[0].line} to "
        f"{last.line}: the table changes here" + (", with names of its own" if begun else ""),
        line=begun[0] if begun else first.line,
        key="skip_lines",
        mend="cut the file at that line in a copy, one table per file: no column can be told to go on",
    )


def _weight(rows: Sequence[Row]) -> float:
    """How much a stretch of rows counts. One that begins with another word in every row is a list of settings."""
    # One line of thousands of cells is no table: it must not outweigh hundreds of rows.
    weight = sum(min(_MOST_CELLS, len(row.kinds) - row.kinds.count("text")) for row in rows)
    words = {row.cells[0] for row in rows if row.kinds[0] == "text"}
    if len(words) <= 0.9 * len(rows):
        return weight
    return weight / (1000 if max(len(row.kinds) for row in rows) <= 3 else 50)


def filled_lines(lines: Sequence[str]) -> list[int]:
    """Numbers of the lines that are not blank."""
    return [number for number, line in enumerate(lines, 1) if line and line.strip(" \0")]


def _stretches(
    lines: Sequence[str], filled: Sequence[int], delimiter: str, start: int, skipped: set[int], share: float
) -> list[list[Row]]:
    """Rows that follow each other and are alike; a blank line parts nothing."""
    stretches: list[list[Row]] = []
    previous = 0
    for place, number in enumerate(number for number in filled if number > start and number not in skipped):
        row = read_row(number, lines[number - 1], delimiter, share)
        if row is None:
            continue
        if stretches and previous == place - 1 and alike(stretches[-1][-1], row):
            stretches[-1].append(row)
        else:
            stretches.append([row])
        previous = place
    return stretches


def _with_rows_above(
    rows: list[Row], usual: Row, lines: Sequence[str], delimiter: str, start: int, skipped: set[int], share: float
) -> list[Row]:
    """A row with one bad cell right above is still a row: it must not pass for a line of names."""
    while rows[0].line - 1 > start:
        above = read_row(rows[0].line - 1, lines[rows[0].line - 2], delimiter, share)
        if above is None or above.line in skipped or len(above.kinds) != len(usual.kinds):
            break
        pairs = [
            (own, wanted) for own, wanted in zip(above.kinds, usual.kinds, strict=True) if wanted in ("number", "stamp")
        ]
        if 2 * sum(own == wanted or own == "empty" for own, wanted in pairs) < len(pairs) or is_numbered(above, usual):
            break
        rows.insert(0, above)
    return rows


def _has_number(cells: Sequence[str]) -> bool:
    return any(cell_code(cell) in NUMBERS + "u" for cell in cells if cell)


def _names_between(lines: Sequence[str], first: int, last: int, delimiter: str) -> list[str]:
    """Cells of a line between two rows that looks like names; [] where there is none."""
    for line in lines[first : last - 1]:
        cells = split_line(line, delimiter)
        if len(cells) > 1 and any(cells) and not _has_number(cells) and not all(map(is_missing, cells)):
            return cells
    return []


def _names_above(lines: Sequence[str], first: int, rivals: Sequence[str], delimiter: str) -> bool:
    """Whether the rivals interrupt a table: they stand above it too, or names with at least as many units stand right above."""
    if any(split_line(line, delimiter) == rivals for line in lines[: first - 1]):
        return True
    for line in reversed(lines[: first - 1]):
        cells = split_line(line, delimiter)
        if any(cells) and not _has_number(cells):
            return len(cells) > 1 and _units_in(cells) >= _units_in(rivals)
    return False


def _units_in(cells: Sequence[str]) -> int:
    return sum(bool(split_unit(cell)[1]) or looks_like_unit(cell) for cell in cells)
