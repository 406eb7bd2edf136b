"""Setups told apart part by part, and what is said of calibration. Setups are constructed."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np

from toolbench.records.runs import Onset, Run
from toolbench.records.settings import Certificate, LinePart, RunEntry, SeasonSettings, Sensor, Setup
from toolbench.season.design import calibration_findings, certificate_for, differing_parts

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


def test_points_that_are_not_applied_are_said() -> None:
    entry = RunEntry(run="r1", file="r1.csv", tool="t", setup="s", protocol="p", logger="l")
    onset = Onset(
        time_s=0.5, standard_uncertainty_s=0.01, rule="level", rest=0, rest_scatter=1, rest_length_s=0.5, highest=900
    )
    run = Run(
        entry=entry,
        digest="d",
        onset=onset,
        sample_interval_s=0.005,
        available_s=5.0,
        grid_s=np.array([0.5]),
        traces={},
        metrics=(),
        sensors={"torque": "cell"},
    )
    cell = Sensor(id="cell", quantity="torque", certificates=(Certificate(id="c", points="calibration/cell.csv"),))
    settings = SeasonSettings(folder=Path(), sensors={"cell": cell})
    assert [finding.code for finding in calibration_findings(settings, [run])] == ["points-not-applied"]
