"""The chart of a check standard: its limits are its history's, and a block that is apart does not make them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from toolbench.metrology import judge_blocks
from toolbench.metrology.charts import _steps, step_p

LEVELS = (299.0, 301.0, 299.0, 301.0, 299.0, 301.0)


def test_the_limits_are_of_the_blocks_that_are_in_control() -> None:
    judged = judge_blocks([*LEVELS, 330.0])
    # by hand: mean 300; standard deviation sqrt(6 / 5) = 1.0954; 3 of them 3.2863; EWMA 3.2863 * sqrt(0.2 / 1.8) = 1.0954
    assert judged.limits is not None
    assert judged.moving_limits is not None
    assert (judged.limits.lower, judged.limits.upper) == pytest.approx((296.7137, 303.2863), abs=1e-4)
    assert (judged.moving_limits.lower, judged.moving_limits.upper) == pytest.approx((298.9046, 301.0954), abs=1e-4)
    assert judged.history == (0, 1, 2, 3, 4, 5)
    assert set(judged.apart) == {6}
    assert judged.apart[6].percent == pytest.approx(10.0)  # by hand: 330 / 300 - 1
    assert judged.apart[6].others == 6
    # by hand: 300 + 0.2 * (-1), then 0.8 * 299.8 + 0.2 * 301
    assert [judged.moving[0], judged.moving[1]] == pytest.approx([299.8, 300.04])
    assert judged.out == {6}


@pytest.mark.parametrize("levels", [(), (300.0,), (300.0, 301.0, 400.0)])
def test_too_few_blocks_make_no_limits(levels: tuple[float, ...]) -> None:
    judged = judge_blocks(levels)
    assert judged.limits is None
    assert judged.moving_limits is None
    assert not judged.out


def test_blocks_all_alike_are_in_control() -> None:
    judged = judge_blocks([300.0] * 6)
    assert not judged.out
    assert judged.limits is not None
    assert judged.limits.lower == judged.limits.upper == 300.0


def test_two_levels_are_told_from_each_other() -> None:
    judged = judge_blocks([*LEVELS, *(level + 6.0 for level in LEVELS[:4])])
    assert not judged.apart
    assert judged.step is not None
    assert judged.step.blocks == (6, 7, 8, 9)  # by hand: six on one level, four 6 higher: the fewer are named
    assert judged.step.percent == pytest.approx(2.0)
    assert (judged.step.others, judged.history) == (6, (0, 1, 2, 3, 4, 5))
    assert judged.limits is not None
    assert judged.limits.centre == pytest.approx(300.0)
    first = judge_blocks([*(level + 6.0 for level in LEVELS[:4]), *LEVELS])
    assert first.step is not None
    assert first.step.blocks == (0, 1, 2, 3)
    assert set(judged.moving) == set(range(10))


def test_the_size_of_a_step_by_hand() -> None:
    # by hand: 1, 2 | 5, 6 about 3.5: between 2 * 2 * 4 ** 2 / 4 = 16, within 0.5 + 0.5; F = 16 / (1 / 2) = 32 with 1 and 2
    values = np.array([1.0, 2.0, 5.0, 6.0])
    assert _steps(values[None, :], 2) == pytest.approx(np.array([[16.0]]))
    p, before = step_p(values)
    assert before == 2
    # One place for a step in four values: the F-test of two groups, P(F(1, 2) > 32) = 0.0299; 10,000 draws.
    assert p == pytest.approx(special.fdtrc(1, 2, 32.0), abs=0.006)


@pytest.mark.parametrize("values", [[1.0, 2.0, 3.0], [4.0] * 8])
def test_few_or_constant_values_show_no_step(values: list[float]) -> None:
    assert step_p(values) == (1.0, 0)


def test_a_stated_history_judges_what_comes_after_it() -> None:
    judged = judge_blocks([*LEVELS, 300.0, 306.0, 300.5], stated=6)
    # by hand: mean 300, standard deviation 1.0954; one more block 3 * 1.0954 * sqrt(1 + 1 / 6) = 3.5496, and for the EWMA
    # 3 * 1.0954 * sqrt(0.2 / 1.8 + 1 / 6) = 1.7321
    assert judged.limits is not None
    assert judged.moving_limits is not None
    assert (judged.limits.lower, judged.limits.upper) == pytest.approx((296.4504, 303.5496), abs=1e-4)
    assert (judged.moving_limits.lower, judged.moving_limits.upper) == pytest.approx((298.2679, 301.7321), abs=1e-4)
    assert (judged.stated, judged.history) == (6, (0, 1, 2, 3, 4, 5))
    assert set(judged.apart) == {7}
    # by hand: t = 6 / (1.0954 * sqrt(7 / 6)) = 5.0709 with 5 degrees of freedom, for the largest of three
    assert judged.apart[7].p == pytest.approx(3 * 2 * special.stdtr(5, -5.0709), rel=1e-3)
    assert judged.apart[7].percent == pytest.approx(2.0)


def test_a_stated_history_is_not_judged_itself() -> None:
    # A block far off in the history is what its owner says is in control: its limits are wide, and that shows.
    means = [*LEVELS[:5], 330.0, 300.0, 301.0]
    assert judge_blocks(means).out == {5}
    assert not judge_blocks(means, stated=6).out
    assert judge_blocks(means, stated=3).out == {5}  # three blocks are no history: all are judged by each other


def test_a_step_after_a_stated_history_is_of_the_later_blocks() -> None:
    judged = judge_blocks([*LEVELS[:4], *(level + 4.0 for level in LEVELS)], stated=4)
    assert judged.step is not None
    assert judged.step.blocks == (4, 5, 6, 7, 8, 9)  # more than those before, and still they are what moved


@pytest.mark.slow
@pytest.mark.parametrize(("blocks", "stated", "least"), [(6, 0, 0.29), (10, 0, 0.71), (20, 0, 0.98), (20, 10, 0.98)])
def test_flawless_charts_keep_quiet_and_steps_are_found(blocks: int, stated: int, least: float) -> None:
    """At most 4 % of flawless charts and a step of three standard deviations half way; 2,000 charts, by simulation.

    Measured with 20,000: 32, 75, 99.8 and over 99 % found. Standard errors 0.4 and at most 1.1 points.
    """
    random = np.random.default_rng(blocks + stated)
    charts = 300.0 + random.standard_normal((2_000, blocks))
    assert sum(bool(judge_blocks(chart, stated).out) for chart in charts) / 2_000 < 0.04 + 0.012
    charts[:, blocks // 2 :] += 3.0
    assert sum(bool(judge_blocks(chart, stated).out) for chart in charts) / 2_000 > least


@pytest.mark.parametrize("scale", [1.0, 1e-6, 1e6])
def test_the_unit_of_the_values_changes_no_verdict(scale: float) -> None:
    values = [*LEVELS, 330.0, 300.2]
    assert judge_blocks([scale * value for value in values]).out == judge_blocks(values).out
