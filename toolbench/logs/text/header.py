"""Names and units above the rows: in one line, in several, beside numbers of their own, listed one by one, or not there."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass

from toolbench.logs.cells import NUMBERS, cell_code, split_line
from toolbench.logs.clocks.timenames import is_time_name
from toolbench.logs.names import bare_unit, is_processing_row, is_time_unit, is_unit_row, split_unit

_MOST_LINES = 5
_LAST_WITH_NAMES = 400
_MOST_BREAKS = 40
_REMARKS = frozenset(
    [
        "comment",
        "comments",
        "remark",
        "remarks",
        "note",
        "notes",
        "kommentar",
        "bemerkung",
        "commentaire",
        "marker",
        "event",
    ]
)
_LISTED = re.compile(
    r"^[\s#;/\"']*(?:(?:col(?:umn)?|ch(?:an(?:nel)?)?|field|spalte|kanal|colonne|voie|signal|var(?:iable)?)[\s_#.]*)"
    r"(?P<number>\d{1,3})\s*(?:name)?\s*[:=,;\t|)-]+\s*(?P<name>.*?)[\s\"',;]*$",
    re.IGNORECASE,
)
_LIST = re.compile(
    r"^[\s#;/\"']*(?:columns?|fields?|channels?|names|signals?|variables?|headers?|spalten|kan[äa]le)\s*[:=]\s*(?P<names>.+?)[\s\"']*$",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Header:
    """Lines of names and units, the names column by column, and what else was in those lines."""

    line: int | None = None
    unit_line: int | None = None
    names: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    """Facts that stood in cells beyond the columns, as "key<delimiter>value"."""
    top: int | None = None
    """First line that belongs to the header."""


@dataclass(frozen=True, slots=True)
class _Line:
    number: int
    cells: tuple[str, ...]

    @property
    def filled(self) -> int:
        return sum(bool(cell) for cell in self.cells)

    @property
    def distinct(self) -> int:
        return len({cell for cell in self.cells if cell})

    @property
    def numbers(self) -> int:
        return sum(cell_code(cell) in NUMBERS + "s" for cell in self.cells if cell)

    @property
    def is_counted(self) -> bool:
        """Whether the numbers in the line count channels: 0, 1, 2 or 1, 2, 3 behind a name."""
        numbers = [cell for cell in self.cells if cell_code(cell) in NUMBERS]
        if not 1 < len(numbers) < self.filled or not all(cell.isdecimal() for cell in numbers):
            return False
        values = [int(cell) for cell in numbers]
        return values[0] in (0, 1) and values == list(range(values[0], values[0] + len(values)))


def cells_of(line: str, delimiter: str) -> tuple[str, ...]:
    """Cells of a line of names; a comment sign or a word for "columns" in front of the first is no part of it."""
    text = line.strip("\r\n\0")
    listed = _LIST.match(text)
    if listed and delimiter in listed["names"]:
        text = listed["names"]
    cells = _with_brackets(split_line(text, delimiter)) if delimiter == " " else split_line(text, delimiter)
    if len(cells) == 1 and cells[0].startswith("#"):  # the comment as a whole may stand in quotes
        cells = split_line(cells[0], delimiter)
    if cells and cells[0].startswith("#"):
        cells[0] = cells[0].lstrip("#").strip()
        if delimiter == " " and not cells[0]:
            del cells[0]
    return tuple(cells)


def _with_brackets(words: list[str]) -> list[str]:
    """Words of a line of names parted by blanks, a unit in brackets with the name before it: "t [s] F [N]"."""
    cells: list[str] = []
    for word in words:
        if cells and word[0] in "[(" and word[-1] in "])" and cells[-1][-1] not in "])":
            cells[-1] += f" {word}"
        else:
            cells.append(word)
    return cells


def find_header(
    lines: Sequence[str],
    first: int,
    *,
    delimiter: str,
    width: int,
    used: int,
    skipped: frozenset[int],
    unit_line: int | None = None,
) -> Header:
    """The header right above the row in line `first`, blank lines aside.

    Parameters
    ----------
    lines : sequence of str
        The first lines of the file.
    first : int
        Line of the first row.
    delimiter : str
    width, used : int
        Cells of a row, and those up to the last column that holds anything.
    skipped : set of int
        Lines that the user leaves out.
    unit_line : int, optional
        Line of the units where the user states it.
    """
    block = _block(lines, first, delimiter, width, skipped, unit_line)
    at = next((i for i, line in enumerate(block[:3]) if _is_units(line, block[i + 1 :], used)), None)
    if at is not None:
        units, names = block[at], _best_names(block[at + 1 :], above_units=True)
        if names is not None and unit_line is None:
            return _with_units(names, units, used, delimiter)
    names = _best_names(block, above_units=False)
    if names is None or (names.numbers and not names.is_counted):
        return Header(unit_line=unit_line)
    above = next((line for line in block if line.number < names.number), None)
    if unit_line is None and above is not None and _is_units_above(above, names):
        return Header(names.number, above.number, names.cells, above.cells, top=above.number)
    return Header(names.number, unit_line, names.cells, top=names.number)


def _with_units(names: _Line, units: _Line, used: int, delimiter: str) -> Header:
    """Names with the units below them; what stands beyond the columns is facts."""
    extra = tuple(
        f"{name}{delimiter}{value}"
        for name, value in zip(names.cells[used:], units.cells[used:], strict=False)
        if name and value
    )
    kept = used if extra else max(len(names.cells), used)
    return Header(names.number, units.number, names.cells[:kept], units.cells[:kept], extra, names.number)


def _is_units_above(line: _Line, names: _Line) -> bool:
    """Whether the line above the names holds their units: nothing but units, one for nearly every name."""
    filled = [cell for cell in line.cells if cell]
    if any(split_unit(name)[1] for name in names.cells):
        return False
    plain = all(is_unit_row([cell]) or not bare_unit(cell) for cell in filled)
    return plain and is_unit_row(filled) and len(line.cells) == len(names.cells) and 2 * len(filled) > names.filled


def _block(
    lines: Sequence[str], first: int, delimiter: str, width: int, skipped: frozenset[int], unit_line: int | None
) -> list[_Line]:
    """Lines above the rows that can be part of a header, the nearest first."""
    block: list[_Line] = []
    for number in range(first - 1, max(0, first - 40), -1):
        if number in skipped or number == unit_line or not lines[number - 1].strip(' \r\0"' + delimiter):
            continue
        line = _Line(number, cells_of(lines[number - 1], delimiter))
        if line.filled < min(2, width) or (2 * line.numbers > line.filled and not line.is_counted):
            break
        block.append(line)
        if len(block) == _MOST_LINES:
            break
    return block


def _is_units(line: _Line, above: Sequence[_Line], used: int) -> bool:
    """Whether a line holds the units of names above it. Numbers in cells beyond the columns are facts, not units."""
    if not above:
        return False
    cells = line.cells[:used]
    facts = line.cells[used:]
    upper = above[0]
    if any(facts) and all(cell_code(cell) in NUMBERS for cell in facts if cell):
        named = all(bool(name) == bool(fact) for name, fact in zip(upper.cells[used:], facts, strict=False))
        units = sum(is_unit_row([cell]) for cell in cells)
        return named and units > 0 and not any(cell_code(cell) in NUMBERS for cell in cells if cell)
    if any(cell_code(cell) in NUMBERS for cell in cells if cell and cell != "1"):
        return False
    # A second word for the time or the count stands where those have no unit.
    cells = tuple(
        "" if _names_the_same(cell, upper.cells[index] if index < len(upper.cells) else "") else cell
        for index, cell in enumerate(cells)
    )
    return is_unit_row(cells) and upper.filled >= max(2 if used > 1 else 1, 0.6 * line.filled, 0.5 * used)


def _names_the_same(cell: str, above: str) -> bool:
    """Whether a cell in a row of units only says again that the column is the time, or counts rows."""
    return cell.casefold() in ("no.", "no", "nr.", "nr") or (
        not is_time_unit(cell) and is_time_name(cell) and is_time_name(above)
    )


def _best_names(block: Sequence[_Line], *, above_units: bool) -> _Line | None:
    """The nearest line, unless it says how values were made ("Avg", "Smp", "Avg") and the one above names them."""
    if not block:
        return None
    nearest = block[0]
    if len(block) > 1:
        upper = block[1]
        fits = upper.filled >= nearest.filled and upper.distinct == upper.filled and not upper.numbers
        if fits and is_processing_row(nearest.cells) and not is_processing_row(upper.cells):
            return upper
    whole = all(cell.isdecimal() for cell in nearest.cells if cell_code(cell) in NUMBERS)
    if nearest.numbers and not (above_units and whole) and not nearest.is_counted:
        return None
    return nearest


def listed_names(preamble: Sequence[str], width: int, delimiter: str) -> tuple[str, ...]:
    """Names that the preamble lists one by one, or in one line; () unless there is one for every column."""
    found: dict[int, str] = {}
    for line in preamble:
        match = _LISTED.match(line)
        if match and match["name"]:
            number = int(match["number"])
            if number in found:
                return ()
            found[number] = match["name"].split("\t")[0].strip(' "')
    for start in (1, 0):
        if width > 1 and sorted(found) == list(range(start, start + width)):
            return tuple(found[number] for number in sorted(found))
    for line in preamble:
        match = _LIST.match(line)
        if match:
            for sign in (delimiter, ",", ";", "\t", "|", " "):
                names = [name for name in split_line(match["names"], sign) if name]
                if len(names) == width and width > 1 and not any(cell_code(name) in NUMBERS + "s" for name in names):
                    return tuple(names)
    return ()


def one_name_for_two_stamps(names: Sequence[str], samples: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Names where one of a stamp stands over two cells, a date and a clock; () where that does not explain the widths."""
    filled = [*names]
    while filled and not filled[-1]:
        filled.pop()
    if len(filled) + 1 != len(samples):
        return ()
    places = [
        index
        for index in range(len(filled))
        if is_time_name(split_unit(filled[index])[0]) and _is_date(samples[index]) and _is_clock(samples[index + 1])
    ]
    if len(places) != 1:
        return ()
    at = places[0] + 1
    return (*filled[:at], "", *filled[at:])


