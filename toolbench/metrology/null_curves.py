"""How far curves stray together by chance: the level per point at which a whole band holds.

With three or four runs a side neither a multiplier bootstrap nor the kinematic formula on the residuals' own roughness
holds its level. Here correlation along time is learned from all residual curves at hand, as a function of the lag only
(scatter may change along time, its correlation not), and the studentised difference is then simulated for the numbers of
runs at hand, each side with its own scatter and n - 1 degrees of freedom. The level is read off the smallest p of each
draw, and never lies below Bonferroni's over the grid.
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
"""Points of the grid that are simulated at most."""
_SMOOTH_STEP = 0.97
"""Correlation of neighbouring simulated points above which points between them add nothing."""
_ROUGH_STEP = 0.9
"""Correlation of neighbouring simulated points below which points between them are missed."""
_SHIFTS = 2
"""Means, which are independent of variances, are matched with the variances of so many other draws."""


@dataclass(frozen=True, slots=True, eq=False)
class ScatterModel:
    """Scatter along time: `profile` (its relative variance, mean one) and `correlation` by lag in grid steps."""

    profile: Floats
    correlation: Floats
    degrees_of_freedom: int


def learn_scatter(groups: Sequence[Floats]) -> ScatterModel | None:
    """Learn how scatter behaves along time from groups of repeats, each of shape (runs, grid); None without repeats.

    The correlation by lag is the mean product of residuals, scaled by a smooth standard deviation per group. A scale
    taken at each point of time from three runs would make every residual curve look rougher or smoother than it is.
    """
    residuals = [r for group in groups if (r := _residuals(group)) is not None]
    if not residuals:
        return None
    freedoms = np.array([len(r) - 1.0 for r in residuals])
    variances = np.array([np.sum(r * r, axis=0) / f for r, f in zip(residuals, freedoms, strict=True)])
    levels = variances.mean(axis=1)
    profile = smooth(np.average(variances / levels[:, None], axis=0, weights=freedoms))
    profile = np.maximum(profile / profile.mean(), 1e-4)
    points = profile.size
    size = 1 << (2 * points - 1).bit_length()
    products = np.zeros(points)
    for residual, level in zip(residuals, levels, strict=True):
        spectrum = np.abs(np.fft.rfft(residual / np.sqrt(level * profile), size, axis=1)) ** 2
        products += np.fft.irfft(spectrum.sum(axis=0), size)[:points]
    covariance = products / (points - np.arange(points))
    return ScatterModel(profile, covariance / covariance[0], int(freedoms.sum()))


def _residuals(group: Floats) -> Floats | None:
    """Deviations from the group's mean curve; points that a run lacks count as no deviation. None where there are none."""
    curves = group[np.isfinite(group).any(axis=1)]
    if len(curves) < 2:
        return None
    have = np.isfinite(curves)
    count = np.maximum(have.sum(axis=0), 1)
    rest = np.where(have, curves - np.where(have, curves, 0.0).sum(axis=0) / count, 0.0)
    return rest if np.any(rest != 0) else None


def smooth(values: Floats) -> Floats:
    """Moving mean over a tenth of the grid, with shorter windows at the ends."""
    half = max(values.size // 20, 1)
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
        stride = _stride(rho)
        self._points = np.arange(0, rho.size, stride)
        self._missed = stride > 1 and bool(rho[stride] < _ROUGH_STEP)
        lags = np.abs(self._points[:, None] - self._points[None, :])
        weights, vectors = np.linalg.eigh(rho[lags])
        kept = weights > 1e-5 * weights.sum()
        root = vectors[:, kept] * np.sqrt(weights[kept])
        root /= np.sqrt(np.sum(root**2, axis=1, keepdims=True))
        self._root = root.astype(np.float32)

    def _side(self, n: int, which: int) -> tuple[Single, Single]:
        """Mean and estimated variance of `n` unit-variance curves, shape (draws, points) each."""
        if (n, which) not in self._sides:
            random = np.random.default_rng([self.seed, n, which])
            rank = self._root.shape[1]
            means = (
                random.standard_normal((self.draws, rank), dtype=np.float32) @ self._root.T / np.float32(math.sqrt(n))
            )
            variances = np.zeros(means.shape, dtype=np.float32)
            for _ in range(n - 1):
                variances += (random.standard_normal((self.draws, rank), dtype=np.float32) @ self._root.T) ** 2
            self._sides[n, which] = means.astype(np.float32), (variances / np.float32(n - 1)).astype(np.float32)
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
        common = np.random.default_rng([self.seed, 0]).standard_normal((self.draws, 1), dtype=np.float32)
        sides = [self._side(n, which) for which, (n, _) in enumerate(parts)]
        variance, denominator = np.zeros_like(sides[0][1]), np.full_like(sides[0][1], 1e-30)
        for (n, _), share, (_, found) in zip(parts, shares, sides, strict=True):
            part = found * (share / np.float32(n))
            variance += part
            denominator += part * part / np.float32(n - 1)
        variance += rest
        dof = np.minimum(variance * variance / denominator, np.float32(1e6))
        error = common * np.sqrt(rest)
        for sign, share, (mean, _) in zip((1.0, -1.0), shares, sides, strict=False):
            error += mean * (np.float32(sign) * np.sqrt(share))
        smallest = np.concatenate(
            [_smallest_p(np.roll(error, 7 * shift, axis=0), variance, dof) for shift in range(_SHIFTS)]
        )
        level = float(np.quantile(smallest, alpha))
        if self._missed:
            # Where neighbours hardly move together, points left out count as rows that were not drawn.
            level *= self._points.size / grid
        level = min(max(level, alpha / grid), alpha)
        return float(f"{level:.3g}")


def _smallest_p(error: Single, variance: Single, dof: Single) -> Floats:
    """Smallest two-sided p along each curve."""
    square = error * error / variance
    # Ranked by Wallace's normal equivalent squared: no square root, and the same order.
    factor = (8.0 * dof + 1.0) / (8.0 * dof + 3.0)
    worst = np.argmax(factor * factor * dof * np.log1p(square / dof), axis=1)[:, None]
    t = np.sqrt(np.take_along_axis(square, worst, axis=1)[:, 0].astype(float))
    return two_sided_p(t, np.take_along_axis(dof, worst, axis=1)[:, 0].astype(float))


def _stride(rho: Floats) -> int:
    """Steps between simulated points: as many as keep neighbours alike, and few enough points to simulate."""
    close = np.flatnonzero(rho < _SMOOTH_STEP)
    step = max(int(close[0]) - 1, 1) if close.size else rho.size // 8
    return max(step, -(-rho.size // _MOST_POINTS), 1)
