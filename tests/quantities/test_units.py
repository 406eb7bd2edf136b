import re
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbench.quantities import KINDS, QuantityError, from_si, is_unit, to_si, unit_factor
from toolbench.quantities.tables import TABLE

# units whose meaning here is not what the other library reads, or that it does not know
_NOT_COMPARED = {
    "air_flow": {"cfm", "lpm", "cu*ft/min"},  # `cfm` is a centi-fermi there
    "pressure": {"MPA", "N/mm2", "lb/in2", "kg/cm2", "inHg_32F", "inHg_60F"},  # lb and kg are masses there
    "speed": {"U/min", "r/min", "min-1", "1/min", "rps"},
    "length": {'"', "'"},
    "charge": {"Ah", "mAh"},
    "frequency": {"S/s", "kS/s", "samples/s"},
    "sonic_conductance": set(),
    "current": {"Amp", "Amps", "Ampere"},
    "voltage": {"Volts", "Volt"},
    "time": {"secs", "msec", "usec", "sec"},
    "mass": {"lbs", "lbm"},
}
_SKIPPED = {"flow_coefficient", "fraction", "temperature", "temperature_difference", "droop_rate"}
_LONG = {"N*m", "kN*m", "mN*m", "kgf*m", "ft*lbf", "lbf*ft", "in*lbf", "lbf*in"}


def _compared() -> list[tuple[str, str]]:
    pairs = []
    for quantity, units in TABLE.items():
        for unit in units if quantity not in _SKIPPED else ():
            if unit in _NOT_COMPARED.get(quantity, set()) or (quantity == "torque" and unit not in _LONG):
                continue
            pairs.append((quantity, unit))
    return pairs


@pytest.mark.oracle
@pytest.mark.parametrize(("quantity", "unit"), _compared())
def test_table_agrees_with_pint(quantity: str, unit: str) -> None:
    registry = pint.get_application_registry()
    named = re.sub(r"\brev\b", "revolution", unit.replace("Torr", "torr").replace("kp", "kgf"))
    powers = re.sub(r"(?<=[A-Za-z])(\d)", r"**\1", named)
    si = re.sub(r"(?<=[A-Za-z])(\d)", r"**\1", KINDS[quantity].si_unit)
    expected = (1 * registry.parse_units(powers)).to(registry.parse_units(si)).magnitude
    assert unit_factor(unit, quantity).scale == pytest.approx(expected, rel=1e-9)


def test_cfm_is_a_flow_although_pint_reads_centi_fermi() -> None:
    assert pint.get_application_registry().parse_units("cfm").dimensionality == {"[length]": 1}
    assert to_si("100 cfm", "air_flow") == pytest.approx(0.0471947, abs=1e-7)  # by hand: 100 * 0.3048**3 / 60
    with pytest.raises(QuantityError, match=r'"cfm" is a unit of air flow, but length is wanted'):
        to_si("1 cfm", "length")


# by hand
@pytest.mark.parametrize(
    ("text", "quantity", "expected"),
    [
        ("6.2 bar", "pressure", 620000.0),
        ("0.6 %", "fraction", 0.006),
        ("57 %", "fraction", 0.57),
        ("40 ft", "length", 12.192),
        ('3/4"', "length", 0.01905),
        ("1 1/2 in", "length", 0.0381),
        ("400 mm", "length", 0.4),
        ("1 kHz", "frequency", 1000.0),
        ("12 L/s ANR", "air_flow", 0.012),
        ("12 l/s", "air_flow", 0.012),
        ("720 L/min", "air_flow", 0.012),
        ("850 N·m", "torque", 850.0),
        ("850 Nm", "torque", 850.0),
        ("-3 degC", "temperature", -3.0),
        ("\u22123 °C", "temperature", -3.0),
        ("300 K", "temperature", 26.85),
        ("212 degF", "temperature", 100.0),
        ("9 degF", "temperature_difference", 5.0),
        ("250 ms", "time", 0.25),
        ("5 Ah", "charge", 18000.0),
        ("22 mΩ", "resistance", 0.022),
        ("4.5 L/(s*bar)", "sonic_conductance", 4.5e-8),
        ("0.02 bar/(L/s)", "droop_rate", 2e6),
        ("1.5 mm²", "area", 1.5e-6),
        ("1e3 N*m", "torque", 1000.0),
        ("1 mile", "length", 1609.344),
        ("7 bar abs", "pressure", 598675.0),
        ("7 bar(a)", "pressure", 598675.0),
        ("7 bara", "pressure", 598675.0),
        ("7 bar g", "pressure", 700000.0),
        ("1.013 bar abs", "absolute_pressure", 101300.0),
        ("1013 hPa", "absolute_pressure", 101300.0),
    ],
)
def test_text_to_si(text: str, quantity: str, expected: float) -> None:
    assert to_si(text, quantity) == pytest.approx(expected, rel=1e-12)


