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


def ewma_limits(
    centre: float, sd: float, weight: float = LAMBDA, width: float = 3.0, *, of_centre: float = 0.0
) -> Limits:
    """Steady-state limits of an EWMA, `width` of its own standard deviations about `centre`.

    `of_centre` is the variance of the centre in units of that of one value: 1 / n where it is the mean of another n values.
    """
    half = width * sd * math.sqrt(weight / (2.0 - weight) + of_centre)
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


def prediction_p(values: Sequence[float] | Floats, new: Sequence[float] | Floats) -> Floats:
    """Per `new` value, the two-sided probability of so far a value by chance where `values` are its history.

    At most 1, and made for as many new values as there are (Bonferroni); 1 with a history of fewer than two or constant values.

    References
    ----------
    The prediction interval of one further value: the history's mean adds 1 / n to its variance.
    """
    history, data = np.asarray(values, dtype=float), np.asarray(new, dtype=float)
    mean, sd = mean_and_sd(history)
    if not sd > 0:
        return np.ones(data.size)
    t = np.abs(data - mean) / (sd * math.sqrt(1.0 + 1.0 / history.size))
    return np.asarray(np.minimum(2.0 * data.size * special.stdtr(history.size - 1.0, -t), 1.0), dtype=float)


FEWEST_A_SIDE = 2
"""A step has two values at least on each side: a single one is a value apart."""


def step_p(values: Sequence[float] | Floats, first: int = FEWEST_A_SIDE) -> tuple[float, int]:
    """Probability of so large a step in the mean by chance, and how many values lie before the step.

    The step is where the values part best in two levels of one scatter, wherever that is from `first` values on. (1, 0) for
    fewer than four values or constant ones.

    References
    ----------
    Worsley, J. Am. Stat. Assoc. 74 (1979) 365: the likelihood ratio of a change of the mean; its distribution is drawn here.
    """
    data, first = np.asarray(values, dtype=float), max(first, FEWEST_A_SIDE)
    if data.size < max(2 * FEWEST_A_SIDE, first + FEWEST_A_SIDE) or not mean_and_sd(data)[1] > 0:
        return 1.0, 0
    null = _step_null(data.size, first)
    sizes = _steps(data[None, :], first)[0]
    above = null.size - np.searchsorted(null, sizes.max(), side="left")
    return float((1.0 + above) / (1.0 + null.size)), first + int(np.argmax(sizes))


def _steps(data: Floats, first: int) -> Floats:
    """Sum of squares between the two levels over that within, for each place of the step, one row per row."""
    n = data.shape[1]
    rest = data - data.mean(axis=1, keepdims=True)
    before = np.arange(first, n - FEWEST_A_SIDE + 1)
    total = np.cumsum(rest, axis=1)[:, before - 1]
    # About the common mean the two levels are total / before and -total / (n - before).
    between = total**2 * (n / (before * (n - before)))
    within = np.sum(rest**2, axis=1, keepdims=True) - between
    return np.asarray(np.divide(between, within, out=np.full_like(between, np.inf), where=within > 0), dtype=float)


@lru_cache(maxsize=64)
def _step_null(n: int, first: int) -> Floats:
    drawn = np.random.default_rng([n, first]).standard_normal((10_000, n))
    return np.sort(_steps(drawn, first).max(axis=1))
