"""The tables of the standings: the scorecard, conditions of every entry, claims, who moved, and what would be if ..."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from toolbench.quantities.format import NONE
from toolbench.season.standings.keeping import published
from toolbench.season.standings.outcome import ClassStandings, Facts, Standings, ToolClaim
from toolbench.standings import Move, RankRange, compare_standings
from toolbench.view.markup import Shown, render
from toolbench.view.tables.result import SEVERITY_WORDS
from toolbench.view.wording import merge
from toolbench.view.wording.printed import print_number, print_share
from toolbench.view.wording.standings import (
    beyond_words,
    change_words,
    claim_sentence,
    class_title,
    criterion_words,
    days_words,
    decision_rule,
    drive_words,
    move_words,
    price_words,
    print_anchor,
    print_chance,
    print_mark,
    print_ranks,
    print_score,
    print_stated,
    verdict_words,
)
from toolbench.view.wording.tools import obtained_text, tool_text

RETEST_WORDS = {
    "replace": "A tool that was tested again counts with its newest test; the earlier one is kept and named.",
    "pool": "A tool that was tested again counts with all its tests together.",
}


def show_scorecard(standings: Standings) -> Shown:
    """The criteria with their weights and anchors, and the ranks that each tool could have with other weights."""
    rows = [
        {
            "label": c.label,
            "what": criterion_words(c, standings),
            "weight": print_share(c.weight),
            "worst": print_anchor(c.worst_at, c, standings.settings),
            "best": print_anchor(c.best_at, c, standings.settings),
        }
        for c in standings.criteria
    ]
    ranges = [
        (class_title(standings, one), [_range(one, one.ranges[row.tool]) for row in one.standing.ranked])
        for one in standings.classes
        if len(one.standing.ranked) > 1
    ]
    values = {"rows": rows, "ranges": ranges, "retest": RETEST_WORDS[standings.scorecard.retest]}
    lines = [f"{row['label']}: {row['weight']}, {row['worst']} to {row['best']} ({row['what']})" for row in rows]
    lines += [f"{row['label']}: rank {row['ranks']} over all weights" for _, found in ranges for row in found]
    return Shown(html=render("scorecard", values), text="\n".join(lines))


def _range(one: ClassStandings, found: RankRange) -> dict[str, str]:
    bounds = print_ranks(found.best_possible, found.worst_possible)
    told = print_ranks(found.best, found.worst)
    return {
        "label": one.facts[found.tool].label,
        "ranks": told if found.exact else f"{told} found, {bounds} possible",
    }


def show_entries(standings: Standings) -> Shown:
    """The conditions of every entry: setup, flowing pressure, days, runs, specimen, how obtained, price."""
    classes = [
        (class_title(standings, one), [_facts(standings, facts) for facts in one.facts.values() if facts.runs])
        for one in standings.classes
    ]
    shown = [(title, rows) for title, rows in classes if rows]
    lines = [
        f"{row['tool']}: {row['runs']} on {row['setup']}, {row['drive']}, {row['days']}; {row['obtained']}; {row['price']}"
        for _, rows in shown
        for row in rows
    ]
    return Shown(html=render("entries", {"classes": shown}), text="\n".join(lines) or "No tool was measured.")


def _facts(standings: Standings, facts: Facts) -> dict[str, object]:
    settings = standings.settings
    left = [f"{run} ({reason})" for run, reason in facts.left_out]
    replaced = [f"{len(facts.replaced)} of an earlier test replaced"] if facts.replaced else []
    return {
        "tool": tool_text(facts.tool),
        "setup": settings.setups[facts.setup].label if facts.setup in settings.setups else NONE,
        "drive": drive_words(facts, settings),
        "days": days_words(facts),
        "runs": f"{len(facts.runs)} {'run' if len(facts.runs) == 1 else 'runs'}",
        "more": [*replaced, *left],
        "obtained": obtained_text(facts.tool),
        "price": price_words(facts),
        "notices": facts.notices,
    }


def show_claims(standings: Standings) -> Shown:
    """What sellers claim beside what was measured, with the decision rule; no part of the score."""
    found = [(one, claim) for one in standings.classes for claim in one.claims]
    confidence = found[0][1].judged.confidence if found else 0.95
    rows = [_claim(standings, one, claim) for one, claim in found]
    lines = [claim_sentence(claim, one.facts[claim.tool].label, standings.settings) for one, claim in found]
    values = {"rows": rows, "rule": decision_rule(confidence)}
    return Shown(html=render("claims", values), text="\n".join(lines) or "No claim can be looked at.")


def _claim(standings: Standings, one: ClassStandings, claim: ToolClaim) -> dict[str, str]:
    judged, unit = claim.judged, claim.judged.estimate.unit
    chance = judged.conformance_probability
    limit = judged.supported_from
    return {
        "label": one.facts[claim.tool].label,
        "claimed": print_stated(judged.claimed, unit, standings.settings),
        "kind": ", ".join(filter(None, (claim.kind or "kind not stated", claim.source))),
        "measured": print_mark(judged.estimate, standings.settings),
        "verdict": verdict_words(claim, standings.settings),
        "chance": NONE if chance is None else print_chance(chance),
        "needed": NONE if limit is None else print_number(limit, unit, standings.settings),
        "why": "; ".join(filter(None, (judged.reason, claim.remark))),
    }


def show_moves(standings: Standings, moves: Mapping[str, Sequence[Move]]) -> Shown:
    """Who moved since an earlier state, from where to where, why, and whether beyond the uncertainty of the change."""
    classes = [
        (class_title(standings, one), [_move(one, move) for move in moves[one.supply]])
        for one in standings.classes
        if moves.get(one.supply)
    ]
    lines = [
        f"{row['label']}: {row['ranks']}, {row['change']}, {row['beyond']}: {row['why']}"
        for _, rows in classes
        for row in rows
    ]
    return Shown(html=render("moves", {"classes": classes}), text="\n".join(lines) or "Nobody moved.")


def _move(one: ClassStandings, move: Move) -> dict[str, str]:
    return {
        "label": one.facts[move.tool].label if move.tool in one.facts else move.tool,
        "ranks": move_words(move),
        "change": change_words(move),
        "beyond": beyond_words(move),
        "why": ", ".join(move.causes) or NONE,
    }


def show_what_if(standings: Standings, asked: Standings) -> Shown:
    """The standings as they are beside those that were asked for; nothing is overwritten."""
    now = {one.supply: one for one in standings.classes}
    classes = [
        (class_title(asked, one), side_by_side(now[one.supply], one)) for one in asked.classes if one.supply in now
    ]
    lines = [
        f"{row['label']}: {row['rank_now']} {row['score_now']} | {row['rank_if']} {row['score_if']}"
        for _, rows in classes
        for row in rows
    ]
    values = {"classes": [(title, rows) for title, rows in classes if rows], "asked": asked.asked}
    return Shown(html=render("what_if", values), text="\n".join(lines) or "No tool is ranked.")


def side_by_side(now: ClassStandings, one: ClassStandings) -> list[dict[str, str]]:
    moves = {move.tool: move for move in compare_standings(published(now), published(one))}
    places = {side: {row.tool: row for row in found.standing.ranked} for side, found in (("now", now), ("if", one))}
    tools = [row.tool for row in now.standing.ranked]
    tools += [row.tool for row in one.standing.ranked if row.tool not in tools]
    rows = []
    for tool in tools:
        row = {"tool": tool, "label": one.facts[tool].label}
        for side, known in places.items():
            place = known.get(tool)
            row[f"rank_{side}"] = str(place.rank) if place else NONE
            row[f"ranks_{side}"] = print_ranks(*place.rank_interval) if place else NONE
            row[f"score_{side}"] = print_score(place.score) if place else NONE
        row["change"] = change_words(moves[tool]) if tool in moves else "none"
        row["beyond"] = beyond_words(moves[tool]) if tool in moves else NONE
        rows.append(row)
    return rows


def show_remarks(standings: Standings) -> Shown:
    """What stands against the standings, worst first, identical ones merged."""
    found = merge(standings.findings)
    lines = [f"{SEVERITY_WORDS[one.severity]}: {one.text}" for one in found] or ["No check that ran found a caveat."]
    return Shown(
        html=render("caveats", {"caveats": found, "words": SEVERITY_WORDS, "all_runs": None}), text="\n".join(lines)
    )
