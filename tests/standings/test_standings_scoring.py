"""Scores by hand, at the anchors, with values missing, and how often their intervals hold."""

import math

import numpy as np
import pytest
from cards import ONE, criterion, entry, estimate, plain
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbench.metrology import coverage_factor
from toolbench.records.comparison import Estimate
from toolbench.standings import Entry, Mark, Score, exactly, rank_entries, score_entries
from toolbench.standings.scoring import Scores

CARD = (
    criterion("torque", 0.5, 200.0, 600.0),
    criterion("rise", 0.3, 2.0, 0.4),
    criterion("light", 0.2, 100.0, 300.0),
)


def tool(name: str, torque: float, rise: float, light: float) -> Entry:
    return entry(
        name,
        torque=estimate(torque, cell=0.004 * torque, **{f"scatter/{name}/torque": (4.0, 8.0)}),
        rise=estimate(rise, "s", **{f"scatter/{name}/rise": (0.02, 8.0)}),
        light=estimate(light, "N*m/kg", cell=0.004 * light, **{f"scatter/{name}/light": (1.0, 8.0)}),
    )


def by_tool(scores: Scores) -> dict[str, Score]:
    return {one.tool: one for one in scores.every}


def test_a_table_by_hand() -> None:
    scores = by_tool(score_entries([tool("a", 500.0, 0.8, 220.0), tool("b", 320.0, 1.6, 300.0)], CARD, draws=100))
    # a: 0.5 * 300/400 + 0.3 * 1.2/1.6 + 0.2 * 120/200 = 0.375 + 0.225 + 0.12.
    assert scores["a"].value == pytest.approx(72.0, abs=1e-9)
    # b: 0.5 * 120/400 + 0.3 * 0.4/1.6 + 0.2 * 1 = 0.15 + 0.075 + 0.2.
    assert scores["b"].value == pytest.approx(42.5, abs=1e-9)
    assert scores["a"].values == pytest.approx({"torque": 0.75, "rise": 0.75, "light": 0.6})


def test_uncertainty_by_hand_with_what_two_criteria_share() -> None:
    (a,) = score_entries([tool("a", 500.0, 0.8, 220.0)], CARD, draws=100).every
    assert a.estimate is not None
    assert a.interval is not None
    # Percent per unit: 50/400, -30/1.6, 20/200. The cell's 0.4 % acts on 500 and on 220 with one sign.
    cell = 0.125 * 2.0 + 0.1 * 0.88
    own = (0.125 * 4.0, 18.75 * 0.02, 0.1 * 1.0)
    u = math.hypot(cell, *own)
    assert a.estimate.standard_uncertainty == pytest.approx(u)
    dof = u**4 / sum(part**4 / 8.0 for part in own)
    assert a.estimate.degrees_of_freedom == pytest.approx(dof)
    assert a.expanded_uncertainty == pytest.approx(coverage_factor(dof) * u)
    assert not a.bends


def test_values_past_an_anchor_earn_nothing_or_all() -> None:
    entries = plain({"far-below": -50.0, "far-above": 900.0})
    scores = by_tool(score_entries(entries, ONE, draws=1000))
    assert (scores["far-below"].value, scores["far-above"].value) == (0.0, 100.0)
    # No draw of a normal error of 1 comes near the anchors, so nothing is uncertain.
    assert [scores[t].expanded_uncertainty for t in ("far-below", "far-above")] == [0.0, 0.0]


def test_the_interval_beside_an_anchor_is_the_values_own_interval_cut() -> None:
    (one,) = score_entries(plain({"a": 98.0}, u=2.0, dof=5.0), ONE, draws=10).every
    assert one.bends
    assert one.interval is not None
    # One criterion: the score rises with the value, so the ends of Student's interval are cut at 100.
    assert one.interval.lower == pytest.approx(98.0 - coverage_factor(5.0) * 2.0)
    assert one.interval.upper == 100.0


