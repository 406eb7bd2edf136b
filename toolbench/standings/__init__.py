"""Standings: scores by fixed anchors, ranks with their intervals, groups not told apart, claims, moves. Pure numpy and scipy."""

from toolbench.standings.claims import JudgedClaim, conformance_probability, judge_claim
from toolbench.standings.entries import Criterion, Entry, Mark, exactly
from toolbench.standings.moves import Basis, Move, Published, compare_standings
from toolbench.standings.ranking import Ranked, Standing, Unranked, find_groups, rank_entries
from toolbench.standings.scoring import Score, Scores, score_entries
from toolbench.standings.weights import RankRange, change_anchors, change_weights, rank_range_over_weights

__all__ = [
    "Basis",
    "Criterion",
    "Entry",
    "JudgedClaim",
    "Mark",
    "Move",
    "Published",
    "RankRange",
    "Ranked",
    "Score",
    "Scores",
    "Standing",
    "Unranked",
    "change_anchors",
    "change_weights",
    "compare_standings",
    "conformance_probability",
    "exactly",
    "find_groups",
    "judge_claim",
    "rank_entries",
    "rank_range_over_weights",
    "score_entries",
]
