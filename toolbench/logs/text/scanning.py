"""The rows of numbers among the first lines of a file: which lines belong to one table, under one delimiter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from toolbench.logs.text.one_row import Row
from toolbench.logs.text.stretches import Chosen, choose_rows, filled_lines
from toolbench.records.settings import DialectOverrides

DELIMITERS = (";", "\t", ",", "|", " ")
_LOOKED_AT = 60  # last lines of the head that show which delimiters come into question


def find_rows(lines: Sequence[str], overrides: DialectOverrides, file: str) -> tuple[str, Chosen]:
    """The delimiter under which most cells are numbers, and the rows it gives; no rows where there is none.

    A row is a line of which at least half of the filled cells are numbers or stamps; where that finds next to nothing,
    a fifth is enough, for tables with many columns of words.

    Raises
    ------
    RecordingError
        Under that delimiter rows stand above the names and below them.
    """
    best = _Found()
    filled = filled_lines(lines)
    for share in (0.5, 0.2):
        for delimiters in _delimiters(lines, overrides):
            if share < 0.5 and delimiters == (" ",):
                continue  # among words of a sentence a number proves nothing
            for delimiter in delimiters:
                found = _under(lines, filled, delimiter, share, overrides, file)
                alike = found.score == best.score > 0 and found.words < best.words
                if alike or found.score > (2 if share < 0.5 else 1) * best.score:
                    best = found
            if best.rows:
                break
        if len(best.rows) > 2 or len(best.rows) > len(lines) // 4:
            break
    if best.chosen.refused is not None:
        raise best.chosen.refused
    return best.delimiter, best.chosen


@dataclass(frozen=True, slots=True)
class _Found:
    delimiter: str = ""
    chosen: Chosen = field(default_factory=Chosen)

    @property
    def rows(self) -> list[Row]:
        return self.chosen.rows

    @property
    def score(self) -> int:
        """Cells that are numbers or stamps."""
        return sum(row.weight for row in self.rows)

    @property
    def words(self) -> int:
        """Cells that are neither numbers nor stamps nor empty."""
        return sum(row.kinds.count("text") for row in self.rows)


def _under(
    lines: Sequence[str], filled: Sequence[int], delimiter: str, share: float, overrides: DialectOverrides, file: str
) -> _Found:
    """What one delimiter gives. Its refusal counts only where no other delimiter explains more cells."""
    chosen = choose_rows(lines, filled, delimiter, overrides, file, share)
    rows = chosen.rows
    wide = bool(rows) and (len(rows[0].kinds) > 1 or delimiter == ",")
    return _Found(delimiter, chosen) if wide else _Found()


def _delimiters(lines: Sequence[str], overrides: DialectOverrides) -> list[Sequence[str]]:
    """Delimiters to try: those in most of the last lines, then all, then blanks: these stand inside stamps and names too."""
    if overrides.delimiter:
        return [(overrides.delimiter,)]
    filled = [line for line in lines[-2 * _LOOKED_AT :] if line.strip()][-_LOOKED_AT:]
    usual = tuple(d for d in DELIMITERS[:-1] if 2 * sum(d in line for line in filled) >= len(filled) > 0)
    return [usual, DELIMITERS[:-1], (" ",)]
