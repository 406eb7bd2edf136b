"""What the parts of a made file are: cells as printed, what must come out of them, and what may be said about them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from random import Random


@dataclass(frozen=True, slots=True)
class Refusal:
    """A right refusal: the key that settles it ("" where none can) and words of which one must be in the text."""

    key: str
    words: str

    def fits(self, key: str, text: str) -> bool:
        return (not self.key or self.key == key or self.key in text) and bool(
            re.search(self.words, text, re.IGNORECASE)
        )


@dataclass(frozen=True, slots=True)
class Must:
    """A finding that must be there: words in its code or message, and the data row (from 0) or the line that it names."""

    words: str
    row: int | None = None
    line: int | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """One column: header cell, unit cell of a unit row, cells as printed and the values that must come out (None: no value)."""

    header: str
    cells: tuple[str, ...]
    values: tuple[float | str | None, ...]
    unit: str = ""
    unit_cell: str = ""
    keys: tuple[str, ...] = ()
    """Names it may have in `Log.data`; none given: any."""
    clock: bool = False
    optional: bool = False
    """A column without a single value may be left out."""

    def take(self, rows: list[int]) -> Column:
        return replace(self, cells=tuple(self.cells[r] for r in rows), values=tuple(self.values[r] for r in rows))


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a file is written."""

    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    ends: str = "\n"


@dataclass(frozen=True, slots=True)
class Clock:
    """The time of a file: its columns or its preamble lines, and the seconds from the first sample."""

    columns: tuple[Column, ...]
    seconds: tuple[Fraction, ...]
    slack: float = 0.0
    """What binary arithmetic on the numbers as printed may add [s]; 0 for stamps, which are whole nanoseconds."""
    preamble: tuple[tuple[str, str, str], ...] = ()
    """(name, value, unit) of a line that tells the rate."""
    refusals: tuple[Refusal, ...] = ()
    may_read: bool = True
    must: tuple[Must, ...] = ()
    allowed: str = ""
    """Words of doubtful findings that are right for this clock."""
    settle: Mapping[str, object] = field(default_factory=dict)
    """`TimeColumn` keys that settle a refusal, "@" standing for the name of the first clock column."""
    start: str = ""
    """Date and clock of the first row, ISO 8601 to the second, where the file says them: shows a day taken for a month."""
    unit: str = ""
    """Unit of a relative number: what must be stated where the file has no names."""
    rows_matter: bool = True
    """Whether a lost row moves the seconds of the rows behind it (time that is counted, not written)."""


@dataclass(frozen=True, slots=True)
class Made:
    """A made file and everything that must be true of its reading."""

    content: bytes
    traits: str
    columns: tuple[Column, ...]
    seconds: tuple[Fraction, ...]
    slack: float
    lines: tuple[int, ...]
    """Line of every row that must come out."""
    refusals: tuple[Refusal, ...] = ()
    may_read: bool = True
    must: tuple[Must, ...] = ()
    allowed: str = ""
    settle: Mapping[str, object] = field(default_factory=dict)
    start: str = ""
    header_line: int | None = None
    preamble_holds: tuple[str, ...] = ()


def pick(random: Random, weights: Mapping[str, int]) -> str:
    """One name by its weight."""
    return random.choices(list(weights), list(weights.values()))[0]
