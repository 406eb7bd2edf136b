"""What the supply explains of the demo's reports, held against what was planted in it (data_demo/truth.json)."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import toolbench as tb
from toolbench.records.comparison import ComparisonRecord, Component, Estimate
from toolbench.records.supply import SupplyExplained
from toolbench.season.supply.explaining import explained_percent
from toolbench.season.supply.modelling import demand_of

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))


@cache
def compared(episode: str, tool: str, protocol: str) -> ComparisonRecord:
    return tb.compare(tb.open_season(DEMO), episode=episode, tool=tool, protocol=protocol).record


def supply_of(episode: str, tool: str, protocol: str) -> SupplyExplained:
    supply = compared(episode, tool, protocol).supply
    assert supply is not None
    return supply


def planted(path: str, item: str) -> float:
    """Planted percent difference of the sustained mean."""
    report = next(one for one in TRUTH["reports"] if one["path"] == path)
    return float(next(r["percent"] for r in report["rows"] if (r["item"], r["metric"]) == (item, "sustained")))


@pytest.mark.parametrize(
    ("episode", "tool", "protocol"),
    [
        ("far-end", "quernel-1", "static"),
        ("far-end", "fennwhit", "static"),
        ("couplers", "quernel-1", "static"),
        ("couplers", "quernel-2", "static"),
        ("inlet-pressure", "quernel-1", "stepped"),
        ("small-receiver", "quernel-1", "long"),
        ("mains-lead", "pelmoor", "mains"),
    ],
)
def test_the_drive_explains_what_was_planted(episode: str, tool: str, protocol: str) -> None:
    # In the invented bench torque follows the drive and nothing else, so the whole planted difference is the supply's.
    supply = supply_of(episode, tool, protocol)
    assert supply.differences
    for one in supply.differences:
        true = planted(f"{episode}/tool-{tool}--{protocol}", one.item)
        assert one.by == "measured"
        assert one.explained.interval.lower <= true <= one.explained.interval.upper
        assert one.explained.modelled
        assert not one.measured.modelled
        assert one.left.estimate.value == pytest.approx(one.measured.estimate.value - one.explained.estimate.value)


def test_a_held_pressure_leaves_nothing_to_explain_and_names_what_the_regulator_needed() -> None:
    record, supply = compared("far-end", "quernel-1", "held"), supply_of("far-end", "quernel-1", "held")
    assert record.compensated
    for one in supply.differences:
        assert one.explained.interval.lower < 0.0 < one.explained.interval.upper
    for item in supply.items:
        assert item.needed is not None
        assert item.needed_modelled is not None
        low, high = item.needed_modelled.interval.lower, item.needed_modelled.interval.upper
        assert low <= item.needed.estimate.value <= high


def test_measured_inlet_pressure_lies_within_the_modelled_band() -> None:
    for item in supply_of("far-end", "quernel-1", "static").items:
        assert item.measured is not None
        assert item.modelled is not None
        assert item.modelled.interval.lower <= item.measured.estimate.value <= item.modelled.interval.upper
        # By construction of a model that starts from what was measured: its band is the wider one.
        assert item.modelled.estimate.standard_uncertainty > item.measured.estimate.standard_uncertainty
        assert math.isclose(sum(part.share for part in item.losses), 1.0)


def test_the_long_hose_is_what_limits_its_line() -> None:
    far = next(item for item in supply_of("far-end", "quernel-1", "static").items if item.item == "far")
    assert far.limiting == "hose 13\u2009mm × 30\u2009m"
    assert max(far.losses, key=lambda part: part.loss).label == far.limiting


@pytest.mark.parametrize("protocol", ["held", "static"])
def test_a_recorded_start_of_a_line_takes_nothing(protocol: str) -> None:
    # By construction: the line begins at the pressure recorded there. Rounding once stood on the page as a loss.
    for item in supply_of("far-end", "quernel-1", protocol).items:
        start, *parts = item.losses
        assert (start.loss, start.share) == (0.0, 0.0)
        assert all(part.loss > 1.0 for part in parts)


def test_a_late_sag_belongs_to_the_small_receiver() -> None:
    small = next(i for i in supply_of("small-receiver", "quernel-1", "long").items if i.item == "small-receiver")
    assert [sag.verdict for sag in small.sags][-1] == "compressor-limited"
    roomy = next(i for i in supply_of("small-receiver", "quernel-1", "long").items if i.item == "bay-receiver")
    assert all(sag.verdict != "compressor-limited" for sag in roomy.sags)


def test_the_exponent_is_learned_outside_the_report() -> None:
    # The stepped episode is the one with three pressures: its own difference is explained without it.
    stepped = next(f for f in supply_of("inlet-pressure", "quernel-1", "stepped").learned if f.name == "exponent")
    elsewhere = next(f for f in supply_of("couplers", "quernel-1", "static").learned if f.name == "exponent")
    assert elsewhere.source == "learned"
    assert elsewhere.estimate.standard_uncertainty < 0.5 * stepped.estimate.standard_uncertainty
    # Planted exponent of the tool.
    assert abs(elsewhere.estimate.value - 0.8) < 2.0 * elsewhere.estimate.standard_uncertainty


def test_recordings_learned_from_are_among_the_inputs() -> None:
    record = compared("couplers", "quernel-1", "static")
    files = {run.entry.file for run in record.runs}
    outside = set(record.digests) - files
    assert any("stepped" in name or "inlet-pressure" in name for name in outside)


def estimate(value: float, u: float, source: str) -> Estimate:
    return Estimate(value=value, unit="Pa", components=(Component(source=source, label=source, contribution=u),))


def test_explained_percent_by_hand() -> None:
    # (5.4 / 6.0)^0.8 - 1 = -8.083 %; sensitivities 100 n r^n / p and 100 r^n ln r, by hand.
    found = explained_percent(estimate(5.4e5, 2e3, "a"), estimate(6.0e5, 3e3, "b"), estimate(0.8, 0.1, "n"))
    power = 0.9**0.8
    assert found.value == pytest.approx(100 * (power - 1))
    parts = {one.source: one.contribution for one in found.components}
    assert parts["a"] == pytest.approx(100 * 0.8 * power / 5.4e5 * 2e3)
    assert parts["b"] == pytest.approx(-100 * 0.8 * power / 6.0e5 * 3e3)
    assert parts["n"] == pytest.approx(100 * power * math.log(0.9) * 0.1)


def test_a_shared_scale_of_the_gauge_cancels() -> None:
    found = explained_percent(
        estimate(5.4e5, 0.01 * 5.4e5, "gauge"), estimate(6.0e5, 0.01 * 6.0e5, "gauge"), estimate(0.8, 0.0, "n")
    )
    assert found.standard_uncertainty == pytest.approx(0.0, abs=1e-9)


def test_a_line_recorded_at_both_ends_shows_its_conductance() -> None:
    # The invented bench drew its lines from the parts that bench.toml states, with another friction formula (Haaland).
    shown = [one for one in supply_of("couplers", "quernel-1", "static").learned if one.name == "conductance"]
    assert [one.item for one in shown] == ["one-coupler", "three-couplers"]
    for one in shown:
        assert one.stated is not None
        assert abs(one.estimate.value - one.stated) < 2.0 * one.estimate.standard_uncertainty
        assert one.estimate.value == pytest.approx(one.stated, rel=0.02)


def test_channels_read_without_a_calibration_are_among_what_is_assumed() -> None:
    # bench.toml states sensors for the pressures and the voltage, none for the air flow and the current.
    assert "no error of what reads the air flow" in supply_of("couplers", "quernel-1", "static").assumed
    assert not any("pressure" in said for said in supply_of("couplers", "quernel-1", "static").assumed)
    assert supply_of("mains-lead", "pelmoor", "mains").assumed == ("no error of what reads the current",)


@pytest.mark.parametrize("stated", [0.0, 1e-12, 1e297])
def test_a_consumption_that_no_line_carries_is_no_demand(stated: float) -> None:
    season = tb.open_season(DEMO)
    tool = replace(season.settings.tools["quernel-1"], air_consumption_m3_s=stated)
    assert demand_of(season.settings, tool, None) is None
