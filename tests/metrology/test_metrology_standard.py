"""The chart of a check standard: its limits are its history's, and a block that is apart does not make them."""

from __future__ import annotations

import numpy as np
import pytest

from toolbench.metrology import judge_blocks
from toolbench.metrology.charts import drift_p, drift_ps

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
    assert judged.moving[:2] == pytest.approx([299.8, 300.04])
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


def test_the_farthest_block_has_the_smallest_probability() -> None:
    values = 300 + 0.8 * np.arange(14) + 0.5 * np.random.default_rng(4).standard_normal(14)
    ps = drift_ps(values)
    assert ps.min() == drift_p(values)
    # constructed: a climb, so that the average is farthest from the middle at the end
    assert int(ps.argmin()) == 13


@pytest.mark.parametrize("scale", [1.0, 1e-6, 1e6])
def test_the_unit_of_the_values_changes_no_verdict(scale: float) -> None:
    values = [*LEVELS, 330.0, 300.2]
    assert judge_blocks([scale * value for value in values]).out == judge_blocks(values).out
