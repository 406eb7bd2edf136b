"""Refusals of numbers that no part of a line can have."""

from __future__ import annotations

import numpy as np

from toolbench.supply.air import Numbers


def require_positive(**values: Numbers) -> None:
    """Raise ValueError, naming the quantity, unless every value is finite and above zero."""
    for name, value in values.items():
        if not np.all(np.isfinite(value) & (np.asarray(value) > 0)):
            raise ValueError(f"{name} must be above zero, not {_first(value, np.asarray(value) > 0)}")


def require_not_negative(**values: Numbers) -> None:
    """Raise ValueError, naming the quantity, unless every value is finite and zero or more."""
    for name, value in values.items():
        if not np.all(np.isfinite(value) & (np.asarray(value) >= 0)):
            raise ValueError(f"{name} must be zero or more, not {_first(value, np.asarray(value) >= 0)}")


def _first(value: Numbers, good: object) -> float:
    """The first value that is refused."""
    values = np.ravel(np.asarray(value, dtype=float))
    return float(values[~(np.isfinite(values) & np.ravel(np.asarray(good)))][0])
