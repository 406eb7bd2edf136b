"""Published two-sample comparisons, intervals and powers (sources beside each), through the package's own estimates."""

import math
from typing import Literal

import pytest
from scipy import special

from toolbench.metrology import (
    coverage_factor,
    difference,
    difference_interval,
    mean_and_sd,
    one_way_anova,
    pooled_sd,
)
from toolbench.metrology.intervals import power_of_t
from toolbench.metrology.power import Side, power_of_runs
from toolbench.records.comparison import Component, Estimate

pytestmark = pytest.mark.published


def mean_of(name: str, n: int, mean: float, sd: float) -> Estimate:
    part = Component(
        source=name, label=name, contribution=sd / math.sqrt(n), degrees_of_freedom=n - 1.0, evaluation="A"
    )
    return Estimate(value=mean, unit="", components=(part,))


def test_tt1_welch_on_auto83b() -> None:
    # NIST e-Handbook 1.3.5.3 data, figures from Boost's students_t_examples (V): Welch T -12.946, df 136.87
    gap = difference(mean_of("US", 249, 20.14458, 6.41470), mean_of("Japan", 79, 30.48101, 6.10771))
    assert gap.value / gap.standard_uncertainty == pytest.approx(-12.946, abs=1e-3)
    assert gap.degrees_of_freedom == pytest.approx(136.87, abs=0.01)
    pooled, dof = pooled_sd((6.41470, 6.10771), (248, 78))
    assert dof == 326  # V
    assert gap.value / (pooled * math.sqrt(1 / 249 + 1 / 79)) == pytest.approx(-12.62059, abs=2e-5)  # V


def test_tt2_welch_with_four_and_eight() -> None:
    # NAG G07CAF example results (V): Welch t 2.5922, df 8.0, CI [.4410, 7.5590]; sd printed to four digits, so rel 5e-4.
    gap = difference(mean_of("x", 4, 25.0, 0.8185), mean_of("y", 8, 21.0, 4.208))
    interval = difference_interval(gap)
    assert gap.value / gap.standard_uncertainty == pytest.approx(2.5922, rel=5e-4)
    assert gap.degrees_of_freedom == pytest.approx(8.0, abs=0.1)
    # A unit in the last printed digit of the sd moves the half-width 3.559 by 4e-4; unrounded df give .4412 and 7.5588.
    assert interval.lower == pytest.approx(0.4410, abs=5e-4)
    assert interval.upper == pytest.approx(7.5590, abs=5e-4)


def test_tt2_pooled_with_four_and_eight() -> None:
    # NAG G07CAF example results (V): pooled t 1.8403, df 10, p .0955, CI [-.8429, 8.8429]
    pooled, dof = pooled_sd((0.8185, 4.208), (3, 7))
    u = pooled * math.sqrt(1 / 4 + 1 / 8)
    assert dof == 10
    assert 4.0 / u == pytest.approx(1.8403, rel=5e-4)
    assert 2 * special.stdtr(dof, -4.0 / u) == pytest.approx(0.0955, abs=1e-4)
    half = coverage_factor(dof) * u
    assert (4.0 - half, 4.0 + half) == pytest.approx((-0.8429, 8.8429), abs=5e-4)


def test_tt3_pooled_catalysts() -> None:
    # A textbook's catalysts, Example 10-5 (V): pooled sd 2.701, df 14, t -0.35, p 0.730, CI (-3.37, 2.42); the three-digit
    # standard deviations that these need are from memory (M), the page prints 2.39 and 2.99.
    pooled, dof = pooled_sd((2.385, 2.983), (7, 7))
    assert pooled == pytest.approx(2.701, abs=1e-3)
    assert dof == 14
    gap, u = 92.255 - 92.733, pooled * math.sqrt(1 / 8 + 1 / 8)  # means to three digits: M
    assert gap / u == pytest.approx(-0.35, abs=0.01)
    assert 2 * special.stdtr(dof, -abs(gap / u)) == pytest.approx(0.730, abs=2e-3)
    half = coverage_factor(dof) * u
    assert (gap - half, gap + half) == pytest.approx((-3.37, 2.42), abs=0.01)


def test_tt4_welch_from_raw_data() -> None:
    # e-Handbook 7.3.1 (M): means and standard deviations, t 2.269, nu 15.53
    old = (32, 37, 35, 28, 41, 44, 35, 31, 34, 38, 42)
    new = (36, 31, 30, 31, 34, 36, 29, 32, 31)
    assert mean_and_sd(old) == pytest.approx((36.0909, 4.9082), abs=1e-4)
    assert mean_and_sd(new) == pytest.approx((32.2222, 2.5386), abs=1e-4)
    gap = difference(mean_of("old", 11, *mean_and_sd(old)), mean_of("new", 9, *mean_and_sd(new)))
    assert gap.value / gap.standard_uncertainty == pytest.approx(2.269, abs=1e-3)
    assert gap.degrees_of_freedom == pytest.approx(15.53, abs=0.01)


def test_tt5_interval_of_a_mean() -> None:
    # e-Handbook 1.3.5.2 by Boost (V): t 1.972, half-width 3.219e-3, [9.25824, 9.26468]
    interval = difference_interval(mean_of("heat flow", 195, 9.26146, 0.02278881))
    assert coverage_factor(194) == pytest.approx(1.972, abs=1e-3)
    assert 0.5 * (interval.upper - interval.lower) == pytest.approx(3.219e-3, abs=1e-6)
    assert (interval.lower, interval.upper) == pytest.approx((9.25824, 9.26468), abs=1e-5)


