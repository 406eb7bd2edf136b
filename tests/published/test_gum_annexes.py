"""The GUM's worked examples (JCGM 100:2008, Annexes G and H) and the t-table.

None of the Annex H figures was read in the GUM itself: "V2" figures are quoted by other public projects that cite it, "M"
figures are from memory. All were recomputed independently. As the GUM's Annex H says, figures computed from printed inputs
may differ a little from the printed ones: tolerance one unit in the last printed digit.
"""

import math

import numpy as np
import pytest
from scipy import special

from toolbench.metrology import (
    ItemRuns,
    Row,
    combine,
    compare_items,
    correlated_means,
    coverage_factor,
    expanded,
    fit_line,
    one_way_anova,
    pooled_sd,
)
from toolbench.metrology.calibration import correction_uncertainty, fit_calibration
from toolbench.metrology.propagation import covariance, welch_satterthwaite
from toolbench.metrology.sittings import find_precision
from toolbench.metrology.type_a import mean_and_sd
from toolbench.records.comparison import Component, Estimate

pytestmark = pytest.mark.published


def estimate(value: float, source: str, u: float, dof: float = math.inf) -> Estimate:
    part = Component(source=source, label=source, contribution=u, degrees_of_freedom=dof)
    return Estimate(value=value, unit="nm", components=(part,))


def end_gauge() -> Estimate:
    """H.1: l = ls + d - ls (dalpha theta + alphas dtheta), lengths in nm."""
    ls, theta, alphas = 50_000_623.0, -0.1, 11.5e-6
    standard = estimate(ls, "standard", 25.0, 18)
    parts = [(5.8, 24), (3.9, 5), (6.7, 8)]
    d = [(estimate(215.0 / 3, f"comparison {k}", u, dof), 1.0) for k, (u, dof) in enumerate(parts)]
    dalpha = estimate(0.0, "expansion", 1e-6 / math.sqrt(3), 50)
    dtheta = estimate(0.0, "temperature", 0.05 / math.sqrt(3), 2)
    return combine(ls + 215.0, "nm", [(standard, 1.0), *d, (dalpha, -ls * theta), (dtheta, -ls * alphas)])


def test_h1_end_gauge() -> None:
    length = end_gauge()
    parts = {c.source: abs(c.contribution) for c in length.components}
    assert length.value == pytest.approx(50_000_838, abs=1)  # H.1.3.2 (V2)
    assert length.standard_uncertainty == pytest.approx(32, abs=1)  # H.1.4: 32 nm (V2)
    assert length.standard_uncertainty**2 == pytest.approx(1002, abs=1)  # H.1.4 (V2)
    assert parts["expansion"] == pytest.approx(2.9, abs=0.1)  # H.1.3.4 (V2)
    assert parts["temperature"] == pytest.approx(16.6, abs=0.1)  # H.1.3.4 (V2)
    assert length.degrees_of_freedom == pytest.approx(16.7, abs=0.1)  # H.1.6 (V2)


def test_h1_expanded_uncertainty_with_whole_degrees_of_freedom() -> None:
    length = end_gauge()
    assert coverage_factor(16, 0.99) == pytest.approx(2.92, abs=0.01)  # H.1.6 (V2)
    # H.1.6 prints 93 nm, as 2.92 x 32; unrounded it is 92.48 (recomputed with GTC and metrolopy).
    assert coverage_factor(16, 0.99) * length.standard_uncertainty == pytest.approx(93, abs=1)


def test_h1_comparison_of_lengths() -> None:
    contributions, dofs = (5.8, 3.9, 6.7), (24, 5, 8)
    assert math.hypot(*contributions) == pytest.approx(9.7, abs=0.1)  # H.1.3.2 (V2)
    # The GUM prints 25.6, from rounded parts; unrounded it is 25.447251 (recomputed).
    assert welch_satterthwaite(contributions, dofs) == pytest.approx(25.447251, abs=1e-6)


SETS = np.array(
    [  # Table H.2 (V): volt, ampere, radian
        [5.007, 19.663e-3, 1.0456],
        [4.994, 19.639e-3, 1.0438],
        [5.005, 19.640e-3, 1.0468],
        [4.990, 19.685e-3, 1.0428],
        [4.999, 19.678e-3, 1.0433],
    ]
)


def impedance() -> dict[str, Estimate]:
    v, i, phi = correlated_means(SETS, ("V", "A", "rad"), name="sets")
    z, c, s = v.value / i.value, math.cos(phi.value), math.sin(phi.value)
    return {
        "R": combine(z * c, "ohm", [(v, c / i.value), (i, -z * c / i.value), (phi, -z * s)]),
        "X": combine(z * s, "ohm", [(v, s / i.value), (i, -z * s / i.value), (phi, z * c)]),
        "Z": combine(z, "ohm", [(v, 1 / i.value), (i, -z / i.value)]),
    }


