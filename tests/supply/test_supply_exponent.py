"""The exponent of torque against pressure: found again, held by its prior, and how often its interval holds it."""

from __future__ import annotations

import numpy as np
import pytest
from bench_model import draw_comparison, true_conditions
from bench_parts import TOOLS, Cell
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from toolbench.metrology import coverage_factor, fit_line
from toolbench.supply.exponent import PRIOR_AIR, fit_exponent, joined
from toolbench.supply.fitted import Fitted

DRAWS = 2000
PRESSURES = np.array([3.3e5, 4.2e5, 5.0e5])
"""About the demo's flowing pressures for a regulator at 4, 5 and 6 bar."""


def within(held: int, share: float) -> bool:
    low, high = stats.binom.interval(0.999, DRAWS, share)
    return low <= held <= high


def drawn(rng: np.random.Generator, n: float, runs: int, scatter: float, offset: float = 0.0):
    pressure = np.repeat(PRESSURES, runs) + rng.normal(0, 1500.0, 3 * runs)
    return pressure, 900 * ((pressure + offset) / 4e5) ** n * np.exp(rng.normal(0, scatter, 3 * runs))


def test_an_exact_law_is_found_again() -> None:
    found = fit_exponent(PRESSURES, 900 * (PRESSURES / 4e5) ** 0.63)
    assert found.fitted.value == pytest.approx(0.63, abs=1e-9)
    assert found.fitted.source == "learned"


@pytest.mark.oracle
def test_runs_alone_agree_with_a_line_in_the_logarithms() -> None:
    pressure, torque = drawn(np.random.default_rng(2), 0.8, 4, 0.015)
    found = fit_exponent(pressure, torque).from_runs
    line = fit_line(np.log(pressure), np.log(torque))
    other = stats.linregress(np.log(pressure), np.log(torque))
    assert found is not None
    assert (found.value, found.standard_uncertainty, found.degrees_of_freedom) == pytest.approx(
        (line.slope, line.slope_uncertainty, line.degrees_of_freedom), rel=1e-9
    )
    assert (found.value, found.standard_uncertainty) == pytest.approx((other.slope, other.stderr), rel=1e-9)


@pytest.mark.oracle
def test_groups_agree_with_least_squares_with_a_level_each() -> None:
    rng = np.random.default_rng(9)
    pressure, torque = drawn(rng, 0.7, 4, 0.01)
    groups = np.tile(["a", "b", "c", "d"], 3)
    torque = torque * np.tile([1.0, 1.05, 0.9, 1.2], 3)
    found = fit_exponent(pressure, torque, groups.tolist())
    dummies = (groups[:, None] == np.array(["a", "b", "c", "d"])).astype(float)
    design = np.column_stack([np.log(pressure), dummies])
    expected, squares, *_ = np.linalg.lstsq(design, np.log(torque), rcond=None)
    variance = squares[0] / (12 - 5) * np.linalg.inv(design.T @ design)[0, 0]
    assert found.from_runs is not None
    assert found.from_runs.value == pytest.approx(expected[0], rel=1e-9)
    assert found.from_runs.standard_uncertainty == pytest.approx(np.sqrt(variance), rel=1e-6)
    assert found.from_runs.degrees_of_freedom == pytest.approx(7)
    assert found.levels["d"] / found.levels["c"] == pytest.approx(1.2 / 0.9, rel=0.03)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("value", "u", "dof"), [(1.1, 0.1, 1.0), (0.3, 0.02, 3.0), (0.8, 0.4, 2.0), (0.7, 0.05, np.inf)]
)
def test_joining_agrees_with_adaptive_quadrature(value: float, u: float, dof: float) -> None:
    fit = stats.norm(value, u) if np.isinf(dof) else stats.t(dof, value, u)
    prior = stats.norm(0.8, 0.2)

    def density(n: float) -> float:
        return float(fit.pdf(n) * prior.pdf(n))

    def moment(power: int) -> float:
        return sum(
            integrate.quad(lambda n: n**power * density(n), a, b, epsabs=1e-13)[0]
            for a, b in [(-1, value - 5 * u), (value - 5 * u, value), (value, value + 5 * u), (value + 5 * u, 4)]
        )

    mean = moment(1) / moment(0)
    sd = np.sqrt(moment(2) / moment(0) - mean**2)
    assert joined(value, u, dof, PRIOR_AIR) == pytest.approx((mean, sd), rel=1e-4)


