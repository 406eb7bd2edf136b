"""How a table becomes the lines of a file: preambles, headers, quotes, trailing delimiters, repeats, footers, cut rows."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from made_table import Column, Dialect, Must, Refusal

WORDS = ("Operator", "Station", "Serial", "Remark", "Setup", "Hose", "Channel set", "Program")
ENTRIES = ("A. Nyone", "4711", "rear bench", "6.2 bar", "v2.13", "yes", "12 m", "none")
LONG = 300

PREAMBLES = (
    "keys",
    "keys, no blank",
    "cells",
    "tabs",
    "prose",
    "sections",
    "comments",
    "quoted comments",
    "triples",
    "padded",
    "long",
    "junk bytes",
    "clock inside",
    "blank lines",
)
KINDS = (
    "plain",
    *(f"preamble of {kind}" for kind in PREAMBLES),
    "preamble beside the data",
    "unit row",
    "unit row in brackets",
    "unit and source rows",
    "blank line before the names",
    "blank line after the names",
    "names behind a comment sign",
    "no names",
    "one name over several columns",
    "trailing delimiter everywhere",
    "trailing delimiter on rows",
    "trailing delimiter on the names",
    "trailing delimiter on all rows but the last",
    "numbers quoted",
    "everything quoted",
    "every line in one pair of quotes",
    "blanks around cells",
    "names repeated on the way",
    "end marker",
    "small table behind",
    "odd byte behind",
    "blank lines behind",
    "delimiters behind",
    "last row cut",
    "blank lines between",
    "row of another width",
    "empty column",
    "state column",
    "transposed",
    "side by side",
)

GROUPS = {
    "preamble": tuple(f"preamble of {kind}" for kind in PREAMBLES),
    "trailing": tuple(kind for kind in KINDS if kind.startswith("trailing")),
    "quotes": ("numbers quoted", "everything quoted", "blanks around cells"),
    "behind": (
        "end marker",
        "small table behind",
        "blank lines behind",
        "delimiters behind",
        "odd byte behind",
        "last row cut",
    ),
    "units": ("unit row", "unit row in brackets", "unit and source rows"),
}
"""Kinds that may stand beside another: at most one of each group in a file."""
ALONE = ("transposed", "side by side", "preamble beside the data", "every line in one pair of quotes")
"""Kinds that are made without another: they decide the whole file."""
PLAIN_PREAMBLES = ("keys", "prose", "comments", "long", "sections")
"""Preambles above rows without names: one whose last line has cells would be the line of names."""

ROWS_LOST = ("row of another width",)
"""Kinds that leave out a row in the middle: not crossed with time that is counted, where it would move all that follows."""


@dataclass(slots=True)
class Sheet:
    """The lines so far, and where the rows stand."""

    dialect: Dialect
    lines: list[str] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    kept: list[int] = field(default_factory=list)
    must: list[Must] = field(default_factory=list)
    allowed: list[str] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    may_read: bool = True
    header_line: int | None = None
    preamble_holds: list[str] = field(default_factory=list)
    final_end: bool = True
    odd_byte: bool = False
    junk: int = 0

    def add(self, line: str) -> int:
        self.lines.append(line)
        return len(self.lines)

    def add_row(self, line: str, row: int) -> None:
        self.rows.append(self.add(line))
        self.kept.append(row)


@dataclass(frozen=True, slots=True)
class Pen:
    """Writes cells into a line."""

    delimiter: str
    quote: str = "needed"
    padded: bool = False

    def line(self, cells: list[str], *, names: bool = False, trailing: bool = False) -> str:
        text = self.delimiter.join(self._cell(cell, names) for cell in cells)
        text += self.delimiter if trailing else ""
        return '"' + text.replace('"', '""') + '"' if self.quote == "line" else text

    def _cell(self, cell: str, names: bool) -> str:
        wanted = self.quote == "all" or (self.quote == "numbers" and not names)
        if wanted or self.delimiter in cell or '"' in cell:
            return '"' + cell.replace('"', '""') + '"'
        return f" {cell} " if self.padded and self.delimiter != "\t" else cell


def preamble(kind: str, random: Random, pen: Pen, width: int, extra: tuple[tuple[str, str, str], ...]) -> list[str]:
    """Lines above the names; `extra` are (name, value, unit) that must be among them."""
    entries = [
        (word, entry, "") for word, entry in zip(random.sample(WORDS, 3), random.sample(ENTRIES, 3), strict=True)
    ]
    told = [(name, f"{text} {unit}".strip(), unit) for name, text, unit in [*entries, *extra]]
    own = [f"{name}: {text}" for name, text, _ in told]
    if kind == "keys, no blank":
        return [f"{name}={text}" for name, text, _ in told]
    if kind == "cells":
        return [pen.line([name, text]) for name, text, _ in told]
    if kind == "tabs":
        return [f"{name}\t{text}" for name, text, _ in told]
    if kind == "prose":
        return [
            "Recorded on the rear bench after the hose was changed, see the note of the day.",
            'Hose: 1/2" by 30 m',
            *own[3:],
        ]
    if kind == "sections":
        return ["[Header]", *own[:3], "", "[Channels]", *own[3:], "[Data]"]
    if kind == "comments":
        return [f"# {line}" for line in own]
    if kind == "quoted comments":
        return [f'"# {line}"' for line in own]
    if kind == "triples":
        rows = [(name, text, unit) for name, text, unit in [*entries, *extra]]
        return [f'"{name}"{pen.delimiter}{text}{pen.delimiter}"{unit}"' for name, text, unit in rows]
    if kind == "padded":
        return [
            pen.line([name, text, *[""] * (width - 2)]) if width > 2 else pen.line([name, text])
            for name, text, _ in told
        ]
    if kind == "long":
        return [*(f"Setting {n}: value {n * 7}" for n in range(LONG)), *own]
    if kind == "junk bytes":
        return [own[0], "Tag: \x01\x02\x7f\x1b", *own[1:]]
    if kind == "clock inside":
        return ["Date: 21.03.2026", "Started 10:15:03,25", *own]
    if kind == "blank lines":
        return [own[0], "", "", *own[1:], ""]
    return own


def crossed(main: str, random: Random) -> frozenset[str]:
    """The kind and, now and then, one of each other group."""
    if main in ALONE:
        return frozenset({main})
    kinds = {main}
    for group, members in GROUPS.items():
        taken = main in members or (group == "units" and main in ("no names", "names behind a comment sign"))
        if not taken and random.random() < 0.15:
            kinds.add(random.choice(members))
    if "no names" in kinds:
        kinds -= {f"preamble of {kind}" for kind in PREAMBLES if kind not in PLAIN_PREAMBLES}
        kinds.discard("trailing delimiter on the names")
    if "names behind a comment sign" in kinds:
        kinds.discard("everything quoted")
    if main == "one name over several columns":
        # A row of units tells the columns apart by itself, and a trailing delimiter adds one more name that is empty.
        kinds -= {*GROUPS["units"], *GROUPS["trailing"]}
    return frozenset(kinds)


def lay(
    kinds: frozenset[str],
    columns: list[Column],
    dialect: Dialect,
    random: Random,
    extra: tuple[tuple[str, str, str], ...],
) -> Sheet:
    """Write the table as the lines of a file of these kinds."""
    sheet = Sheet(dialect)
    pen = Pen(dialect.delimiter, _quote(kinds), "blanks around cells" in kinds)
    if "transposed" in kinds:
        return transposed(sheet, columns, pen)
    if "side by side" in kinds:
        return side_by_side(sheet, columns, pen, random)
    if "preamble beside the data" in kinds:
        return beside(sheet, columns, pen, extra)
    _above(sheet, kinds, columns, pen, random, extra)
    _names(sheet, kinds, columns, pen)
    _rows(sheet, kinds, columns, pen, random)
    _below(sheet, kinds, columns, pen)
    return sheet


def _quote(kinds: frozenset[str]) -> str:
    styles = {"numbers quoted": "numbers", "everything quoted": "all", "every line in one pair of quotes": "line"}
    return next((style for kind, style in styles.items() if kind in kinds), "needed")


def _above(
    sheet: Sheet,
    kinds: frozenset[str],
    columns: list[Column],
    pen: Pen,
    random: Random,
    extra: tuple[tuple[str, str, str], ...],
) -> None:
    of = next((kind.removeprefix("preamble of ") for kind in kinds if kind.startswith("preamble of ")), "")
    if of or extra:
        for line in preamble(of or "keys", random, pen, len(columns), extra):
            sheet.add(f'"{line}"' if pen.quote == "line" else line)
    if "blank line before the names" in kinds:
        sheet.add("")


def _names(sheet: Sheet, kinds: frozenset[str], columns: list[Column], pen: Pen) -> None:
    if "no names" in kinds:
        sheet.must.append(Must("no-header|no names|without names"))
        sheet.allowed.append("no-header")
        return
    mark = "# " if "names behind a comment sign" in kinds else ""
    trailing = bool(kinds & {"trailing delimiter everywhere", "trailing delimiter on the names"})
    sheet.header_line = sheet.add(mark + pen.line([c.header for c in columns], names=True, trailing=trailing))
    cells = [c.unit_cell for c in columns]
    if "unit row in brackets" in kinds:
        cells = [f"[{cell}]" for cell in cells]
    if any(kind.startswith("unit") for kind in kinds):
        sheet.add(pen.line(cells, names=True))
    if "unit and source rows" in kinds:
        sheet.add(pen.line([random_source(n) for n in range(len(columns))], names=True))
    if "blank line after the names" in kinds:
        sheet.add("")


def random_source(n: int) -> str:
    return ("raw", "mean of 10", "filtered")[n % 3]


def _rows(sheet: Sheet, kinds: frozenset[str], columns: list[Column], pen: Pen, random: Random) -> None:
    n = len(columns[0].cells)
    special = random.randint(5, n - 4)
    trailing = bool(
        kinds
        & {
            "trailing delimiter everywhere",
            "trailing delimiter on rows",
            "trailing delimiter on all rows but the last",
        }
    )
    for row in range(n):
        cells = [c.cells[row] for c in columns]
        last = row == n - 1
        if row == special and "names repeated on the way" in kinds:
            line = sheet.add(sheet.lines[(sheet.header_line or 1) - 1])
            sheet.must.append(Must("dropped|repeated|names", line=line))
            sheet.allowed.append("dropped|repeated")
        if row in (special, special + 2) and "blank lines between" in kinds:
            sheet.add("")
        if row == special and "row of another width" in kinds:
            line = sheet.add(pen.line(cells[:-1]))
            sheet.must.append(Must("dropped|width|cells", line=line))
            sheet.allowed.append("dropped|width|gap")
        elif last and "last row cut" in kinds:
            # Cut in the middle: a row that lacks no more than an always-empty cell lacks nothing.
            line = sheet.add(pen.line(cells[: len(cells) // 2]))
            sheet.must.append(Must("cut|dropped|incomplete", line=line))
            sheet.allowed.append("cut|dropped|incomplete")
            sheet.final_end = False
        else:
            but_last = "trailing delimiter on all rows but the last" in kinds and last
            sheet.add_row(pen.line(cells, trailing=trailing and not but_last), row)


def _below(sheet: Sheet, kinds: frozenset[str], columns: list[Column], pen: Pen) -> None:
    # A small table as wide as the one above, or as its rows with a trailing delimiter, would be more rows of it.
    more = ["x", "x"] if len(columns) == 2 else []
    lines = {
        "end marker": ["*** end of record ***"],
        "small table behind": ["", pen.line(["Peak", "203.5", *more]), pen.line(["Mean", "101.25", *more])],
        "odd byte behind": ["End of record at 21 \N{DEGREE SIGN}C"],
    }
    behind = next((lines[kind] for kind in kinds if kind in lines), [])
    for k, text in enumerate(behind):
        line = sheet.add(text)
        if text and (k == 0 or not behind[k - 1]):
            sheet.must.append(Must("footer|dropped|behind|below", line=line))
            sheet.allowed.append("footer|dropped|gap")
    if "blank lines behind" in kinds:
        sheet.add("")
        sheet.add("")
    if "delimiters behind" in kinds:
        sheet.add(pen.line([""] * len(columns)))
        sheet.allowed.append("footer|dropped|missing")
    sheet.odd_byte = "odd byte behind" in kinds


def beside(sheet: Sheet, columns: list[Column], pen: Pen, extra: tuple[tuple[str, str, str], ...]) -> Sheet:
    """Metadata in the first two columns of the first lines, the samples from the fourth on."""
    facts = [
        ("Record", "4711"),
        ("Gain", "1.5"),
        ("Probe", "rear"),
        *((name, f"{text} {unit}") for name, text, unit in extra),
    ]
    sheet.header_line = sheet.add(pen.line(["Setting", "Value", "", *(c.header for c in columns)], names=True))
    for row in range(len(columns[0].cells)):
        front = [*facts[row], ""] if row < len(facts) else ["", "", ""]
        sheet.add_row(pen.line([*front, *(c.cells[row] for c in columns)]), row)
    sheet.preamble_holds.extend(["Probe"])
    return sheet


def transposed(sheet: Sheet, columns: list[Column], pen: Pen) -> Sheet:
    """A line per channel. Either it is told and read, or it is told and refused."""
    for column in columns:
        sheet.add(pen.line([column.header, *column.cells]))
    sheet.rows = [1] * len(columns[0].cells)
    sheet.kept = list(range(len(columns[0].cells)))
    sheet.refusals.append(Refusal("", "transposed|across|on its side|a line per|rows and columns"))
    sheet.allowed.append("transposed")
    return sheet


def side_by_side(sheet: Sheet, columns: list[Column], pen: Pen, random: Random) -> Sheet:
    """Two runs beside each other, the second shorter: whose values are they?"""
    n = len(columns[0].cells)
    shorter = n - random.randint(3, n // 2)
    names = [c.header for c in columns]
    gap = [""] if random.random() < 0.5 else []
    sheet.add(pen.line([*names, *gap, *names], names=True))
    for row in range(n):
        cells = [c.cells[row] for c in columns]
        sheet.add_row(pen.line([*cells, *gap, *(cells if row < shorter else [""] * len(cells))]), row)
    sheet.refusals.append(Refusal("", "side by side|beside|two runs|2 runs|several runs|two recordings|2 recordings"))
    sheet.may_read = False
    return sheet
