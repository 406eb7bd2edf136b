"""JCGM 106:2012, worked numbers on conformance with one limit. From memory, none was read in the document itself.

Every one was recomputed from the normal distribution; the printed figures have two digits.
"""

import pytest
from scipy import stats

from toolbench.records.comparison import Component, Estimate
from toolbench.standings import conformance_probability, judge_claim

pytestmark = pytest.mark.published


def measured(value: float, u: float, unit: str) -> Estimate:
    return Estimate(value=value, unit=unit, components=(Component(source="all", label="all", contribution=u),))


def test_a_lower_limit_burst_strength_of_a_container() -> None:
    """Measured 509.7 kPa, u = 8.6 kPa, lower limit 490 kPa: 99 % (from memory)."""
    p = conformance_probability(measured(509.7, 8.6, "kPa"), 490.0)
    assert p == pytest.approx(0.99, abs=0.005)
    assert p == pytest.approx(stats.norm.cdf(19.7 / 8.6), abs=1e-12)


def test_an_upper_limit_breakdown_voltage_of_a_diode() -> None:
    """Measured -5.47 V, u = 0.05 V, upper limit -5.40 V: 92 % (from memory). A limit above is one below, sign turned."""
    p = conformance_probability(measured(5.47, 0.05, "V"), 5.40)
    assert p == pytest.approx(0.92, abs=0.005)
    assert p == pytest.approx(stats.norm.cdf(1.4), abs=1e-12)


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_how_far_above_a_limit_gives_which_probability(p: float, z: float) -> None:
    """The table of conformance probability for one limit (from memory): the guard band in standard uncertainties."""
    judged = judge_claim(measured(100.0, 1.0, "N*m"), 100.0, confidence=p)
    assert judged.guard_band == pytest.approx(z, abs=0.01)
    assert conformance_probability(measured(100.0 + z, 1.0, "N*m"), 100.0) == pytest.approx(p, abs=0.003)
