"""The error probability per row at which all rows of a report hold together.

Rows of one report are read off the same runs: marks of one curve move together, and every item is compared with one base.
Dividing the error probability by the number of rows ignores that and costs width. Here the null situation (no true
difference anywhere) is drawn again and again, with the runs, scatter, correlation and known uncertainties of the report at
hand, every row is tested as it will be, and the level is read off the smallest p of each draw.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from toolbench.records.runs import Floats

_VALUES = 4_000_000
"""Normal deviates drawn at most, which bounds time and memory; never fewer than 2,000 draws."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyRow:
    """One compared item in one row. `a_scatter` and `b_scatter` are standard deviations of one run on the scale of a - r b.

    In blocks, `block_scatter` is that of a difference within one block, and `blocks` are the numbers of those that both were
    run in, () for all: rows that share a block share its draw. `known` holds the contributions of everything else by
    source, each with its degrees of freedom.
    """

    item: int
    base: int
    row: int
    a_scatter: float
    b_scatter: float
    block_scatter: float | None = None
    blocks: tuple[int, ...] = ()
    known: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyItem:
    """How the scatter of one item in each row was judged: `n` runs (or blocks), and degrees of freedom of a lent one."""

    n: tuple[int, ...]
    lent_degrees_of_freedom: tuple[float, ...]


def row_correlation(residuals: Sequence[Floats], degrees_of_freedom: int) -> Floats:
    """Correlation between rows pooled from the residuals of all items.

    Parameters
    ----------
    residuals : each of shape (runs, rows)
        Deviations from the item's mean, divided by the item's standard deviation; nan where there is none.
    degrees_of_freedom
        Of all residuals together. What that few could show by chance is taken off every squared correlation.
    """
    data = np.concatenate(residuals)
    have = np.isfinite(data)
    data = np.where(have, data, 0.0)
    squares = (data**2).T @ have
    scale = np.sqrt(squares * squares.T)
    found = np.divide(data.T @ data, scale, out=np.zeros_like(scale), where=scale > 0)
    chance = 1.0 / max(degrees_of_freedom, 1)
    shrunk = np.sqrt(np.clip((found**2 - chance) / max(1.0 - chance, 1e-9), 0.0, 1.0))
    result = np.copysign(shrunk, found)
    np.fill_diagonal(result, 1.0)
    return result


def correlation_root(correlation: Floats) -> Floats:
    """Matrix R with R R' the nearest correlation matrix without negative eigenvalues.

    The symmetric root, times a scale per row: unlike eigenvectors, whose signs and order hang on the processor's linear
    algebra, it is one matrix only, so the same draws come of the same correlation everywhere.
    """
    weights, vectors = np.linalg.eigh(correlation)
    root = (vectors * np.sqrt(np.clip(weights, 0.0, None))) @ vectors.T
    return np.asarray(root / np.sqrt(np.sum(root**2, axis=1, keepdims=True)), dtype=float)


def normal_equivalent(t: Floats, degrees_of_freedom: Floats) -> Floats:
    """Normal deviate of about the same two-sided probability as `t`; used to rank, never as a result.

    References
    ----------
    Wallace, Ann. Math. Stat. 30 (1959) 1124.
    """
    dof = degrees_of_freedom
    return np.asarray((8.0 * dof + 1.0) / (8.0 * dof + 3.0) * np.sqrt(dof * np.log1p(t * t / dof)), dtype=float)


def two_sided_p(t: Floats, degrees_of_freedom: Floats) -> Floats:
    """Two-sided probability of the t-distribution, with 1e6 degrees of freedom standing for infinitely many."""
    return np.asarray(2.0 * special.stdtr(degrees_of_freedom, -np.abs(t)), dtype=float)


