"""Control charts of a check standard: Shewhart limits, moving range, EWMA, and tests sized for the blocks at hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from toolbench.metrology.type_a import mean_and_sd
from toolbench.records.runs import Floats

LAMBDA = 0.2
"""Weight of the newest value: a drift of one standard deviation shows early, a single odd value does not linger."""

_MEAN_RANGE_OF_TWO = 2.0 / math.sqrt(math.pi)
_RANGE_SD_OF_TWO = math.sqrt(2.0 - 4.0 / math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Lower and upper control limit and the line between them [unit of the values]."""

    lower: float
    centre: float
    upper: float


def ewma(values: Sequence[float] | Floats, start: float, weight: float = LAMBDA) -> Floats:
    """Exponentially weighted moving average: `start`, then one value per value.

    References
    ----------
    NIST/SEMATECH e-Handbook 6.3.2.4.
    """
    series = [start]
    for value in values:
        series.append(weight * value + (1.0 - weight) * series[-1])
    return np.array(series)


def ewma_limits(centre: float, sd: float, weight: float = LAMBDA, width: float = 3.0) -> Limits:
    """Steady-state limits of an EWMA, `width` of its own standard deviations about `centre`."""
    half = width * sd * math.sqrt(weight / (2.0 - weight))
    return Limits(lower=centre - half, centre=centre, upper=centre + half)


def individuals_limits(values: Sequence[float] | Floats, width: float = 3.0) -> tuple[Limits, float, float]:
    """Limits for single values, the sigma from moving ranges of two, and the upper limit of the moving range.

    References
    ----------
    NIST/SEMATECH e-Handbook 6.3.2.2.
    """
    data = np.asarray(values, dtype=float)
    mean_range = float(np.mean(np.abs(np.diff(data))))
    sigma = mean_range / _MEAN_RANGE_OF_TWO
    centre = mean_and_sd(data)[0]
    return (
        Limits(lower=centre - width * sigma, centre=centre, upper=centre + width * sigma),
        sigma,
        mean_range * (1.0 + width * _RANGE_SD_OF_TWO / _MEAN_RANGE_OF_TWO),
    )


def precision_limit_factor(dof: float, pooled_dof: float, confidence: float = 0.99) -> float:
    """Upper limit of a standard deviation with `dof`, as a multiple of the pooled one with `pooled_dof`.

    References
    ----------
    NIST/SEMATECH e-Handbook 2.3.5.1.
    """
    return math.sqrt(float(special.fdtri(dof, pooled_dof, confidence)))


def grubbs_p(values: Sequence[float] | Floats) -> tuple[float, int]:
    """Two-sided probability of so far a value by chance (Grubbs), at most 1, and which value it is.

    (1, 0) for fewer than three values or constant ones.

    References
    ----------
    Grubbs, Technometrics 11 (1969) 1; the bound n times the p of the deleted residual is nearly exact where it is small.
    """
    data = np.asarray(values, dtype=float)
    mean, sd = mean_and_sd(data)
    if data.size < 3 or not sd > 0:
        return 1.0, 0
    n = data.size
    which = int(np.argmax(np.abs(data - mean)))
    g2 = ((data[which] - mean) / sd) ** 2
    room = (n - 1) ** 2 - n * g2
    if room <= 0:
        return 0.0, which
    t = math.sqrt(n * (n - 2) * g2 / room)
    return min(1.0, 2.0 * n * float(special.stdtr(n - 2, -t))), which


def drift_p(values: Sequence[float] | Floats, weight: float = LAMBDA) -> float:
    """Probability of so far an EWMA by chance, about the mean and scatter of the values themselves.

    1 for fewer than four values or constant ones.
    """
    return float(drift_ps(values, weight).min(initial=1.0))


def drift_ps(values: Sequence[float] | Floats, weight: float = LAMBDA) -> Floats:
    """Per value, the probability that the EWMA gets as far anywhere by chance; 1 as in `drift_p`."""
    data = np.asarray(values, dtype=float)
    if data.size < 4 or not mean_and_sd(data)[1] > 0:
        return np.ones(data.size)
    null = np.sort(_drift_null(data.size, weight))
    away = _away(data[None, :], weight)[0]
    return np.asarray((1.0 + null.size - np.searchsorted(null, away, side="left")) / (1.0 + null.size), dtype=float)


def _away(data: Floats, weight: float) -> Floats:
    """Distance of the EWMA from the mean at each value, in standard deviations of the values, one row per row."""
    rest = data - data.mean(axis=1, keepdims=True)
    level, away = np.zeros(len(data)), np.empty_like(rest)
    for column in range(rest.shape[1]):
        level = weight * rest[:, column] + (1.0 - weight) * level
        away[:, column] = np.abs(level)
    return np.asarray(away / rest.std(axis=1, ddof=1)[:, None], dtype=float)


@lru_cache(maxsize=64)
def _drift_null(n: int, weight: float) -> Floats:
    return np.asarray(_away(np.random.default_rng(n).standard_normal((10_000, n)), weight).max(axis=1), dtype=float)