def test_h2_means_and_their_correlations() -> None:
    v, i, phi = correlated_means(SETS, ("V", "A", "rad"), name="sets")
    assert v.value == pytest.approx(4.9990, abs=1e-4)  # Table H.2 (V2), and below
    assert i.value == pytest.approx(19.6610e-3, abs=1e-7)
    assert phi.value == pytest.approx(1.04446, abs=1e-5)
    assert v.standard_uncertainty == pytest.approx(0.0032, abs=1e-4)
    assert i.standard_uncertainty == pytest.approx(0.0095e-3, abs=1e-7)
    assert phi.standard_uncertainty == pytest.approx(0.00075, abs=1e-5)
    for a, b, r in ((v, i, -0.36), (v, phi, 0.86), (i, phi, -0.65)):
        assert covariance(a, b) / (a.standard_uncertainty * b.standard_uncertainty) == pytest.approx(r, abs=0.01)


@pytest.mark.parametrize(
    ("name", "value", "u"),
    [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)],  # Table H.4 (V2)
)
def test_h2_impedance(name: str, value: float, u: float) -> None:
    found = impedance()[name]
    assert found.value == pytest.approx(value, abs=1e-3)
    assert found.standard_uncertainty == pytest.approx(u, abs=1e-3)
    assert found.degrees_of_freedom == pytest.approx(4)  # Willink 2007, and GTC's ensembles


@pytest.mark.parametrize(("first", "second", "r"), [("R", "X", -0.588), ("R", "Z", -0.485), ("X", "Z", 0.993)])
def test_h2_correlations_of_the_results(first: str, second: str, r: float) -> None:
    a, b = impedance()[first], impedance()[second]  # Table H.4 (V2)
    assert covariance(a, b) / (a.standard_uncertainty * b.standard_uncertainty) == pytest.approx(r, abs=1e-3)


def test_h2_each_set_by_itself() -> None:
    """H.2.4, approach 2: R, X and Z of every set, then their means."""
    v, i, phi = SETS.T
    each = np.stack([v / i * np.cos(phi), v / i * np.sin(phi), v / i], axis=1)
    means = correlated_means(each, ("ohm",) * 3, name="each")
    # Table H.4 (V2) by approach 1, from which the GUM says approach 2 hardly differs; to six digits: recomputed (R).
    for found, published, value, u in zip(
        means,
        (127.732, 219.847, 254.260),
        (127.731630, 219.846895, 254.260050),
        (0.071274, 0.295489, 0.236248),
        strict=True,
    ):
        assert found.value == pytest.approx(published, abs=1e-3)
        assert found.value == pytest.approx(value, abs=1e-6)
        assert found.standard_uncertainty == pytest.approx(u, abs=1e-6)
        assert found.degrees_of_freedom == pytest.approx(4)
    for a, b, r in ((0, 1, -0.588277), (0, 2, -0.485065), (1, 2, 0.992508)):  # R; published -0.588, -0.485, 0.993 (V2)
        share = covariance(means[a], means[b]) / (means[a].standard_uncertainty * means[b].standard_uncertainty)
        assert share == pytest.approx(r, abs=1e-6)


TEMPERATURES = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def test_h3_calibration_line() -> None:
    line = fit_line(TEMPERATURES, CORRECTIONS, origin=20.0)
    assert line.intercept == pytest.approx(-0.1712, abs=1e-4)  # H.3.3 (V2), and below
    assert line.intercept_uncertainty == pytest.approx(0.0029, abs=1e-4)
    assert line.slope == pytest.approx(0.00218, abs=1e-5)
    assert line.slope_uncertainty == pytest.approx(0.00067, abs=1e-5)
    assert line.correlation == pytest.approx(-0.930, abs=1e-3)
    assert line.residual_sd == pytest.approx(0.0035, abs=1e-4)
    assert line.degrees_of_freedom == 9


def test_h3_predicted_correction_needs_the_covariance() -> None:
    line = fit_line(TEMPERATURES, CORRECTIONS, origin=20.0)
    value, u = line.at(30.0)
    assert value == pytest.approx(-0.1494, abs=1e-4)  # H.3.4 (V2)
    assert u == pytest.approx(0.0041, abs=1e-4)  # H.3.4 (V2)
    forgotten = math.hypot(line.intercept_uncertainty, 10.0 * line.slope_uncertainty)
    assert forgotten == pytest.approx(0.007273, abs=1e-6)  # constructed: what the mistake would give


