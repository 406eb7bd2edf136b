"""Made logger files: every clock crossed with every structure, with encodings, numbers and names drawn at random by seed.

`make(clock, structure, seed)` gives the same file for the same three. What is left out, and why:

- decimal comma with comma as delimiter, unless all is quoted: the line could not be parted;
- blanks as delimiter: only with names, stamps and cells that hold none (they are in the corpus instead);
- rows lost in the middle where time is counted by rows: what follows is moved by design, and said (tests/logs);
- transposed and side by side with clocks of several columns, of none, or with a doubt of their own: two doubts in one file
  say nothing about either;
- no names where the name is one of the two things that disagree, or alone says that a number is a part of the clock;
- one name over several columns where no time stands beside: a line of one word is no line of names;
- Shift-JIS with characters it lacks, and one odd byte with an encoding that has no single bytes.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

import made_names
import made_numbers
from made_clocks import CLOCKS
from made_structures import KINDS, ROWS_LOST, Sheet, crossed, lay
from made_table import Clock, Column, Dialect, Made, Must, Refusal, pick

ENCODINGS = {
    "ascii": 20,
    "utf-8": 20,
    "utf-8-sig": 8,
    "utf-16": 5,
    "utf-16-le": 4,
    "utf-16-be": 3,
    "latin-1": 6,
    "cp1252": 8,
    "cp932": 8,
}
DELIMITERS = {",": 50, ";": 25, "\t": 20, "|": 3}
ENDS = {"\n": 50, "\r\n": 38, "\r": 3, "\r\r\n": 4, "mixed": 5}
DEFECTS = {"none": 70, "missing": 14, "sentinel": 6, "glued": 5, "lost points": 5}
SINGLE_BYTES = ("ascii", "latin-1", "cp1252")
NAMES_DECIDE = (
    "two clocks that disagree",
    "unit of time that the second clock denies",
    "clock and milliseconds",
    "clock and microseconds",
)
DOUBTS = ("transposed", "side by side")


def structures() -> tuple[str, ...]:
    return KINDS


def clocks() -> tuple[str, ...]:
    return tuple(CLOCKS)


def contradictory(clock_name: str, clock: Clock, structure: str) -> bool:
    """Crossings that no reader could be asked to settle; the module says why."""
    if structure == "no names" and any(words in clock_name for words in NAMES_DECIDE):
        return True
    if structure in ROWS_LOST and (not clock.rows_matter or clock.must):
        return True
    if structure == "one name over several columns" and not clock.columns:
        return True
    if structure in DOUBTS:
        return len(clock.columns) != 1 or bool(clock.refusals or clock.must)
    return False


def make(clock_name: str, structure: str, seed: int) -> Made | None:
    """One made file, or None where the crossing is contradictory."""
    random = Random(f"{clock_name}/{structure}/{seed}")
    rows = random.randint(45, 60) if "millisecond" in clock_name else random.randint(14, 40)
    clock = CLOCKS[clock_name](random, rows)
    if contradictory(clock_name, clock, structure):
        return None
    kinds = crossed(structure, random)
    dialect = _dialect(random, kinds)
    defect = pick(random, DEFECTS) if structure not in (*DOUBTS, "no names") else "none"
    # Shift-JIS has no micro sign of latin-1; half-width and Greek letters it has.
    clock = _fit_encoding(clock, dialect)
    if structure == "no names":
        clock = _nameless(clock)
    table, notes = _table(random, clock, kinds, structure, dialect, rows, defect)
    sheet = lay(kinds, table, dialect, random, clock.preamble)
    return _finish(
        f"{clock_name} / {structure} / seed {seed} / {', '.join(sorted(kinds - {structure})) or 'nothing else'} / {dialect} / {defect}",
        random,
        clock,
        table,
        sheet,
        notes,
    )


def _dialect(random: Random, kinds: frozenset[str]) -> Dialect:
    encoding = "ascii" if "odd byte behind" in kinds else pick(random, ENCODINGS)
    delimiter = pick(random, DELIMITERS)
    if "names behind a comment sign" in kinds and delimiter == ",":
        delimiter = ";"  # a name with a comma would be in quotes, and quotes that open behind the sign are no quotes
    quoted = bool(kinds & {"everything quoted", "numbers quoted"})
    comma = random.random() < (0.3 if delimiter != "," else 0.15 if quoted else 0.0)
    ends = pick(random, ENDS)
    return Dialect(encoding, delimiter, "," if comma else ".", ends)


def _nameless(clock: Clock) -> Clock:
    """Without names a relative number has no unit, and cells of several columns need not be told apart: refused for the time."""
    if len(clock.columns) == 1 and clock.unit:
        return replace(
            clock, refusals=(Refusal("time", "unit|time"),), may_read=False, settle={"column": "@", "unit": clock.unit}
        )
    stamped = len(clock.columns) == 1 and any(":" in cell for cell in clock.columns[0].cells)
    if stamped or not clock.columns:
        return clock
    return replace(clock, refusals=(*clock.refusals, Refusal("time", "time|unit")), settle={}, must=(), start="")


def _fit_encoding(clock: Clock, dialect: Dialect) -> Clock:
    if dialect.encoding in ("ascii", "cp932"):
        plain = tuple(
            replace(c, header=c.header.replace("µ", "u"), unit_cell=c.unit_cell.replace("µ", "u"))
            for c in clock.columns
        )
        return replace(clock, columns=plain)
    return clock


def _mark(text: str, dialect: Dialect) -> str:
    return text.replace(".", dialect.decimal)


def _number_cells(random: Random, dialect: Dialect, rows: int, style: str) -> Column:
    printed = made_numbers.numbers(random, style, rows)
    values = tuple(made_numbers.value(text) for text in printed)
    return Column(header="", cells=tuple(_mark(text, dialect) for text in printed), values=values)


def _table(
    random: Random, clock: Clock, kinds: frozenset[str], structure: str, dialect: Dialect, rows: int, defect: str
) -> tuple[list[Column], Clock]:
    """Columns in file order, and what the numbers add to the clock's expectations."""
    count = random.randint(2, 5)
    unit_row = any(kind.startswith("unit") for kind in kinds)
    spare = list(made_names.bases(dialect.encoding))
    random.shuffle(spare)
    styles = list(made_numbers.STYLES)
    channels = []
    for k in range(count):
        style = random.choice(styles)
        column = _number_cells(random, dialect, rows, style)
        naming = "none" if unit_row else pick(random, made_names.STYLES)
        name = made_names.named(random, naming, spare[k], dialect.encoding)
        unit = random.choice(made_names.units(dialect.encoding)) if unit_row else name.unit
        channels.append(replace(column, header=name.header, unit=unit, unit_cell=unit, keys=name.keys))
    channels, notes = _defect(random, channels, clock, dialect, defect)
    channels = _shape(random, channels, structure, rows)
    times = [_localised(c, dialect) for c in clock.columns]
    place = 0 if random.random() < 0.8 or structure in DOUBTS else random.randint(0, len(channels))
    return [*channels[:place], *times, *channels[place:]], notes


