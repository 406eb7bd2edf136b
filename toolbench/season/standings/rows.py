"""The standings as rows: standings.csv, a row per tool; SI units, empty for none."""

from __future__ import annotations

import math
from typing import Any

from toolbench.season.results import csv_text
from toolbench.season.standings.outcome import Apart, ClassStandings, Facts, Standings
from toolbench.standings import Mark, Ranked, Score, Unranked

Row = dict[str, Any]

PLACE_COLUMNS = [
    "supply", "setup", "state", "shown", "rank", "rank_lower", "rank_upper", "probability_of_rank", "groups", "tool", "name",
    "family", "score", "expanded_uncertainty", "lower", "upper", "lowest", "highest", "reason",
]  # fmt: skip
FACT_COLUMNS = [
    "measured_on", "runs", "first_day", "last_day", "flowing_lowest", "flowing_highest", "flowing_unit", "specimen",
    "obtained", "from", "returned", "modified", "status", "price", "currency", "price_date", "price_source",
    "claimed_torque", "claim_kind", "claim_source", "claim_verdict", "claim_probability",
]  # fmt: skip
NUMBER_OF_GROUP = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def standings_csv(standings: Standings) -> str:
    """The text of standings.csv: one row per tool, three columns per criterion."""
    return csv_text(standings_rows(standings), standings_columns(standings))


def standings_columns(standings: Standings) -> list[str]:
    """The columns: place and score, then value, mark and its standard uncertainty per criterion, then the facts."""
    per_criterion = [f"{c.id}{end}" for c in standings.criteria for end in ("", "_measured", "_uncertainty", "_unit")]
    return [*PLACE_COLUMNS, *per_criterion, *FACT_COLUMNS]


def standings_rows(standings: Standings) -> list[Row]:
    """A row per tool, by class and rank, then those that are not ranked."""
    return [row for one in standings.classes for row in _class_rows(standings, one)]


def group_letters(one: ClassStandings) -> dict[str, str]:
    """The groups that each ranked tool is in, as letters: two tools that share one are not told apart, one without a letter is told apart from all."""
    found: dict[str, list[str]] = {row.tool: [] for row in one.standing.ranked}
    for name, group in named_groups(one):
        for tool in group:
            found[tool].append(name)
    return {tool: " ".join(names) for tool, names in found.items()}


def named_groups(one: ClassStandings) -> list[tuple[str, tuple[str, ...]]]:
    """The groups not told apart, of two tools or more, each with its letter."""
    groups = [group for group in one.standing.groups if len(group) > 1]
    return [(group_name(number), group) for number, group in enumerate(groups)]


def group_name(number: int) -> str:
    """A, B, ..., Z, A2, B2, ..."""
    turn, letter = divmod(number, len(NUMBER_OF_GROUP))
    return NUMBER_OF_GROUP[letter] + (str(turn + 1) if turn else "")


def _class_rows(standings: Standings, one: ClassStandings) -> list[Row]:
    letters, show = group_letters(one), standings.scorecard.show
    rows = [
        _ranked(standings, one, row, letters[row.tool], place < show if show else True)
        for place, row in enumerate(one.standing.ranked)
    ]
    rows += [_unranked(standings, one, row) for row in one.standing.unranked]
    return rows + [_apart(standings, one, row) for row in one.apart]


def _ranked(standings: Standings, one: ClassStandings, row: Ranked, letters: str, shown: bool) -> Row:
    return _row(
        standings,
        one,
        one.facts[row.tool],
        row.score,
        state="ranked",
        shown="yes" if shown else "no",
        rank=row.rank,
        rank_lower=row.rank_interval[0],
        rank_upper=row.rank_interval[1],
        probability_of_rank=float(row.probability_of_rank[row.rank - 1]),
        groups=letters,
    )


def _unranked(standings: Standings, one: ClassStandings, row: Unranked) -> Row:
    reason = "; ".join(f"{standings.criterion(id).label}: {why}" for id, why in row.score.missing.items())
    best, worst = row.possible_ranks
    return _row(
        standings,
        one,
        one.facts[row.score.tool],
        row.score,
        state="not ranked",
        shown="yes",
        rank_lower=best,
        rank_upper=worst,
        reason=reason or "nothing is known of its uncertainty: a single run, and nothing to judge it by",
    )


def _apart(standings: Standings, one: ClassStandings, row: Apart) -> Row:
    return _row(standings, one, row.facts, row.score, state="apart", shown="yes", reason=row.reason)


def _row(standings: Standings, one: ClassStandings, facts: Facts, score: Score | None, **place: Any) -> Row:
    interval = score.interval if score else None
    return {
        **dict.fromkeys(standings_columns(standings)),
        "supply": one.supply,
        "setup": one.setup,
        "tool": facts.tool.id,
        "name": facts.tool.name,
        "family": facts.tool.family,
        "score": score.value if score else None,
        "expanded_uncertainty": score.expanded_uncertainty if score else None,
        "lower": interval.lower if interval else None,
        "upper": interval.upper if interval else None,
        "lowest": score.lowest if score else None,
        "highest": score.highest if score else None,
        **place,
        **_criteria(standings, one, facts.tool.id, score),
        **_facts(one, facts),
    }


def _criteria(standings: Standings, one: ClassStandings, tool: str, score: Score | None) -> Row:
    row: Row = {}
    for c in standings.criteria:
        mark = one.entries[tool].marks.get(c.id, Mark(missing="none")) if tool in one.entries else Mark(missing="none")
        if mark.estimate is None:
            continue
        u = mark.estimate.standard_uncertainty
        row |= {
            c.id: score.values.get(c.id) if score else None,
            f"{c.id}_measured": mark.estimate.value,
            f"{c.id}_uncertainty": u if math.isfinite(u) else None,
            f"{c.id}_unit": mark.estimate.unit,
        }
    return row


def _facts(one: ClassStandings, facts: Facts) -> Row:
    tool = facts.tool
    claim = next((claim for claim in one.claims if claim.tool == tool.id), None)
    return {
        "measured_on": facts.setup if facts.runs else None,
        "runs": len(facts.runs),
        "first_day": facts.first_day,
        "last_day": facts.last_day,
        "flowing_lowest": facts.drive[0] if facts.drive else None,
        "flowing_highest": facts.drive[1] if facts.drive else None,
        "flowing_unit": facts.drive_unit or None,
        "specimen": tool.specimen,
        "obtained": tool.obtained,
        "from": tool.obtained_from,
        "returned": tool.returned,
        "modified": tool.modified,
        "status": tool.status,
        "price": tool.price,
        "currency": tool.price_currency,
        "price_date": tool.price_date,
        "price_source": tool.price_source,
        "claimed_torque": tool.claimed_torque,
        "claim_kind": tool.claim_kind,
        "claim_source": tool.claim_source,
        "claim_verdict": claim.judged.verdict if claim else None,
        "claim_probability": claim.judged.conformance_probability if claim else None,
    }
