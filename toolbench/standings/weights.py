"""What hangs on the weights: the ranks an entry could have over all of them, and scorecards with another weight or anchor.

Exact are: each criterion alone (the corners of the simplex of weights), and who is ahead whatever the weights (no lower in
any criterion, higher in one). The two bound every rank from inside and outside. Where they differ, a mixed-integer linear
programme finds the extreme ranks themselves; for fields too large for that, a seeded sample of weights narrows the
bounds from inside, and the outcome says that it is not exact.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize, sparse

from toolbench.records.runs import Floats
from toolbench.standings.entries import Criterion
from toolbench.standings.scoring import Score

SAMPLE = 2_000
"""Weights drawn evenly from the simplex."""
MOST_EXACT = 60
"""With more scored entries than this the extreme ranks are bounded, not solved for."""
TIE = 1e-6
"""Values and weighted means closer than this share are equal here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankRange:
    """Best and worst rank over all weights. What was found lies within what is possible; equal where `exact`."""

    tool: str
    best: int
    worst: int
    best_possible: int
    worst_possible: int

    @property
    def exact(self) -> bool:
        """Whether the best and the worst rank are known, not only bounded."""
        return self.best == self.best_possible and self.worst == self.worst_possible


def rank_range_over_weights(
    scores: Sequence[Score], criteria: Sequence[Criterion], *, most_exact: int = MOST_EXACT, seed: int = 20_261_130
) -> tuple[RankRange, ...]:
    """Range of each entry's rank as the weights run over all shares that add up to one.

    Parameters
    ----------
    scores
        Those to be ranked, each with a value in every criterion.
    most_exact
        With at most this many entries the extreme ranks are solved for.

    Returns
    -------
    tuple of RankRange
        In the order of the tools' names.
    """
    ordered = sorted(scores, key=lambda one: one.tool)
    ids = sorted(c.id for c in criteria)
    values = np.array([[one.values[id] for id in ids] for one in ordered]).reshape(len(ordered), len(ids))
    corners = np.eye(len(ids))
    sample = np.random.default_rng(seed).dirichlet(np.ones(len(ids)), SAMPLE)
    return tuple(
        _range_of(one.tool, np.delete(values, k, axis=0) - values[k], np.vstack([corners, sample]), most_exact)
        for k, one in enumerate(ordered)
    )


def _range_of(tool: str, gaps: Floats, weights: Floats, most_exact: int) -> RankRange:
    """`gaps` of shape (others, criteria): how much higher the others' values are."""
    always_higher = np.all(gaps > TIE, axis=1)
    never_higher = np.all(gaps <= TIE, axis=1)
    ranks = 1 + np.count_nonzero(gaps @ weights.T > TIE, axis=0)
    best, worst = int(ranks.min(initial=len(gaps) + 1)), int(ranks.max(initial=1))
    outer = 1 + int(np.count_nonzero(always_higher)), len(gaps) + 1 - int(np.count_nonzero(never_higher))
    if len(gaps) < most_exact:
        fixed = int(np.count_nonzero(always_higher))
        free = gaps[~always_higher & ~never_higher]
        if best > outer[0]:
            best = 1 + fixed + _fewest_higher(free)
        if worst < outer[1]:
            worst = 1 + fixed + len(free) - _fewest_not_higher(free)
        outer = best, worst
    return RankRange(tool=tool, best=best, worst=worst, best_possible=outer[0], worst_possible=outer[1])


def _fewest_higher(gaps: Floats) -> int:
    """Fewest of the others with a higher mean: w . gap <= y for each, y counted, w on the simplex."""
    return _fewest(gaps, 0.0)


def _fewest_not_higher(gaps: Floats) -> int:
    """Fewest of the others without a higher mean: w . gap >= 2 TIE unless counted."""
    return _fewest(-gaps, -2.0 * TIE)


def _fewest(gaps: Floats, limit: float) -> int:
    others, criteria = gaps.shape
    room = sparse.diags_array(np.maximum(gaps.max(axis=1) - limit, 0.0))
    rows = sparse.hstack([sparse.csr_array(gaps), -room])
    simplex = np.concatenate([np.ones(criteria), np.zeros(others)])[None]
    found = optimize.milp(
        np.concatenate([np.zeros(criteria), np.ones(others)]),
        integrality=np.concatenate([np.zeros(criteria), np.ones(others)]),
        bounds=optimize.Bounds(0.0, 1.0),
        constraints=[
            optimize.LinearConstraint(rows, -np.inf, limit),
            optimize.LinearConstraint(simplex, 1.0, 1.0),
        ],
    )
    if found.x is None:
        raise ArithmeticError(f"the extreme rank among {others} entries was not found: {found.message}")
    return round(float(found.fun))


def change_weights(criteria: Sequence[Criterion], weights: Mapping[str, float]) -> tuple[Criterion, ...]:
    """The scorecard with other weights for some criteria; the others keep their ratios and share the rest.

    Parameters
    ----------
    weights
        The new weights by criterion, as shares of 1.

    Raises
    ------
    ValueError
        Where there is no such criterion, the weights exceed 1 together, or nothing else can take the rest.
    """
    for id in weights:
        _known(criteria, id)
    if not weights:
        return tuple(criteria)
    left = 1.0 - math.fsum(weights.values())
    if left < -1e-9:
        raise ValueError(f"the weights asked for add up to {100 * (1.0 - left):.6g} %, and must not exceed 100 %")
    rest = math.fsum(c.weight for c in criteria if c.id not in weights)
    if rest <= 0 and left > 1e-9:
        raise ValueError(
            f"the weights asked for leave {100 * left:.6g} %, and no other criterion has a weight to take it"
        )
    share = max(left, 0.0) / rest if rest > 0 else 0.0
    return tuple(replace(c, weight=weights[c.id] if c.id in weights else c.weight * share) for c in criteria)


def change_anchors(
    criteria: Sequence[Criterion], id: str, *, worst_at: float | None = None, best_at: float | None = None
) -> tuple[Criterion, ...]:
    """The scorecard with other anchors for one criterion [unit of its marks]; None keeps one.

    Raises
    ------
    ValueError
        Where there is no such criterion, or the anchors become equal.
    """
    old = _known(criteria, id)
    new = replace(
        old,
        worst_at=old.worst_at if worst_at is None else worst_at,
        best_at=old.best_at if best_at is None else best_at,
    )
    return tuple(new if c.id == id else c for c in criteria)


def _known(criteria: Sequence[Criterion], id: str) -> Criterion:
    for criterion in criteria:
        if criterion.id == id:
            return criterion
    raise ValueError(f"there is no criterion {id!r}; there are {', '.join(sorted(c.id for c in criteria))}")
