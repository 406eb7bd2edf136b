"""Setups told apart part by part, and what is said of calibration. Setups are constructed."""

from __future__ import annotations

from datetime import date

from toolbench.records.settings import Certificate, LinePart, Sensor, Setup
from toolbench.season.calibrating import certificate_for
from toolbench.season.design import differing_parts

HOSE = LinePart(part="hose", bore_m=0.013, length_m=12.0)
COUPLER = LinePart(part="coupler", sonic_conductance=4.5e-8, critical_pressure_ratio=0.3)


def _setup(*line: LinePart, regulator: float = 6e5) -> Setup:
    return Setup(id="s", label="s", supply="air", line=line, facts={"regulator.set": (regulator, "Pa")})


def test_more_of_the_same_coupler_is_one_difference_wherever_it_stands() -> None:
    assert differing_parts(_setup(COUPLER, HOSE), _setup(COUPLER, HOSE, COUPLER, COUPLER)) == ("number of couplers",)


def test_a_hose_differs_in_what_it_differs() -> None:
    longer = LinePart(part="hose", bore_m=0.013, length_m=30.0)
    wider = LinePart(part="hose", bore_m=0.019, length_m=30.0)
    assert differing_parts(_setup(HOSE), _setup(longer)) == ("hose 1 length",)
    assert differing_parts(_setup(HOSE), _setup(wider)) == ("hose 1 bore", "hose 1 length")


def test_another_coupler_and_another_pressure_are_two() -> None:
    other = LinePart(part="coupler", sonic_conductance=2.2e-8, critical_pressure_ratio=0.25)
    found = differing_parts(_setup(COUPLER, HOSE), _setup(other, HOSE, regulator=5e5))
    assert found == ("regulator set", "couplers")


def test_the_certificate_of_the_day_is_taken() -> None:
    old, new = (Certificate(id=str(year), valid_from=date(year, 1, 1)) for year in (2025, 2026))
    sensor = Sensor(id="cell", quantity="torque", certificates=(old, new))
    assert certificate_for(sensor, date(2025, 6, 1)) is old
    assert certificate_for(sensor, date(2026, 6, 1)) is new
    assert certificate_for(Sensor(id="bare", quantity="torque"), None) is None