def family_level(
    rows: Sequence[FamilyRow],
    items: Sequence[FamilyItem],
    correlation: Floats,
    *,
    confidence: float = 0.95,
    draws: int = 20_000,
    seed: int = 20_260_401,
) -> float:
    """Two-sided error probability per row that holds all `rows` together at `confidence`.

    Never above 1 - confidence, never below that divided by the number of rows.
    """
    alpha = 1.0 - confidence
    if len(rows) <= 1:
        return alpha
    used = sorted({row.item for row in rows} | {row.base for row in rows})
    widths = {
        i: max([*items[i].n, *(1 + k for row in rows if i in (row.item, row.base) for k in row.blocks)]) for i in used
    }
    size = len(correlation) * sum(widths.values())
    count = int(min(draws, max(2_000, _VALUES // max(size, 1))))
    random = np.random.default_rng(seed)
    root = correlation_root(correlation)
    runs = {i: _draw_runs(random, count, widths[i], root) for i in used}
    shared = {source: random.standard_normal(count) for source in sorted({s for row in rows for s in row.known})}
    sides = {i: _means_and_variances(runs[i], items[i], random) for i in used}
    best = np.full(count, -1.0)
    best_t, best_dof = np.zeros(count), np.ones(count)
    for row in rows:
        t, dof = _studentised(row, items, sides, runs, shared)
        rank = normal_equivalent(t, dof)
        better = rank > best
        best[better], best_t[better], best_dof[better] = rank[better], t[better], dof[better]
    level = float(np.quantile(two_sided_p(best_t, best_dof), alpha))
    # Drawn to two digits or three; the last of sixteen depend on which linear algebra the processor gets.
    return min(max(float(f"{level:.9g}"), alpha / len(rows)), alpha)


def _draw_runs(random: np.random.Generator, count: int, n: int, root: Floats) -> Floats:
    """Runs of unit variance, correlated between rows, of shape (n, count, rows): sums over runs then go through whole arrays."""
    drawn = random.standard_normal((count * n, len(root))) @ root.T
    return np.ascontiguousarray(np.moveaxis(drawn.reshape(count, n, -1), 1, 0))


def _means_and_variances(runs: Floats, item: FamilyItem, random: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Per draw and row: the mean, the estimated variance of one run, and its degrees of freedom per row."""
    _, count, rows = runs.shape
    means, variances = np.zeros((count, rows)), np.zeros((count, rows))
    dof = np.array(
        [float(n - 1) if n > 1 else lent for n, lent in zip(item.n, item.lent_degrees_of_freedom, strict=True)]
    )
    for n in sorted(set(item.n) - {0}):
        which = [r for r in range(rows) if item.n[r] == n]
        part = runs[:n] if len(which) == rows else runs[:n, :, which]
        means[:, which] = part.mean(axis=0)
        if n > 1:
            variances[:, which] = part.var(axis=0, ddof=1)
        else:
            freedom = np.where(np.isfinite(dof[which]), dof[which], 1e6)
            variances[:, which] = random.chisquare(freedom, (count, len(which))) / freedom
    return means, variances, dof


def _studentised(
    row: FamilyRow,
    items: Sequence[FamilyItem],
    sides: Mapping[int, tuple[Floats, Floats, Floats]],
    runs: Mapping[int, Floats],
    shared: Mapping[str, Floats],
) -> tuple[Floats, Floats]:
    """Size of the studentised difference in every draw and its effective degrees of freedom."""
    r = row.row
    if row.block_scatter is not None:
        within = list(row.blocks) or slice(None)
        gaps = (runs[row.item][within, :, r] - runs[row.base][within, :, r]) * (row.block_scatter / math.sqrt(2.0))
        error = gaps.mean(axis=0)
        parts = [(gaps.var(axis=0, ddof=1) / len(gaps), float(len(gaps) - 1))]
    else:
        error = row.a_scatter * sides[row.item][0][:, r] - row.b_scatter * sides[row.base][0][:, r]
        parts = [
            (scatter**2 * sides[i][1][:, r] / items[i].n[r], float(sides[i][2][r]))
            for i, scatter in ((row.item, row.a_scatter), (row.base, row.b_scatter))
        ]
    variance = sum(part for part, _ in parts) + np.zeros_like(error)
    denominator = sum(part**2 / dof for part, dof in parts) + np.full_like(error, 1e-300)
    for source, (contribution, dof) in row.known.items():
        error = error + contribution * shared[source]
        variance = variance + contribution**2
        denominator = denominator + contribution**4 / dof
    return np.abs(error) / np.sqrt(variance), np.minimum(variance**2 / denominator, 1e6)