def test_a_value_just_past_its_anchor_keeps_uncertainty() -> None:
    (one,) = score_entries(plain({"a": 101.0}, u=2.0), ONE, draws=10).every
    assert one.interval is not None
    # At 95 % the value reaches down to 97.08 and the score by 2.92 of 3.92, at 99.73 % to 95.0: 5 of 6, which is more.
    assert one.expanded_uncertainty == pytest.approx(1.95996 * 2.0 * 5.0 / 6.0, rel=1e-3)
    assert one.interval.upper == 100.0


def test_a_missing_value_leaves_the_range_the_score_could_take() -> None:
    half = entry("a", torque=estimate(500.0, cell=2.0), rise="not run yet", light=estimate(220.0, "N*m/kg", cell=0.9))
    (one,) = score_entries([half], CARD, draws=10).every
    assert (one.state, one.value, one.interval) == ("missing", None, None)
    assert one.missing == {"rise": "not run yet"}
    assert (one.lowest, one.highest) == pytest.approx((49.5, 79.5))  # 37.5 + 12, and the 30 of the rise


def test_a_value_without_known_uncertainty_is_scored_and_not_ranked() -> None:
    unknown = Entry(tool="a", marks={"c": Mark(estimate=Estimate(value=60.0, unit="N*m"))})
    standing = rank_entries(score_entries([unknown, *plain({"b": 50.0, "c": 70.0})], ONE, draws=100))
    assert [one.tool for one in standing.ranked] == ["c", "b"]
    (left,) = standing.unranked
    assert (left.score.state, left.score.value, left.possible_ranks) == ("not assessed", 60.0, (2, 2))


def test_an_exact_value_has_no_uncertainty() -> None:
    (one,) = score_entries([entry("a", c=exactly(40.0, "N*m"))], ONE, draws=10).every
    assert (one.value, one.expanded_uncertainty) == (40.0, 0.0)


