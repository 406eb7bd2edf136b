"""How far curves stray together by chance: the level per point at which a whole band holds.

With three or four runs a side neither a multiplier bootstrap nor the kinematic formula on the residuals' own roughness
holds its level. Here correlation along time is learned from all residual curves at hand, as a function of the lag only
(scatter may change along time, its correlation not). The studentised difference is then simulated for the numbers of runs
at hand, each side with its own scatter and n - 1 degrees of freedom, and with the floor that the scatter at a time has in
the scatter over the whole run. The level is read off the smallest p of each draw, and never lies below Bonferroni's over
the grid. Chosen by simulation: tests/benchmarks/band_coverage.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from toolbench.metrology.family import two_sided_p
from toolbench.records.runs import Floats

Single = npt.NDArray[np.float32]

_MOST_POINTS = 128
"""Points of the grid that are simulated at most; a report's bands have fewer, and every one of them is drawn."""
_ROUGH_STEP = 0.9
"""Correlation of neighbouring simulated points below which points between them are missed."""
_MATCHED = 2
"""Draws of the means, which are independent of the variances, for each draw of the variances."""
_AT_ONCE = 256
"""Draws handled together, so that they stay in the processor's cache."""
_ONE_LENGTH = math.exp(-0.5)
_SHORTER = 2.0
"""Standard uncertainties that a learned correlation length is taken shorter by."""
_NOT_CHANCE = 3.0
"""Variation of scatter along time, in multiples of what chance shows in so few runs, from which on it is taken as real."""
_LEFT_OUT = 1e-5
"""Share of the variance at a point that the drawn curves may lack."""


@dataclass(frozen=True, slots=True, eq=False)
class ScatterModel:
    """Scatter along time: `profile` (its relative variance, mean one) and `correlation` by lag in grid steps."""

    profile: Floats
    correlation: Floats
    degrees_of_freedom: int

    @property
    def length(self) -> float:
        """Correlation length in grid steps: the lag at which the correlation falls to exp(-1/2); the grid if it does not."""
        return _length(self.correlation)


def _length(correlation: Floats) -> float:
    below = np.flatnonzero(correlation < _ONE_LENGTH)
    if not below.size:
        return float(correlation.size)
    last = int(below[0])
    before, after = correlation[last - 1 : last + 1]
    return float(last - 1 + (before - _ONE_LENGTH) / (before - after))


def learn_scatter(groups: Sequence[Floats]) -> ScatterModel | None:
    """Learn how scatter behaves along time from groups of repeats, each of shape (runs, grid); None without repeats.

    Residuals are scaled by one smooth standard deviation for all groups. A scale taken at each point of time from three
    runs would make every residual curve look rougher or smoother than it is; for the same reason the profile is drawn to
    a constant, wholly where it varies less than three times what few runs of constant scatter would show by chance.
    """
    residuals = [r for group in groups if (r := _residuals(group)) is not None]
    if not residuals:
        return None
    freedoms = np.array([len(r) - 1.0 for r in residuals])
    variances = np.array([np.sum(r * r, axis=0) / f for r, f in zip(residuals, freedoms, strict=True)])
    levels = variances.mean(axis=1)
    scaled = np.concatenate([r / math.sqrt(level) for r, level in zip(residuals, levels, strict=True)])
    departure = smooth(np.average(variances / levels[:, None], axis=0, weights=freedoms)) - 1.0
    seen = float(np.mean(departure**2))
    chance = _chance_variance(_by_lag(scaled), float(freedoms.sum()))
    profile = 1.0 + (max(1.0 - _NOT_CHANCE * chance / seen, 0.0) if seen > 0 else 0.0) * departure
    profile = np.maximum(profile / profile.mean(), 1e-4)
    correlation = _shortened(_by_lag(scaled / np.sqrt(profile)), float(freedoms.sum()))
    return ScatterModel(profile, correlation, int(freedoms.sum()))


def _shortened(correlation: Floats, degrees_of_freedom: float) -> Floats:
    """The correlation with its length taken two standard uncertainties shorter.

    A length is found from as many stretches of its size as the residuals hold. Taken too long it costs coverage, taken too
    short only width, and coverage falls faster than it rises.
    """
    lags = np.arange(correlation.size)
    stretches = degrees_of_freedom * correlation.size / max(_length(correlation), 1.0)
    return np.asarray(np.interp(lags * (1.0 + _SHORTER / math.sqrt(stretches)), lags, correlation), dtype=float)


