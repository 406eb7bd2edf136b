"""Standings in words: scores, ranks, chances, groups, marks, claims and moves as they are printed."""

from __future__ import annotations

import math
from collections.abc import Sequence

from toolbench.metrology import coverage_factor
from toolbench.quantities import format_asymmetric, format_interval, format_number, format_seconds, format_value
from toolbench.quantities.format import NONE, THIN, format_stated
from toolbench.records.comparison import Estimate
from toolbench.records.scorecard import StatedCriterion
from toolbench.records.settings import SeasonSettings
from toolbench.season.standings.outcome import ClassStandings, Facts, Standings, ToolClaim
from toolbench.season.standings.rows import named_groups
from toolbench.standings import Move, Ranked, Score
from toolbench.view.wording.printed import display_unit, list_words, print_both, print_share, print_value, scaled

SUPPLY_WORDS = {"air": "Air tools", "battery": "Battery tools", "mains": "Mains tools", "": "Tools"}
MEANS = (
    "The score is the weighted mean of values between 0, at the worse anchor, and 1, at the better one, in percent. ± is the "
    "expanded uncertainty at {confidence} confidence; what tools share, such as the scale of the cell, cancels between them. Ranks "
    "a tool may have hold for all tools together, and so do the groups: tools that share a letter are not told apart."
)


def print_score(score: Score) -> str:
    """A score with its uncertainty, or the range that a missing value leaves."""
    if score.value is None:
        return f"{format_interval(score.lowest, score.highest, '%')}, with what is missing"
    if score.interval is None:
        return format_value(score.value, None, "%")
    return format_asymmetric(score.value, score.interval.lower, score.interval.upper, "%")


def print_ranks(low: int, high: int) -> str:
    """An interval of ranks: ``"1"``, ``"2 to 4"``."""
    return str(low) if low == high else f"{low} to {high}"


def print_chance(share: float) -> str:
    """A probability from draws, in whole percent: the draws show no more."""
    percent = 100.0 * share
    if percent > 99.5:
        return f"over 99{THIN}%"
    if percent < 0.5:
        return f"under 1{THIN}%"
    return format_number(percent, unit="%", place=1.0)


def print_mark(estimate: Estimate | None, settings: SeasonSettings, confidence: float = 0.95) -> str:
    """A measured value with its expanded uncertainty."""
    if estimate is None:
        return NONE
    u = estimate.standard_uncertainty
    half = coverage_factor(estimate.degrees_of_freedom, confidence) * u if math.isfinite(u) else None
    return print_value(estimate.value, half, estimate.unit, settings)


def print_stated(value: float, unit: str, settings: SeasonSettings) -> str:
    """A number that somebody stated [SI `unit`], as short as it is exact in the display unit; the second unit beside it."""
    first = format_stated(scaled(value, unit, settings), display_unit(unit, settings))
    other = print_both(value, unit, settings, 3).partition(" (")
    return first + "".join(other[1:])


def print_anchor(value: float, criterion: StatedCriterion, settings: SeasonSettings) -> str:
    """An anchor in its unit."""
    return print_stated(value, criterion.unit, settings)


def class_title(standings: Standings, one: ClassStandings) -> str:
    """Kind of supply and the setup that counts."""
    setup = standings.settings.setups.get(one.setup)
    name = SUPPLY_WORDS.get(one.supply, "Tools")
    return f"{name} on {setup.label}" if setup else name


def place_words(facts: Facts) -> str:
    """Specimen beside a name."""
    return f"specimen {facts.tool.specimen}" if facts.tool.specimen else ""


def labels(one: ClassStandings, tools: Sequence[str]) -> list[str]:
    return [one.facts[tool].label for tool in tools]


def class_sentences(one: ClassStandings) -> list[str]:
    """What the standings of a class say: who is first and how surely, and who is not told apart."""
    ranked = one.standing.ranked
    if not ranked:
        return ["No tool of this class has a score: see below what is missing."]
    if len(ranked) == 1:
        return [f"{one.facts[ranked[0].tool].label} is the only tool ranked here: a rank needs a second one."]
    return [_first_sentence(one, ranked), *_group_sentences(one)]


def _first_sentence(one: ClassStandings, ranked: Sequence[Ranked]) -> str:
    first = [row for row in ranked if row.rank == 1]
    if len(first) > 1:
        return f"{list_words(labels(one, [row.tool for row in first]))} share the first rank with equal scores."
    top = first[0]
    told = f"{one.facts[top.tool].label} has the highest score, {print_score(top.score)}"
    low, high = top.rank_interval
    chance = f"first with a probability of {print_chance(float(top.probability_of_rank[0]))}"
    if (low, high) == (1, 1):
        return f"{told}; it is told apart from every other, and {chance}."
    return f"{told}; it may rank {print_ranks(low, high)}, and is {chance}."


def _group_sentences(one: ClassStandings) -> list[str]:
    found = []
    for name, group in named_groups(one):
        if len(group) <= 8:
            found.append(f"Group {name}: {list_words(labels(one, group))} are not told apart.")
        else:
            ends = labels(one, [group[0], group[-1]])
            found.append(f"Group {name}: {len(group)} tools from {ends[0]} to {ends[1]} are not told apart.")
    return found


def criterion_words(criterion: StatedCriterion, standings: Standings) -> str:
    """What a criterion judges: metric, place and divisor."""
    names = dict.fromkeys(
        standings.settings.protocols[name].label
        for name in criterion.protocols.values()
        if name in standings.settings.protocols
    )
    metric = criterion.metric.replace("_", " ")
    if criterion.metric == "at_mark":
        metric = f"level at {format_seconds(criterion.at)}"
    elif criterion.metric == "time_to":
        metric = f"time to {print_stated(criterion.at or 0.0, 'N*m', standings.settings)}"
    per = f" per {criterion.per.replace('_', ' ')}" if criterion.per else ""
    return f"{metric}{per}, under {list_words(list(names))}"


