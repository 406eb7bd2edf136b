"""Scatter within and between sittings, and which of the two a mean is judged by."""

import math

import numpy as np
import pytest

from toolbench.metrology import ItemRuns, Outcome, Row, compare_items, one_way_anova
from toolbench.metrology.sittings import find_precision, mean_uncertainty

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")


def item(name: str, values: list[float], sittings: str) -> ItemRuns:
    return ItemRuns(id=name, values=np.array(values)[:, None], sittings=tuple(sittings))


def compare(*items: ItemRuns) -> Outcome:
    return compare_items(items, [ROW], [(items[1].id, items[0].id)])


APART = [100.0, 101.0, 110.0, 111.0, 105.0, 106.0]  # sittings at 100.5, 110.5, 105.5
ALIKE = [100.0, 111.0, 101.0, 110.0, 105.0, 106.0]  # sittings at 105.5 each


def test_sittings_that_differ_judge_the_mean() -> None:
    outcome = compare(item("near", APART, "aabbcc"), item("far", [x + 20 for x in APART], "ddeeff"))
    level = outcome.levels[0]
    # by hand: means 100.5, 110.5, 105.5 have sd 5, so u = 5 / sqrt(3) with 2 degrees of freedom; within sqrt(0.5)
    assert level.estimate.standard_uncertainty == pytest.approx(5 / math.sqrt(3))
    assert level.estimate.degrees_of_freedom == pytest.approx(2)
    assert level.repeatability == pytest.approx(math.sqrt(0.5))
    assert level.intermediate_precision == pytest.approx(
        math.sqrt(0.5 + (50 - 0.5) / 2)
    )  # MS 50 and 0.5, two runs each
    assert level.sittings == 3
    assert [c.label for c in level.estimate.components] == ["scatter between 3 sittings"]


def test_sittings_that_do_not_differ_leave_the_runs_as_they_are() -> None:
    outcome = compare(item("near", ALIKE, "aabbcc"), item("far", [x + 20 for x in ALIKE], "ddeeff"))
    level = outcome.levels[0]
    sd = float(np.std(ALIKE, ddof=1))
    assert level.estimate.standard_uncertainty == pytest.approx(sd / math.sqrt(6))
    assert (level.sittings, level.estimate.degrees_of_freedom) == (0, pytest.approx(5))
    assert level.repeatability == pytest.approx(sd)


def test_complete_blocks_stay_blocks() -> None:
    items = [
        ItemRuns(id=name, values=np.array(APART)[:, None] + lift, blocks=tuple("aabbcc"), sittings=tuple("aabbcc"))
        for name, lift in (("near", 0.0), ("far", 20.0))
    ]
    outcome = compare(*items)
    assert outcome.differences[0].blocks == 3
    assert [level.sittings for level in outcome.levels] == [0, 0]


def test_an_item_of_one_sitting_carries_what_the_others_show() -> None:
    outcome = compare(item("near", APART, "aabbcc"), item("far", [120.0, 121.0, 119.0], "ddd"))
    far = outcome.levels[1].estimate
    (between,) = [c for c in far.components if c.source.startswith("sitting/")]
    # by hand: MS between 50 (2 dof); within (1.5 + 2) / (3 + 2) = 0.7 (5 dof); n0 pooled is 4 / 2 = 2
    assert between.contribution == pytest.approx(math.sqrt((50 - 0.7) / 2))
    assert between.degrees_of_freedom == pytest.approx((1 - 0.014) ** 2 / (1 / 2 + 0.014**2 / 5), rel=1e-6)
    assert far.standard_uncertainty > between.contribution


def test_two_items_of_one_sitting_share_its_error() -> None:
    items = [
        item("far", [120.0, 121.0, 119.0], "ddd"),
        item("wide", [130.0, 131.0, 129.0], "ddd"),
        item("near", APART, "aabbcc"),
    ]
    outcome = compare(*items)
    (shared,) = [c for c in outcome.differences[0].difference.components if c.source.startswith("sitting/")]
    assert shared.contribution == 0.0


@pytest.mark.parametrize("sittings", ["abcdef", "aaaaaa", ""])
def test_where_the_two_cannot_be_told_apart_runs_count(sittings: str) -> None:
    outcome = compare(item("near", APART, sittings), item("far", APART, sittings))
    assert [level.sittings for level in outcome.levels] == [0, 0]


def test_unequal_sittings_use_the_analysis_of_variance() -> None:
    values, sittings = np.array([1.0, 2.0, 3.0, 11.0, 12.0, 21.0]), "aaabbc"
    anova = one_way_anova([values[:3], values[3:5], values[5:]])
    precision = find_precision([(values, sittings)])
    assert precision is not None
    assert (precision.f, precision.p) == (pytest.approx(anova.f), pytest.approx(anova.p))
    assert precision.between_sd == pytest.approx(anova.between_sd)
    found = mean_uncertainty(values, sittings)
    assert found is not None
    # by hand: var(mean) = s_B^2 (9 + 4 + 1) / 36 + s_w^2 / 6
    assert found[0] == pytest.approx(math.sqrt(anova.between_sd**2 * 14 / 36 + anova.within_sd**2 / 6))


@pytest.mark.parametrize(("days", "runs", "ratio"), [(3, 3, 0.0), (3, 3, 1.0), (4, 3, 0.6), (5, 2, 2.0)])
def test_coverage_with_and_without_a_difference_between_sittings(days: int, runs: int, ratio: float) -> None:
    """Differences of two items on days of their own: 92 to 98 % at 95 % wherever the day's scatter lies (constructed).

    Without the day in the interval the coverage would be 0.95, 0.82, 0.88 and 0.84 (simulated, 40,000 draws).
    """
    rng = np.random.default_rng(days)
    names = [str(day) for day in range(days) for _ in range(runs)]
    hits, draws = 0, 1500
    for _ in range(draws):
        items = []
        for name in "ab":
            day = np.repeat(rng.normal(0, ratio, days), runs)
            values = 100 + day + rng.normal(0, 1, days * runs)
            items.append(ItemRuns(id=name, values=values[:, None], sittings=tuple(name + one for one in names)))
        (found,) = compare_items(items, [ROW], [("b", "a")]).differences
        hits += found.difference_interval.lower <= 0 <= found.difference_interval.upper
    assert 0.92 < hits / draws < 0.98


def test_sittings_count_where_they_differ_by_more_than_their_runs_make_them() -> None:
    """Without any difference between sittings that is F > 1; by hand, for 2 and 3 degrees of freedom, (1 + 2 / 3) ** -1.5."""
    rng = np.random.default_rng(1)
    names = "aabbcc"
    found = [find_precision([(rng.normal(0, 1, 6), names)]) for _ in range(4000)]
    share = np.mean([one is not None and one.counts for one in found])
    assert share == pytest.approx((5 / 3) ** -1.5, abs=0.03)  # 0.465; four standard deviations of the count
