"""Ranks against exact enumeration, orthant probabilities and brute force; how often equal tools stay together."""

import itertools
import math

import numpy as np
import pytest
from cards import ONE, criterion, entry, estimate, plain
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from toolbench.records.comparison import Component, Estimate
from toolbench.standings import find_groups, rank_entries, score_entries
from toolbench.standings import pairs as pairs_module
from toolbench.standings.pairs import pair_level, tell_apart
from toolbench.standings.ranking import rank_interval

DRAWS = 400_000
WITHIN = 0.004
"""Five standard errors of a probability of one half from that many draws."""


def test_ranks_of_four_tools_by_exact_enumeration() -> None:
    """Anchors so close that each value is nothing or all: a score is a sum of coins, and ties are many."""
    card = [criterion(f"c{k}", w, 0.0, 1e-6) for k, w in enumerate((0.5, 0.3, 0.2))]
    heads = dict(zip("abcd", np.random.default_rng(3).uniform(0.2, 0.8, (4, 3)).tolist(), strict=True))
    entries = [
        entry(t, **{f"c{k}": estimate(special.ndtri(p), **{f"{t}{k}": 1.0}) for k, p in enumerate(row)})
        for t, row in heads.items()
    ]
    exact = np.zeros((4, 4))
    coins = [p for row in heads.values() for p in row]
    for faces in itertools.product((0, 1), repeat=12):
        chance = math.prod(p if face else 1.0 - p for p, face in zip(coins, faces, strict=True))
        tens = np.array(faces).reshape(4, 3) @ [5, 3, 2]
        for i in range(4):
            exact[i, np.count_nonzero(tens > tens[i])] += chance
    standing = rank_entries(score_entries(entries, card, draws=DRAWS))
    found = {one.tool: one.probability_of_rank for one in standing.ranked}
    assert np.array([found[t] for t in "abcd"]) == pytest.approx(exact, abs=WITHIN)


@pytest.mark.oracle
def test_ranks_of_four_tools_by_orthant_probabilities() -> None:
    """Normal scores with a common part and unlike uncertainties: each order is an orthant of three differences."""
    means, own, cell = [60.0, 59.0, 57.5, 57.0], [1.0, 2.0, 1.5, 0.7], [1.2, 1.0, 0.8, -0.5]
    entries = [
        entry(t, c=estimate(m, cell=s, **{f"own/{t}": u})) for t, m, u, s in zip("abcd", means, own, cell, strict=True)
    ]
    covariance = np.diag(np.square(own)) + np.outer(cell, cell)
    exact = np.zeros((4, 4))
    for order in itertools.permutations(range(4)):
        steps = np.zeros((3, 4))
        for k in range(3):
            steps[k, order[k]], steps[k, order[k + 1]] = -1.0, 1.0  # below zero: the earlier one is higher
        chance = stats.multivariate_normal.cdf(
            np.zeros(3), steps @ means, steps @ covariance @ steps.T, rng=np.random.default_rng(1), abseps=1e-6
        )
        for rank, tool in enumerate(order):
            exact[tool, rank] += chance
    standing = rank_entries(score_entries(entries, ONE, draws=DRAWS))
    found = {one.tool: one.probability_of_rank for one in standing.ranked}
    assert np.array([found[t] for t in "abcd"]) == pytest.approx(exact, abs=WITHIN)


@pytest.mark.oracle
def test_two_tools_with_few_runs_by_quadrature_of_students_t() -> None:
    standing = rank_entries(score_entries(plain({"a": 52.0, "b": 50.0}, u=1.0, dof=2.0), ONE, draws=DRAWS))
    t = stats.t(2.0)
    exact, _ = integrate.quad(lambda x: t.pdf(x) * t.cdf(x + 2.0), -np.inf, np.inf)
    assert standing.ranked[0].probability_of_rank[0] == pytest.approx(exact, abs=WITHIN)


def test_a_shared_error_cancels_between_tools() -> None:
    alike = [entry(t, c=estimate(v, cell=20.0, **{t: 0.1})) for t, v in (("a", 51.0), ("b", 50.0))]
    standing = rank_entries(score_entries(alike, ONE, draws=1000))
    assert standing.told_apart[0, 1]
    assert standing.ranked[0].probability_of_rank.tolist() == [1.0, 0.0]
    apart = [entry(t, c=estimate(v, **{f"cell{t}": 20.0})) for t, v in (("a", 51.0), ("b", 50.0))]
    assert not rank_entries(score_entries(apart, ONE, draws=1000)).told_apart.any()