def exact_words(criteria: Sequence[StatedCriterion]) -> str:
    """What values are divided by is taken as it is stated, its rounding as nothing; empty where nothing is divided."""
    columns = list(dict.fromkeys(c.per.replace("_", " ") for c in criteria if c.per))
    if not columns:
        return ""
    counts, their = ("counts", "its") if len(columns) == 1 else ("count", "their")
    return f"The {list_words(columns)} that a value is divided by {counts} as exact, as stated in tools.csv: {their} rounding is in no ±."


def drive_words(facts: Facts, settings: SeasonSettings) -> str:
    """Flowing pressure or voltage while running, as a range over the runs."""
    if facts.drive is None:
        return "not recorded"
    low, high = (print_both(value, facts.drive_unit, settings, 3) for value in facts.drive)
    return low if low == high else f"{low} to {high}"


def days_words(facts: Facts) -> str:
    """When the runs were made."""
    if facts.first_day is None or facts.last_day is None:
        return "not stated"
    if facts.first_day == facts.last_day:
        return facts.first_day.isoformat()
    return f"{facts.first_day.isoformat()} to {facts.last_day.isoformat()}"


def price_words(facts: Facts) -> str:
    """Price with its day and where it is from."""
    tool = facts.tool
    if tool.price is None:
        return "not stated"
    words = [
        format_stated(tool.price, tool.price_currency),
        tool.price_date or "no day stated",
        tool.price_source,
    ]
    return ", ".join(filter(None, words))


def decision_rule(confidence: float) -> str:
    """The rule that claims are judged by, in words."""
    share, rest = print_share(confidence), print_share(1.0 - confidence)
    return (
        "A claim is read as “at least so much”. Supported: the probability that the true value reaches the claimed one is "
        f"{share} or more, by the measured value and its uncertainty. Not shown: it is {rest} or less. Inconclusive: "
        "between the two (JCGM 106:2012). Not comparable: kind, direction or pressure of claim and measurement differ. Where a "
        "claim names no pressure, verdict and probability hold at the pressure the tool ran at."
    )


def verdict_words(claim: ToolClaim, settings: SeasonSettings) -> str:
    """The verdict, and the pressure it holds at where the claim names none."""
    if claim.judged_at_pa is None:
        return claim.judged.verdict
    return f"{claim.judged.verdict} at {print_both(claim.judged_at_pa, 'Pa', settings, 3)}"


def claim_sentence(claim: ToolClaim, label: str, settings: SeasonSettings) -> str:
    """One claim and what became of it."""
    judged = claim.judged
    kind = f" ({claim.kind})" if claim.kind else ""
    told = f"{label}: {print_stated(judged.claimed, judged.estimate.unit, settings)}{kind} is claimed"
    measured = f"{print_mark(judged.estimate, settings)} measured on this specimen"
    if judged.reason:
        return f"{told}, {measured}: {judged.verdict}, {judged.reason}."
    chance = judged.conformance_probability
    word = f" (probability {print_chance(chance)})" if chance is not None else ""
    remark = f"; {claim.remark}" if claim.remark else ""
    return f"{told}, {measured}: {verdict_words(claim, settings)}{word}{remark}."


def claim_fact(claim: ToolClaim, settings: SeasonSettings) -> str:
    """A claim in the conditions of a report: what is claimed where, and what the baseline says of it."""
    judged = claim.judged
    kind = ", ".join(filter(None, (claim.kind or "kind not stated", claim.source)))
    reason = f": {judged.reason}" if judged.reason else f"; {claim.remark}" if claim.remark else ""
    claimed = print_stated(judged.claimed, judged.estimate.unit, settings)
    return f"{claimed} ({kind}); by the baseline {verdict_words(claim, settings)}{reason}"


def move_words(move: Move) -> str:
    """From which rank to which, and by how much the score changed."""
    ranks = [NONE if rank is None else str(rank) for rank in (move.rank_before, move.rank_after)]
    return f"{ranks[0]} → {ranks[1]}" if ranks[0] != ranks[1] else ranks[1]


def change_words(move: Move) -> str:
    """Change of the score with its interval, in percentage points of the score."""
    if move.change is None or move.interval is None:
        return NONE
    if move.change.value == 0 and move.interval.lower == move.interval.upper == 0:
        return f"0{THIN}%"
    return format_asymmetric(move.change.value, move.interval.lower, move.interval.upper, "%", signed=True)


def beyond_words(move: Move) -> str:
    """Whether the change of the score is larger than its uncertainty."""
    if move.beyond_uncertainty is None:
        return NONE
    if move.change is not None and move.change.value == 0:
        return "no change of score"
    return "beyond uncertainty" if move.beyond_uncertainty else "within uncertainty"


def dropped_sentences(now: ClassStandings, asked: ClassStandings) -> list[str]:
    """Why tools that are ranked as it is would not be ranked as asked, a sentence each."""
    ranked = {row.tool for row in asked.standing.ranked}
    reasons = {one.facts.tool.id: one.reason for one in asked.apart}
    labels = {c.id: c.label for c in asked.criteria}
    for row in asked.standing.unranked:
        reasons[row.score.tool] = "; ".join(f"{labels[id]}: {why}" for id, why in row.score.missing.items())
    gone = [row.tool for row in now.standing.ranked if row.tool not in ranked]
    return [f"{now.facts[tool].label} would not be ranked: {reasons.get(tool) or 'no score'}." for tool in gone]
