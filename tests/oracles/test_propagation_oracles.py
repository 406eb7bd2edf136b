"""Propagation against GTC (values, uncertainties, degrees of freedom) and `uncertainties` on random models.

Each model has sources that several values share, of both signs. Two independent libraries give the expected numbers.
"""

import math

import GTC
import numpy as np
import pytest
import uncertainties
from scipy import stats

from toolbench.metrology import correlated_means, difference, ratio_percent
from toolbench.metrology.intervals import power_of_t
from toolbench.metrology.propagation import combine
from toolbench.records.comparison import Component, Estimate

pytestmark = pytest.mark.oracle


class Model:
    """Random values a and b that share some of six sources, the same in all three notations."""

    def __init__(self, seed: int) -> None:
        random = np.random.default_rng(seed)
        self.values = random.uniform(50, 500, 2)
        self.uncertainties = random.uniform(0.1, 3.0, 6)
        self.dofs = [*random.integers(2, 40, 5).astype(float), math.inf]
        # A quarter of the sensitivities is zero, so that some sources belong to one value only.
        self.sensitivities = random.normal(size=(2, 6)) * (random.uniform(size=(2, 6)) > 0.25)
        self.sensitivities[:, 5] = 1.0

    def ours(self) -> list[Estimate]:
        return [
            Estimate(
                value=value,
                unit="N*m",
                components=tuple(
                    Component(source=f"s{k}", label="", contribution=c * u, degrees_of_freedom=dof)
                    for k, (c, u, dof) in enumerate(zip(row, self.uncertainties, self.dofs, strict=True))
                    if c
                ),
            )
            for value, row in zip(self.values, self.sensitivities, strict=True)
        ]

    def in_gtc(self) -> list:
        sources = [GTC.ureal(0, u, dof) for u, dof in zip(self.uncertainties, self.dofs, strict=True)]
        return [
            value + sum(float(c) * s for c, s in zip(row, sources, strict=True) if c)
            for value, row in zip(self.values, self.sensitivities, strict=True)
        ]

    def in_uncertainties(self) -> list:
        sources = [uncertainties.ufloat(0, u) for u in self.uncertainties]
        return [
            value + sum(float(c) * s for c, s in zip(row, sources, strict=True) if c)
            for value, row in zip(self.values, self.sensitivities, strict=True)
        ]


@pytest.mark.parametrize("seed", range(25))
def test_percent_difference(seed: int) -> None:
    model = Model(seed)
    found = ratio_percent(*model.ours())
    a, b = model.in_gtc()
    expected = 100 * (a / b - 1)
    assert found.value == pytest.approx(GTC.value(expected), rel=1e-9)
    assert found.standard_uncertainty == pytest.approx(GTC.uncertainty(expected), rel=1e-9)
    assert found.degrees_of_freedom == pytest.approx(GTC.dof(expected), rel=1e-9)
    a, b = model.in_uncertainties()
    assert found.standard_uncertainty == pytest.approx((100 * (a / b - 1)).std_dev, rel=1e-9)


@pytest.mark.parametrize("seed", range(25, 40))
def test_difference_of_a_difference(seed: int) -> None:
    model = Model(seed)
    first, second = model.ours()
    gap = difference(first, second)
    found = combine(gap.value + 0.5 * second.value, "N*m", [(gap, 1.0), (second, 0.5)])
    a, b = model.in_gtc()
    expected = (a - b) + 0.5 * b
    assert found.value == pytest.approx(GTC.value(expected), rel=1e-9)
    assert found.standard_uncertainty == pytest.approx(GTC.uncertainty(expected), rel=1e-9)
    assert found.degrees_of_freedom == pytest.approx(GTC.dof(expected), rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_ratio_of_means_taken_together(seed: int) -> None:
    random = np.random.default_rng(seed)
    shared = random.normal(size=(6, 1))
    sets = np.array([100.0, 40.0]) + 2.0 * shared + random.normal(size=(6, 2))
    found = ratio_percent(*correlated_means(sets, ("V", "V"), name="sets"))
    a, b = GTC.type_a.multi_estimate_real(sets.T.tolist())
    expected = 100 * (a / b - 1)
    assert found.standard_uncertainty == pytest.approx(GTC.uncertainty(expected), rel=1e-9)
    assert found.degrees_of_freedom == pytest.approx(GTC.dof(expected), rel=1e-9)


@pytest.mark.parametrize("dof", [4, 10.5, 40])
@pytest.mark.parametrize("shift", [0.5, 2.8, 5.0])
def test_power_against_the_non_central_t(dof: float, shift: float) -> None:
    limit = stats.t.ppf(0.975, dof)
    expected = stats.nct.sf(limit, dof, shift) + stats.nct.cdf(-limit, dof, shift)
    assert power_of_t(shift, dof) == pytest.approx(expected, abs=1e-7)
