"""Propagation by source: what cancels, what stays, and how degrees of freedom follow."""

import math

import pytest

from toolbench.metrology import difference, ratio_percent
from toolbench.metrology.propagation import combine
from toolbench.records.comparison import Component, Estimate


def part(source: str, u: float, dof: float = math.inf, *, contained: bool = False) -> Component:
    return Component(source=source, label=source, contribution=u, degrees_of_freedom=dof, contained=contained)


def level(value: float, *parts: Component) -> Estimate:
    return Estimate(value=value, unit="N*m", components=parts)


def test_pd1_shared_gain_cancels_in_a_percent_difference() -> None:
    # Constructed (PD1), agreed by GTC, metrolopy and the closed form to 1e-13. Closed form, by hand: the parts are
    # 100 x 0.5 / 100 and 100 x 1.03 x 0.5 / 100 percent with 9 degrees of freedom each. As printed: 0.717791752530 and
    # 17.984295859.
    first, second = 0.5, 0.515
    u = math.hypot(first, second)
    dof = 9 * u**4 / (first**4 + second**4)
    assert (u, dof) == (pytest.approx(0.717791752530, abs=5e-13), pytest.approx(17.984295859, abs=5e-10))
    a = level(103.0, part("scatter b", 0.5, 9), part("gain", 1.03, 30))
    b = level(100.0, part("scatter a", 0.5, 9), part("gain", 1.00, 30))
    found = ratio_percent(a, b)
    assert found.value == pytest.approx(3.0, rel=1e-12)
    assert found.standard_uncertainty == pytest.approx(u, rel=1e-12, abs=0)
    assert found.degrees_of_freedom == pytest.approx(dof, rel=1e-12, abs=0)
    assert {c.source: c.contribution for c in found.components}["gain"] == 0.0


def test_pd2_independent_gains_more_than_double_it() -> None:
    # Constructed (PD2): the mistake of treating one gain as two.
    a = level(103.0, part("scatter b", 0.5, 9), part("gain b", 1.03, 30))
    b = level(100.0, part("scatter a", 0.5, 9), part("gain a", 1.00, 30))
    found = ratio_percent(a, b)
    assert found.standard_uncertainty == pytest.approx(1.623892, abs=1e-6)
    # By hand: 1 % of 103 percent, once for each gain.
    assert found.standard_uncertainty == pytest.approx(math.hypot(0.5, 0.515, 1.03, 1.03), rel=1e-12, abs=0)


def test_pd3_shared_zero_error_stays_in_a_ratio() -> None:
    # Constructed (PD3): an offset of 0.5 in both moves 103/100 by 100 (100 - 103) / 100^2 x 0.5 percent.
    found = ratio_percent(level(103.0, part("zero", 0.5)), level(100.0, part("zero", 0.5)))
    assert found.standard_uncertainty == pytest.approx(0.015, rel=1e-12, abs=0)


def test_shared_zero_error_cancels_in_a_difference_and_scale_does_not() -> None:
    gap = difference(level(103.0, part("zero", 0.5)), level(100.0, part("zero", 0.5)))
    assert gap.standard_uncertainty == 0.0  # by hand
    gap = difference(level(103.0, part("scale", 1.03)), level(100.0, part("scale", 1.00)))
    assert gap.standard_uncertainty == pytest.approx(0.03, rel=1e-9)  # by hand: 1 % of the difference


def test_contained_parts_are_listed_and_not_added() -> None:
    found = combine(10.0, "N*m", [(level(10.0, part("scatter", 3.0, 4), part("zero", 4.0, contained=True)), 2.0)])
    assert found.standard_uncertainty == 6.0  # by hand: 2 x 3
    assert [(c.source, c.contribution, c.contained) for c in found.components] == [
        ("scatter", 6.0, False),
        ("zero", 8.0, True),
    ]


def test_equal_estimates_differ_by_nothing() -> None:
    a = level(100.0, part("scatter", 0.3, 4), part("scale", 0.7))
    assert difference(a, a).standard_uncertainty == 0.0
    assert ratio_percent(a, a).standard_uncertainty == 0.0


def test_an_unknown_part_makes_the_result_unknown() -> None:
    found = ratio_percent(level(103.0, part("scatter", math.nan)), level(100.0, part("scale", 0.5)))
    assert math.isnan(found.standard_uncertainty)
    assert math.isnan(found.degrees_of_freedom)


def test_two_units_have_no_difference() -> None:
    with pytest.raises(ValueError, match=r"N\*m.*Pa"):
        difference(level(1.0), Estimate(value=1.0, unit="Pa"))


def test_percent_of_nothing_is_unknown() -> None:
    assert math.isnan(ratio_percent(level(1.0, part("s", 1.0)), level(0.0, part("t", 1.0))).value)


@pytest.mark.parametrize("size", [1e-100, 1.0, 1e100, 1e300])
def test_degrees_of_freedom_do_not_depend_on_the_unit(size: float) -> None:
    # By hand: two equal parts with 9 and infinite degrees of freedom give 4 x 9.
    found = level(100.0, part("scatter", size, 9), part("gain", size))
    assert found.degrees_of_freedom == pytest.approx(36.0, rel=1e-12)