def test_two_normals_join_by_their_weights() -> None:
    # By hand: weights 1/0.04 and 1/0.04 around 0.8 and 1.0: 0.9, u 0.2 / root two.
    mean, sd = joined(1.0, 0.2, np.inf, PRIOR_AIR)
    assert (mean, sd) == pytest.approx((0.9, 0.2 / np.sqrt(2)), rel=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("runs", "scatter", "truth"),
    [(1, 0.015, None), (2, 0.015, None), (5, 0.015, None), (5, 0.015, 0.6), (5, 0.015, 1.0), (5, 0.04, None)],
)
def test_intervals_hold_the_exponent(runs: int, scatter: float, truth: float | None) -> None:
    """Expected: 95 %, with exponents drawn from the prior or fixed one standard uncertainty beside it."""
    rng = np.random.default_rng(20262)
    held = alone = cried = 0
    for _ in range(DRAWS):
        n = rng.normal(0.8, 0.2) if truth is None else truth
        found = fit_exponent(*drawn(rng, n, runs, scatter))
        held += abs(found.fitted.value - n) <= 1.96 * found.fitted.standard_uncertainty
        assert found.from_runs is not None
        k = coverage_factor(found.from_runs.degrees_of_freedom)
        alone += abs(found.from_runs.value - n) <= k * found.from_runs.standard_uncertainty
        cried += not found.law_fits
    assert within(held, 0.95)
    assert within(alone, 0.95)
    assert cried <= stats.binom.ppf(0.999, DRAWS, 0.01)


@pytest.mark.slow
def test_the_demo_s_exponent_is_held_by_the_interval() -> None:
    """Constructed: five blocks of the demo's stepped runs drawn anew, their level at the flowing pressure of their setting."""
    rng, held, names = np.random.default_rng(20264), 0, ("at-6", "at-5", "at-4")
    cells = [Cell("quernel-1", name, "stepped") for name in names]
    pressure = np.repeat([true_conditions(cell)["flowing_pressure"] for cell in cells], 5)
    groups = [str(block) for block in range(5)] * 3
    for _ in range(DRAWS):
        drawn_levels = draw_comparison(rng, cells, 5)
        torque = np.concatenate([drawn_levels[cell] for cell in cells])
        found = fit_exponent(pressure, torque, groups).fitted
        held += abs(found.value - TOOLS["quernel-1"].exponent) <= 1.96 * found.standard_uncertainty
    assert within(held, 0.95)


def test_two_pressures_leave_the_prior() -> None:
    found = fit_exponent([4e5, 4.1e5, 5e5, 5.1e5], [800.0, 810.0, 950.0, 960.0])
    assert (found.fitted.value, found.fitted.standard_uncertainty) == (0.8, 0.2)
    assert found.fitted.source == "prior"
    assert found.fitted.note == "the runs stand at 2 distinct settings, and it takes 3 to learn it"
    assert found.from_runs is None


def test_groups_that_hold_one_pressure_each_leave_the_prior() -> None:
    assert fit_exponent(PRESSURES, [700.0, 850.0, 970.0], ["a", "b", "c"]).fitted.source == "prior"


def test_runs_below_three_bar_are_left_out_and_told() -> None:
    found = fit_exponent([2.5e5, *PRESSURES], [1.0, *(900 * (PRESSURES / 4e5) ** 0.9)])
    assert found.left_out == 1
    assert "below 3 bar" in found.fitted.note
    assert found.fitted.value == pytest.approx(0.9, abs=1e-9)


def test_runs_that_all_lie_too_low_leave_the_prior_and_no_level() -> None:
    found = fit_exponent([1e5, 2e5, 2.9e5], [100.0, 200.0, 300.0])
    assert (found.left_out, found.distinct, found.reference, found.levels) == (3, 0, None, {})
    assert found.fitted.source == "prior"


