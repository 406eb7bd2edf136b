"""Columns collected piece by piece: as they are, or neighbouring rows averaged in groups, with the extremes of each group."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from toolbench.records.runs import Floats

TIME = -1
"""Key of the time among the columns."""


@dataclass(slots=True)
class Collected:
    """Columns by position, the time under `TIME`; groups of `every` rows, in which missing values are left out."""

    every: int = 1
    rows: int = 0
    _parts: dict[int, list[Any]] = field(default_factory=dict)
    _low: dict[int, list[Floats]] = field(default_factory=dict)
    _high: dict[int, list[Floats]] = field(default_factory=dict)
    _rest: dict[int, Any] = field(default_factory=dict)

    def add(self, columns: Mapping[int, Any]) -> None:
        """The next rows of all columns, each of shape (rows,)."""
        self.rows += len(columns[TIME])
        if self.every == 1:
            for index, values in columns.items():
                self._parts.setdefault(index, []).append(values)
            return
        whole = {index: _joined([self._rest[index], v]) if self._rest else v for index, v in columns.items()}
        full = len(whole[TIME]) // self.every * self.every
        self._rest = {index: values[full:] for index, values in whole.items()}
        for index, values in whole.items():
            self._average(index, values[:full], self.every)

    def finish(self) -> tuple[dict[int, Any], dict[int, Floats], dict[int, Floats]]:
        """Columns, and the lowest and highest of each group for columns of numbers; both empty where nothing is averaged."""
        if self.every > 1 and len(self._rest.get(TIME, ())):
            for index, values in self._rest.items():
                self._average(index, values, len(values))
        # Column by column, so that little more than the result is held at any time.
        values = {index: _joined(self._parts.pop(index)) for index in list(self._parts)}
        low = {index: np.concatenate(self._low.pop(index)) for index in list(self._low)}
        high = {index: np.concatenate(self._high.pop(index)) for index in list(self._high)}
        return values, low, high

    def _average(self, index: int, values: Any, width: int) -> None:
        if not len(values):
            return
        if not isinstance(values, np.ndarray) or values.dtype.kind not in "iuf":
            self._parts.setdefault(index, []).append(values[::width])  # text: the first of each group
            return
        mean, low, high = in_groups(values, width)
        self._parts.setdefault(index, []).append(mean)
        if index != TIME:
            self._low.setdefault(index, []).append(low)
            self._high.setdefault(index, []).append(high)


def in_groups(values: npt.NDArray[Any], width: int) -> tuple[Floats, Floats, Floats]:
    """Mean, lowest and highest of every `width` neighbours, shape (n / width,); nan where all of a group are missing."""
    groups = values.reshape(-1, width).astype(np.float64, copy=False)
    low, high = np.fmin.reduce(groups, axis=1), np.fmax.reduce(groups, axis=1)
    mean = groups.mean(axis=1)
    holed = np.flatnonzero(np.isnan(mean))
    if len(holed):
        part = groups[holed]
        known = ~np.isnan(part)
        counts = known.sum(axis=1)
        sums = np.where(known, part, 0.0).sum(axis=1)
        mean[holed] = np.divide(sums, counts, out=np.full(len(holed), np.nan), where=counts > 0)
    return mean, low, high


def _joined(parts: list[Any]) -> Any:
    if len(parts) == 1:
        return parts[0]
    if all(isinstance(part, np.ndarray) for part in parts):
        return np.concatenate(parts)
    return pd.concat([pd.Series(part) for part in parts], ignore_index=True)