@pytest.mark.oracle
def test_an_error_from_few_runs_that_tools_share_is_students_t_in_both() -> None:
    """One source with two degrees of freedom moves the two scores against each other: their gap is 4 + 4 t."""
    entries = [entry(t, c=estimate(50.0 + 2 * s, link=(2.0 * s, 2.0))) for t, s in (("a", 1.0), ("b", -1.0))]
    standing = rank_entries(score_entries(entries, ONE, draws=DRAWS))
    assert standing.ranked[0].probability_of_rank[0] == pytest.approx(stats.t.cdf(1.0, 2.0), abs=WITHIN)


def test_an_added_entry_leaves_the_draws_of_the_others() -> None:
    before = score_entries(plain({"b": 40.0, "c": 50.0}, dof=3.0), ONE, draws=100).drawn
    after = score_entries(plain({"a": 45.0, "b": 40.0, "c": 50.0}, dof=3.0), ONE, draws=100).drawn
    assert np.array_equal(before, after[1:])


def test_a_tie_is_a_tie() -> None:
    """0.1 + 0.2 against 0.3 in the weights: equal scores by different ways, and exact values, so every draw ties."""
    card = [criterion("x", 0.1, 0.0, 1.0), criterion("y", 0.2, 0.0, 1.0), criterion("z", 0.3, 0.0, 1.0)]
    card.append(criterion("w", 0.4, 0.0, 1.0))
    marks = {"a": (1.0, 1.0, 0.0, 0.0), "b": (0.0, 0.0, 1.0, 0.0), "c": (0.0, 0.0, 0.0, 0.0), "d": (1.0, 0.0, 0.0, 1.0)}
    entries = [
        entry(t, **{k: estimate(v, exact=0.0) for k, v in zip("xyzw", row, strict=True)}) for t, row in marks.items()
    ]
    standing = rank_entries(score_entries(entries, card, draws=100))
    assert [(one.tool, one.rank) for one in standing.ranked] == [("d", 1), ("a", 2), ("b", 2), ("c", 4)]
    assert [one.probability_of_rank.tolist() for one in standing.ranked[1:3]] == [[0.0, 1.0, 0.0, 0.0]] * 2
    assert [one.rank_interval for one in standing.ranked] == [(1, 1), (2, 3), (2, 3), (4, 4)]
    assert standing.groups == (("d",), ("a", "b"), ("c",))


def test_an_entry_with_a_value_missing_says_which_ranks_it_could_take() -> None:
    card = [criterion("x", 0.7), criterion("y", 0.3)]
    entries = [
        entry(t, x=estimate(v, **{t: 1.0}), y=estimate(v, **{f"{t}y": 1.0}))
        for t, v in (("a", 80.0), ("b", 60.0), ("c", 20.0))
    ]
    entries.append(entry("d", x=estimate(70.0, d=1.0), y="no run"))
    standing = rank_entries(score_entries(entries, card, draws=100))
    assert [one.tool for one in standing.ranked] == ["a", "b", "c"]
    # 49 to 79 among 80, 60 and 20.
    assert standing.unranked[0].possible_ranks == (2, 3)


@settings(max_examples=150, deadline=None)
@given(st.integers(1, 8).flatmap(lambda n: st.tuples(st.just(n), st.sets(st.tuples(*[st.integers(0, n - 1)] * 2)))))
def test_groups_are_the_maximal_sets_by_brute_force(drawn: tuple[int, set[tuple[int, int]]]) -> None:
    count, told = drawn
    apart = np.zeros((count, count), dtype=bool)
    for i, j in told:
        apart[i, j] = apart[j, i] = i != j
    alike = [
        set(some)
        for size in range(1, count + 1)
        for some in itertools.combinations(range(count), size)
        if not apart[np.ix_(some, some)].any()
    ]
    maximal = sorted(tuple(sorted(one)) for one in alike if not any(one < other for other in alike))
    assert find_groups(apart) == maximal


def test_more_groups_than_can_be_listed_are_refused() -> None:
    """Pairs told apart and nothing else: two choices each, so 2^13 = 8192 maximal sets."""
    apart = np.zeros((26, 26), dtype=bool)
    for k in range(0, 26, 2):
        apart[k, k + 1] = apart[k + 1, k] = True
    with pytest.raises(ValueError, match="more than 5000 groups"):
        find_groups(apart)