def _by_lag(curves: Floats) -> Floats:
    """Correlation of points so many steps apart, over all curves, each lag with the variance of the points it is about."""
    points = curves.shape[1]
    size = 1 << (2 * points - 1).bit_length()
    spectrum = np.sum(np.abs(np.fft.rfft(curves, size, axis=1)) ** 2, axis=0)
    products = np.fft.irfft(spectrum, size)[:points]
    squares = np.sum(curves * curves, axis=0)
    front, back = np.cumsum(squares)[::-1], np.cumsum(squares[::-1])[::-1]
    scale = np.sqrt(front * back)
    return np.asarray(np.divide(products, scale, out=np.zeros(points), where=scale > 1e-12 * scale[0]), dtype=float)


def _chance_variance(correlation: Floats, degrees_of_freedom: float) -> float:
    """Variance of a smoothed profile of scatter about its own mean where the scatter is constant.

    An estimated variance of normal residuals varies by 2 / f of its square, and two of them go together as their squared
    correlation; of that, what the whole curve shares is taken off with the mean.
    """

    def mean_square(width: int) -> float:
        lag = np.arange(width)
        pairs = np.where(lag > 0, 2.0, 1.0) * (width - lag)
        return float(np.sum(pairs * correlation[:width] ** 2)) / width**2

    window = min(2 * _half_window(correlation.size) + 1, correlation.size)
    return 2.0 / degrees_of_freedom * max(mean_square(window) - mean_square(correlation.size), 0.0)


def _residuals(group: Floats) -> Floats | None:
    """Deviations from the group's mean curve; points that a run lacks count as no deviation. None where there are none."""
    curves = group[np.isfinite(group).any(axis=1)]
    if len(curves) < 2:
        return None
    have = np.isfinite(curves)
    count = np.maximum(have.sum(axis=0), 1)
    rest = np.where(have, curves - np.where(have, curves, 0.0).sum(axis=0) / count, 0.0)
    return rest if np.any(rest != 0) else None