def test_h3_origin_at_the_mean_removes_the_correlation() -> None:
    line = fit_line(TEMPERATURES, CORRECTIONS, origin=float(np.mean(TEMPERATURES)))
    assert line.correlation == pytest.approx(0.0, abs=1e-9)
    assert line.at(30.0)[1] == pytest.approx(fit_line(TEMPERATURES, CORRECTIONS, origin=20.0).at(30.0)[1], rel=1e-12)


DAILY_MEANS = (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)  # Table H.9 (V2), microvolt above 10 V
DAILY_SD = (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)


def daily_readings() -> list[list[float]]:
    # Five readings with exactly the printed mean and standard deviation: the pattern has mean 0 and standard deviation 1.
    return [
        [10.0 + 1e-6 * (mean + sd * step) for step in (-1, -1, 0, 1, 1)]
        for mean, sd in zip(DAILY_MEANS, DAILY_SD, strict=True)
    ]


def test_h5_analysis_of_variance() -> None:
    found = one_way_anova(daily_readings())
    assert found.within_sd == pytest.approx(85e-6, abs=1e-6)  # H.5.2.3 (V2)
    # The GUM prints F = 2.25 (5 x 57^2 / 85^2); from its own table it is 2.2615 (recomputed).
    assert found.f == pytest.approx(2.2615, abs=1e-4)
    assert found.f == pytest.approx(2.25, abs=0.02)
    assert found.between_sd == pytest.approx(43e-6, abs=1e-6)  # H.5.2.5 (M)
    assert (found.between_degrees_of_freedom, found.within_degrees_of_freedom) == (9, 40)
    assert 0.025 < found.p < 0.05  # H.5.2.4 (M): beyond F0.95 = 2.12, not beyond F0.975 = 2.45


def test_h5_pooled_within_day() -> None:
    s, dof = pooled_sd(DAILY_SD, [4] * 10)
    assert s == pytest.approx(85, abs=1)  # H.5.2.3 (V2)
    assert dof == 40


def test_g41_product_of_three() -> None:
    parts = [estimate(1.0, name, u, dof) for name, u, dof in (("x1", 0.25, 9), ("x2", 0.57, 4), ("x3", 0.83, 14))]
    found = combine(100.0, "nm", [(part, 1.0) for part in parts])
    assert found.standard_uncertainty == pytest.approx(1.03, abs=0.01)  # G.4.1 (M); unrounded 1.0374
    assert found.degrees_of_freedom == pytest.approx(19.0, abs=0.1)  # G.4.1 (M); unrounded 19.077
    assert expanded(found).uncertainty == pytest.approx(2.2, abs=0.1)  # G.4.1 (M)


