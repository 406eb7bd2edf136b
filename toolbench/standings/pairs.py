"""Which scores are told apart: the interval of a pair's difference leaves zero, with all pairs holding together.

What a pair shares cancels. Each pair is judged by Welch's statistic; the error probability per pair is read off draws of the
null situation, in which all entries are equal, with the uncertainties and degrees of freedom at hand (as
`metrology.family` does for the rows of a report). Scatter that was pooled over entries is an ensemble they share: members
`NAME#...` have errors of their own and one estimate of their size.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from toolbench.metrology.family import normal_equivalent, two_sided_p
from toolbench.metrology.propagation import ensemble_of
from toolbench.records.comparison import Component, Estimate
from toolbench.records.runs import Floats
from toolbench.standings.drawing import shared_names, used

NULL_DRAWS = 8_000
CANDIDATES = 32
"""Entries looked at per draw, those farthest out for their uncertainty; with no more entries than these every pair is."""
_MANY = 1e6
"""Stands for infinitely many degrees of freedom."""
_HELD = 1_000_000
"""Pairs worked on at a time."""
_MOST = 24_000_000
"""Variances drawn at most for the level, which bounds the time; never fewer than `_FEWEST` draws."""
_FEWEST = 1_000
_KNOWN = ""
"""Name of what is known exactly: every error with infinite degrees of freedom."""


@dataclass(frozen=True, slots=True)
class _Ensemble:
    """Errors whose size is one estimate for all entries: `alone` variances of what each has to itself [%^2], shared columns [%]."""

    degrees_of_freedom: float
    alone: Floats
    columns: Floats


@dataclass(frozen=True, slots=True)
class _Side:
    """One side of pairs, each of shape (draws, entries): scores, variances by own scatter, degrees of freedom, indices."""

    score: Floats
    variance: Floats
    dof: Floats
    index: npt.NDArray[np.intp]

    def part(self, some: slice) -> _Side:
        """Some of the entries."""
        return _Side(self.score[:, some], self.variance[:, some], self.dof[:, some], self.index[:, some])


@dataclass(frozen=True, slots=True)
class _Field:
    """The errors of all entries: variances by own scatter (entries, parts) with degrees of freedom, and ensembles across."""

    own: Floats
    own_dof: Floats
    ensembles: tuple[_Ensemble, ...]

    def __len__(self) -> int:
        return len(self.own)

    def side(self, score: Floats, own: Floats, index: npt.NDArray[np.intp]) -> _Side:
        """Entries `index` with these scores and estimated variances by part, own degrees of freedom by Welch-Satterthwaite."""
        whole = own.sum(axis=-1)
        denominator = np.sum(own**2 / self.own_dof, axis=-1)
        dof = np.divide(whole**2, denominator, out=np.full_like(whole, _MANY), where=denominator > 0)
        return _Side(score, whole, dof, index)


def _field(estimates: Sequence[Estimate]) -> _Field:
    parts = [[(_family(c), c) for c in used(estimate)] for estimate in estimates]
    across = shared_names([name for name, _ in each] for each in parts) | {_KNOWN}
    common = sorted(shared_names([c.source for _, c in each] for each in parts))
    rows = {source: k for k, source in enumerate(common)}
    names = {name: k for k, name in enumerate(sorted(across))}
    columns = np.zeros((len(common), len(estimates)))
    alone = np.zeros((len(names), len(estimates)))
    dof = np.full(len(names), np.inf)
    home = np.zeros(len(common), dtype=int)
    own: list[list[tuple[float, float]]] = []
    for i, each in enumerate(parts):
        scatter: dict[str, tuple[float, float]] = {}
        for name, c in each:
            if c.source in rows:
                columns[rows[c.source], i] = c.contribution
                home[rows[c.source]] = names[name]
            elif name in names:
                alone[names[name], i] += c.contribution**2
            else:
                scatter[name] = (scatter.get(name, (0.0, 0.0))[0] + c.contribution**2, c.degrees_of_freedom)
            if name in names:
                dof[names[name]] = min(dof[names[name]], c.degrees_of_freedom)
        own.append(list(scatter.values()))
    ensembles = (_Ensemble(float(dof[k]), alone[k], columns[home == k]) for k in names.values())
    return _Field(*_table(own), tuple(ensembles))


def _table(own: Sequence[Sequence[tuple[float, float]]]) -> tuple[Floats, Floats]:
    """Variances and degrees of freedom, a row for each entry, filled up with nothing known exactly."""
    width = max(map(len, own), default=0)
    variance, dof = np.zeros((len(own), width)), np.full((len(own), width), _MANY)
    for row, parts in enumerate(own):
        for k, (part, freedom) in enumerate(parts):
            variance[row, k], dof[row, k] = part, freedom
    return variance, dof


def _family(component: Component) -> str:
    return ensemble_of(component.source) if math.isfinite(component.degrees_of_freedom) else _KNOWN


def _studentised(a: _Side, b: _Side, field: _Field, spread: Floats) -> tuple[Floats, Floats]:
    """Size of every difference of `a` and `b` in its standard uncertainty, and its degrees of freedom.

    `spread` of shape (draws, ensembles) is the estimated over the true variance of each ensemble.
    """
    gap = np.abs(_outer(a.score, b.score, -1.0))
    variance = _outer(a.variance, b.variance)
    denominator = _outer(a.variance**2 / a.dof, b.variance**2 / b.dof)
    for k, ensemble in enumerate(field.ensembles):
        part = _outer(ensemble.alone[a.index], ensemble.alone[b.index])
        for column in ensemble.columns:
            part += _outer(column[a.index], column[b.index], -1.0) ** 2
        part *= spread[:, k, None, None]
        variance += part
        if math.isfinite(ensemble.degrees_of_freedom):
            denominator += part**2 / ensemble.degrees_of_freedom
    sure = np.where(gap > 0, np.inf, 0.0)
    t = np.divide(gap, np.sqrt(variance), out=sure, where=variance > 0)
    dof = np.divide(variance**2, denominator, out=np.full_like(variance, _MANY), where=denominator > 0)
    return t, np.clip(dof, 1.0, _MANY)


def _outer(a: Floats, b: Floats, sign: float = 1.0) -> Floats:
    return np.asarray(a[:, :, None] + sign * b[:, None, :])


def pair_level(
    estimates: Sequence[Estimate], *, confidence: float = 0.95, draws: int = NULL_DRAWS, seed: int = 20_261_129
) -> float:
    """Two-sided error probability per pair at which the statements on all pairs hold together at `confidence`.

    Never above 1 - confidence. With more than `CANDIDATES` entries only the pairs among those farthest out are looked at in
    each draw; the smallest p is hardly ever elsewhere.
    """
    return _null_level(_field(estimates), confidence, draws, seed)


def _null_level(field: _Field, confidence: float, draws: int, seed: int) -> float:
    count = len(field)
    alpha = 1.0 - confidence
    if count < 3:
        return alpha
    random = np.random.default_rng(seed)
    draws = max(_FEWEST, min(draws, _MOST // max(field.own.size, 1)))
    block = max(1, min(draws, _HELD // min(count, CANDIDATES) ** 2, 4 * _HELD // max(field.own.size, 1)))
    smallest = [_smallest_p(field, min(block, draws - start), random) for start in range(0, draws, block)]
    level = float(np.quantile(np.concatenate(smallest), alpha))
    # Drawn to two digits or three; the last of sixteen depend on which linear algebra the processor gets.
    return min(float(f"{level:.9g}"), alpha)


def _smallest_p(field: _Field, draws: int, random: np.random.Generator) -> Floats:
    """The smallest p over the pairs in each draw of equal entries."""
    count = len(field)
    spread = np.ones((draws, len(field.ensembles)))
    steady = _steadied(field.own, field.own_dof)
    total = steady.sum(axis=1) + sum(ensemble.alone for ensemble in field.ensembles)
    score = random.standard_normal((draws, count)) * np.sqrt(total)
    for k, ensemble in enumerate(field.ensembles):
        if math.isfinite(ensemble.degrees_of_freedom):
            spread[:, k] = random.chisquare(ensemble.degrees_of_freedom, draws) / ensemble.degrees_of_freedom
        if ensemble.columns.size:
            score += random.standard_normal((draws, len(ensemble.columns))) @ ensemble.columns
    half = 0.5 * field.own_dof
    own = random.standard_gamma(half, (draws, *half.shape)) * (steady / half)
    side = field.side(score, own, np.broadcast_to(np.arange(count), (draws, count)))
    if count > CANDIDATES:
        side = _farthest(side, total - steady.sum(axis=1))
    t, dof = _studentised(side, side, field, spread)
    rank = normal_equivalent(t, dof).reshape(draws, -1)
    best = np.argmax(rank, axis=1)[:, None]
    flat = [np.take_along_axis(one.reshape(draws, -1), best, 1)[:, 0] for one in (t, dof)]
    return two_sided_p(flat[0], flat[1])


def _steadied(variance: Floats, dof: Floats) -> Floats:
    """Variances by own scatter as the null draws take them: moved towards each other as far as chance alone parts them.

    Variances from three runs differ a hundredfold by chance; taken as they are they would make the level too strict. Only
    the level rests on this, never an entry's own uncertainty.

    References
    ----------
    Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004) article 3, section 6.2, here as a shrunk logarithm.
    """
    found = (variance > 0) & (dof < _MANY)
    if np.count_nonzero(found) < 3:
        return variance
    half = 0.5 * dof[found]
    logs = np.log(variance[found]) - special.digamma(half) + np.log(half)
    seen, chance = float(np.var(logs, ddof=1)), float(np.mean(special.polygamma(1, half)))
    kept = max(0.0, 1.0 - chance / seen) if seen > 0 else 0.0
    steady = variance.copy()
    steady[found] = np.exp(logs.mean() + kept * (logs - logs.mean()))
    return steady


def _farthest(side: _Side, known: Floats) -> _Side:
    """Per draw the entries that lie farthest from the middle for their uncertainty; `known` variances come on top."""
    gap = np.abs(side.score - np.median(side.score, axis=1, keepdims=True))
    variance = side.variance + known
    t = np.divide(gap, np.sqrt(variance), out=np.zeros_like(gap), where=variance > 0)
    rank = normal_equivalent(t, side.dof)
    kept = np.argpartition(rank, rank.shape[1] - CANDIDATES, axis=1)[:, -CANDIDATES:]
    arrays = [np.take_along_axis(one, kept, 1) for one in (side.score, side.variance, side.dof)]
    return _Side(arrays[0], arrays[1], arrays[2], kept)


def tell_apart(estimates: Sequence[Estimate], level: float) -> npt.NDArray[np.bool_]:
    """Which pairs are told apart at the error probability `level` per pair: symmetric, nothing told from itself.

    References
    ----------
    Welch, Biometrika 34 (1947) 28; GUM G.4.
    """
    field = _field(estimates)
    count = len(estimates)
    value = np.array([estimate.value for estimate in estimates])
    everything = field.side(value[None], field.own[None], np.arange(count)[None])
    spread = np.ones((1, len(field.ensembles)))
    apart = np.zeros((count, count), dtype=bool)
    rows = max(1, _HELD // max(count, 1))
    for start in range(0, count, rows):
        some = slice(start, start + rows)
        t, dof = _studentised(everything.part(some), everything, field, spread)
        # Student's quantile is never below the normal one: most pairs need no closer look.
        maybe = t[0] > float(special.ndtri(1.0 - 0.5 * level))
        apart[some][maybe] = two_sided_p(t[0][maybe], dof[0][maybe]) < level
    return apart
