"""One line as a row: what its cells are, and whether two rows can belong to one table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from toolbench.logs.cells import NUMBERS, cell_code, split_line
from toolbench.logs.names import Kind

SAMPLE = 60
_KINDS: dict[str, Kind] = {
    **dict.fromkeys(NUMBERS + "u", "number"), "s": "stamp", "e": "empty", "t": "text",
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


def is_numbered(row: Row, usual: Row) -> bool:
    """Whether a row is a line of names of which most are channel numbers: "t [s], 1, 2, 3"."""
    named = [
        cell
        for cell, own, wanted in zip(row.cells, row.kinds, usual.kinds, strict=True)
        if own == "text" and wanted in ("number", "stamp")
    ]
    numbers = [cell for cell, code in zip(row.cells, row.codes, strict=True) if code in NUMBERS + "u"]
    counted = all(cell.isdecimal() for cell in numbers)
    if not named or not counted:
        return False
    values = [int(cell) for cell in numbers]
    return len(values) > 1 and values[0] in (0, 1) and values == list(range(values[0], values[0] + len(values)))


def alike(one: Row, other: Row) -> bool:
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