# NIST TN 1297 Table B.1 (V), the same table as GUM G.2. Its cell (35, 90 %) is printed 1.70 where 1.69 is right: left out.
T_TABLE = [
    *((0.95, nu, t, 0.01) for nu, t in [(1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (6, 2.45), (7, 2.36)]),
    *(
        (0.95, nu, t, 0.01)
        for nu, t in [(8, 2.31), (9, 2.26), (10, 2.23), (16, 2.12), (19, 2.09), (20, 2.09), (50, 2.01)]
    ),
    (0.95, 100, 1.984, 0.001),
    (0.95, math.inf, 1.960, 0.001),
    # The column headed 95.45 uses the exact fraction of two standard deviations.
    *((math.erf(math.sqrt(2)), nu, t, 0.01) for nu, t in [(2, 4.53), (10, 2.28), (16, 2.17), (20, 2.13), (50, 2.05)]),
    (0.99, 16, 2.92, 0.01),
    (0.99, 10, 3.17, 0.01),
]


@pytest.mark.parametrize(("confidence", "nu", "t", "digit"), T_TABLE)
def test_t_table(confidence: float, nu: float, t: float, digit: float) -> None:
    assert coverage_factor(nu, confidence) == pytest.approx(t, abs=0.5 * digit + 1e-9)


def test_ws1_welch_satterthwaite() -> None:
    # suncal's test_DEGF (V2): 12.8
    assert welch_satterthwaite((0.57, 0.25), (9, math.inf)) == pytest.approx(12.8, abs=0.1)


def test_ws2_a_ratio() -> None:
    # suncal's test_XRF (V2): yc 0.6967, u 0.00494, nu 27.7, U95 0.0101; the source itself carries rounding, nu +-0.5.
    x1, x2, yu = 0.1820, 0.1823, 0.6978
    parts = [estimate(x1, "x1", 0.00093, 9), estimate(x2, "x2", 0.00058, 19), estimate(yu, "yu", 0.0026, 19)]
    yc = x1 / x2 * yu
    found = combine(yc, "nm", [(parts[0], yc / x1), (parts[1], -yc / x2), (parts[2], yc / yu)])
    assert found.value == pytest.approx(0.6967, abs=1e-4)
    assert found.standard_uncertainty == pytest.approx(0.00494, abs=1e-5)
    assert found.degrees_of_freedom == pytest.approx(27.7, abs=0.5)
    assert expanded(found).uncertainty == pytest.approx(0.0101, abs=1e-4)


def test_ws4_a_thousand_equal_parts() -> None:
    assert welch_satterthwaite([1.0] * 1000, [9.0] * 1000) == pytest.approx(9000, rel=1e-12)  # constructed


def test_h3_as_readings_are_corrected() -> None:
    """The same example through the calibration line of a sensor, which is written about the mean reading (H.3.5)."""
    readings = np.array(TEMPERATURES)
    line = fit_calibration(readings + np.array(CORRECTIONS), readings)
    assert line.centre == pytest.approx(24.0085, abs=1e-4)  # H.3.5 (M)
    assert line.correction(30.0) == pytest.approx(-0.1494, abs=1e-4)  # H.3.4 (V2), and below
    assert correction_uncertainty(line, 30.0) == pytest.approx(0.0041, abs=1e-4)
    assert line.residual_sd == pytest.approx(0.0035, abs=1e-4)
    assert line.degrees_of_freedom == 9


def test_h5_the_mean_is_judged_by_its_days() -> None:
    """The same example through the levels of a report: days are sittings, and they differ by too much to be neglected."""
    runs = daily_readings()
    values = np.array([value for day in runs for value in day])
    sittings = tuple(f"day {k}" for k, day in enumerate(runs) for _ in day)
    row = Row(response="voltage", metric="sustained", at=None, unit="V")
    level = compare_items([ItemRuns(id="zener", values=values[:, None], sittings=sittings)], [row], []).levels[0]
    assert level.estimate.value == pytest.approx(10.000097, abs=1e-6)  # H.5.2 (V2)
    assert level.estimate.standard_uncertainty == pytest.approx(18e-6, abs=1e-6)  # H.5.2.5 (M)
    assert level.estimate.degrees_of_freedom == pytest.approx(9)  # H.5.2.5 (M)
    assert level.repeatability == pytest.approx(85e-6, abs=1e-6)  # H.5.2.3 (V2): within a day
    # H.5.2.6 (M) prints 43 uV between days, from rounded parts 42; intermediate precision by ISO 5725-3 from the two (R).
    assert level.intermediate_precision == pytest.approx(math.hypot(85e-6, 43e-6), abs=1.5e-6)


def test_h5_without_the_day_the_mean_would_seem_better_known() -> None:
    values = np.array([value for day in daily_readings() for value in day])
    row = Row(response="voltage", metric="sustained", at=None, unit="V")
    level = compare_items([ItemRuns(id="zener", values=values[:, None])], [row], []).levels[0]
    assert level.estimate.standard_uncertainty == pytest.approx(13e-6, abs=1e-6)  # H.5.2.6 (M), 49 degrees of freedom
    assert level.estimate.degrees_of_freedom == pytest.approx(49)


def test_h5_mean_squares_and_their_limits() -> None:
    means = [1e-6 * mean for mean in DAILY_MEANS]
    s_of_means = mean_and_sd(means)[1]
    assert s_of_means == pytest.approx(57e-6, abs=1e-6)  # Table H.10 (V2)
    assert math.sqrt(5) * s_of_means == pytest.approx(128e-6, abs=1e-6)  # H.5.2.2, s_a (M)
    precision = find_precision([(np.ravel(daily_readings()), [f"{k // 5}" for k in range(50)])])
    assert precision is not None
    # H.5.2.4 (M): F0.95(9, 40) = 2.12 and F0.975(9, 40) = 2.45 are the 5 % and 2.5 % points.
    assert special.fdtrc(9, 40, 2.12) == pytest.approx(0.05, abs=1e-3)
    assert special.fdtrc(9, 40, 2.45) == pytest.approx(0.025, abs=1e-3)
    assert precision.p == pytest.approx(float(special.fdtrc(9, 40, precision.f)))
    assert 0.025 < precision.p < 0.05
    assert precision.within_sd == pytest.approx(85e-6, abs=1e-6)  # H.5.2.3 (V2)
    assert precision.between_sd == pytest.approx(43e-6, abs=1e-6)  # H.5.2.6 (M)
