"""Demand and conductance from runs: against least squares of other makes, and how often intervals hold what was put in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from toolbench.errors import AnalysisError
from toolbench.metrology import coverage_factor
from toolbench.supply.elements import Restriction
from toolbench.supply.fitted import grouped_mean
from toolbench.supply.fitting import fit_conductance, fit_demand, flow_share

C = 2.9e-8
"""2.9 L/(s*bar) in m3/(s*Pa): the demo's wrench (constructed)."""
DRAWS = 2000


def within_two(held: int, share: float, draws: int = DRAWS) -> bool:
    """Whether a count of draws lies inside the central 99.9 % of its binomial distribution."""
    low, high = stats.binom.interval(0.999, draws, share)
    return low <= held <= high


def drawn(rng: np.random.Generator, setups: int, runs: int, between: float, within: float = 0.01):
    pressure = np.repeat(rng.uniform(4.5e5, 7e5, setups), runs)
    error = np.repeat(rng.normal(0, between, setups), runs) + rng.normal(0, within, setups * runs)
    return C * pressure * (1 + error), pressure, [str(k) for k in np.repeat(np.arange(setups), runs)]


def test_demand_of_one_setup_is_the_mean_ratio() -> None:
    # Expected by hand: ratios 2.8, 2.9, 3.0 e-8; sd 0.1e-8, over root three.
    found = fit_demand([2.8e-8 * 6e5, 2.9e-8 * 6e5, 3.0e-8 * 6e5], [6e5] * 3).fitted
    assert found.value == pytest.approx(2.9e-8, rel=1e-12)
    assert found.standard_uncertainty == pytest.approx(0.1e-8 / np.sqrt(3), rel=1e-12)
    assert found.degrees_of_freedom == 2
    assert found.residuals == pytest.approx((-0.1 / 2.9, 0.0, 0.1 / 2.9), abs=1e-12)


@pytest.mark.oracle
def test_demand_agrees_with_weighted_least_squares() -> None:
    """Flow through the origin with scatter in proportion to it: scipy's weighted fit gives the same figure."""
    from scipy.optimize import curve_fit

    flow, pressure, _ = drawn(np.random.default_rng(3), 1, 12, 0.0)
    pressure = pressure * np.linspace(0.8, 1.2, 12)
    flow = flow * np.linspace(0.8, 1.2, 12)
    value, covariance = curve_fit(lambda p, c: 1e-8 * c * p, pressure, flow, p0=[3.0], sigma=pressure)
    found = fit_demand(flow, pressure).fitted
    assert found.value == pytest.approx(1e-8 * value[0], rel=1e-6)
    assert found.standard_uncertainty == pytest.approx(1e-8 * np.sqrt(covariance[0, 0]), rel=1e-5)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("setups", "runs", "between", "share"),
    # Expected: 95 %; setups that do not differ count in near half of the draws, which makes the intervals wider; where they
    # differ as much as runs do, the choice of what to count costs a little (Bancroft 1964).
    [(1, 5, 0.0, 0.95), (3, 4, 0.0, 0.97), (3, 4, 0.03, 0.945), (5, 3, 0.01, 0.93)],
)
def test_intervals_of_the_demand_hold_it(setups: int, runs: int, between: float, share: float) -> None:
    rng = np.random.default_rng(20261)
    held = 0
    for _ in range(DRAWS):
        found = fit_demand(*drawn(rng, setups, runs, between)).fitted
        held += abs(found.value - C) <= coverage_factor(found.degrees_of_freedom) * found.standard_uncertainty
    assert within_two(held, share)


def test_many_runs_of_few_setups_are_not_counted_one_by_one() -> None:
    rng = np.random.default_rng(8)
    flow, pressure, names = drawn(rng, 3, 40, 0.05)
    found = fit_demand(flow, pressure, names)
    assert found.judged_by == "setups"
    assert found.fitted.degrees_of_freedom == pytest.approx(2, rel=1e-12)
    # Balanced: scatter of the three means over root three (GUM H.5.2.5), by hand.
    means = (flow / pressure).reshape(3, 40).mean(axis=1)
    assert found.fitted.standard_uncertainty == pytest.approx(means.std(ddof=1) / np.sqrt(3), rel=1e-9)


def test_shared_scales_add_to_the_uncertainty_and_its_degrees_of_freedom() -> None:
    flow, pressure, _ = drawn(np.random.default_rng(1), 1, 3, 0.0)
    plain, shared = fit_demand(flow, pressure).fitted, fit_demand(flow, pressure, flow_scale=0.03).fitted
    assert shared.relative_uncertainty == pytest.approx(np.hypot(plain.relative_uncertainty, 0.03), rel=1e-12)
    assert shared.degrees_of_freedom > 100


def test_an_intercept_that_is_clear_is_told() -> None:
    rng = np.random.default_rng(2)
    pressure = np.linspace(4e5, 8e5, 9)
    flow = (C * pressure + 2e-3) * (1 + rng.normal(0, 0.005, 9))
    found = fit_demand(flow, pressure)
    assert not found.proportional
    assert found.intercept_m3_s == pytest.approx(2e-3, abs=3 * found.intercept_uncertainty_m3_s)
    assert fit_demand(C * pressure * (1 + rng.normal(0, 0.005, 9)), pressure).proportional


@pytest.mark.slow
def test_the_intercept_cries_wolf_as_often_as_it_says() -> None:
    rng = np.random.default_rng(31)
    pressure = np.linspace(4e5, 8e5, 9)
    cried = sum(
        not fit_demand(C * pressure * (1 + rng.normal(0, 0.01, 9)), pressure).proportional for _ in range(DRAWS)
    )
    assert within_two(cried, 0.01)


