"""Coverage factors, intervals of differences and ratios, verdicts, and what a comparison can resolve."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy import special

from toolbench.metrology.propagation import welch_satterthwaite
from toolbench.records.comparison import Estimate, Interval, Verdict
from toolbench.records.runs import Floats

NO_INTERVAL = Interval(lower=math.nan, upper=math.nan)
_PROPORTIONAL = 1e-9
"""Two relative contributions of one source that agree to this share are one scale error."""


def coverage_factor(degrees_of_freedom: float, confidence: float = 0.95) -> float:
    """Two-sided coverage factor of the t-distribution; fractional degrees of freedom are used as they are.

    nan for unknown degrees of freedom or fewer than none.

    References
    ----------
    GUM G.3.2, Table G.2; G.4.1 allows interpolation between whole degrees of freedom.
    """
    tail = 0.5 * (1.0 + confidence)
    if math.isinf(degrees_of_freedom):
        return float(special.ndtri(tail))
    return float(special.stdtrit(degrees_of_freedom, tail)) if degrees_of_freedom > 0 else math.nan


def coverage_factors(degrees_of_freedom: Floats, confidence: float = 0.95) -> Floats:
    """`coverage_factor` for an array of degrees of freedom."""
    tail = 0.5 * (1.0 + confidence)
    dof = np.asarray(degrees_of_freedom, dtype=float)
    if dof.size and np.all(dof == dof.flat[0]):
        return np.full(dof.shape, coverage_factor(float(dof.flat[0]), confidence))
    found = special.stdtrit(np.where(np.isfinite(dof) & (dof > 0), dof, 1.0), tail)
    found = np.where(np.isposinf(dof), special.ndtri(tail), found)
    return np.asarray(np.where(np.isnan(dof) | (dof <= 0), np.nan, found), dtype=float)


@dataclass(frozen=True, slots=True)
class Expanded:
    """Expanded uncertainty [unit of the estimate], coverage factor and effective degrees of freedom."""

    uncertainty: float
    coverage_factor: float
    degrees_of_freedom: float


def expanded(estimate: Estimate, confidence: float = 0.95) -> Expanded:
    """Expanded uncertainty of `estimate`; nan where nothing is known to judge by (GUM 6.2, G.6.4)."""
    dof = estimate.degrees_of_freedom
    factor = coverage_factor(dof, confidence)
    return Expanded(factor * estimate.standard_uncertainty, factor, dof)


def difference_interval(estimate: Estimate, confidence: float = 0.95) -> Interval:
    """Interval value ± expanded uncertainty [unit of the estimate], nan where not assessed."""
    half = expanded(estimate, confidence).uncertainty
    return Interval(lower=estimate.value - half, upper=estimate.value + half)


@dataclass(frozen=True, slots=True)
class RatioErrors:
    """What acts on the ratio a / b of two estimates once the scale they share has cancelled.

    `a` and `b` hold one contribution per source [unit]; `covariance` is that of the type A parts [unit squared], which
    carry `pooled_degrees_of_freedom` together where this is given (paired blocks), else each its own.
    """

    a_value: float
    b_value: float
    a: Floats
    b: Floats
    degrees_of_freedom: Floats
    is_type_a: Floats
    sources: tuple[str, ...] = ()
    covariance: float = 0.0
    pooled_degrees_of_freedom: float | None = None

    def effective_degrees_of_freedom(self) -> float:
        """Welch-Satterthwaite for a - r b at the estimated ratio r; the same with a and b exchanged."""
        ratio = self.a_value / self.b_value
        parts = self.a - ratio * self.b
        if self.pooled_degrees_of_freedom is None:
            return self._together(parts)
        kind_a = self.is_type_a.astype(bool)
        pooled = max(float(np.sum(parts[kind_a] ** 2)) - 2.0 * ratio * self.covariance, 0.0)
        return self._together(np.where(kind_a, 0.0, parts), math.sqrt(pooled), self.pooled_degrees_of_freedom)

    def _together(self, parts: Floats, first: float = 0.0, first_dof: float = math.inf) -> float:
        """Welch-Satterthwaite with the members of an ensemble (`NAME#0`, `NAME#1`, ...) as one contribution."""
        sums: dict[str, tuple[float, float]] = {"": (first, first_dof)}
        names = self.sources or [str(k) for k in range(parts.size)]
        for name, part, dof in zip(names, parts.tolist(), self.degrees_of_freedom.tolist(), strict=True):
            whole = name.partition("#")[0]
            sums[whole] = (math.hypot(sums.get(whole, (0.0, 0.0))[0], part), dof)
        return welch_satterthwaite([size for size, _ in sums.values()], [dof for _, dof in sums.values()])

    def interval(self, confidence: float) -> Interval | None:
        """Ratios r with (a - r b)^2 <= k^2 u^2(a - r b); None where b is not well away from zero."""
        if self.b_value == 0:
            return None
        k2 = coverage_factor(self.effective_degrees_of_freedom(), confidence) ** 2
        square = self.b_value**2 - k2 * float(self.b @ self.b)
        if not square > 0:
            return None
        half = self.a_value * self.b_value - k2 * (float(self.a @ self.b) + self.covariance)
        constant = self.a_value**2 - k2 * float(self.a @ self.a)
        root = math.sqrt(max(half * half - square * constant, 0.0))
        # The root that would lose digits is taken from the product of both.
        far = half + math.copysign(root, half)
        first, second = far / square, (constant / far if far else 0.0)
        return Interval(lower=min(first, second), upper=max(first, second))


def ratio_errors(a: Estimate, b: Estimate, *, covariance: float = 0.0, dof: float | None = None) -> RatioErrors | None:
    """Line up the sources of two estimates; scale errors they share cancel exactly, zero errors stay.

    A shared source is a scale error where its contributions stand in the ratio of the values. None where a value is not
    finite or an uncertainty is not known.
    """
    if not (math.isfinite(a.value) and math.isfinite(b.value)):
        return None
    sides = [{c.source: c for c in e.components if not c.contained} for e in (a, b)]
    sources = dict.fromkeys([*sides[0], *sides[1]])
    kept: list[str] = []
    rows: list[tuple[float, float, float, float]] = []
    for source in sources:
        first, second = sides[0].get(source), sides[1].get(source)
        in_a = first.contribution if first else 0.0
        in_b = second.contribution if second else 0.0
        if first and second and _is_one_scale(in_a * b.value, in_b * a.value):
            continue
        known = [c for c in (first, second) if c is not None]
        kept.append(source)
        rows.append(
            (in_a, in_b, min(c.degrees_of_freedom for c in known), float(any(c.evaluation == "A" for c in known)))
        )
    table = np.array(rows, dtype=float).reshape(-1, 4).T
    if not np.all(np.isfinite(table[:2])):
        return None
    return RatioErrors(a.value, b.value, table[0], table[1], table[2], table[3], tuple(kept), covariance, dof)


def _is_one_scale(first: float, second: float) -> bool:
    return first != 0 and math.isclose(first, second, rel_tol=_PROPORTIONAL)


def ratio_interval(
    a: Estimate, b: Estimate, confidence: float = 0.95, *, covariance: float = 0.0, dof: float | None = None
) -> Interval | None:
    """Interval of the percent difference 100 (a / b - 1) [%], from Fieller's theorem; it need not be symmetric.

    Parameters
    ----------
    a, b
        The level compared and the base. Shared scale errors cancel exactly first; shared zero errors stay.
    confidence
        Two-sided.
    covariance
        Of the type A parts of a and b, as from complete blocks [unit squared].
    dof
        Degrees of freedom that the type A parts have together (blocks less one), with `covariance`.

    Returns
    -------
    Interval or None
        None where the base is not well away from zero or nothing is known to judge by. Exchanging a and b inverts the
        ratio interval.

    References
    ----------
    Fieller, J. R. Stat. Soc. B 16 (1954) 175; degrees of freedom by GUM G.4 at the estimated ratio.
    """
    errors = ratio_errors(a, b, covariance=covariance, dof=dof)
    found = errors.interval(confidence) if errors is not None else None
    if found is None:
        return None
    return Interval(lower=100.0 * (found.lower - 1.0), upper=100.0 * (found.upper - 1.0))


def nearest_bound(lower: float, upper: float) -> float | None:
    """The bound nearest zero of an interval that leaves zero, else None."""
    if lower > 0:
        return lower
    return upper if upper < 0 else None


def one_sided(
    a: Estimate, b: Estimate, confidence: float = 0.95, *, covariance: float = 0.0, dof: float | None = None
) -> float | None:
    """`at least` this many percent: the one-sided bound nearest zero at `confidence`, None where it includes zero."""
    found = ratio_interval(a, b, 2.0 * confidence - 1.0, covariance=covariance, dof=dof)
    return nearest_bound(found.lower, found.upper) if found is not None else None


def judge(interval: Interval, *, assessed: bool = True) -> Verdict:
    """Verdict of an interval of a difference: `higher` or `lower` where it leaves zero."""
    if not assessed or math.isnan(interval.lower) or math.isnan(interval.upper):
        return "not assessed"
    if interval.lower > 0:
        return "higher"
    return "lower" if interval.upper < 0 else "not resolved"


def within_limit(interval: Interval, limit_percent: float | None) -> Literal["yes", "no", "undecided", ""]:
    """Whether the interval [%] lies inside ± `limit_percent`, wholly outside, or neither; empty without a limit."""
    if limit_percent is None:
        return ""
    if interval.lower > -limit_percent and interval.upper < limit_percent:
        return "yes"
    return "no" if interval.lower > limit_percent or interval.upper < -limit_percent else "undecided"


@lru_cache(maxsize=512)
def chi_nodes(degrees_of_freedom: float, count: int = 200) -> tuple[Floats, Floats]:
    """Nodes of s / sigma and weights for a mean over its distribution with so many degrees of freedom."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    # Equal shares of probability would leave the tails to chance; x = sin^2 packs nodes at both ends.
    angle = 0.25 * math.pi * (nodes + 1.0)
    shares = np.sin(angle) ** 2
    weights = 0.25 * math.pi * weights * np.sin(2.0 * angle)
    scales = np.sqrt(2.0 * special.gammaincinv(0.5 * degrees_of_freedom, shares) / degrees_of_freedom)
    return scales, weights