@pytest.mark.parametrize(
    ("entries", "card", "said"),
    [
        (plain({"a": 1.0}), (criterion("c", 0.5),), "add up to 0.5"),
        (plain({"a": 1.0}) * 2, ONE, "'a' is there twice"),
        ([entry("a", d=estimate(1.0, s=1.0))], ONE, "'d', which is no criterion"),
        ([entry("a", c=estimate(math.nan, s=1.0))], ONE, "is nan"),
        (
            [entry("a", c=estimate(1.0, "1/EUR", s=1.0)), entry("b", c=estimate(1.0, "1/USD", s=1.0))],
            ONE,
            "in '1/EUR' for a and in '1/USD' for b",
        ),
    ],
)
def test_what_cannot_be_scored_is_refused(entries: list[Entry], card: tuple, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        score_entries(entries, card, draws=10)


def test_equal_anchors_and_strange_weights_are_refused() -> None:
    with pytest.raises(ValueError, match=r"anchors are 5.0 and 5.0"):
        criterion("c", 1.0, 5.0, 5.0)
    with pytest.raises(ValueError, match=r"weight is 1.5"):
        criterion("c", 1.5)


@pytest.mark.parametrize("best", [75.0, 60.0, 50.0])
@pytest.mark.parametrize("runs", [3, 6])
def test_intervals_of_scores_hold_as_often_as_they_say(runs: int, best: float) -> None:
    """Three criteria, `runs` runs each: true values 50, scatter 4, worst anchor 20; the best anchor far off, near, at the value."""
    rng = np.random.default_rng(11)
    card = tuple(criterion(f"c{k}", 1 / 3, 20.0, best) for k in range(3))
    true = 100.0 * min((50.0 - 20.0) / (best - 20.0), 1.0)
    held = 0
    count = 600
    entries = []
    for n in range(count):
        data = rng.normal(50.0, 4.0, (3, runs))
        marks = {
            f"c{k}": estimate(row.mean(), **{f"s/{n}/{k}": (row.std(ddof=1) / math.sqrt(runs), runs - 1.0)})
            for k, row in enumerate(data)
        }
        entries.append(entry(f"t{n:03d}", **marks))
    for one in score_entries(entries, card, draws=2).every:
        assert one.interval is not None
        held += one.interval.lower - 1e-9 <= true <= one.interval.upper + 1e-9
    # 600 draws have a standard error of 0.9 %. Where all three lie at the anchor, being cut at 100 holds more often.
    assert 0.925 <= held / count <= (0.975 if best > 50.0 else 1.0)


values = st.floats(-20.0, 120.0)
fields = st.dictionaries(st.sampled_from("abcdefgh"), st.tuples(values, values), min_size=1, max_size=8)
TWO = (criterion("x", 0.6, 10.0, 90.0), criterion("y", 0.4, 80.0, 20.0))


def drawn_field(field: dict[str, tuple[float, float]], scale: float = 1.0) -> list[Entry]:
    return [
        entry(
            name,
            x=estimate(scale * x, cell=scale * 0.5, **{f"{name}/x": (scale * 3.0, 4.0)}),
            y=estimate(scale * y, cell=scale * 0.2, **{f"{name}/y": (scale * 2.0, 4.0)}),
        )
        for name, (x, y) in field.items()
    ]


def bits(score: Score) -> tuple[object, ...]:
    return score.value, score.interval, score.expanded_uncertainty, score.estimate


@settings(max_examples=20, deadline=None)
@given(fields, st.tuples(values, values))
def test_an_added_entry_moves_no_other_score(field: dict[str, tuple[float, float]], new: tuple[float, float]) -> None:
    before = by_tool(score_entries(drawn_field(field), TWO, draws=200))
    after = by_tool(score_entries(drawn_field({**field, "z": new}), TWO, draws=200))
    assert all(bits(before[name]) == bits(after[name]) for name in field)


@settings(max_examples=20, deadline=None)
@given(fields, st.randoms(use_true_random=False))
def test_the_order_of_the_input_changes_nothing(field: dict[str, tuple[float, float]], random: object) -> None:
    entries = drawn_field(field)
    random.shuffle(entries)  # type: ignore[attr-defined]
    first = rank_entries(score_entries(drawn_field(field), TWO, draws=200))
    second = rank_entries(score_entries(entries, TWO[::-1], draws=200))
    assert [bits(one) for one in first.scores.every] == [bits(one) for one in second.scores.every]
    assert np.array_equal(first.scores.drawn, second.scores.drawn)
    assert [(r.tool, r.rank, r.rank_interval) for r in first.ranked] == [
        (r.tool, r.rank, r.rank_interval) for r in second.ranked
    ]
    for a, b in zip(first.ranked, second.ranked, strict=True):
        assert np.array_equal(a.probability_of_rank, b.probability_of_rank)
    assert (first.groups, first.pair_level) == (second.groups, second.pair_level)


@settings(max_examples=20, deadline=None)
@given(fields, st.sampled_from([0.5, 4.0, 1024.0]))
def test_another_unit_of_values_and_anchors_changes_nothing(
    field: dict[str, tuple[float, float]], scale: float
) -> None:
    """Powers of two, so that even the last bits agree."""
    card = [criterion(c.id, c.weight, scale * c.worst_at, scale * c.best_at) for c in TWO]
    first = score_entries(drawn_field(field), TWO, draws=50)
    second = score_entries(drawn_field(field, scale), card, draws=50)
    assert [bits(one) for one in first.every] == [bits(one) for one in second.every]
    assert np.array_equal(first.drawn, second.drawn)


@settings(max_examples=20, deadline=None)
@given(fields, st.floats(0.0, 200.0), st.sampled_from("xy"))
def test_a_better_value_never_lowers_score_or_rank(
    field: dict[str, tuple[float, float]], gain: float, which: str
) -> None:
    name = min(field)
    x, y = field[name]
    better = (x + gain, y) if which == "x" else (x, y - gain)
    sides = [
        rank_entries(score_entries(drawn_field({**field, name: marks}), TWO, draws=20)) for marks in ((x, y), better)
    ]
    (before, after) = (next(one for one in side.ranked if one.tool == name) for side in sides)
    assert before.score.value is not None
    assert after.score.value is not None
    assert after.score.value >= before.score.value
    assert after.rank <= before.rank