def test_pressures_that_are_all_alike_test_nothing() -> None:
    found = fit_demand([0.0203, 0.0202, 0.0204], [7e5, 7.01e5, 7.02e5])
    assert found.intercept_m3_s is None
    assert found.proportional


def test_without_an_inlet_pressure_the_figure_is_effective_and_of_one_setup() -> None:
    flow, pressure, names = drawn(np.random.default_rng(5), 2, 3, 0.0)
    with pytest.raises(AnalysisError, match="hold for one setup"):
        fit_demand(flow, pressure, names, at_inlet=False)
    found = fit_demand(flow, pressure, at_inlet=False).fitted
    assert found.effective
    assert "effective for this setup" in found.note


def test_one_run_is_refused() -> None:
    with pytest.raises(AnalysisError, match="two runs or more"):
        fit_demand([0.02], [7e5])


@given(st.permutations(range(9)))
@settings(max_examples=25, deadline=None)
def test_the_order_of_runs_does_not_matter(order: list[int]) -> None:
    flow, pressure, names = drawn(np.random.default_rng(4), 3, 3, 0.02)
    first = fit_demand(flow, pressure, names).fitted
    other = fit_demand(flow[order], pressure[order], [names[k] for k in order]).fitted
    assert other.value == pytest.approx(first.value, rel=1e-13)
    assert other.standard_uncertainty == pytest.approx(first.standard_uncertainty, rel=1e-9)


# ---- a conductance between two pressures ----------------------------------------------------------------------------

COUPLER, B = 9e-8, 0.35


def through(inlet: np.ndarray, outlet: np.ndarray) -> np.ndarray:
    """ISO 6358-1 written out once more (oracle)."""
    ratio = outlet / inlet
    return COUPLER * inlet * np.sqrt(1 - ((ratio - B) / (1 - B)) ** 2)


def test_nz7_the_ellipse() -> None:
    # Constructed in the list of checks: C 5 dm3/(s bar), b 0.3, 7 to 6 bar abs: 21.1891385 dm3/s; to 2 bar: choked, 35.
    assert 5 * 7 * flow_share(np.array([6 / 7, 2 / 7]), 0.3) == pytest.approx([21.1891385, 35.0], rel=1e-8)


def test_conductance_is_found_again() -> None:
    inlet = np.array([7.0e5, 7.2e5, 6.8e5])
    outlet = inlet - 0.3e5
    found = fit_conductance(through(inlet, outlet), inlet, outlet, critical_pressure_ratio=B, drop_pa=500.0)
    assert found.value == pytest.approx(COUPLER, rel=1e-9)
    # By hand, near no loss: C goes with one over the root of the drop, so 500 Pa of 30 kPa are about 0.83 %.
    b_part = abs(
        fit_conductance(
            through(inlet, outlet), inlet, outlet, critical_pressure_ratio=B + 0.05, critical_pressure_ratio_u=0.0
        ).value
        / COUPLER
        - 1
    )
    assert found.relative_uncertainty == pytest.approx(np.hypot(0.0083, b_part), rel=0.05)


def test_the_line_model_and_the_fit_are_one_law() -> None:
    """What the package's coupler makes of a flow is fitted back to its conductance, at another temperature too."""
    coupler, inlet = Restriction(sonic_conductance=COUPLER, critical_pressure_ratio=B), np.array([7.0e5, 7.1e5])
    for kelvin in (293.15, 273.15):
        outlet = coupler.outlet_pressure(0.02, inlet, kelvin)
        found = fit_conductance([0.02] * 2, inlet, outlet, critical_pressure_ratio=B, temperature_k=kelvin)
        assert found.value == pytest.approx(COUPLER, rel=1e-9)


def test_a_choked_piece_needs_no_ratio() -> None:
    inlet = np.array([7.0e5, 7.2e5])
    found = fit_conductance(through(inlet, 0.35 * inlet), inlet, 0.2 * inlet, critical_pressure_ratio=B)
    assert found.value == pytest.approx(COUPLER, rel=1e-9)
    assert found.relative_uncertainty < 1e-9


def test_a_drop_within_its_uncertainty_is_refused() -> None:
    inlet = np.array([7.0e5, 7.0e5, 7.0e5])
    outlet = inlet - np.array([900.0, 1000.0, 1100.0])
    with pytest.raises(AnalysisError, match="too close to its standard uncertainty"):
        fit_conductance(through(inlet, outlet), inlet, outlet, critical_pressure_ratio=B, drop_pa=1000.0)


@pytest.mark.slow
def test_intervals_of_the_conductance_hold_it() -> None:
    """Constructed: gauges with a shared zero error, runs with scatter, an assumed ratio that is off by its uncertainty."""
    rng = np.random.default_rng(77)
    held = 0
    inlet = np.full(5, 7e5)
    for _ in range(DRAWS):
        outlet = inlet - rng.normal(0.3e5, 300.0, 5)
        flow = through(inlet, outlet) * (1 + rng.normal(0, 0.01, 5))
        found = fit_conductance(
            flow,
            inlet,
            outlet + rng.normal(0, 700.0),
            critical_pressure_ratio=B + rng.normal(0, 0.05),
            drop_pa=700.0,
        )
        held += abs(found.value - COUPLER) <= coverage_factor(found.degrees_of_freedom) * found.standard_uncertainty
    assert within_two(held, 0.95)


def test_setups_with_one_run_each_are_their_own_scatter() -> None:
    found = grouped_mean(np.array([1.0, 1.1, 0.9]), ["a", "b", "c"], what="x")
    assert found.judged_by == "setups"
    assert found.degrees_of_freedom == 2
