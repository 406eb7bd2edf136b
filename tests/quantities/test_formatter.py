import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbench.quantities import (
    format_asymmetric,
    format_at_least,
    format_interval,
    format_number,
    format_percent,
    format_seconds,
    format_stated,
    format_value,
    unit_label,
)
from toolbench.quantities.format import round_uncertainty

T, M = "\u2009", "\u2212"


@pytest.mark.published
@pytest.mark.parametrize(("u", "rounded"), [(10.47, "11"), (28.05, "28")])
def test_examples_of_gum_7_2_6(u: float, rounded: str) -> None:
    # GUM 7.2.6, seen on a calibration firm's public page: 10.47 mohm "might be rounded up to 11", 28.05 kHz down to 28
    assert format(round_uncertainty(u), "f") == rounded


@pytest.mark.published
def test_value_goes_to_the_place_of_its_uncertainty() -> None:
    # GUM 7.2.6: y = 10.057 62 ohm with u = 27 mohm is reported as 10.058 ohm
    assert format_value(10.05762, 0.027, "ohm") == f"10.058 ± 0.027{T}Ω"


# constructed: the rule of the module's docstring, by hand
@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        (412.345, 4.12, "N*m", f"412.3 ± 4.1{T}N·m"),  # 4.1 is smaller by 0.5 %
        (412.345, 4.19, "N*m", f"412.3 ± 4.2{T}N·m"),
        (-3.42, 1.24, "%", f"{M}3.4{T}% ± 1.3{T}%"),  # 1.2 would be smaller by 3 %
        (0.04, 1.2, "%", f"0.0{T}% ± 1.2{T}%"),
        (412345.0, 12345.0, "Pa", f"412000 ± 13000{T}Pa"),
        (412345.0, 123.4, "Pa", f"412340 ± 130{T}Pa"),
        (1.0, 0.0999, "s", f"1.00 ± 0.10{T}s"),
        (100.0, 99.6, "N", f"100 ± 100{T}N"),
        (5.0, 0.0, "s", f"5.00000{T}s"),
    ],
)
def test_two_digits_of_uncertainty(value: float, u: float, unit: str, text: str) -> None:
    assert format_value(value, u, unit) == text


@pytest.mark.parametrize("u", [None, math.nan, math.inf])
def test_an_uncertainty_that_is_not_known_is_said(u: float | None) -> None:
    assert format_value(412.345, u, "N*m") == f"412.3{T}N·m, uncertainty not assessed"


@pytest.mark.parametrize("value", [None, math.nan])
def test_no_value_is_a_dash(value: float | None) -> None:
    assert format_value(value, 1.0, "N*m") == "–"
    assert format_percent(value) == "–"
    assert format_number(value) == "–"
    assert format_seconds(value) == "–"
    assert format_interval(value, 1.0, "%") == "not assessed"


def test_signs() -> None:
    assert format_percent(3.42, 1.2) == f"+3.4{T}% ± 1.2{T}%"
    assert format_percent(3.42, 1.2, signed=False) == f"3.4{T}% ± 1.2{T}%"
    assert format_percent(-0.001, 1.2) == f"0.0{T}% ± 1.2{T}%"
    assert format_percent(95.0, digits=2, signed=False) == f"95{T}%"


def test_display_unit() -> None:
    assert format_value(620000.0, 12345.0, "Pa", display="bar") == f"6.20 ± 0.13{T}bar"
    assert format_value(100.0, 1.0, "N*m", display="ft*lbf") == f"73.76 ± 0.74{T}ft·lbf"  # by hand: 100 / 1.355818


@pytest.mark.parametrize(
    ("seconds", "text"), [(2.0, "2"), (2.5, "2.5"), (0.35, "0.35"), (0.0, "0"), (12.0, "12"), (100.0, "100")]
)
def test_seconds_are_as_short_as_exact(seconds: float, text: str) -> None:
    assert format_seconds(seconds) == f"{text}{T}s"


def test_intervals() -> None:
    assert format_interval(-4.61, -2.2, "%") == f"{M}4.6{T}% to {M}2.2{T}%"
    assert format_interval(0.04, 3.2, "%") == f"0.04{T}% to 3.20{T}%"  # never "0.0": the interval leaves zero
    assert format_interval(1.0, math.inf, "%") == f"1.000{T}% to ∞{T}%"
    assert format_interval(10.0, 20.0, "N*m") == f"10.0 to 20.0{T}N·m"


def test_asymmetric_intervals() -> None:
    assert format_asymmetric(-3.4, -4.6, -2.2, "%") == f"{M}3.4{T}% ± 1.2{T}%"
    assert format_asymmetric(-3.4, -4.8, -2.2, "%") == f"{M}3.4{T}% ({M}4.8{T}% to {M}2.2{T}%)"
    assert format_asymmetric(-3.4, math.nan, -2.2, "%") == f"{M}3.400{T}%, uncertainty not assessed"


@pytest.mark.parametrize(
    ("unit", "label"),
    [("N*m", "N·m"), ("m3/s", "m³/s ANR"), ("degC", "°C"), ("L/(s*bar)", "L/(s·bar)"), ("1", ""), ("mm2", "mm²")],
)
def test_labels(unit: str, label: str) -> None:
    assert unit_label(unit) == label


@given(st.floats(1e-9, 1e9))
def test_a_printed_uncertainty_is_never_more_than_one_percent_too_small(u: float) -> None:
    printed = round_uncertainty(u)
    assert Decimal(repr(u)) - printed <= Decimal(repr(u)) / 100
    assert printed <= Decimal(repr(u)) * Decimal("1.1")
    assert len(printed.normalize().as_tuple().digits) <= 2


@given(st.floats(-100, 100), st.floats(1e-3, 50))
def test_a_printed_interval_leaves_zero_where_the_interval_does(lower: float, width: float) -> None:
    upper = lower + width
    text = format_interval(lower, upper, "%").replace(f"{T}%", "").replace(M, "-")
    low, high = (float(part) for part in text.split(" to "))
    if abs(lower) > 1e-3 and abs(upper) > 1e-3:
        assert (low > 0 or high < 0) == (lower > 0 or upper < 0)


@pytest.mark.parametrize(
    ("bound", "text"), [(13.66, "13"), (-27.5, "27"), (5.69, "5.6"), (0.0468, "0.046"), (120.0, "120"), (128.0, "120")]
)
def test_at_least_never_promises_more_than_it_has(bound: float, text: str) -> None:
    assert format_at_least(bound) == f"{text}\u2009%"  # by hand: two digits, cut towards zero


def test_a_stated_number_is_as_short_as_it_is_exact() -> None:
    # By hand.
    assert format_stated(13.0, "mm") == "13\u2009mm"
    assert format_stated(9.525, "mm") == "9.525\u2009mm"


def test_a_bound_keeps_the_place_of_its_uncertainty() -> None:
    # By hand: cut to the place of an uncertainty of two digits, 0.12; to two digits of its own where that is coarser.
    assert format_at_least(35.687, u=0.12) == f"35.68{T}%"
    assert format_at_least(-7.89, u=3.1) == f"7.8{T}%"