def test_absolute_pressure_is_taken_off_the_room_it_is_given() -> None:
    assert to_si("7 bar abs", "pressure", ambient_pressure_pa=95000.0) == pytest.approx(605000.0)  # by hand
    assert unit_factor("psia", "pressure").offset == -101325.0
    assert unit_factor("psig", "pressure").offset == 0.0


@pytest.mark.parametrize(
    "spelling", ["lb-ft", "lb.ft", "ft·lb", "ft-lbs", "FT-LB", "lbf ft", "ft*lbf", "ft lb", "ftlb"]
)
def test_one_unit_in_its_spellings(spelling: str) -> None:
    assert unit_factor(spelling, "torque").scale == pytest.approx(1.3558179483314, rel=1e-12)


def test_case_counts_where_a_prefix_hangs_on_it() -> None:
    assert unit_factor("MPa").scale == 1e6
    with pytest.raises(QuantityError):
        unit_factor("mpa", "pressure")
    assert unit_factor("NM").si_unit == "N*m"
    assert unit_factor("PSI") == unit_factor("psi")


@pytest.mark.parametrize(
    ("text", "quantity", "sentence"),
    [
        ("5", "torque", '"5" has no unit: write for example "850 N*m"'),
        ("6,2 bar", "pressure", "decimal point"),
        ("many", "time", "is not a number with a unit"),
        ("5 bar", "torque", '"bar" is a unit of pressure, but torque is wanted'),
        ("3 blorp", "torque", '"blorp" is not a unit of torque'),
        ("20 acfm", "air_flow", "flow at line pressure is not free air"),
        ("20 slpm", "air_flow", "reference state differs"),
        ("0.1 bar abs", "pressure_difference", 'leave out "abs"'),
        ("1 barg", "absolute_pressure", "is absolute"),
        ("1/0 mm", "length", "divides by zero"),
        ("1e999 m", "length", "finite"),
    ],
)
def test_a_wrong_text_is_told_what_would_be_right(text: str, quantity: str, sentence: str) -> None:
    with pytest.raises(QuantityError) as caught:
        to_si(text, quantity)
    assert sentence in str(caught.value)


@pytest.mark.parametrize("word", ["Torque", "time", "Channel 1", "ch1", "Speed", "a", "", "Counts", "run"])
def test_plain_words_are_no_units(word: str) -> None:
    assert not is_unit(word)


@pytest.mark.parametrize("unit", ["N*m", "bar", "L/s ANR", "ms", "%", "kgf*cm", "°C", "V"])
def test_units_are_units(unit: str) -> None:
    assert is_unit(unit)


@given(st.floats(-1e9, 1e9), st.sampled_from(["bar", "psi", "bar abs", "ft*lbf", "scfm", "degF", "rpm"]))
def test_there_and_back(value: float, unit: str) -> None:
    factor = unit_factor(unit)
    si = value * factor.scale + factor.offset
    assert from_si(si, unit, factor.quantity) == pytest.approx(value, rel=1e-9, abs=1e-3)


def test_everyday_units_do_not_import_pint() -> None:
    code = (
        "import sys; from toolbench.quantities import *; "
        "[unit_factor(u) for u in ('N·m','ft·lbf','bar','psi','L/s','scfm','ms','V','A','degC','rpm','%')]; "
        "to_si('6.2 bar', 'pressure'); is_unit('Channel 1'); assert 'pint' not in sys.modules"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_dot_of_a_japanese_keyboard_multiplies() -> None:
    # cp932, which these loggers write, has no other dot in the middle of a line.
    assert unit_factor("N・m", "torque") == unit_factor("N*m", "torque")
    assert unit_factor("kgf･m", "torque") == unit_factor("kgf*m", "torque")