def test_tt6_interval_of_three() -> None:
    # Miller and Miller by Boost (V): [35.40438, 40.19562]
    interval = difference_interval(mean_of("mercury", 3, 37.8, 0.964365))
    assert (interval.lower, interval.upper) == pytest.approx((35.40438, 40.19562), abs=2e-5)


def with_exactly(mean: float, sd: float, n: int) -> list[float]:
    """Readings with exactly this mean and standard deviation: a ramp, scaled (constructed)."""
    ramp = [k - (n - 1) / 2 for k in range(n)]
    return [mean + sd * step / mean_and_sd(ramp)[1] for step in ramp]


def test_tt7_analysis_of_variance_from_a_table() -> None:
    # Glantz's table 7-4 as quoted by suncal's tests (V2): MSB 82.3, MSW 12.5, F 6.612, p .003. The source carries rounding,
    # from its own table F is 6.549 (recomputed), so tolerance 0.1 as there.
    table = ((9.2, 2.9, 16), (10.7, 2.8, 22), (13.5, 4.7, 18))
    found = one_way_anova([with_exactly(*row) for row in table])
    assert found.within_sd**2 == pytest.approx(12.5, abs=0.1)
    assert found.f * found.within_sd**2 == pytest.approx(82.3, abs=0.1)
    assert found.f == pytest.approx(6.612, abs=0.1)
    assert found.f == pytest.approx(6.549, abs=1e-3)
    assert found.p == pytest.approx(0.003, abs=5e-4)


def test_pw1_to_pw3_one_sample_powers() -> None:
    # R's pwr, as statsmodels' test_power.py quotes it (V)
    assert power_of_t(1.0 * math.sqrt(30), 29) == pytest.approx(0.999563600961, abs=1e-9)
    assert power_of_t(0.2 * math.sqrt(20), 19) == pytest.approx(0.13595628876797, abs=1e-9)
    assert power_of_t(1.0 * math.sqrt(30), 29, sided=1) == pytest.approx(0.999892010204909, abs=1e-9)


@pytest.mark.parametrize(
    ("wanted", "n", "actual"), [(0.90, 275, 0.900260), (0.95, 347, 0.950006), (0.99, 506, 0.990070)]
)
def test_pw4_runs_needed(wanted: float, n: int, actual: float) -> None:
    # Output of a statistics package (V): standard deviation 20, difference 5, one-sided 5 %
    def power(size: int) -> float:
        return power_of_t(5.0 / (20.0 * math.sqrt(2.0 / size)), 2.0 * size - 2.0, sided=1)

    assert power(n) == pytest.approx(actual, abs=1e-6)
    assert power(n - 1) < wanted <= power(n)


@pytest.mark.parametrize(("actual", "n"), [(0.900260, 275), (0.950006, 347), (0.990070, 506)])
def test_pw4_by_the_design_of_a_plan(actual: float, n: int) -> None:
    # PW4 again (V), as small shares of the level, where a ratio is a difference; its one-sided 5 % are two-sided 10 %, but for
    # a tail of less than 1e-6. A plan judges each side by its own variance, which costs some 1e-5 at so many runs.
    assert power_of_runs(5e-6, 20e-6, n, Side(in_blocks=False), 0.10) == pytest.approx(actual, abs=2e-5)


def test_pw6_exact_noncentral_size() -> None:
    # e-Handbook 7.2.2.2 (M): delta = sigma, alpha .05, beta .10 one-sided; the exact size is 10.08, so 11 are needed
    assert power_of_t(math.sqrt(10), 9, sided=1) < 0.9 <= power_of_t(math.sqrt(11), 10, sided=1)


def test_pw5_runs_for_a_known_scatter() -> None:
    # e-Handbook 7.2.2.2 (V): N >= (1.96 / delta)^2 sigma^2. With sigma 4 and delta 1: 61.5, so 62 runs keep within delta.
    assert coverage_factor(math.inf) * 4.0 / math.sqrt(62) <= 1.0 < coverage_factor(math.inf) * 4.0 / math.sqrt(61)


def test_pw6_size_for_a_known_scatter() -> None:
    # e-Handbook 7.2.2.2 (M): with z instead of t the size is 8.567, which is (1.645 + 1.282)^2; unrounded it is 8.5638.
    assert power_of_t(math.sqrt(8.567), math.inf, sided=1) == pytest.approx(0.9, abs=2e-4)
    assert power_of_t(special.ndtri(0.95) + special.ndtri(0.9), math.inf, sided=1) == pytest.approx(0.9, abs=1e-12)


@pytest.mark.parametrize(("sided", "printed", "exact"), [(1, 12, 10), (2, 14, 13)])
def test_pw7_printed_sizes_are_enough(sided: Literal[1, 2], printed: int, exact: int) -> None:
    # Boost's table of sample sizes (V): mean 37.8 against 38.9, sd .96437, alpha = beta = 5 %: 12 one-sided, 14 two-sided,
    # by an approximation. The exact sizes by the non-central t-distribution (recomputed) are smaller, so these suffice.
    shift = (38.9 - 37.8) / 0.96437

    def power(n: int) -> float:
        return power_of_t(shift * math.sqrt(n), n - 1.0, sided=sided)

    assert power(exact - 1) < 0.95 <= power(exact) <= power(printed)
