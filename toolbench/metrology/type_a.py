"""Type A evaluation: what repeats alone say (GUM 4.2), stably computed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from toolbench.records.runs import Floats


def mean_and_sd(values: Sequence[float] | Floats) -> tuple[float, float]:
    """Mean and experimental standard deviation of the finite `values`, in two passes.

    Returns (nan, nan) without a value, and nan for the standard deviation of a single one.

    References
    ----------
    GUM 4.2.1 and 4.2.2. The second pass corrects the mean's own rounding, as NIST's NumAcc data ask for.
    """
    data = np.asarray(values, dtype=float)
    data = data[np.isfinite(data)]
    if data.size == 0:
        return math.nan, math.nan
    # Exact sums: a mean that is wrong in its last digit spoils data with many constant leading digits.
    mean = math.fsum(data) / data.size
    if data.size == 1:
        return mean, math.nan
    rest = data - mean
    squares = math.fsum(rest * rest) - math.fsum(rest) ** 2 / data.size
    return mean, math.sqrt(max(squares, 0.0) / (data.size - 1))


def lag_one_autocorrelation(values: Sequence[float] | Floats) -> float:
    """Autocorrelation of successive values, nan for constant ones or fewer than two."""
    data = np.asarray(values, dtype=float)
    if data.size < 2:
        return math.nan
    rest = data - mean_and_sd(data)[0]
    squares = math.fsum(rest * rest)
    return math.fsum(rest[1:] * rest[:-1]) / squares if squares > 0 else math.nan


def pooled_sd(deviations: Sequence[float], degrees_of_freedom: Sequence[float]) -> tuple[float, float]:
    """Pooled standard deviation of groups and its degrees of freedom; groups without any are left out.

    Returns (nan, 0) where no group has degrees of freedom.

    References
    ----------
    GUM 4.2.4 and H.3.6.
    """
    known = [(s, f) for s, f in zip(deviations, degrees_of_freedom, strict=True) if f > 0 and math.isfinite(s)]
    total = math.fsum(f for _, f in known)
    if total == 0:
        return math.nan, 0.0
    return math.sqrt(math.fsum(f * s * s for s, f in known) / total), total


@dataclass(frozen=True, slots=True, kw_only=True)
class AnovaResult:
    """One-way analysis of variance. `between_sd` is the effect's own standard deviation, zero where F is below one."""

    f: float
    p: float
    within_sd: float
    between_sd: float
    between_degrees_of_freedom: int
    within_degrees_of_freedom: int


def one_way_anova(groups: Sequence[Sequence[float] | Floats]) -> AnovaResult:
    """One-way analysis of variance of `groups`; needs two groups and one repeat somewhere.

    Raises
    ------
    ValueError
        With fewer than two groups, an empty one, or no repeat at all.

    References
    ----------
    GUM H.5.2; for unequal group sizes the between component divides by n0 = (N - sum n^2 / N) / (J - 1).
    """
    data = [np.asarray(group, dtype=float) for group in groups]
    sizes = [group.size for group in data]
    total = sum(sizes)
    if len(data) < 2 or min(sizes) < 1 or total <= len(data):
        raise ValueError(f"analysis of variance needs two groups and a repeat; the group sizes are {sizes}")
    # A common origin: constant leading digits would otherwise use up the precision of the sums.
    origin = math.fsum(np.concatenate(data)) / total
    means = [math.fsum(group - origin) / group.size for group in data]
    grand = math.fsum(n * m for n, m in zip(sizes, means, strict=True)) / total
    between = math.fsum(n * (m - grand) ** 2 for n, m in zip(sizes, means, strict=True))
    rests = [(group - origin) - m for group, m in zip(data, means, strict=True)]
    within = math.fsum(math.fsum(rest * rest) - math.fsum(rest) ** 2 / rest.size for rest in rests)
    free_between, free_within = len(data) - 1, total - len(data)
    mean_between, mean_within = between / free_between, within / free_within
    f = mean_between / mean_within if mean_within > 0 else (math.inf if mean_between > 0 else math.nan)
    n0 = (total - sum(n * n for n in sizes) / total) / free_between
    return AnovaResult(
        f=f,
        p=float(special.fdtrc(free_between, free_within, f)),
        within_sd=math.sqrt(mean_within),
        between_sd=math.sqrt(max(mean_between - mean_within, 0.0) / n0),
        between_degrees_of_freedom=free_between,
        within_degrees_of_freedom=free_within,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line y = intercept + slope (x - origin) with the covariance of its two parameters."""

    intercept: float
    slope: float
    intercept_uncertainty: float
    slope_uncertainty: float
    covariance: float
    residual_sd: float
    degrees_of_freedom: int
    origin: float = 0.0

    @property
    def correlation(self) -> float:
        """Correlation of intercept and slope."""
        return self.covariance / (self.intercept_uncertainty * self.slope_uncertainty)

    def at(self, x: float) -> tuple[float, float]:
        """Value of the line at `x` and its standard uncertainty, the covariance included (GUM H.3.4)."""
        step = x - self.origin
        variance = self.intercept_uncertainty**2 + step**2 * self.slope_uncertainty**2 + 2.0 * step * self.covariance
        return self.intercept + self.slope * step, math.sqrt(max(variance, 0.0))


def fit_line(x: Sequence[float] | Floats, y: Sequence[float] | Floats, *, origin: float = 0.0) -> Line:
    """Straight line by ordinary least squares; the uncertainties come from the residuals.

    Raises
    ------
    ValueError
        With fewer than three points, or all at one x.

    References
    ----------
    GUM H.3.2, equations (H.13a) to (H.13f), written about the mean of x for stability.
    """
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    n = across.size
    if n < 3 or up.size != n:
        raise ValueError(f"a line with uncertainty needs three points with x and y; got {n} and {up.size}")
    x_mean, y_mean = math.fsum(across) / n, math.fsum(up) / n
    dx, dy = across - x_mean, up - y_mean
    spread = math.fsum(dx * dx)
    if spread == 0:
        raise ValueError(f"a line needs points at more than one x; all {n} lie at {x_mean:g}")
    slope = math.fsum(dx * dy) / spread
    residuals = dy - slope * dx
    variance = math.fsum(residuals * residuals) / (n - 2)
    step = origin - x_mean
    return Line(
        intercept=y_mean + slope * step,
        slope=slope,
        intercept_uncertainty=math.sqrt(variance * (1 / n + step**2 / spread)),
        slope_uncertainty=math.sqrt(variance / spread),
        covariance=variance * step / spread,
        residual_sd=math.sqrt(variance),
        degrees_of_freedom=n - 2,
        origin=origin,
    )
