"""The rows of a file as columns, with the lines they stand in and what was left out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt


@dataclass(slots=True)
class Table:
    """Parsed rows: `columns` by position, `lines` of the file for each row, and what was left out."""

    columns: dict[int, Any]
    rows: int
    first_line: int
    kept: npt.NDArray[np.int64] | None = None
    """Offset of every row from `first_line`, None where no line was left out."""
    dropped: list[int] = field(default_factory=list)
    footer: list[int] = field(default_factory=list)
    blank: list[int] = field(default_factory=list)
    cut: int | None = None
    zeros: int = 0
    unreadable: dict[int, list[tuple[int, str]]] = field(default_factory=dict)
    glued: dict[int, str] = field(default_factory=dict)
    extremes: dict[int, tuple[float, float]] = field(default_factory=dict)
    """Lowest and highest value of columns that hold numbers only."""
    whole: dict[int, npt.NDArray[np.int64]] = field(default_factory=dict)
    """Exact whole numbers of a column of floats that lacks some (0 there): an epoch in nanoseconds keeps its last digit."""

    def line(self, row: int | np.integer[Any]) -> int:
        """Line of the file in which a row stands."""
        return self.first_line + int(row if self.kept is None else self.kept[row])

    def keep(self, mask: npt.NDArray[np.bool_]) -> None:
        """Leave out the rows where the mask is False; their lines are entered in `dropped`."""
        self.dropped += [self.line(int(row)) for row in np.flatnonzero(~mask)]
        offsets = np.arange(self.rows, dtype=np.int64) if self.kept is None else self.kept
        self.kept = offsets[mask]
        self.columns = {index: values[mask] for index, values in self.columns.items()}
        self.whole = {index: values[mask] for index, values in self.whole.items()}
        self.rows = len(self.kept)


def last_filled(values: np.ndarray) -> int:
    """Rows up to the last one that holds a number."""
    if values.dtype.kind != "f":
        return len(values)
    filled = np.flatnonzero(np.isfinite(values))
    return int(filled[-1]) + 1 if len(filled) else 0
