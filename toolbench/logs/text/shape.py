"""How the lines of a file are to be read: the one value that all steps of reading share."""

from __future__ import annotations

from dataclasses import dataclass

from toolbench.logs.names import Kind
from toolbench.records.findings import Finding


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
    marks: tuple[str, ...] = ()
    """Decimal mark of every column: a file may mix them."""
    glued: tuple[str, ...] = ()
    """Unit behind every number of a column, "" where there is none."""
    uncertain: tuple[str, ...] = ()
    """Names that stand above the rows but cannot be told to belong to one column."""
    findings: tuple[Finding, ...] = ()

    @property
    def used(self) -> int:
        """Width of a row without its always-empty last columns."""
        return max((index + 1 for index, kind in enumerate(self.kinds) if kind != "empty"), default=self.width)
