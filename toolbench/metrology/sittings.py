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

from toolbench.metrology.type_a import mean_and_sd
from toolbench.records.runs import Floats

NEGLECTED_FROM = 0.25
"""Sittings are neglected where chance alone differs as much with this probability. A test at 5 % would leave intervals at
82 to 92 % coverage where sittings differ half as much as runs do; at 25 % it stays within 92 and 97 % (Bancroft 1964)."""


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
        """Whether sittings differ by too much to be neglected."""
        return self.p < NEGLECTED_FROM

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


@dataclass(frozen=True, slots=True)
class _Sums:
    """Sums of squares of one item, and what they rest on."""

    between: float
    within: float
    sittings: int
    runs: int
    squared_sizes: float


def _sums(values: Floats, sittings: Sequence[str]) -> _Sums:
    known = np.isfinite(values)
    names = [name for name, use in zip(sittings, known, strict=True) if use]
    data = values[known]
    grand = mean_and_sd(data)[0]
    groups = [data[[name == one for name in names]] for one in dict.fromkeys(names)]
    means = [mean_and_sd(group)[0] for group in groups]
    return _Sums(
        between=math.fsum(g.size * (m - grand) ** 2 for g, m in zip(groups, means, strict=True)),
        within=math.fsum(float(np.sum((g - m) ** 2)) for g, m in zip(groups, means, strict=True)),
        sittings=len(groups),
        runs=data.size,
        squared_sizes=float(sum(g.size**2 for g in groups)),
    )


def find_precision(columns: Sequence[tuple[Floats, Sequence[str]]]) -> Precision | None:
    """Scatter within and between sittings, pooled over items.

    Parameters
    ----------
    columns
        One per item: its values of shape (runs,), nan where there is none, and the sitting of each run.

    Returns
    -------
    Precision or None
        None where no item was run in two sittings, or none twice in one.

    References
    ----------
    GUM H.5.2; for unequal numbers the mean square between divides by n0 = (N - sum n^2 / N) / (J - 1).
    """
    found = [_sums(values, sittings) for values, sittings in columns if len(sittings) == len(values)]
    found = [one for one in found if one.runs]
    free_between = sum(one.sittings - 1 for one in found)
    free_within = sum(one.runs - one.sittings for one in found)
    if free_between < 1 or free_within < 1:
        return None
    between = math.fsum(one.between for one in found) / free_between
    within = math.fsum(one.within for one in found) / free_within
    if not between > 0:
        return None
    f = between / within if within > 0 else math.inf
    size = sum(one.runs - one.squared_sizes / one.runs for one in found) / free_between
    return Precision(
        within_sd=math.sqrt(within),
        between_sd=math.sqrt(max(between - within, 0.0) / size),
        f=f,
        p=float(special.fdtrc(free_between, free_within, f)) if math.isfinite(f) else 0.0,
        within_degrees_of_freedom=free_within,
        between_degrees_of_freedom=free_between,
    )


def mean_uncertainty(values: Floats, sittings: Sequence[str]) -> tuple[float, int] | None:
    """Standard uncertainty of the mean of all runs as the sittings show it, and in how many; None with a single sitting.

    With equal numbers in each sitting it is the scatter of their means over the root of how many there are.

    References
    ----------
    GUM H.5.2.5, case of a between-day effect: s(mean) from the daily means, degrees of freedom of the days less one.
    """
    one = _sums(values, sittings)
    if one.sittings < 2:
        return None
    mean_between = one.between / (one.sittings - 1)
    mean_within = one.within / (one.runs - one.sittings) if one.runs > one.sittings else 0.0
    size = (one.runs - one.squared_sizes / one.runs) / (one.sittings - 1)
    weight = one.squared_sizes / one.runs**2
    variance = weight * (mean_between - mean_within) / size + mean_within / one.runs
    # With very unequal sittings the estimate can fall below what equal ones of the same mean squares would give.
    return math.sqrt(max(variance, mean_between / one.runs)), one.sittings
