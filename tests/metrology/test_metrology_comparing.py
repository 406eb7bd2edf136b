"""Items compared row by row: what is counted once, what is added, blocks, single runs, constant readings."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbench.metrology import (
    ItemRuns,
    Outcome,
    Pooled,
    Row,
    Source,
    compare_items,
    complete_blocks,
    pool_repeatability,
)
from toolbench.metrology.monte_carlo import check_differences

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")
A = [412.0, 418.0, 409.0, 415.0, 411.0]
B = [400.0, 396.0, 404.0, 399.0, 401.0]


def item(name: str, values: list[float], *sources: Source, blocks: str = "") -> ItemRuns:
    return ItemRuns(id=name, values=np.array(values)[:, None], blocks=tuple(blocks), sources=(sources,))


def compare(a: ItemRuns, b: ItemRuns, **options: object) -> Outcome:
    return compare_items([b, a], [ROW], [(a.id, b.id)], **options)  # type: ignore[arg-type]


def test_repeats_by_hand() -> None:
    # By hand: mean 413, sd sqrt((1 + 25 + 16 + 4 + 4) / 4) = 3.5355; mean 400, sd sqrt((0 + 16 + 16 + 1 + 1) / 4) = 2.9155
    outcome = compare(item("a", A), item("b", B))
    base, top = outcome.levels
    assert (top.estimate.value, top.repeatability, top.n) == (413.0, pytest.approx(3.53553391), 5)
    assert base.expanded_uncertainty == pytest.approx(2.7764451 * 2.9154759 / math.sqrt(5), rel=1e-6)
    found = outcome.differences[0]
    assert found.percent.value == pytest.approx(3.25, rel=1e-12)
    ua, ub = 3.5355339 / math.sqrt(5) / 4, 413 / 400 * 2.9154759 / math.sqrt(5) / 4
    assert found.percent.standard_uncertainty == pytest.approx(math.hypot(ua, ub), rel=1e-7)
    assert found.percent.degrees_of_freedom == pytest.approx((ua**2 + ub**2) ** 2 / ((ua**4 + ub**4) / 4), rel=1e-7)
    assert (found.verdict, found.n, found.n_baseline, found.blocks) == ("higher", 5, 5, 0)
    assert found.family_interval == found.interval  # a family of one
    assert 0 < found.interval.lower < found.at_least < found.percent.value < found.interval.upper  # type: ignore[operator]


def test_what_varies_from_run_to_run_is_counted_once() -> None:
    zero = Source(source="zero/cell", label="zero", absolute=2.0, per_run=True)
    bare, with_zero = compare(item("a", A), item("b", B)), compare(item("a", A, zero), item("b", B, zero))
    assert with_zero.differences[0].interval == bare.differences[0].interval
    listed = [c for c in with_zero.levels[0].estimate.components if c.contained]
    assert [(c.label, c.contribution) for c in listed] == [("zero", pytest.approx(2.0 / math.sqrt(5)))]


def test_what_runs_share_is_added() -> None:
    zero = Source(source="zero/cell", label="zero of the season", absolute=2.0)
    bare, with_zero = compare(item("a", A), item("b", B)), compare(item("a", A, zero), item("b", B, zero))
    u = with_zero.levels[0].estimate.standard_uncertainty
    assert u == pytest.approx(math.hypot(bare.levels[0].estimate.standard_uncertainty, 2.0), rel=1e-12)
    # Shared, so only its effect on a ratio that is not one remains: 100 x 2 x (1 - 413/400) / 400 percent.
    part = {c.source: c.contribution for c in with_zero.differences[0].percent.components}["zero/cell"]
    assert abs(part) == pytest.approx(100 * 2 * 13 / 400 / 400, rel=1e-9)


def test_shared_scale_leaves_percent_alone_and_widens_levels() -> None:
    scale = Source(source="scale/cell", label="scale", relative=0.05)
    bare, scaled = compare(item("a", A), item("b", B)), compare(item("a", A, scale), item("b", B, scale))
    assert scaled.differences[0].interval == bare.differences[0].interval
    assert scaled.levels[0].expanded_uncertainty > 10 * bare.levels[0].expanded_uncertainty


def test_single_run_is_not_assessed_without_anything_to_judge_by() -> None:
    scale = Source(source="scale/cell", label="scale", relative=0.003)
    outcome = compare(item("a", A[:1], scale), item("b", B, scale))
    found = outcome.differences[0]
    assert found.percent.value == pytest.approx(3.0)  # 412 / 400
    assert (found.verdict, found.family_verdict, found.at_least) == ("not assessed", "not assessed", None)
    assert math.isnan(found.interval.lower)
    assert math.isnan(found.percent.standard_uncertainty)
    assert math.isnan(outcome.levels[1].expanded_uncertainty)
    assert outcome.family_size == 0


def test_single_runs_are_judged_by_a_lent_repeatability() -> None:
    zero = Source(source="zero/cell", label="zero", absolute=2.0, per_run=True)
    lent = Pooled(relative_sd=0.01, degrees_of_freedom=12.0, label="pooled from 15 runs")
    outcome = compare(item("a", [412.0], zero), item("b", [400.0], zero), pooled=[lent])
    top = outcome.levels[1].estimate
    assert top.standard_uncertainty == pytest.approx(math.hypot(4.12, 2.0), rel=1e-12)  # per-run part added: by hand
    assert "pooled from 15 runs" in {c.label for c in top.components}
    assert outcome.differences[0].verdict == "not resolved"
    inside = Pooled(relative_sd=0.01, degrees_of_freedom=12.0, label="bench", contains_per_run=True)
    outcome = compare(item("a", [412.0], zero), item("b", [400.0], zero), pooled=[inside])
    assert outcome.levels[1].estimate.standard_uncertainty == pytest.approx(4.12, rel=1e-12)


def test_constant_readings_keep_their_rounding() -> None:
    step = Source(source="resolution", label="resolution", absolute=1 / math.sqrt(12), per_run=True, resolution=True)
    outcome = compare(item("a", [401.0] * 4, step), item("b", [400.0] * 4, step))
    assert outcome.levels[0].estimate.standard_uncertainty == pytest.approx(1 / math.sqrt(12))  # not divided by 2
    found = outcome.differences[0]
    assert found.percent.standard_uncertainty > 0
    assert found.verdict == "higher"  # 1 against 1.96 x sqrt(2 / 12) = 0.80


@pytest.mark.parametrize("blocks", ["", "wxyz"])
@pytest.mark.parametrize("rounding", [0.0, 6e-14])  # 400 is known to 5.7e-14: arithmetic, no scatter
def test_constant_readings_of_unknown_resolution_are_not_assessed(blocks: str, rounding: float) -> None:
    steps = [0.0, rounding, 0.0, rounding]
    a, b = ([level + step for step in steps] for level in (401.0, 400.0))
    outcome = compare(item("a", a, blocks=blocks), item("b", b, blocks=blocks))
    found = outcome.differences[0]
    assert (found.verdict, found.family_verdict, outcome.family_size) == ("not assessed", "not assessed", 0)
    assert found.percent.value == pytest.approx(0.25)
    # No certainty either: an uncertainty of zero would claim one.
    numbers = [found.expanded_uncertainty, found.percent.standard_uncertainty, found.difference.standard_uncertainty]
    numbers += [number for one in outcome.levels for number in (one.expanded_uncertainty, one.coverage_factor)]
    assert all(map(math.isnan, numbers))
    assert [one.repeatability for one in outcome.levels] == [0.0, 0.0]


def test_readings_alike_on_one_side_are_judged_by_the_other() -> None:
    # By hand: only the scatter of a, sd 3.5355 of five, with its four degrees of freedom
    outcome = compare(item("a", A), item("b", [400.0] * 5))
    found = outcome.differences[0]
    assert found.difference.standard_uncertainty == pytest.approx(math.sqrt(12.5 / 5))
    assert found.difference.degrees_of_freedom == pytest.approx(4)
    assert math.isnan(outcome.levels[0].expanded_uncertainty)
    checked = check_differences(outcome.levels, outcome.differences, 0.95, draws=20_000)
    assert checked.rows[0].standard_deviation == pytest.approx(found.percent.standard_uncertainty, rel=0.03)


def test_rounding_is_contained_where_scatter_shows_it() -> None:
    step = Source(source="resolution", label="resolution", absolute=1 / math.sqrt(12), per_run=True, resolution=True)
    assert [c.contained for c in compare(item("a", A, step), item("b", B, step)).levels[0].estimate.components] == [
        False,
        True,
    ]


def test_complete_blocks_are_compared_within() -> None:
    shift = np.array([-20.0, -5.0, 0.0, 10.0, 15.0])
    blocked = compare(
        item("a", list(shift + A), blocks="vwxyz"), item("b", list(shift + B), blocks="vwxyz")
    ).differences[0]
    # By hand: differences 12, 22, 5, 16, 10: mean 13, sd sqrt((1 + 81 + 64 + 9 + 9) / 4) = 6.4031
    assert blocked.blocks == 5
    assert blocked.difference.value == pytest.approx(13.0)
    assert blocked.difference.standard_uncertainty == pytest.approx(6.4031242 / math.sqrt(5), rel=1e-7)
    assert blocked.difference.degrees_of_freedom == 4
    loose = compare(item("a", list(shift + A)), item("b", list(shift + B))).differences[0]
    assert loose.verdict == "not resolved"
    assert blocked.verdict == "higher"


def test_blocks_in_another_order_are_the_same_blocks() -> None:
    first = compare(item("a", A, blocks="vwxyz"), item("b", B, blocks="vwxyz")).differences[0]
    turned = compare(item("a", A[::-1], blocks="zyxwv"), item("b", B, blocks="vwxyz")).differences[0]
    assert turned.interval == first.interval


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ("xyz", "xyz", ("x", "y", "z")),
        ("xxyyzz", "zzyyxx", ("x", "y", "z")),
        ("xy", "xy", ()),  # fewer than three
        ("xyz", "xyw", ()),  # not the same
        ("xxyz", "xxyz", ()),  # not the same number in each
        ("xyz", "xxyyzz", ()),  # not the same number in each item
        ("", "xyz", ()),
    ],
)
def test_which_blocks_are_complete(first: str, second: str, expected: tuple[str, ...]) -> None:
    items = [item(name, [1.0] * max(len(b), 1), blocks=b) for name, b in (("a", first), ("b", second))]
    assert complete_blocks(items) == expected


def test_a_run_that_does_not_reach_a_level_is_left_out_of_that_row() -> None:
    outcome = compare(item("a", [*A, math.nan]), item("b", [*B, math.nan]))
    assert outcome.differences[0].interval == compare(item("a", A), item("b", B)).differences[0].interval
    assert outcome.differences[0].n == 5
    nothing = compare(item("a", [math.nan]), item("b", B))
    assert nothing.levels[1].n == 0
    assert nothing.differences[0].verdict == "not assessed"


def test_a_base_about_zero_is_judged_by_the_absolute_difference() -> None:
    found = compare(item("a", [8.0, 9.0, 10.0]), item("b", [-1.0, 0.1, 1.0])).differences[0]
    assert math.isnan(found.interval.lower)
    assert found.difference_interval.lower > 0
    assert found.verdict == "higher"


@pytest.mark.parametrize("blocks", ["", "vwxyz"])
def test_a_base_of_exactly_zero_is_judged_by_the_absolute_difference(blocks: str) -> None:
    outcome = compare(item("a", A, blocks=blocks), item("b", [0.0] * 5, blocks=blocks))
    found = outcome.differences[0]
    assert math.isnan(found.percent.value)
    assert math.isnan(found.interval.lower)
    assert (found.verdict, found.family_verdict, found.at_least) == ("higher", "higher", None)
    # By hand: 413 with sd 3.5355 of five, t(4) 2.7764
    half = 2.7764451 * math.sqrt(12.5 / 5)
    assert (found.difference_interval.lower, found.difference_interval.upper) == pytest.approx((413 - half, 413 + half))
    assert outcome.family_size == 1


def test_repeatability_pooled_over_groups() -> None:
    # By hand: relative sd 1 % with 2 degrees of freedom and 2 % with 1: sqrt((2 x 1 + 1 x 4) / 3) = 1.4142 %
    found = pool_repeatability(
        [[99.0, 100.0, 101.0], [200 * (1 - 0.02 / math.sqrt(2)), 200 * (1 + 0.02 / math.sqrt(2))]], "b"
    )
    assert found is not None
    assert found.relative_sd == pytest.approx(math.sqrt(2) / 100, rel=1e-9)
    assert found.degrees_of_freedom == 3
    assert pool_repeatability([[1.0]], "b") is None


def test_equivalence_needs_the_whole_interval_inside() -> None:
    assert compare(item("a", A), item("b", B), equivalent_within=0.06).differences[0].within_limit == "yes"
    assert compare(item("a", A), item("b", B), equivalent_within=0.04).differences[0].within_limit == "undecided"
    assert compare(item("a", A), item("b", B), equivalent_within=0.01).differences[0].within_limit == "no"


def test_mistakes_are_named() -> None:
    with pytest.raises(ValueError, match=r"'c'.*\['a', 'b'\]"):
        compare_items([item("a", A), item("b", B)], [ROW], [("c", "a")])
    with pytest.raises(ValueError, match=r"\(runs, 2\)"):
        compare_items([item("a", A), item("b", B)], [ROW, ROW], [("b", "a")])


runs = st.lists(st.floats(390, 430), min_size=3, max_size=6, unique=True)


@settings(max_examples=40, deadline=None)
@given(runs, runs, st.randoms(use_true_random=False))
def test_the_order_of_runs_does_not_matter(a: list[float], b: list[float], random: object) -> None:
    first = compare(item("a", a), item("b", b)).differences[0]
    mixed_a, mixed_b = list(a), list(b)
    random.shuffle(mixed_a)  # type: ignore[attr-defined]
    random.shuffle(mixed_b)  # type: ignore[attr-defined]
    other = compare(item("a", mixed_a), item("b", mixed_b)).differences[0]
    assert (other.interval.lower, other.interval.upper) == pytest.approx(
        (first.interval.lower, first.interval.upper), rel=1e-9, abs=1e-9
    )
    assert other.verdict == first.verdict


PARTS = (
    Source(source="scale/cell", label="scale", relative=0.05),
    Source(source="zero/cell", label="zero of the season", absolute=1.5, degrees_of_freedom=20.0),
)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32),
    st.floats(0.5, 2.0),
    st.floats(1e-4, 0.03),
    st.sampled_from(["", "wxyz"]),
    st.sampled_from([(), PARTS]),
)
def test_swapping_the_baseline_inverts_the_ratio(
    seed: int, ratio: float, scatter: float, blocks: str, parts: tuple[Source, ...]
) -> None:
    """Both bounds, of a row alone and of the family, with scatter of runs or of blocks and with shared errors."""
    rows = [ROW, Row(response="torque", metric="at_mark", at=1.0, unit="N*m")]
    noise = np.random.default_rng(seed).standard_normal((2, 4, 2))
    items = [
        ItemRuns(id=name, values=level * (1 + scatter * rest), blocks=tuple(blocks), sources=(parts, parts))
        for name, level, rest in zip("ab", (400 * ratio, 400), noise, strict=True)
    ]
    one = compare_items(items, rows, [("a", "b")], draws=500).differences
    other = compare_items(items, rows, [("b", "a")], draws=500).differences
    for first, second in zip(one, other, strict=True):
        for mine, turned in (
            (first.interval, second.interval),
            (first.family_interval, second.family_interval),
        ):
            assert (1 + mine.lower / 100) * (1 + turned.upper / 100) == pytest.approx(1, rel=1e-12, abs=0)
            assert (1 + mine.upper / 100) * (1 + turned.lower / 100) == pytest.approx(1, rel=1e-12, abs=0)
        assert (1 + first.percent.value / 100) * (1 + second.percent.value / 100) == pytest.approx(1, rel=1e-12)
        assert {first.verdict, second.verdict} in ({"higher", "lower"}, {"not resolved"})


@settings(max_examples=40, deadline=None)
@given(runs, runs, st.sampled_from([0.7375621492772656, 1e-3]))
def test_a_change_of_unit_changes_no_percentage(a: list[float], b: list[float], unit: float) -> None:
    def with_parts(scale: float) -> Outcome:
        zero = Source(source="zero", label="zero", absolute=1.5 * scale)
        size = Source(source="scale", label="scale", relative=0.004)
        return compare(item("a", [scale * v for v in a], zero, size), item("b", [scale * v for v in b], zero, size))

    first, other = with_parts(1.0).differences[0], with_parts(unit).differences[0]
    assert (other.interval.lower, other.interval.upper) == pytest.approx(
        (first.interval.lower, first.interval.upper), rel=1e-8, abs=1e-9
    )
    assert other.difference.value == pytest.approx(unit * first.difference.value, rel=1e-9, abs=1e-9)