def _half_window(points: int) -> int:
    return max(points // 20, 1)


def smooth(values: Floats) -> Floats:
    """Moving mean over a tenth of the grid, with shorter windows at the ends."""
    half = _half_window(values.size)
    total = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(values.size)
    first, last = np.maximum(at - half, 0), np.minimum(at + half + 1, values.size)
    return np.asarray((total[last] - total[first]) / (last - first), dtype=float)


@dataclass(slots=True, eq=False)
class NullCurves:
    """Simulated means and variances of runs that differ by scatter alone, shared by all bands of a report."""

    model: ScatterModel
    confidence: float = 0.95
    draws: int = 1_000
    seed: int = 20_260_401
    _root: Single = field(init=False)
    _points: npt.NDArray[np.intp] = field(init=False)
    _missed: bool = field(init=False)
    _means: dict[int, float] = field(init=False, default_factory=dict)
    _sides: dict[tuple[int, int], tuple[Single, Single]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        rho = self.model.correlation
        stride = max(-(-rho.size // _MOST_POINTS), 1)
        self._points = np.arange(0, rho.size, stride)
        self._missed = stride > 1 and bool(rho[stride] < _ROUGH_STEP)
        self._root = stationary_root(rho[self._points]).astype(np.float32)

    def _side(self, n: int, which: int) -> tuple[Single, Single]:
        """Means, shape (matched, draws, points), and estimated variances, (draws, points), of `n` unit-variance curves.

        No variance is smaller than that over the whole curve, as in the bands.
        """
        if (n, which) not in self._sides:
            random = np.random.default_rng([self.seed, n, which])
            rank = self._root.shape[1]
            spread = self._root.T / np.float32(math.sqrt(n))
            means = random.standard_normal((_MATCHED, self.draws, rank), dtype=np.float32) @ spread
            variances = np.zeros(means.shape[1:], dtype=np.float32)
            spread = self._root.T / np.float32(math.sqrt(n - 1))
            for _ in range(n - 1):
                curves = random.standard_normal((self.draws, rank), dtype=np.float32) @ spread
                variances += np.square(curves, out=curves)
            profile = self.model.profile[self._points].astype(np.float32)
            self._sides[n, which] = means, np.maximum(variances, (variances @ profile / profile.sum())[:, None])
        return self._sides[n, which]

    def mean_level(self, n: int, variance: Floats, known: Floats) -> float:
        """Level per point for a mean of `n` curves with this `variance` of one run and `known` variance of the mean."""
        if np.any(known > 0):
            return self._level([(n, variance)], known)
        # Without type B parts only the number of runs matters.
        if n not in self._means:
            self._means[n] = self._level([(n, self.model.profile)], known)
        return self._means[n]

    def difference_level(self, n_a: int, a: Floats, n_b: int, b: Floats, known: Floats) -> float:
        """Level per point for a - b, with the variances of one run of each along the grid and what else is known."""
        return self._level([(n_a, a), (n_b, b)], known)

    def _level(self, parts: Sequence[tuple[int, Floats]], known: Floats) -> float:
        alpha, grid = 1.0 - self.confidence, self.model.correlation.size
        scale = sum(variance / n for n, variance in parts) + known
        scale = np.where(scale > 0, scale, 1.0)[self._points]
        shares = [np.asarray(variance[self._points] / scale, dtype=np.float32) for _, variance in parts]
        rest = np.asarray(known[self._points] / scale, dtype=np.float32)
        common = np.random.default_rng([self.seed, 0]).standard_normal((_MATCHED, self.draws, 1), dtype=np.float32)
        sides = [self._side(n, which) for which, (n, _) in enumerate(parts)]
        smallest = []
        for first in range(0, self.draws, _AT_ONCE):
            these = slice(first, first + _AT_ONCE)
            found = [variances[these] for _, variances in sides]
            counts = [n for n, _ in parts]
            variance, dof = _welch(counts, shares, found, rest)
            for means, shift in zip(zip(*(means for means, _ in sides), strict=True), common, strict=True):
                error = means[0][these] * np.sqrt(shares[0])
                if len(parts) > 1:
                    error -= means[1][these] * np.sqrt(shares[1])
                if rest.any():
                    error += shift[these] * np.sqrt(rest)
                smallest.append(_smallest_p(error, variance, dof))
        level = float(np.quantile(np.concatenate(smallest), alpha))
        if self._missed:
            # Where neighbours hardly move together, points left out count as rows that were not drawn.
            level *= self._points.size / grid
        level = min(max(level, alpha / grid), alpha)
        return float(f"{level:.3g}")


def _welch(
    counts: Sequence[int], shares: Sequence[Single], found: Sequence[Single], rest: Single
) -> tuple[Single, Single]:
    """Variance of the difference as it would be estimated, and its effective degrees of freedom."""
    variance, denominator = np.zeros_like(found[0]), np.full_like(found[0], 1e-30)
    for n, share, one in zip(counts, shares, found, strict=True):
        part = one * (share / np.float32(n))
        variance += part
        denominator += np.square(part) / np.float32(n - 1)
    variance += rest
    return variance, np.minimum(np.square(variance) / denominator, np.float32(1e6))


def _smallest_p(error: Single, variance: Single, dof: Single) -> Floats:
    """Smallest two-sided p along each curve."""
    square = np.square(error, out=error)
    square /= variance
    # Ranked by Wallace's normal equivalent squared: no square root, and the same order.
    factor = (8.0 * dof + 1.0) / (8.0 * dof + 3.0)
    worst = np.argmax(factor * factor * dof * np.log(1.0 + square / dof), axis=1)[:, None]
    t = np.sqrt(np.take_along_axis(square, worst, axis=1)[:, 0].astype(float))
    return two_sided_p(t, np.take_along_axis(dof, worst, axis=1)[:, 0].astype(float))


def stationary_root(correlation: Floats) -> Floats:
    """Matrix R of few columns with R R' the correlation by lag, or the nearest without negative eigenvalues.

    Eigenvectors would do, but their signs, and their directions where eigenvalues are alike, hang on the processor's
    linear algebra. Here points are taken one by one, each where most variance is left (a Cholesky root with pivots).
    """
    lags = np.arange(correlation.size)
    weights, vectors = np.linalg.eigh(correlation[np.abs(lags[:, None] - lags)])
    matrix = (vectors * np.clip(weights, 0.0, None)) @ vectors.T
    scale = np.sqrt(np.diag(matrix))
    matrix /= np.outer(scale, scale)
    left, root = np.ones(lags.size), np.zeros((lags.size, lags.size))
    for rank in range(lags.size):
        # The first of equals, where rounding must not choose.
        pivot = int(np.argmax(left > (1.0 - 1e-6) * left.max()))
        if left[pivot] < _LEFT_OUT:
            root = root[:, :rank]
            break
        root[:, rank] = (matrix[pivot] - root[:, :rank] @ root[pivot, :rank]) / math.sqrt(left[pivot])
        left = np.clip(left - root[:, rank] ** 2, 0.0, None)
        left[pivot] = 0.0
    return np.asarray(root / np.sqrt(np.sum(root**2, axis=1, keepdims=True)), dtype=float)