def test_prior_or_runs_whichever_knows_more_is_said() -> None:
    rng = np.random.default_rng(5)
    clear, loose = fit_exponent(*drawn(rng, 0.8, 8, 0.005)), fit_exponent(*drawn(rng, 0.8, 2, 0.15))
    assert clear.runs_weight > 0.9
    assert "runs weigh more" in clear.fitted.note
    assert loose.runs_weight < 0.5
    assert "prior weighs more" in loose.fitted.note


def test_runs_that_contradict_the_prior_win_and_are_told() -> None:
    found = fit_exponent(*drawn(np.random.default_rng(6), 1.9, 6, 0.01))
    assert not found.agrees_with_prior
    assert found.fitted.value == pytest.approx(1.9, abs=0.1)


def test_a_bend_that_no_power_law_has_is_told() -> None:
    rng = np.random.default_rng(7)
    pressure = np.repeat([3.2e5, 4.2e5, 5.2e5, 6.2e5], 6)
    torque = (1000 - 8e-9 * (pressure - 4.7e5) ** 2) * np.exp(rng.normal(0, 0.01, 24))
    found = fit_exponent(pressure, torque)
    assert not found.law_fits
    # Judged by how settings scatter about the law: two degrees of freedom are left of four settings.
    assert found.from_runs is not None
    assert found.from_runs.degrees_of_freedom == pytest.approx(2)


def test_a_shared_zero_error_of_the_gauge_is_in_the_uncertainty() -> None:
    """By differences: 10 kPa on every pressure moves the slope by as much as the fit allows for."""
    pressure, torque = drawn(np.random.default_rng(11), 0.8, 5, 1e-5)
    plain, moved = fit_exponent(pressure, torque), fit_exponent(pressure + 1e4, torque)
    with_zero = fit_exponent(pressure, torque, zero_pa=1e4)
    assert plain.from_runs is not None
    assert moved.from_runs is not None
    assert with_zero.from_runs is not None
    shift = moved.from_runs.value - plain.from_runs.value
    assert with_zero.from_runs.standard_uncertainty == pytest.approx(abs(shift), rel=1e-3)


@given(st.floats(0.5, 2.0))
@settings(max_examples=25, deadline=None)
def test_a_shared_scale_of_gauge_or_cell_changes_nothing(scale: float) -> None:
    pressure, torque = drawn(np.random.default_rng(12), 0.8, 3, 0.02)
    pressure = pressure * 2  # so that no run falls below 3 bar
    first, other = fit_exponent(pressure, torque), fit_exponent(pressure, torque * scale)
    assert other.fitted.value == pytest.approx(first.fitted.value, rel=1e-9)
    assert other.fitted.standard_uncertainty == pytest.approx(first.fitted.standard_uncertainty, rel=1e-9)


def test_scatter_of_other_runs_is_pooled() -> None:
    pressure, torque = drawn(np.random.default_rng(13), 0.8, 1, 0.05)
    alone = fit_exponent(pressure, torque)
    pooled = fit_exponent(pressure, torque, repeatability=(0.05, 20.0))
    assert alone.from_runs is not None
    assert pooled.from_runs is not None
    assert pooled.from_runs.degrees_of_freedom == 21
    spread = np.sum((np.log(pressure) - np.log(pressure).mean()) ** 2)
    sd = np.sqrt((20 * 0.05**2 + alone.from_runs.standard_uncertainty**2 * spread) / 21)
    assert pooled.from_runs.standard_uncertainty == pytest.approx(sd / np.sqrt(spread), rel=1e-9)


def test_effective_where_no_inlet_was_tapped() -> None:
    found = fit_exponent(PRESSURES, 900 * (PRESSURES / 4e5) ** 0.6, at_inlet=False)
    assert found.fitted.effective
    assert "effective for this setup" in found.fitted.note


def test_another_prior_can_be_given() -> None:
    stated = Fitted(value=0.5, standard_uncertainty=0.05)
    assert fit_exponent([5e5], [900.0], prior=stated).fitted.value == 0.5
