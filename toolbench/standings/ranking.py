"""Ranks with what they are worth: an interval that holds for all entries together, the probability of each rank, groups.

An entry's rank interval counts those it is told apart from: it is at best behind all that are told to be higher, at worst
before all that are told to be lower. As the statements on pairs hold together, so do the intervals of ranks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from toolbench.records.runs import Floats
from toolbench.standings.pairs import pair_level, tell_apart
from toolbench.standings.scoring import Score, Scores

TIE = 1e-4
"""Drawn scores within this many percent count as equal: single precision cannot tell them from a tie."""
_BLOCK = 2_000_000
"""Drawn scores ranked at a time."""
MOST_GROUPS = 5_000
"""More maximal groups than this are not listed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranked:
    """An entry in the standings: rank 1 is the highest score, equal scores have the same rank.

    `probability_of_rank[r - 1]` is the share of the draws in which just r - 1 entries have a higher score.
    """

    score: Score
    rank: int
    rank_interval: tuple[int, int]
    probability_of_rank: Floats

    @property
    def tool(self) -> str:
        return self.score.tool


@dataclass(frozen=True, slots=True, kw_only=True)
class Unranked:
    """An entry without a rank, and the ranks that the range of its score could take among the others (best, worst)."""

    score: Score
    possible_ranks: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Standing:
    """Entries by rank, then by name. `told_apart` has a row and a column for each, in that order."""

    scores: Scores
    ranked: tuple[Ranked, ...]
    unranked: tuple[Unranked, ...]
    told_apart: npt.NDArray[np.bool_]
    groups: tuple[tuple[str, ...], ...]
    """Maximal sets of which no two are told apart, in the order of the ranks; every ranked entry is in one at least."""
    pair_level: float
    """Two-sided error probability per pair that holds all pairs together at the confidence of `scores`."""


def rank_entries(scores: Scores) -> Standing:
    """Rank the scored entries.

    Parameters
    ----------
    scores
        From `score_entries`; their draws give the probabilities of ranks.

    References
    ----------
    Mogstad, Romano, Shaikh and Wilhelm, Rev. Econ. Stud. 91 (2024) 476, for rank intervals from simultaneous differences.
    """
    order = sorted(range(len(scores.scored)), key=lambda k: (-_value(scores.scored[k]), scores.scored[k].tool))
    entries = [scores.scored[k] for k in order]
    values = np.array([_value(one) for one in entries])
    estimates = [one.estimate for one in entries if one.estimate is not None]
    level = pair_level(estimates, confidence=scores.confidence)
    apart = tell_apart(estimates, level)
    chances = rank_probabilities(scores.drawn)[order]
    ranked = tuple(
        Ranked(
            score=one,
            rank=int(np.count_nonzero(values > values[k])) + 1,
            rank_interval=rank_interval(apart[k], values, float(values[k])),
            probability_of_rank=chances[k],
        )
        for k, one in enumerate(entries)
    )
    return Standing(
        scores=scores,
        ranked=ranked,
        unranked=tuple(_unranked(one, values) for one in scores.every if one.state != "scored"),
        told_apart=apart,
        groups=tuple(tuple(entries[k].tool for k in group) for group in find_groups(apart)),
        pair_level=level,
    )


def _value(score: Score) -> float:
    assert score.value is not None
    return score.value


def rank_interval(apart: npt.NDArray[np.bool_], values: Floats, value: float) -> tuple[int, int]:
    """Best and worst rank of the entry with this `value`, told apart from some of the `values`."""
    higher = int(np.count_nonzero(apart & (values > value)))
    lower = int(np.count_nonzero(apart & (values < value)))
    return higher + 1, len(values) - lower


def _unranked(score: Score, values: Floats) -> Unranked:
    best, worst = (int(np.count_nonzero(values > bound)) + 1 for bound in (score.highest, score.lowest))
    return Unranked(score=score, possible_ranks=(best, worst))


def rank_probabilities(drawn: npt.NDArray[np.float32]) -> Floats:
    """Probability of each rank.

    Parameters
    ----------
    drawn : shape (entries, draws)
        Scores [%].

    Returns
    -------
    shape (entries, entries)
        Row: entry; column r - 1: share of the draws in which just r - 1 entries are higher. Each row adds up to one.
    """
    count, draws = drawn.shape
    tally = np.zeros((count, count), dtype=np.int32)
    block = max(1, _BLOCK // max(count, 1))
    for start in range(0, draws, block):
        _tally(drawn[:, start : start + block], tally)
    return np.asarray(tally / max(draws, 1))


def _tally(drawn: npt.NDArray[np.float32], tally: npt.NDArray[np.int32]) -> None:
    """Add the ranks of some draws to `tally`."""
    count = len(drawn)
    # Highest first: whole numbers of the step, sign turned, one draw to a row.
    steps = np.rint(drawn.T * np.float32(-1.0 / TIE)).astype(np.int32)
    order = np.argsort(steps, axis=1)
    in_order = np.take_along_axis(steps, order, axis=1)
    place = np.arange(count, dtype=np.int32)
    new = np.ones(order.shape, dtype=bool)
    np.not_equal(in_order[:, 1:], in_order[:, :-1], out=new[:, 1:])
    rank = np.maximum.accumulate(np.where(new, place, 0), axis=1)
    order *= count
    order += rank
    tally += np.bincount(order.ravel(), minlength=count * count).reshape(count, count).astype(np.int32)


def find_groups(apart: npt.NDArray[np.bool_]) -> list[tuple[int, ...]]:
    """Maximal sets of entries no two of which are told apart, sorted.

    Parameters
    ----------
    apart : shape (entries, entries)
        Symmetric, false on the diagonal.

    Raises
    ------
    ValueError
        Where there are more than `MOST_GROUPS`.

    References
    ----------
    Bron and Kerbosch, Comm. ACM 16 (1973) 575, with the pivot of Tomita, Tanaka and Takahashi, Theor. Comput. Sci. 363 (2006) 28.
    """
    count = len(apart)
    alike = [_bits(~row) & ~(1 << k) for k, row in enumerate(apart)]
    groups: list[tuple[int, ...]] = []
    for group in _cliques(alike, (1 << count) - 1 if count else 0):
        groups.append(tuple(_members(group)))
        if len(groups) > MOST_GROUPS:
            raise ValueError(f"the entries form more than {MOST_GROUPS} groups that are not told apart")
    return sorted(groups)


def _cliques(alike: Sequence[int], everything: int) -> Iterator[int]:
    """Maximal cliques, sets as bits of a whole number; a stack of its own, since sets may be thousands deep."""
    stack = [(0, everything, 0)] if everything else []
    while stack:
        held, open_, done = stack.pop()
        # Who is alike to all that may still join is in every set from here: taken at once.
        for k in [k for k in _members(open_) if not open_ & ~alike[k] & ~(1 << k)]:
            held, open_, done = held | 1 << k, open_ & ~(1 << k), done & alike[k]
        if not open_:
            if not done:
                yield held
            continue
        _, pivot = max(((alike[k] & open_).bit_count(), k) for k in _members(open_ | done))
        for k in _members(open_ & ~alike[pivot]):
            stack.append((held | 1 << k, open_ & alike[k], done & alike[k]))
            open_ &= ~(1 << k)
            done |= 1 << k


def _bits(members: npt.NDArray[np.bool_]) -> int:
    return int.from_bytes(np.packbits(members, bitorder="little").tobytes(), "little")


def _members(bits: int) -> Iterator[int]:
    while bits:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low
