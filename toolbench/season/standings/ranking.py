"""The standings of a season: scored, ranked, claims judged, those apart beside them; and what they would be if ..."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from toolbench.errors import Fault, UsageError
from toolbench.records.findings import Finding, worst_first
from toolbench.records.scorecard import SUPPLIES, Scorecard, StatedCriterion
from toolbench.season.opening import Season
from toolbench.season.standings.claiming import judge_claims
from toolbench.season.standings.collecting import Collected, collect_class
from toolbench.season.standings.lives import Entrant, find_entrants
from toolbench.season.standings.outcome import Apart, ClassStandings, Standings
from toolbench.season.standings.remarks import class_findings
from toolbench.standings import (
    Criterion,
    Score,
    change_anchors,
    change_weights,
    rank_entries,
    rank_range_over_weights,
    score_entries,
)


def rank_tools(
    season: Season,
    *,
    what_if: Mapping[str, str] | None = None,
    weights: Mapping[str, float] | None = None,
    anchors: Mapping[str, tuple[float, float]] | None = None,
) -> Standings:
    """Score and rank the tools of a season by its scorecard.

    Parameters
    ----------
    season
        What `open_season` returned.
    what_if
        Setup that is to count for a tool, by tool: what the standings would be if it had been that one.
    weights
        Another weight by criterion, as a share; the other criteria keep their ratios and share the rest.
    anchors
        Other anchors by criterion, (worst, best) [unit of the criterion].

    Returns
    -------
    Standings
        One class for each kind of supply that a tool is of.

    Raises
    ------
    UsageError
        The season has no scorecard, or a tool, setup or criterion that is named is not there.
    """
    scorecard = season.settings.scorecard
    if scorecard is None:
        raise UsageError(
            Fault("the season has no scorecard", file="bench.toml", mend="add [scorecard] with its criteria")
        )
    criteria = _asked_criteria(scorecard, weights or {}, anchors or {})
    classes: dict[str, list[Entrant]] = {}
    for entrant in find_entrants(season, scorecard, what_if or {}):
        classes.setdefault(entrant.supply, []).append(entrant)
    found, digests = [], dict(season.settings.digests)
    for supply in sorted(classes, key=lambda one: (one not in SUPPLIES, SUPPLIES.index(one) if one in SUPPLIES else 0)):
        collected = collect_class(season, scorecard, criteria, classes[supply])
        found.append(_class(season, scorecard, criteria, classes[supply], collected))
        digests |= collected.digests
    return Standings(
        settings=season.settings,
        scorecard=scorecard,
        criteria=criteria,
        classes=tuple(found),
        asked=_asked(what_if or {}, weights or {}, anchors or {}, criteria),
        digests=dict(sorted(digests.items())),
    )


def scorecard_findings(season: Season) -> list[Finding]:
    """What `check` says of the scorecard: all that the standings would say; nothing where there is none."""
    if season.settings.scorecard is None:
        return []
    return list(rank_tools(season).findings)


def _class(
    season: Season, scorecard: Scorecard, criteria: Sequence[StatedCriterion], entrants: Sequence[Entrant],
    collected: Collected,
) -> ClassStandings:  # fmt: skip
    lines = tuple(map(pure, criteria))
    reasons = {one.tool.id: one.apart or collected.none_of(one.tool.id) for one in entrants}
    ranked = [collected.entries[tool] for tool, why in reasons.items() if not why]
    measured = [collected.entries[tool] for tool, why in reasons.items() if why and collected.facts[tool].runs]
    scores = {one.tool: one for one in score_entries(measured, lines).every} if measured else {}
    standing = rank_entries(score_entries(ranked, lines))
    settled = [one.score for one in standing.ranked]
    return ClassStandings(
        supply=entrants[0].supply,
        setup=scorecard.setups.get(entrants[0].supply, ""),
        standing=standing,
        criteria=lines,
        entries={one.tool: one for one in (*ranked, *measured)},
        facts=collected.facts,
        bases=collected.bases,
        ranges={one.tool: one for one in rank_range_over_weights(settled, lines)} if settled else {},
        claims=judge_claims(season, criteria, collected),
        apart=tuple(_apart(collected, tool, why, scores.get(tool)) for tool, why in reasons.items() if why),
        findings=_findings(season, criteria, entrants, collected),
    )


def _apart(collected: Collected, tool: str, reason: str, score: Score | None) -> Apart:
    return Apart(facts=collected.facts[tool], reason=reason, score=score)


def _findings(
    season: Season, criteria: Sequence[StatedCriterion], entrants: Sequence[Entrant], collected: Collected
) -> tuple[Finding, ...]:
    found = [*class_findings(season, criteria, [one.tool for one in entrants], collected.entries)]
    return worst_first(list(dict.fromkeys([*found, *collected.findings])))


def pure(criterion: StatedCriterion) -> Criterion:
    """A criterion as the scores need it."""
    return Criterion(
        id=criterion.id,
        label=criterion.label,
        weight=criterion.weight,
        worst_at=criterion.worst_at,
        best_at=criterion.best_at,
    )


def _asked_criteria(
    scorecard: Scorecard, weights: Mapping[str, float], anchors: Mapping[str, tuple[float, float]]
) -> tuple[StatedCriterion, ...]:
    """The criteria with other weights and anchors. Raises UsageError."""
    lines = tuple(map(pure, scorecard.criteria))
    try:
        lines = change_weights(lines, weights)
        for id, (worst, best) in anchors.items():
            lines = change_anchors(lines, id, worst_at=worst, best_at=best)
    except ValueError as error:
        raise UsageError(Fault(str(error))) from None
    return tuple(
        replace(stated, weight=line.weight, worst_at=line.worst_at, best_at=line.best_at)
        for stated, line in zip(scorecard.criteria, lines, strict=True)
    )


def _asked(
    what_if: Mapping[str, str],
    weights: Mapping[str, float],
    anchors: Mapping[str, tuple[float, float]],
    criteria: Sequence[StatedCriterion],
) -> tuple[str, ...]:
    units = {one.id: one.unit for one in criteria}
    return (
        *(f"{tool} on {setup}" for tool, setup in what_if.items()),
        *(f"{id} with a weight of {100 * weight:g} %" for id, weight in weights.items()),
        *(f"{id} between {worst:g} and {best:g} {units[id]}" for id, (worst, best) in anchors.items()),
    )
