"""Pairs compared within the blocks that both were run in, where a report's blocks are not complete."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy import stats

from toolbench.metrology import ItemRuns, Outcome, Row, compare_items, shared_blocks
from toolbench.metrology.monte_carlo import check_differences
from toolbench.metrology.residuals import block_residuals

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")


def _item(name: str, **blocks: Sequence[float]) -> ItemRuns:
    """Values by block; `alone` holds runs of no block."""
    names = [block if block != "alone" else "" for block, values in blocks.items() for _ in values]
    values = np.array([value for values in blocks.values() for value in values])[:, None]
    return ItemRuns(id=name, values=values, blocks=tuple(names))


def _compare(*items: ItemRuns, pairs: Sequence[tuple[str, str]] = (("b", "a"),)) -> Outcome:
    return compare_items(items, [ROW], pairs, draws=2_000)


A = _item("a", m1=[500.0], m2=[530.0], m3=[470.0], m4=[510.0])
B = _item("b", m1=[451.0], m2=[476.0], m3=[424.0], m4=[460.0])


def test_a_third_item_with_other_blocks_spoils_nothing() -> None:
    alone = _compare(A, B)
    third = _compare(A, B, _item("c", m1=[480.0], m9=[490.0]), pairs=[("b", "a"), ("c", "a")])
    assert (third.differences[0].blocks, third.differences[1].blocks) == (4, 0)
    for field in ("lower", "upper"):
        expected = getattr(alone.differences[0].interval, field)
        assert getattr(third.differences[0].interval, field) == pytest.approx(expected, rel=1e-12)


def test_an_item_that_lacks_a_block_is_compared_in_the_others() -> None:
    # By hand: the blocks m1 to m3 of `a` are 500, 530 and 470, mean 500; those of `b` 451, 476 and 424, mean 450.33.
    short = _item("b", m1=[451.0], m2=[476.0], m3=[424.0])
    row = _compare(A, short).differences[0]
    assert (row.blocks, row.n, row.n_baseline) == (3, 3, 3)
    assert row.percent.value == pytest.approx(100 * (1351 / 1500 - 1), rel=1e-12)
    # Oracle: the interval of the absolute difference is that of the paired t-test over the three blocks.
    expected = stats.ttest_rel([451.0, 476.0, 424.0], [500.0, 530.0, 470.0]).confidence_interval()
    assert (row.difference_interval.lower, row.difference_interval.upper) == pytest.approx(tuple(expected), rel=1e-9)
    assert row.within is not None
    assert [one.value for one in row.within] == pytest.approx([1351 / 3, 500.0])


def test_a_level_counts_every_run() -> None:
    short = _item("b", m1=[451.0], m2=[476.0], m3=[424.0])
    levels = {one.item: one for one in _compare(A, short).levels}
    assert (levels["a"].n, levels["a"].estimate.value) == (4, pytest.approx(502.5))
    assert levels["b"].n == 3


def test_each_block_counts_once_where_numbers_differ() -> None:
    # By hand: block m2 of `b` holds 470 and 482, mean 476; so every block mean is that of B above.
    twice = _item("b", m1=[451.0], m2=[470.0, 482.0], m3=[424.0], m4=[460.0])
    row, plain = _compare(A, twice).differences[0], _compare(A, B).differences[0]
    assert (row.blocks, row.n, row.n_baseline) == (4, 5, 4)
    assert row.percent.value == pytest.approx(plain.percent.value, rel=1e-12)
    assert row.interval.upper == pytest.approx(plain.interval.upper, rel=1e-9)


def test_a_run_of_no_block_lies_outside() -> None:
    more = _item("b", m1=[451.0], m2=[476.0], m3=[424.0], m4=[460.0], alone=[390.0])
    row, plain = _compare(A, more).differences[0], _compare(A, B).differences[0]
    assert (row.blocks, row.n) == (4, 4)
    assert row.percent.value == pytest.approx(plain.percent.value, rel=1e-12)


def test_complete_blocks_need_no_levels_of_their_own() -> None:
    assert _compare(A, B).differences[0].within is None


@pytest.mark.parametrize(
    ("first", "second", "shared"),
    [
        pytest.param("123", "1234", "123", id="one lacks a block"),
        pytest.param("12345", "12367", "", id="three of five runs are in common blocks"),
        pytest.param("12", "12", "", id="two blocks"),
        pytest.param("112233", "123", "123", id="unequal numbers"),
        pytest.param("123456", "1234", "1234", id="two thirds"),
        pytest.param("1234567", "1234", "", id="under two thirds"),
    ],
)
def test_blocks_are_chosen_by_the_design(first: str, second: str, shared: str) -> None:
    # Constructed: a digit is the block of one run.
    assert shared_blocks(list(first), list(second)) == tuple(shared)
    assert shared_blocks(list(second), list(first)) == tuple(shared)


def test_in_too_few_common_blocks_runs_are_independent() -> None:
    # Oracle: scipy's unequal-variance t-test over all runs.
    a = _item("a", m1=[500.0], m2=[530.0], m3=[470.0], m4=[510.0], m5=[505.0])
    b = _item("b", m1=[451.0], m2=[476.0], m3=[424.0], m6=[460.0], m7=[466.0])
    row = _compare(a, b).differences[0]
    expected = stats.ttest_ind(b.values[:, 0], a.values[:, 0], equal_var=False).confidence_interval()
    assert row.blocks == 0
    assert (row.difference_interval.lower, row.difference_interval.upper) == pytest.approx(tuple(expected), rel=1e-9)


def test_monte_carlo_draws_the_levels_of_the_blocks() -> None:
    outcome = _compare(A, _item("b", m1=[451.0], m2=[476.0], m3=[424.0]))
    row = check_differences(outcome.levels, outcome.differences, 0.95).rows[0]
    assert row.mean == pytest.approx(outcome.differences[0].percent.value, abs=0.05)
    assert row.half_width == pytest.approx(row.linear_half_width, rel=0.05)


def test_block_residuals_are_what_item_and_block_leave() -> None:
    # Oracle: in complete blocks least squares are the means of rows and columns taken off in turn.
    random = np.random.default_rng(5)
    values = random.standard_normal((3, 4, 2))
    blocks = ("m1", "m2", "m3", "m4")
    found, freedom = block_residuals(
        [ItemRuns(id=n, values=v, blocks=blocks) for n, v in zip("abc", values, strict=True)]
    )
    rest = values - values.mean(axis=1, keepdims=True)
    rest = rest - rest.mean(axis=0, keepdims=True)
    rest = rest / np.sqrt(np.mean(rest**2, axis=1, keepdims=True))
    assert np.stack(found) == pytest.approx(rest, abs=1e-9)
    assert freedom == 6


def test_block_residuals_without_a_block_are_free_of_its_shift() -> None:
    # Constructed: nothing but levels and shifts, so nothing is left, whatever the missing block.
    shifts = np.array([0.0, 30.0, -12.0, 50.0])[:, None]
    full = ItemRuns(id="a", values=500.0 + shifts, blocks=("m1", "m2", "m3", "m4"))
    short = ItemRuns(id="b", values=450.0 + shifts[:3], blocks=("m1", "m2", "m3"))
    found, freedom = block_residuals([full, short])
    assert freedom == 2
    assert not np.isfinite(np.stack(found)).any()


DESIGNS = {
    "one lacks a block": ("1234", "1234", "123"),
    "one lacks a block, one was run twice in another": ("1234", "123", "12234"),
    "the base has a run of no block": ("1234.", "1234", "1234"),
}


@pytest.mark.slow
@pytest.mark.parametrize("design", DESIGNS.values(), ids=DESIGNS.keys())
def test_coverage_and_family_error_where_blocks_shift_by_three_times_the_scatter(design: tuple[str, ...]) -> None:
    """Three items, four blocks, two rows; with 3,000 draws of four rows: 94.7 to 95.5 % and 5.1 to 5.7 %."""
    rows = [ROW, Row(response="torque", metric="at_mark", at=1.0, unit="N*m")]
    random, draws, missed, false = np.random.default_rng(11), 400, 0, 0
    for _ in range(draws):
        shift = {name: 30.0 * random.standard_normal() for name in "1234"}
        items = []
        for name, blocks in zip("abc", design, strict=True):
            away = np.array([shift.get(block, 30.0 * random.standard_normal()) for block in blocks])
            common = random.standard_normal(len(blocks))[:, None]
            scatter = 10.0 * (0.8 * common + 0.6 * random.standard_normal((len(blocks), 2)))
            named = tuple("" if block == "." else block for block in blocks)
            items.append(ItemRuns(id=name, values=1000.0 + away[:, None] + scatter, blocks=named))
        outcome = compare_items(items, rows, [("b", "a"), ("c", "a")], draws=2_000)
        missed += not outcome.differences[0].interval.lower <= 0 <= outcome.differences[0].interval.upper
        false += any(one.family_verdict != "not resolved" for one in outcome.differences)
    # Binomial limits of 99.8 % about 5 %.
    low, high = stats.binom.ppf([0.001, 0.999], draws, 0.05)
    assert low <= missed <= high
    assert low <= false <= high