def made_equal(rng: np.random.Generator, tools: int, runs: int, *, pooled: bool = False) -> list[Estimate]:
    """Scores of equal tools: means of `runs` runs with scatter 1, and an error that all share."""
    data = rng.normal(50.0, 1.0, (tools, runs))
    u = data.std(axis=1, ddof=1) / math.sqrt(runs)
    if pooled:
        u[:] = np.sqrt(np.mean(u**2))
    dof = (runs - 1.0) * (tools if pooled else 1)
    return [
        Estimate(
            value=float(row.mean()),
            unit="%",
            components=(
                Component(
                    source=f"pool#{k}" if pooled else f"t{k}", label="", contribution=u[k], degrees_of_freedom=dof
                ),
                Component(source="cell", label="", contribution=3.0),
            ),
        )
        for k, row in enumerate(data)
    ]


@pytest.mark.slow
@pytest.mark.parametrize(("tools", "runs", "pooled"), [(4, 3, False), (6, 6, False), (6, 3, True)])
def test_equal_tools_land_in_one_group_as_often_as_said(tools: int, runs: int, pooled: bool) -> None:
    """95 % is nominal; 1,000 draws have a standard error of 0.7 %. All cells: tests/benchmarks/standings.py --groups."""
    rng = np.random.default_rng(20)
    together = 0
    for seed in range(1000):
        estimates = made_equal(rng, tools, runs, pooled=pooled)
        level = pair_level(estimates, draws=500, seed=seed)
        together += not tell_apart(estimates, level).any()
    assert 0.935 <= together / 1000 <= 0.965


def test_the_level_for_two_tools_is_the_plain_one() -> None:
    assert pair_level(made_equal(np.random.default_rng(1), 2, 3)) == pytest.approx(0.05)


@pytest.mark.oracle
@pytest.mark.parametrize("tools", [3, 5, 10, 30])
def test_the_level_with_known_uncertainty_is_that_of_the_studentised_range(tools: int) -> None:
    estimates = [estimate(50.0, "%", **{f"t{k}": 1.0}) for k in range(tools)]
    z = stats.studentized_range.ppf(0.95, tools, np.inf) / math.sqrt(2.0)
    # A level read off 8,000 draws has a standard error of about 5 %.
    assert pair_level(estimates) == pytest.approx(2.0 * stats.norm.sf(z), rel=0.2)


@pytest.mark.oracle
def test_the_level_with_pooled_scatter_is_that_of_the_studentised_range() -> None:
    estimates = made_equal(np.random.default_rng(2), 6, 4, pooled=True)
    t = stats.studentized_range.ppf(0.95, 6, 18) / math.sqrt(2.0)
    assert pair_level(estimates, draws=40_000) == pytest.approx(2.0 * stats.t.sf(t, 18), rel=0.1)


@pytest.mark.parametrize("runs", [3, 6])
def test_looking_only_at_those_farthest_out_loses_nothing(runs: int, monkeypatch: pytest.MonkeyPatch) -> None:
    estimates = made_equal(np.random.default_rng(4), 80, runs)
    few = pair_level(estimates, draws=8000)
    monkeypatch.setattr(pairs_module, "CANDIDATES", 80)
    # Other draws, 4,000 each: standard errors of 7 %.
    assert few == pytest.approx(pair_level(estimates, draws=4000), rel=0.25)


def test_an_interval_of_ranks_counts_those_told_apart() -> None:
    entries = plain({"a": 90.0, "b": 50.5, "c": 50.0, "d": 10.0})
    standing = rank_entries(score_entries(entries, ONE, draws=100))
    assert [one.rank_interval for one in standing.ranked] == [(1, 1), (2, 3), (2, 3), (4, 4)]
    assert standing.groups == (("a",), ("b", "c"), ("d",))


def test_intervals_of_ranks_hold_together() -> None:
    """Eight tools a standard deviation apart, four runs each: all true ranks lie in their intervals in 95 % or more."""
    rng = np.random.default_rng(8)
    held = 0
    for seed in range(300):
        data = np.arange(8.0)[:, None] + rng.normal(0.0, 1.0, (8, 4))
        estimates = [estimate(row.mean(), "%", **{f"s{k}": (row.std(ddof=1) / 2.0, 3.0)}) for k, row in enumerate(data)]
        apart = tell_apart(estimates, pair_level(estimates, draws=500, seed=seed))
        values = data.mean(axis=1)
        intervals = [rank_interval(apart[k], values, values[k]) for k in range(8)]
        held += all(best <= 8 - k <= worst for k, (best, worst) in enumerate(intervals))
    assert held / 300 >= 0.95 - 2 * math.sqrt(0.05 * 0.95 / 300)