def two_names_for_one_stamp(names: Sequence[str], samples: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Names where "Date" and "Time" stand over one cell that holds both; () where that does not explain the widths."""
    if len(names) != len(samples) + 1 or not samples or not all(is_time_name(split_unit(n)[0]) for n in names[:2]):
        return ()
    both = all(re.search(r"\d[./-]\d.*\d:\d\d", cell) is not None for cell in samples[0] if cell)
    return (f"{names[0]} {names[1]}", *names[2:]) if both else ()


def is_remark_name(name: str) -> bool:
    """Whether a name is that of a column for remarks, which is often never filled."""
    return bool(_REMARKS.intersection(re.split(r"[\s_.\-/()\[\]]+", name.casefold())))


def with_whole_cells(lines: Sequence[str]) -> Sequence[str]:
    """Lines in which a quoted name with a line break inside stands in one line; the lines it took become blank.

    The numbers of all lines stay what an editor shows.
    """
    joined = list(lines)
    number = 0
    while number < min(len(joined), _LAST_WITH_NAMES):
        end = _quote_closes(joined, number) if joined[number].count('"') % 2 else number
        if end > number:
            joined[number : end + 1] = [" ".join(joined[number : end + 1]), *[""] * (end - number)]
        number = end + 1
    return joined


def _quote_closes(lines: Sequence[str], number: int) -> int:
    """The line in which a quote left open is closed for good, the line itself where none near does. Numbers close nothing."""
    quotes = lines[number].count('"')
    for end in range(number + 1, min(number + 1 + _MOST_BREAKS, len(lines))):
        inside = lines[end].partition('"')[0]
        if re.search(r"\d.*[,;\t].*\d", inside):
            return number
        quotes += lines[end].count('"')
        if quotes % 2 == 0:
            return end
    return number


def _is_date(cells: Sequence[str]) -> bool:
    return bool(cells) and all(cell_code(cell) == "s" and ":" not in cell for cell in cells if cell)


def _is_clock(cells: Sequence[str]) -> bool:
    return bool(cells) and all(re.match(r"\d{1,2}:\d\d", cell) is not None for cell in cells if cell)


def first_is_certain(names: Sequence[str], samples: Sequence[Sequence[str]], kinds: Sequence[str]) -> bool:
    """Whether the first name is the first column's even where the numbers of names and cells differ.

    It is when it names a time, the first column rises and the second does not.
    """
    name, unit = split_unit(names[0])
    if len(samples) < 2 or not (is_time_name(name) or is_time_unit(unit)):
        return False
    if kinds[0] == "stamp":
        return kinds[1] != "stamp"
    return _rises(samples[0]) and kinds[1] == "number" and not _rises(samples[1])


def _rises(cells: Sequence[str]) -> bool:
    try:
        values = [float(cell.replace(",", ".")) for cell in cells if cell]
    except ValueError:
        return False
    return len(values) < 2 or all(one < other for one, other in itertools.pairwise(values))


def decimal_commas_part_cells(samples: Sequence[Sequence[str]], names: int) -> bool:
    """Whether decimal commas and delimiters look the same: twice as many cells as names, every other one bare digits."""
    width = len(samples)
    if not names < width <= 2 * names:
        return False
    if width == 2 * names:
        tails = samples[1::2]
        return all(cell.isdecimal() for cells in tails for cell in cells)
    return False