def _localised(column: Column, dialect: Dialect) -> Column:
    """Numbers of a clock follow the decimal mark of the file; stamps keep their point."""
    if all(":" not in cell and cell.count(".") <= 1 for cell in column.cells):
        return replace(column, cells=tuple(_mark(cell, dialect) for cell in column.cells))
    return column


def _shape(random: Random, channels: list[Column], structure: str, rows: int) -> list[Column]:
    if structure == "one name over several columns":
        return [channels[0], *(replace(c, header="", keys=(), unit="?") for c in channels[1:])]
    if structure == "empty column":
        return [*channels, Column("Spare", ("",) * rows, (None,) * rows, optional=True, keys=("Spare",))]
    if structure == "state column":
        words = tuple(random.choice(["open", "shut", "moving"]) for _ in range(rows - 1))
        cells = ("open", *words)
        return [channels[0], Column("Valve", cells, cells, keys=("Valve",)), *channels[1:]]
    if (
        structure not in (*DOUBTS, "no names")
        and random.random() < 0.06
        and len(channels) > 2
        and not any(c.header.startswith("Line ") for c in channels[:2])
    ):
        return [
            channels[0],
            replace(
                channels[1], header=channels[0].header, unit=channels[0].unit, unit_cell=channels[0].unit_cell, keys=()
            ),
            *channels[2:],
        ]
    return channels


