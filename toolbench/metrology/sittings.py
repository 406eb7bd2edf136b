"""Repeatability and what sitting to sitting adds to it (GUM H.5; ISO 5725-3): which of the two a mean is judged by.

Runs of one sitting share its air, oil, heat and hands. Where sittings differ by more than their runs do, a mean of many runs
in few sittings is known as well as the sittings allow, and no better.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from toolbench.records.runs import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """What runs show of the scatter within and between sittings, pooled over items [the row's unit]."""

    within_sd: float
    """Repeatability: one run in one sitting."""
    between_sd: float
    """The sittings' own standard deviation; zero where they differ less than chance makes them."""
    f: float
    p: float
    within_degrees_of_freedom: int
    between_degrees_of_freedom: int

    @property
    def counts(self) -> bool:
        """Whether sittings differ by more than their runs make them.

        A test would neglect what it cannot show (Bancroft 1964): with two sittings an item, intervals of a difference cover
        91 % after a test at 25 %, 94 % this way; tests/benchmarks/sitting_coverage.py.
        """
        return self.f > 1.0

    @property
    def intermediate_sd(self) -> float:
        """Intermediate precision: one run in a sitting of its own."""
        return math.hypot(self.within_sd, self.between_sd)

    @property
    def between_sd_degrees_of_freedom(self) -> float:
        """Of `between_sd`, by Satterthwaite's approximation; 1 at least."""
        within = 1.0 / self.f if self.f > 0 else math.inf
        spread = 1.0 / self.between_degrees_of_freedom + within**2 / self.within_degrees_of_freedom
        return max((1.0 - within) ** 2 / spread, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Sums:
    """Sums of squares of one item in each row, and what they rest on; all of shape (rows,)."""

    between: Floats
    within: Floats
    sittings: Floats
    runs: Floats
    squared_sizes: Floats


def _sums(values: Floats, sittings: Sequence[str]) -> _Sums:
    """The sums of `values` of shape (runs, rows), about the means of the runs that have one."""
    have = np.isfinite(values)
    runs = have.sum(axis=0).astype(float)
    rest = np.where(have, values, 0.0)
    for _ in range(2):  # the second time corrects the mean's own rounding
        rest = np.where(have, rest - rest.sum(axis=0) / np.maximum(runs, 1.0), 0.0)
    member = np.array([[name == one for name in sittings] for one in dict.fromkeys(sittings)], dtype=float)
    sizes = member @ have
    means = member @ rest / np.maximum(sizes, 1.0)
    within = np.where(have, rest - member.T @ means, 0.0)
    return _Sums(
        between=np.sum(sizes * means**2, axis=0),
        within=np.sum(within**2, axis=0),
        sittings=np.sum(sizes > 0, axis=0).astype(float),
        runs=runs,
        squared_sizes=np.sum(sizes**2, axis=0),
    )


def find_precision(columns: Sequence[tuple[Floats, Sequence[str]]]) -> Precision | None:
    """Scatter within and between sittings in one row, pooled over items: `find_precisions` of values of shape (runs,)."""
    return find_precisions([(values[:, None], sittings) for values, sittings in columns])[0]


def find_precisions(items: Sequence[tuple[Floats, Sequence[str]]]) -> list[Precision | None]:
    """Scatter within and between sittings in each row, pooled over items.

    Parameters
    ----------
    items
        One or more: the item's values of shape (runs, rows), nan where there is none, and the sitting of each run.

    Returns
    -------
    list of Precision or None
        None where no item was run in two sittings, or none twice in one.

    References
    ----------
    GUM H.5.2; for unequal numbers the mean square between divides by n0 = (N - sum n^2 / N) / (J - 1).
    """
    rows = items[0][0].shape[1]
    found = [_sums(values, sittings) for values, sittings in items if len(sittings) == len(values)]
    zero = np.zeros(rows)
    free_between = sum((np.maximum(one.sittings - 1.0, 0.0) for one in found), start=zero)
    free_within = sum((one.runs - one.sittings for one in found), start=zero)
    between = sum((one.between for one in found), start=zero)
    within = sum((one.within for one in found), start=zero)
    even = sum((one.runs - one.squared_sizes / np.maximum(one.runs, 1.0) for one in found), start=zero)
    return [_precision(*map(float, row)) for row in zip(between, within, free_between, free_within, even, strict=True)]


def _precision(between: float, within: float, free_between: float, free_within: float, even: float) -> Precision | None:
    if free_between < 1 or free_within < 1 or not between > 0:
        return None
    between, within = between / free_between, within / free_within
    f = between / within if within > 0 else math.inf
    return Precision(
        within_sd=math.sqrt(within),
        between_sd=math.sqrt(max(between - within, 0.0) / (even / free_between)),
        f=f,
        p=float(special.fdtrc(free_between, free_within, f)) if math.isfinite(f) else 0.0,
        within_degrees_of_freedom=int(free_within),
        between_degrees_of_freedom=int(free_between),
    )


def mean_uncertainty(values: Floats, sittings: Sequence[str]) -> tuple[float, int] | None:
    """`mean_uncertainties` in one row, of values of shape (runs,); None with a single sitting."""
    u, counts = mean_uncertainties(values[:, None], sittings)
    return (float(u[0]), int(counts[0])) if counts[0] >= 2 else None


def mean_uncertainties(values: Floats, sittings: Sequence[str]) -> tuple[Floats, Floats]:
    """Standard uncertainty of the mean of all runs as the sittings show it, and in how many, both of shape (rows,).

    With equal numbers in each sitting it is the scatter of their means over the root of how many there are. It is nan with a
    single sitting.

    References
    ----------
    GUM H.5.2.5, case of a between-day effect: s(mean) from the daily means, degrees of freedom of the days less one.
    """
    one = _sums(values, sittings)
    runs = np.maximum(one.runs, 1.0)
    free = np.where(one.sittings > 1, one.sittings - 1.0, np.nan)
    mean_between, lone = one.between / free, one.runs <= one.sittings
    mean_within = np.where(lone, 0.0, one.within / np.where(lone, 1.0, one.runs - one.sittings))
    size = (one.runs - one.squared_sizes / runs) / free
    variance = one.squared_sizes / runs**2 * (mean_between - mean_within) / size + mean_within / runs
    # With very unequal sittings the estimate can fall below what equal ones of the same mean squares would give.
    return np.sqrt(np.maximum(variance, mean_between / runs)), one.sittings
