"""Runs a side: against the non-central t of scipy, a simulation, and figures worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, special, stats

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
@pytest.mark.parametrize("runs", [3, 4, 7, 12])
@pytest.mark.parametrize("difference", [0.05, 0.12, -0.1])
def test_power_in_blocks_is_that_of_the_noncentral_t(runs: int, difference: float) -> None:
    # Oracle: scipy.stats.nct with n - 1 degrees of freedom, the item's scatter 1 + d times the base's, and d times what a
    # block shares. Its own error is about 1e-9.
    side = Side(in_blocks=True, shared=0.05)
    u = math.sqrt((0.04**2 * (1 + (1 + difference) ** 2) + (difference * 0.05) ** 2) / runs)
    shift, limit = difference / u, stats.t.ppf(0.975, runs - 1)
    expected = stats.nct.sf(limit, runs - 1, shift) + stats.nct.cdf(-limit, runs - 1, shift)
    assert power_of_runs(difference, 0.04, runs, side) == pytest.approx(expected, abs=1e-7)


@pytest.mark.oracle
def test_power_apart_by_integration_over_both_variances() -> None:
    # Oracle: adaptive quadrature of the same probability over two chi-squared densities, 4 runs a side, 30 % of difference
    difference, sd, freedom = 0.3, 0.1, 3
    item, base = (1.3 * sd) ** 2 / 4, sd**2 / 4
    exact = math.sqrt(item + base)

    def part(x: float, y: float) -> float:
        a, b = item * x / freedom, base * y / freedom
        at_ratio = 1.69 * b
        dof = freedom * (a + at_ratio) ** 2 / (a**2 + at_ratio**2)
        limit = special.stdtrit(dof, 0.975) * math.sqrt(a + b)
        rejected = special.ndtr((difference - limit) / exact) + special.ndtr((-difference - limit) / exact)
        return float(rejected * stats.chi2.pdf(x, freedom) * stats.chi2.pdf(y, freedom))

    expected = integrate.dblquad(part, 0, 60, 0, 60, epsabs=1e-7)[0]
    assert power_of_runs(difference, sd, 4, APART) == pytest.approx(expected, abs=2e-6)


def _resolved(difference: float, sd: float, runs: int, blocks: float | None) -> float:
    """Share of 40,000 simulated reports that show the difference: Fieller's interval of the ratio leaves 1."""
    rng = np.random.default_rng(20260401)
    a, b = (1.0 + sd * rng.standard_normal((40_000, runs)) for _ in range(2))
    if blocks is not None:
        shift = blocks * rng.standard_normal((40_000, runs))
        a, b = a + shift, b + shift
    a = a * (1.0 + difference)
    gap = a.mean(axis=1) - b.mean(axis=1)
    if blocks is not None:
        square, dof = (a - b).var(axis=1, ddof=1) / runs, np.full(40_000, runs - 1.0)
    else:
        first, second = a.var(axis=1, ddof=1) / runs, b.var(axis=1, ddof=1) / runs
        at_ratio = second * (a.mean(axis=1) / b.mean(axis=1)) ** 2
        square = first + second
        dof = (first + at_ratio) ** 2 * (runs - 1) / (first**2 + at_ratio**2)
    return float(np.mean(gap**2 > special.stdtrit(dof, 0.975) ** 2 * square))


@pytest.mark.parametrize("blocks", [None, 0.05])
@pytest.mark.parametrize("difference", [0.03, 0.10, 0.30, 0.50, -0.50])
def test_planned_runs_have_the_power_they_were_planned_for(difference: float, blocks: float | None) -> None:
    # Scatters that take 4, 8 and 20 runs a side or so. The bound: 80 % with 2 % either way about what the plan says of its
    # whole number of runs, which is 80 % or more, where one run fewer has less. Binomial error of a share of 0.8: 0.002.
    side = APART if blocks is None else Side(in_blocks=True, shared=blocks)
    for share in (0.4, 0.7, 1.2):
        sd = share * abs(difference)
        runs = needed_runs(difference, sd, side, 0.8, one_row())
        assert runs is not None
        resolved = _resolved(difference, sd, runs, blocks)
        assert resolved == pytest.approx(power_of_runs(difference, sd, runs, side), abs=0.01)
        assert resolved > 0.78
        assert _resolved(difference, sd, runs - 1, blocks) < 0.82


@pytest.mark.parametrize(("difference", "runs"), [(0.05, 12), (0.10, 5)])
def test_runs_with_four_percent_scatter(difference: float, runs: int) -> None:
    # Scatter 4 %, two-sided 5 %, power 80 %: 12 for 5 %, as with pooled degrees of freedom. For 10 % those give 4, of which the
    # test that reports make (Welch, and 1 + d) resolves 75.6 % only, as simulated above: it takes 5.
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