def power_of_t(shift: float, degrees_of_freedom: float, confidence: float = 0.95, *, sided: Literal[1, 2] = 2) -> float:
    """Probability that a t-test rejects when the true difference is `shift` standard uncertainties.

    Computed as the mean over the distribution of the standard deviation, which has no trouble at one or two degrees of
    freedom, where library routines of the non-central t-distribution fail.
    """
    tail = confidence if sided == 1 else 0.5 * (1.0 + confidence)
    if math.isinf(degrees_of_freedom):
        scales, weights, limit = np.ones(1), np.ones(1), float(special.ndtri(tail))
    else:
        scales, weights = chi_nodes(degrees_of_freedom)
        limit = float(special.stdtrit(degrees_of_freedom, tail))
    reject = special.ndtr(shift - limit * scales)
    if sided == 2:
        reject = reject + special.ndtr(-shift - limit * scales)
    return float(weights @ reject)


@lru_cache(maxsize=4096)
def _resolvable_shift(degrees_of_freedom: float, confidence: float, power: float) -> float:
    lower, upper = 0.0, coverage_factor(degrees_of_freedom, confidence) + 10.0
    while power_of_t(upper, degrees_of_freedom, confidence) < power:
        upper *= 2.0
    while upper - lower > 1e-9 * upper:
        middle = 0.5 * (lower + upper)
        if power_of_t(middle, degrees_of_freedom, confidence) < power:
            lower = middle
        else:
            upper = middle
    return 0.5 * (lower + upper)


def smallest_resolvable(
    standard_uncertainty: float, degrees_of_freedom: float, confidence: float = 0.95, power: float = 0.8
) -> float:
    """True difference that this standard uncertainty shows as resolved with probability `power` [its unit].

    nan where nothing is known to judge by. Degrees of freedom are taken to four digits, so that rows share the search.
    """
    if math.isnan(standard_uncertainty) or not degrees_of_freedom > 0:
        return math.nan
    dof = math.inf if degrees_of_freedom > 1e5 else float(f"{degrees_of_freedom:.4g}")
    return _resolvable_shift(dof, confidence, power) * standard_uncertainty
