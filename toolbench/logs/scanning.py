"""The rows of numbers among the first lines of a file: which lines belong to one table, under one delimiter."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from toolbench.errors import RecordingError
from toolbench.logs.cells import cell_code, is_missing, split_line
from toolbench.logs.names import Kind, split_unit
from toolbench.logs.source import refusal
from toolbench.records.settings import DialectOverrides

DELIMITERS = (";", "\t", ",", "|", " ")
SAMPLE = 60
_MOST_CELLS = 100
_LOOKED_AT = 60  # last lines of the head that show which delimiters come into question
_KINDS: dict[str, Kind] = {
    "i": "number", "p": "number", "c": "number", "k": "number", "K": "number", "u": "number", "s": "stamp", "e": "empty", "t": "text",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One line with at least one number: its cells, a letter for each (see `cells.cell_code`) and their kinds."""

    line: int
    cells: tuple[str, ...]
    codes: str
    kinds: tuple[Kind, ...]

    @property
    def width(self) -> int:
        """Cells up to the last filled one, so that a trailing delimiter does not make a row wider."""
        width = len(self.cells)
        while width and not self.cells[width - 1]:
            width -= 1
        return width

    @property
    def weight(self) -> int:
        """Cells that are numbers or stamps."""
        return sum(kind in ("number", "stamp") for kind in self.kinds)


def find_rows(lines: Sequence[str], overrides: DialectOverrides, file: str) -> tuple[str, list[Row]]:
    """The delimiter under which most cells are numbers, and the rows it gives; no rows where there is none.

    A row is a line of which at least half of the filled cells are numbers or stamps; where that finds next to nothing,
    a fifth is enough, for tables with many columns of words.

    Raises
    ------
    RecordingError
        Under that delimiter rows stand above the names and below them.
    """
    best = _Found()
    for share in (0.5, 0.2):
        for delimiters in _delimiters(lines, overrides):
            if share < 0.5 and delimiters == (" ",):
                continue  # among words of a sentence a number proves nothing
            for delimiter in delimiters:
                found = _under(lines, delimiter, share, overrides, file)
                alike = found.score == best.score > 0 and found.words < best.words
                if alike or found.score > (2 if share < 0.5 else 1) * best.score:
                    best = found
            if best.rows:
                break
        if len(best.rows) > 2 or len(best.rows) > len(lines) // 4:
            break
    if best.refused is not None:
        raise best.refused
    return best.delimiter, best.rows


@dataclass(frozen=True, slots=True)
class _Found:
    delimiter: str = ""
    rows: list[Row] = field(default_factory=list)
    refused: RecordingError | None = None

    @property
    def score(self) -> int:
        """Cells that are numbers or stamps."""
        return sum(row.weight for row in self.rows)

    @property
    def words(self) -> int:
        """Cells that are neither numbers nor stamps nor empty."""
        return sum(row.kinds.count("text") for row in self.rows)


def _under(lines: Sequence[str], delimiter: str, share: float, overrides: DialectOverrides, file: str) -> _Found:
    """What one delimiter gives. Its refusal counts only where no other delimiter explains more cells."""
    rows, refused = data_rows(lines, delimiter, overrides, file, share)
    wide = bool(rows) and (len(rows[0].kinds) > 1 or delimiter == ",")
    return _Found(delimiter, rows, refused) if wide else _Found()


def _delimiters(lines: Sequence[str], overrides: DialectOverrides) -> list[Sequence[str]]:
    """Delimiters to try: those in most of the last lines, then all, then blanks: these stand inside stamps and names too."""
    if overrides.delimiter:
        return [(overrides.delimiter,)]
    filled = [line for line in lines[-2 * _LOOKED_AT :] if line.strip()][-_LOOKED_AT:]
    usual = tuple(d for d in DELIMITERS[:-1] if 2 * sum(d in line for line in filled) >= len(filled) > 0)
    return [usual, DELIMITERS[:-1], (" ",)]


def read_row(number: int, line: str, delimiter: str, share: float = 0.5) -> Row | None:
    """A line as a row when it holds a number and at least a share of its filled cells are numbers or stamps."""
    if delimiter not in line and delimiter != ",":
        return None
    cells = tuple(split_line(line, delimiter))
    codes = "".join(map(cell_code, cells))
    words = codes.count("t")
    filled = len(codes) - codes.count("e")
    stamps = codes.count("s")
    good = filled - words
    if good == stamps or good < share * filled:
        return None
    return Row(number, cells, codes, tuple(_KINDS[code] for code in codes))