def _defect(
    random: Random, channels: list[Column], clock: Clock, dialect: Dialect, defect: str
) -> tuple[list[Column], Clock]:
    """Spoil one channel, and say what must come of it."""
    which = random.randrange(len(channels))
    column = channels[which]
    rows = len(column.cells)
    at = sorted(random.sample(range(1, rows - 1), 3))
    cells, values = list(column.cells), list(column.values)
    if defect == "missing":
        spellings = random.choice(made_numbers.MISSING)
        for k, row in enumerate(at):
            cells[row], values[row] = spellings[k % len(spellings)], None
        clock = replace(clock, must=(*clock.must, Must("missing", at[0])), allowed=_or(clock.allowed, "missing"))
    elif defect in ("sentinel", "lost points", "glued"):
        cells, values = _tame(random, rows, dialect)
    if defect == "sentinel":
        sentinel = random.choice(made_numbers.SENTINELS)
        if "." not in sentinel:
            # Among decimals a whole number could be one that lost its point.
            cells = [str(random.randint(2000, 3000)) for _ in range(rows)]
            values = [float(text) for text in cells]
        for row in at:
            cells[row], values[row] = _mark(sentinel, dialect), None
        clock = replace(
            clock, must=(*clock.must, Must("missing", at[0])), allowed=_or(clock.allowed, "sentinel|missing")
        )
    elif defect == "lost points":
        for row in at:
            cells[row] = cells[row].replace(dialect.decimal, "")
        clock = replace(clock, refusals=(*clock.refusals, Refusal("", "decimal")), may_read=False, settle={})
    elif defect == "glued":
        unit, gap = random.choice(made_numbers.GLUED)
        # Two decimals: three behind a comma could be a mark between thousands.
        printed = [f"{random.uniform(20, 30):.2f}" for _ in range(rows)]
        cells, values = [_mark(text, dialect) for text in printed], [float(text) for text in printed]
        cells = [cell + gap + unit for cell in cells]
        # The file may say another unit in the name; here it says none.
        column = replace(column, header=f"Line {which}", unit=unit, unit_cell=unit, keys=(f"Line {which}",))
        clock = replace(clock, must=(*clock.must, Must("glued")), allowed=_or(clock.allowed, "glued"))
    channels[which] = replace(column, cells=tuple(cells), values=tuple(values))
    return channels, clock


def _tame(random: Random, rows: int, dialect: Dialect) -> tuple[list[str], list[float | str | None]]:
    """A steady channel of three decimals between 20 and 30, no last digit 0: what is lost or put for nothing shows."""
    printed = [f"{random.uniform(20, 30):.2f}{random.randint(1, 9)}" for _ in range(rows)]
    return [_mark(text, dialect) for text in printed], [float(text) for text in printed]


def _or(first: str, second: str) -> str:
    return f"{first}|{second}" if first else second


def _finish(traits: str, random: Random, clock: Clock, table: list[Column], sheet: Sheet, notes: Clock) -> Made:
    kept = sheet.kept
    seconds: list[Fraction] = [clock.seconds[row] for row in kept]
    allowed = "|".join(filter(None, [notes.allowed, *sheet.allowed]))
    lines = dict(zip(kept, sheet.rows, strict=True))
    must = [*sheet.must]
    for wanted in notes.must:
        if wanted.row is None:
            must.append(wanted)
        elif wanted.row in lines and sheet.rows[0] != sheet.rows[-1]:
            must.append(replace(wanted, line=lines[wanted.row], row=None))
    refusals = (*notes.refusals, *sheet.refusals)
    return Made(
        content=_bytes(sheet, random),
        traits=traits,
        columns=tuple(c.take(kept) for c in table),
        seconds=tuple(second - seconds[0] for second in seconds),
        slack=clock.slack,
        lines=tuple(sheet.rows),
        refusals=refusals,
        may_read=notes.may_read and sheet.may_read,
        must=tuple(must),
        allowed=allowed,
        settle=notes.settle,
        start=clock.start,
        header_line=sheet.header_line,
        preamble_holds=tuple(sheet.preamble_holds),
    )


def _bytes(sheet: Sheet, random: Random) -> bytes:
    ends = sheet.dialect.ends
    first = sheet.rows[0] - 1
    parts = []
    for k, line in enumerate(sheet.lines):
        end = ("\r\n" if k < first else "\n") if ends == "mixed" else ends
        last = k == len(sheet.lines) - 1
        bare = last and (not sheet.final_end or random.random() < 0.15)
        parts.append(line + ("" if bare else end))
    text = "".join(parts)
    encoding = sheet.dialect.encoding
    if sheet.odd_byte:
        return text.encode("cp1252")
    return text.encode(encoding)
