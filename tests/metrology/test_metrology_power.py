"""Runs a side: against the non-central t of scipy, a simulation, and figures worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from toolbench.metrology.power import (
    MOST_RUNS,
    PlannedFamily,
    Scatter,
    Side,
    bought,
    needed_runs,
    one_row,
    power_of_runs,
    residual_scatter,
)

APART, BLOCKS = Side(in_blocks=False), Side(in_blocks=True)


@pytest.mark.oracle
@pytest.mark.parametrize("runs", [3, 4, 7, 12, 40])
@pytest.mark.parametrize("side", [APART, BLOCKS])
def test_power_is_that_of_the_noncentral_t(runs: int, side: Side) -> None:
    # Oracle: scipy.stats.nct, with 2 (n - 1) degrees of freedom apart and n - 1 in blocks. Its own error is about 1e-9.
    dof = runs - 1 if side.in_blocks else 2 * (runs - 1)
    shift, limit = 0.05 / (0.04 * math.sqrt(2 / runs)), stats.t.ppf(0.975, dof)
    expected = stats.nct.sf(limit, dof, shift) + stats.nct.cdf(-limit, dof, shift)
    assert power_of_runs(0.05, 0.04, runs, side) == pytest.approx(expected, abs=1e-7)


def test_power_by_integration_over_the_standard_deviation() -> None:
    # Oracle: P(|Z + shift| > t s) integrated over the chi density of s, 5 runs a side, by adaptive quadrature
    dof, shift, limit = 8, 0.05 / (0.04 * math.sqrt(2 / 5)), stats.t.ppf(0.975, 8)

    def part(s: float) -> float:
        density = stats.chi.pdf(s * math.sqrt(dof), dof) * math.sqrt(dof)
        return float(density * (stats.norm.sf(limit * s - shift) + stats.norm.cdf(-limit * s - shift)))

    expected = integrate.quad(part, 0, 5, epsabs=1e-12)[0]
    assert power_of_runs(0.05, 0.04, 5, APART) == pytest.approx(expected, abs=1e-9)


def test_power_in_blocks_by_simulation() -> None:
    # 20,000 simulated tests on 6 blocks whose shared shifts (5 %) drop out; binomial error of a share of 0.8: 0.003
    runs, sd, difference = 6, 0.02, 0.035
    rng = np.random.default_rng(20260401)
    shift = rng.normal(0, 0.05, (20_000, runs, 1))
    both = rng.normal(0, sd, (20_000, runs, 2)) + shift
    gaps = both[:, :, 0] - both[:, :, 1] + difference
    t = gaps.mean(axis=1) / (gaps.std(axis=1, ddof=1) / math.sqrt(runs))
    resolved = float(np.mean(np.abs(t) > stats.t.ppf(0.975, runs - 1)))
    assert power_of_runs(difference, sd, runs, BLOCKS) == pytest.approx(resolved, abs=0.01)


@pytest.mark.parametrize(("difference", "runs"), [(0.05, 12), (0.10, 4)])
def test_runs_with_four_percent_scatter(difference: float, runs: int) -> None:
    # Constructed elsewhere from the same formulas: scatter 4 %, two-sided 5 %, power 80 %: 12 for 5 %, 4 for 10 %
    assert needed_runs(difference, 0.04, APART, 0.8, one_row()) == runs
    assert power_of_runs(difference, 0.04, runs - 1, APART) < 0.8 <= power_of_runs(difference, 0.04, runs, APART)


@pytest.mark.parametrize(("runs", "half"), [(3, 0.091), (5, 0.058), (10, 0.038)])
def test_half_width_with_four_percent_scatter(runs: int, half: float) -> None:
    # By hand: t(2n-2) x 4 % x sqrt(2/n), as 2.776 x 3.266 % = 9.07 % for three
    assert bought(0.04, runs, APART, 0.05).half_width == pytest.approx(half, abs=5e-4)


def test_what_is_bought_and_what_is_needed_agree() -> None:
    # The smallest difference that n runs resolve needs n runs, and a hair less of it n + 1.
    found = bought(0.02, 7, BLOCKS, 0.05)
    assert needed_runs(1.0001 * found.resolvable, 0.02, BLOCKS, 0.8, one_row()) == 7
    assert needed_runs(0.9999 * found.resolvable, 0.02, BLOCKS, 0.8, one_row()) == 8


def test_too_many_runs_and_none_at_all() -> None:
    assert needed_runs(0.0001, 0.04, APART, 0.8, one_row()) is None
    assert needed_runs(0.5, 0.001, APART, 0.8, one_row()) == 2
    assert needed_runs(0.5, 0.001, BLOCKS, 0.8, one_row()) == 3  # fewer blocks are not judged as blocks
    assert math.isnan(bought(0.02, 2, BLOCKS, 0.05).resolvable)


def test_a_shared_error_is_not_bought_away() -> None:
    # By hand: with 2 % that all runs share, no number of runs shows 3 %: 3 / 2 standard uncertainties have power 0.32.
    side = Side(in_blocks=False, fixed=0.02)
    assert needed_runs(0.03, 0.01, side, 0.8, one_row()) is None
    assert power_of_runs(0.03, 1e-6, MOST_RUNS, side) == pytest.approx(
        stats.norm.sf(1.959964 - 1.5) + stats.norm.sf(1.959964 + 1.5), abs=1e-4
    )


def test_interval_of_a_scatter() -> None:
    # By hand from chi-squared tables with 10 degrees of freedom: 3.247 and 20.483
    ends = Scatter(sd=0.02, degrees_of_freedom=10).interval()
    assert ends.lower == pytest.approx(0.02 * math.sqrt(10 / 20.483), rel=1e-4)
    assert ends.upper == pytest.approx(0.02 * math.sqrt(10 / 3.247), rel=1e-4)
    stated = Scatter(sd=0.02, degrees_of_freedom=math.inf).interval()
    assert (stated.lower, stated.upper) == (0.02, 0.02)


def test_scatter_pooled_over_items() -> None:
    # By hand: relative deviations ±1 % about 100 and ±2 % about 50: sqrt((2e-4 + 8e-4) / 2)
    found = residual_scatter([np.array([99.0, 101.0]), np.array([49.0, 51.0]), np.array([7.0])])
    assert found is not None
    assert (found.sd, found.degrees_of_freedom) == (pytest.approx(math.sqrt(5e-4)), 2)
    assert residual_scatter([np.array([7.0]), np.array([8.0])]) is None
    constant = residual_scatter([np.array([7.0, 7.0, 7.0])])
    assert constant is not None
    assert constant.sd == 0


def test_scatter_within_blocks_leaves_out_what_a_block_shares() -> None:
    # By hand: both items move by +-10 % together, and by +-1 % against each other.
    days = np.array([1.1, 0.9, 1.1, 0.9])
    apart = np.array([0.01, 0.01, -0.01, -0.01])
    names = ["a", "b", "c", "d"]
    found = residual_scatter([100 * (days + apart), 50 * (days - apart)], [names, names])
    assert found is not None
    assert found.degrees_of_freedom == 3  # 8 runs, 2 items, 4 blocks, of which one level is shared
    assert found.sd == pytest.approx(math.sqrt(8 * 1e-4 / 3), rel=1e-6)


def test_family_level_lies_between_one_row_and_bonferroni() -> None:
    def family(correlation: float) -> PlannedFamily:
        rows = tuple(tuple(1.0 if i == j else correlation for j in range(4)) for i in range(4))
        return PlannedFamily(pairs=((1, 0), (2, 0)), correlation=rows, in_blocks=True)

    loose, tight = family(0.0).level(7), family(0.999).level(7)
    assert family(0.0).size == 8
    assert 0.05 / 8 <= loose < tight <= 0.05
    assert tight > 0.05 / 3  # two items against one base, not eight rows
    single = PlannedFamily(pairs=((1, 0),), correlation=((1.0,),), in_blocks=False)
    assert single.level(5) == pytest.approx(0.05)
