"""Two standings compared: who moved, by how much, whether beyond the uncertainty of the change, and why.

The uncertainty of a change is that of a difference: what stands before and after with the same source cancels, so only
what changed counts. Scatter of runs is the same error in so far as the runs are the same: two means over n and m runs with k in
common have the correlation k / sqrt(n m), which is one for the same runs and the usual one for pooling. A corrected recording
counts as another run.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from toolbench.metrology.intervals import difference_interval
from toolbench.metrology.propagation import difference
from toolbench.records.comparison import Component, Estimate, Interval
from toolbench.records.settings import EMPTY
from toolbench.standings.entries import Criterion, Entry, Mark
from toolbench.standings.ranking import Standing
from toolbench.standings.scoring import score_estimate

Status = Literal["", "retired", "superseded", "withdrawn"]
Cause = Literal[
    "new runs", "runs left out", "corrected recording", "other setup", "price", "weights or anchors", "other values",
    "new entry", "no longer entered", "retired", "superseded", "withdrawn", "others moved",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What one entry's marks rest on. `runs` holds, by criterion, the digest of every run used by its id.

    `scatter` names, by criterion, the sources of its marks that are scatter of those runs.
    """

    setup: str = ""
    price: float | None = None
    runs: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: EMPTY)
    scatter: Mapping[str, frozenset[str]] = field(default_factory=lambda: EMPTY)
    status: Status = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Published:
    """A standing with the entries and the scorecard it was made from, and what each entry rests on."""

    standing: Standing
    entries: Mapping[str, Entry]
    criteria: tuple[Criterion, ...]
    bases: Mapping[str, Basis] = field(default_factory=lambda: EMPTY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """What became of one entry; rank and score are None where it has none. `change` is after less before [%]."""

    tool: str
    rank_before: int | None
    rank_after: int | None
    score_before: float | None
    score_after: float | None
    change: Estimate | None
    interval: Interval | None
    causes: tuple[Cause, ...]

    @property
    def beyond_uncertainty(self) -> bool | None:
        """Whether the interval of the change leaves zero; None where there is no change to judge."""
        if self.interval is None:
            return None
        return self.interval.lower > 0 or self.interval.upper < 0


def compare_standings(before: Published, after: Published, *, confidence: float = 0.95) -> tuple[Move, ...]:
    """Every entry that changed its rank, its score or what it rests on, by its rank after, those without one last.

    Parameters
    ----------
    before, after
        Made from the same or other entries, weights and anchors.
    confidence
        Two-sided, for each change alone.
    """
    sides = [{one.tool: one.rank for one in side.standing.ranked} for side in (before, after)]
    moves = []
    for tool in sorted(before.entries.keys() | after.entries.keys()):
        move = _move(tool, before, after, (sides[0].get(tool), sides[1].get(tool)), confidence)
        if move.causes:
            moves.append(move)
    return tuple(sorted(moves, key=lambda move: (move.rank_after is None, move.rank_after or 0, move.tool)))


def _move(
    tool: str, before: Published, after: Published, ranks: tuple[int | None, int | None], confidence: float
) -> Move:
    change = _change(tool, before, after) if None not in ranks else None
    scores = [_score_of(tool, side) for side in (before, after)]
    return Move(
        tool=tool,
        rank_before=ranks[0],
        rank_after=ranks[1],
        score_before=scores[0],
        score_after=scores[1],
        change=change,
        interval=difference_interval(change, confidence) if change is not None else None,
        causes=_causes(tool, before, after, moved=ranks[0] != ranks[1], changed=scores[0] != scores[1]),
    )


def _score_of(tool: str, side: Published) -> float | None:
    return next((one.value for one in side.standing.scores.every if one.tool == tool), None)


def _change(tool: str, before: Published, after: Published) -> Estimate:
    """After less before, with the scatter of runs that both rest on as the same error."""
    bases = [side.bases.get(tool, Basis()) for side in (before, after)]
    old = _with_named_scatter(before.entries[tool], bases[0], bases[0])
    new = _with_named_scatter(after.entries[tool], bases[1], bases[0])
    return difference(score_estimate(new, after.criteria), score_estimate(old, before.criteria))


def _with_named_scatter(entry: Entry, basis: Basis, earlier: Basis) -> Entry:
    """The entry with the scatter of its runs split into what the earlier runs share and what they do not."""
    marks = dict(entry.marks)
    for id, mark in entry.marks.items():
        names = basis.scatter.get(id, frozenset())
        if mark.estimate is None or not names:
            continue
        share = _correlation(basis.runs.get(id, EMPTY), earlier.runs.get(id, EMPTY))
        parts = [part for c in mark.estimate.components for part in _split(c, share if c.source in names else None)]
        marks[id] = Mark(estimate=replace(mark.estimate, components=tuple(parts)))
    return replace(entry, marks=marks)


def _correlation(runs: Mapping[str, str], earlier: Mapping[str, str]) -> float:
    """Correlation of the means over two sets of runs that scatter alike."""
    common = len(runs.items() & earlier.items())
    return common / math.sqrt(len(runs) * len(earlier)) if common else 0.0


def _split(component: Component, correlation: float | None) -> list[Component]:
    if correlation is None or component.contained:
        return [component]
    own = math.sqrt(max(1.0 - correlation**2, 0.0))
    both = (("runs in both", correlation), ("other runs", own))
    return [
        replace(component, source=f"{component.source}/{name}", contribution=component.contribution * share)
        for name, share in both
        if share > 0
    ]


def _causes(tool: str, before: Published, after: Published, *, moved: bool, changed: bool) -> tuple[Cause, ...]:
    if tool not in before.entries:
        return ("new entry",)
    bases = [side.bases.get(tool, Basis()) for side in (before, after)]
    found: list[Cause] = []
    if bases[0].status != bases[1].status and bases[1].status:
        found.append(bases[1].status)
    if tool not in after.entries:
        return tuple(found) or ("no longer entered",)
    found += _changed_inputs(*bases)
    if changed and _scorecard(before.criteria) != _scorecard(after.criteria):
        found.append("weights or anchors")
    if changed and not found:
        found.append("other values")
    if moved and not changed:
        found.append("others moved")
    return tuple(found)


def _changed_inputs(old: Basis, new: Basis) -> list[Cause]:
    runs = [_all_runs(basis) for basis in (old, new)]
    found: list[Cause] = []
    if runs[1].keys() - runs[0].keys():
        found.append("new runs")
    if runs[0].keys() - runs[1].keys():
        found.append("runs left out")
    if any(runs[0][run] != runs[1][run] for run in runs[0].keys() & runs[1].keys()):
        found.append("corrected recording")
    if old.setup != new.setup:
        found.append("other setup")
    if old.price != new.price:
        found.append("price")
    return found


def _all_runs(basis: Basis) -> dict[tuple[str, str], str]:
    return {(id, run): digest for id, runs in basis.runs.items() for run, digest in runs.items()}


def _scorecard(criteria: Sequence[Criterion]) -> list[tuple[str, float, float, float]]:
    return sorted((c.id, c.weight, c.worst_at, c.best_at) for c in criteria)