def data_rows(
    lines: Sequence[str], delimiter: str, overrides: DialectOverrides, file: str, share: float = 0.5
) -> tuple[list[Row], RecordingError | None]:
    """The rows that belong together: the heaviest stretch of one width, and earlier rows of the same kind.

    With them, the refusal where rows that stand above a line of names cannot be told from rows below it.
    """
    start = max(overrides.header_line or 0, overrides.unit_line or 0)
    skipped = set(overrides.skip_lines)
    stretches = _stretches(lines, delimiter, start, skipped, share)
    if not stretches:
        return [], None
    heaviest = max(stretches, key=_weight)
    widest = max(heaviest, key=lambda row: len(row.kinds))
    usual = Row(0, widest.cells, widest.codes, column_kinds(heaviest, len(widest.kinds)))
    rows = list(heaviest)
    refused = _refused_change(stretches, heaviest, lines, file)
    if refused is not None:
        return rows, refused
    for stretch in reversed(stretches[: stretches.index(heaviest)]):
        if not _alike(stretch[-1], usual):
            continue
        names = _names_between(lines, stretch[-1].line, rows[0].line, delimiter)
        if names and not _names_above(lines, stretch[0].line, names, delimiter):
            if len(stretch) > 1:
                return rows, refusal(
                    file,
                    f"rows of numbers stand above these names (from line {stretch[0].line}) and below them",
                    line=rows[0].line - 1,
                    key="header_line",
                    mend="state `header_line` for this logger; what stands above it is not read",
                )
            break
        rows = stretch + rows
    return _with_rows_above(rows, usual, lines, delimiter, start, skipped, share), None


def _refused_change(
    stretches: Sequence[list[Row]], chosen: list[Row], lines: Sequence[str], file: str
) -> RecordingError | None:
    """The refusal where rows of another width stand right above: the table changes in the middle of the file."""
    place = stretches.index(chosen)
    above = stretches[place - 1] if place else []
    if min(len(above), len(chosen)) < 3 or any(
        line.strip(" \0") for line in lines[above[-1].line : chosen[0].line - 1]
    ):
        return None
    last, first = above[-1], chosen[0]
    if "text" in last.kinds or last.width < 2 or last.width == first.width or _alike(last, first):
        return None
    return refusal(
        file,
        f"its rows hold {first.width} cells from this line on and {last.width} before it: the table changes here",
        line=first.line,
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


def _stretches(lines: Sequence[str], delimiter: str, start: int, skipped: set[int], share: float) -> list[list[Row]]:
    """Rows that follow each other and are alike; a blank line parts nothing."""
    stretches: list[list[Row]] = []
    previous = 0
    for number, line in enumerate(lines, 1):
        if number <= start or number in skipped:
            previous += number in skipped
            continue
        row = read_row(number, line, delimiter, share)
        if row is None:
            previous += not line.strip(" \0")
            continue
        if stretches and previous == number - 1 and _alike(stretches[-1][-1], row):
            stretches[-1].append(row)
        else:
            stretches.append([row])
        previous = number
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
        if 2 * sum(own == wanted or own == "empty" for own, wanted in pairs) < len(pairs) or _is_numbered(above, usual):
            break
        rows.insert(0, above)
    return rows


def _is_numbered(row: Row, usual: Row) -> bool:
    """Whether a row is a line of names of which most are channel numbers: "t [s], 1, 2, 3"."""
    named = [
        cell
        for cell, own, wanted in zip(row.cells, row.kinds, usual.kinds, strict=True)
        if own == "text" and wanted in ("number", "stamp")
    ]
    numbers = [cell for cell, code in zip(row.cells, row.codes, strict=True) if code in "ipckKu"]
    counted = all(cell.isdecimal() for cell in numbers)
    if not named or not counted:
        return False
    values = [int(cell) for cell in numbers]
    return len(values) > 1 and values[0] in (0, 1) and values == list(range(values[0], values[0] + len(values)))


def _alike(one: Row, other: Row) -> bool:
    """Whether two rows can belong to one table: same width but for empty ends, and no column both number and text."""
    if abs(len(one.kinds) - len(other.kinds)) > 1 and one.width != other.width:
        return False
    if abs(len(one.kinds) - len(other.kinds)) == 1 and max(one, other, key=lambda r: len(r.kinds)).cells[-1]:
        return False
    return all("empty" in pair or pair[0] == pair[1] for pair in zip(one.kinds, other.kinds, strict=False))


def column_kinds(rows: Sequence[Row], width: int) -> tuple[Kind, ...]:
    """What most filled cells of every column are, as far as the first rows show."""
    kinds: list[Kind] = []
    for index in range(width):
        seen = Counter(row.kinds[index] for row in rows[:SAMPLE] if index < len(row.kinds))
        seen.pop("empty", None)
        kinds.append(seen.most_common(1)[0][0] if seen else "empty")
    return tuple(kinds)


def _has_number(cells: Sequence[str]) -> bool:
    return any(cell_code(cell) in "ipckKu" for cell in cells if cell)


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
    return sum(bool(split_unit(cell)[1]) for cell in cells)
