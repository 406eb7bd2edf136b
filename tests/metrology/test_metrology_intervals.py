"""Intervals of ratios, verdicts, and what a number of runs can resolve."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbench.metrology import coverage_factor, judge, one_sided, ratio_interval, smallest_resolvable, within_limit
from toolbench.metrology.intervals import coverage_factors, difference_interval, power_of_t
from toolbench.records.comparison import Component, Estimate, Interval


def level(value: float, **parts: tuple[float, float]) -> Estimate:
    return Estimate(
        value=value,
        unit="N*m",
        components=tuple(
            Component(
                source=name,
                label=name,
                contribution=u,
                degrees_of_freedom=dof,
                evaluation="A" if name.startswith("scatter") else "B",
            )
            for name, (u, dof) in parts.items()
        ),
    )


def test_fieller_by_hand() -> None:
    # By hand: a = b = 100, u = 10 each, k = 1.959964: (1e4 +- sqrt(1e8 - (1e4 - 100 k^2)^2)) / (1e4 - 100 k^2)
    k2 = 1.959963984540054**2
    square = 1e4 - 100 * k2
    root = math.sqrt(1e8 - square**2)
    found = ratio_interval(level(100, scatter_a=(10, math.inf)), level(100, scatter_b=(10, math.inf)))
    assert found is not None
    assert found.lower == pytest.approx(100 * ((1e4 - root) / square - 1), rel=1e-9)
    assert found.upper == pytest.approx(100 * ((1e4 + root) / square - 1), rel=1e-9)
    assert found.upper > -found.lower  # an interval of a ratio is not symmetric


def test_shared_scale_cancels_exactly_however_large() -> None:
    bare = ratio_interval(level(412, scatter_a=(2, 4)), level(397, scatter_b=(3, 4)))
    a = level(412, scatter_a=(2, 4), scale=(0.3 * 412, math.inf))
    b = level(397, scatter_b=(3, 4), scale=(0.3 * 397, math.inf))
    found = ratio_interval(a, b)
    assert bare is not None
    assert found is not None
    assert (found.lower, found.upper) == (bare.lower, bare.upper)


def test_shared_zero_error_stays() -> None:
    bare = ratio_interval(level(412, scatter_a=(2, 4)), level(200, scatter_b=(1, 4)))
    zero = ratio_interval(
        level(412, scatter_a=(2, 4), zero=(5, math.inf)), level(200, scatter_b=(1, 4), zero=(5, math.inf))
    )
    assert bare is not None
    assert zero is not None
    assert zero.upper - zero.lower > 1.5 * (bare.upper - bare.lower)


def test_base_not_well_away_from_zero_has_no_interval() -> None:
    assert ratio_interval(level(10, scatter_a=(1, 4)), level(2, scatter_b=(1, 4))) is None  # t(4) x 1 > 2
    assert ratio_interval(level(10, scatter_a=(1, 4)), level(0, scatter_b=(1, 4))) is None


positive = st.floats(1.0, 1e3)
well_away = st.floats(30.0, 1e3)
"""Of zero: a base that its own uncertainty nearly reaches loses digits."""


@given(
    well_away, well_away, st.floats(1e-4, 0.05), st.floats(1e-4, 0.05), st.integers(2, 30), st.integers(2, 30), positive
)
def test_swapping_the_base_inverts_the_ratio(
    a: float, b: float, ua: float, ub: float, na: int, nb: int, zero: float
) -> None:
    shared = 1e-3 * zero
    first = level(a, scatter_a=(a * ua, na), zero=(shared, 50))
    second = level(b, scatter_b=(b * ub, nb), zero=(shared, 50))
    one, other = ratio_interval(first, second), ratio_interval(second, first)
    if one is None or other is None:
        return
    assert (1 + one.lower / 100) * (1 + other.upper / 100) == pytest.approx(1, rel=1e-12, abs=0)
    assert (1 + one.upper / 100) * (1 + other.lower / 100) == pytest.approx(1, rel=1e-12, abs=0)


@given(positive, positive, st.sampled_from([1.3558179483314004, 1e-3, 9.80665]))
def test_a_change_of_unit_changes_nothing(a: float, b: float, unit: float) -> None:
    first = ratio_interval(level(a, scatter_a=(a / 50, 4)), level(b, scatter_b=(b / 80, 6)))
    other = ratio_interval(level(a * unit, scatter_a=(a * unit / 50, 4)), level(b * unit, scatter_b=(b * unit / 80, 6)))
    assert first is not None
    assert other is not None
    assert (first.lower, first.upper) == pytest.approx((other.lower, other.upper), rel=1e-9, abs=1e-9)


def test_at_least_is_between_zero_and_the_estimate() -> None:
    a, b = level(440, scatter_a=(4, 4)), level(400, scatter_b=(4, 4))
    two_sided, bound = ratio_interval(a, b), one_sided(a, b)
    assert two_sided is not None
    assert bound is not None
    assert two_sided.lower < bound < 10.0  # one-sided at the same confidence lies nearer the estimate
    assert one_sided(level(401, scatter_a=(4, 4)), b) is None
    fallen = one_sided(level(360, scatter_a=(4, 4)), b)
    assert fallen is not None
    assert -10.0 < fallen < 0


@pytest.mark.parametrize(
    ("lower", "upper", "verdict", "limit"),
    [
        (0.1, 2.0, "higher", "yes"),
        (-2.0, -0.1, "lower", "yes"),
        (-1.0, 2.0, "not resolved", "yes"),
        (-1.0, 4.0, "not resolved", "undecided"),
        (3.5, 5.0, "higher", "no"),
        (-5.0, -3.5, "lower", "no"),
        (math.nan, math.nan, "not assessed", "undecided"),
    ],
)
def test_verdicts(lower: float, upper: float, verdict: str, limit: str) -> None:
    interval = Interval(lower=lower, upper=upper)
    assert judge(interval) == verdict
    assert within_limit(interval, 3.0) == limit
    assert within_limit(interval, None) == ""
    assert judge(interval, assessed=False) == "not assessed"


@pytest.mark.parametrize(("runs", "half_width"), [(3, 9.1), (5, 5.8), (10, 3.8)])
def test_half_width_of_a_difference_at_four_percent_scatter(runs: int, half_width: float) -> None:
    # By hand: t(0.975, 2n - 2) x 4 % x sqrt(2 / n); 5 runs give 5.83, 10 give 3.76
    u = 4.0 * math.sqrt(2 / runs)
    assert coverage_factor(2 * runs - 2) * u == pytest.approx(half_width, abs=0.05)


@pytest.mark.parametrize(("difference", "runs"), [(5.0, 12), (10.0, 4)])
def test_runs_that_resolve_a_difference_at_four_percent_scatter(difference: float, runs: int) -> None:
    # From the design rules of the bench: 5 % needs 12 runs a side, 10 % needs 4, with 80 % power.
    def resolvable(n: int) -> float:
        return smallest_resolvable(4.0 * math.sqrt(2 / n), 2 * n - 2)

    assert resolvable(runs) <= difference < resolvable(runs - 1)


@pytest.mark.parametrize("dof", [1.0, 1.3, 2.0, 4.0, 30.0, math.inf])
def test_smallest_resolvable_is_shown_four_times_in_five(dof: float) -> None:
    assert power_of_t(smallest_resolvable(1.0, dof), dof) == pytest.approx(0.8, abs=1e-6)


@pytest.mark.parametrize("dof", [1.0, 2.0, 5.0, 50.0])
def test_without_a_difference_the_power_is_the_error_probability(dof: float) -> None:
    assert power_of_t(0.0, dof) == pytest.approx(0.05, abs=1e-5)


def test_nothing_to_judge_by() -> None:
    assert math.isnan(smallest_resolvable(math.nan, 4))
    assert math.isnan(smallest_resolvable(1.0, math.nan))
    assert math.isnan(coverage_factor(math.nan))
    assert math.isnan(difference_interval(level(10, scatter=(math.nan, 4))).lower)


def test_coverage_factors_of_an_array() -> None:
    found = coverage_factors([1.0, 4.0, math.inf, math.nan])
    assert found[:3] == pytest.approx([coverage_factor(d) for d in (1.0, 4.0, math.inf)], rel=1e-12)
    assert math.isnan(found[3])
