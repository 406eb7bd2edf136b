"""The operating point of a line: what must hold whatever the numbers, and small cases solved by hand."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from toolbench.supply.air import RHO_ANR, viscosity
from toolbench.supply.elements import Regulator, Restriction
from toolbench.supply.hose import Hose
from toolbench.supply.line import (
    Demand,
    Line,
    OperatingPoint,
    effective_conductance,
    find_operating_point,
    margins,
    needed_setting,
    pressure_profile,
    sweep,
)

L_S_BAR = 1e-8
PAIR = Restriction(sonic_conductance=9 * L_S_BAR, critical_pressure_ratio=0.35)
HOSE = Hose(bore_m=0.010, length_m=15.0, roughness_m=2e-6)
REGULATOR = Regulator(set_pa_abs=8e5, droop_pa_s_m3=0.03e8)
TOOL = Demand(conductance=2.5 * L_S_BAR)
LINE = Line(regulator=REGULATOR, elements=(PAIR, HOSE, PAIR))


def holds_together(point: OperatingPoint) -> None:
    """What no operating point may break: the tool's law, the regulator's, and the sum of the losses."""
    line = point.line
    assert point.flow_m3_s == pytest.approx(point.demand.conductance * point.inlet_pa_abs, rel=1e-12)
    assert point.pressures_pa_abs[0] == pytest.approx(line.regulator.outlet_pressure(point.flow_m3_s), rel=1e-12)
    assert np.sum(point.losses_pa, axis=0) == pytest.approx(line.regulator.set_pa_abs - point.inlet_pa_abs, rel=1e-9)
    assert np.sum(point.shares, axis=0) == pytest.approx(1.0)


def test_forwards_gives_the_same_as_backwards() -> None:
    """Oracle: march from the regulator to the tool at a flow, and let a scalar root finder find the flow."""

    def miss(flow: float) -> float:
        pressure = float(REGULATOR.outlet_pressure(flow))
        for element in LINE.elements:
            pressure = float(element.outlet_pressure(flow, pressure))
        return pressure * TOOL.conductance - flow

    point = find_operating_point(LINE, TOOL)
    holds_together(point)
    assert float(point.flow_m3_s) == pytest.approx(brentq(miss, 1e-6, 0.016, xtol=1e-16, rtol=1e-14), rel=1e-12)
    assert not point.choked.any()


def test_a_line_without_parts_gives_the_regulator_s_pressure() -> None:
    """By hand: p = set − droop C p."""
    point = find_operating_point(Line(regulator=REGULATOR), TOOL)
    assert float(point.inlet_pa_abs) == pytest.approx(8e5 / (1 + 0.03e8 * 2.5e-8), rel=1e-13)
    assert point.limiting == 0


def test_two_choked_restrictions_by_hand() -> None:
    """A narrow coupler behind a wide one chokes: the flow is C p before it, and the inlet collapses to flow over conductance."""
    wide = Restriction(sonic_conductance=1.0, critical_pressure_ratio=0.3)
    narrow = Restriction(sonic_conductance=1 * L_S_BAR, critical_pressure_ratio=0.3)
    point = find_operating_point(
        Line(regulator=Regulator(set_pa_abs=8e5), elements=(wide, narrow)), Demand(conductance=10e-8)
    )
    holds_together(point)
    assert point.choked.tolist() == [False, False, True]
    assert float(point.flow_m3_s) == pytest.approx(8e-3, rel=1e-12)
    assert float(point.inlet_pa_abs) == pytest.approx(8e4, rel=1e-12)
    assert point.limiting == 2
    assert margins(point)[2] == pytest.approx(0, abs=1e-12)


def test_a_hose_that_chokes_passes_its_largest_flow() -> None:
    thin = Hose(bore_m=0.004, length_m=10.0)
    point = find_operating_point(Line(regulator=Regulator(set_pa_abs=8e5), elements=(thin,)), Demand(conductance=10e-8))
    holds_together(point)
    assert point.choked.tolist() == [False, True]
    assert float(point.flow_m3_s) == pytest.approx(float(thin.largest_flow(8e5)), rel=1e-12)
    assert point.inlet_pa_abs < thin.critical_outlet(point.flow_m3_s)


def test_arrays_give_what_single_calls_give() -> None:
    lengths, bores = np.array([2.0, 15.0, 60.0]), np.array([0.005, 0.008, 0.013])
    swept = sweep(LINE, TOOL, 2, lengths, bores)
    holds_together(swept)
    assert swept.inlet_pa_abs.shape == (3, 3)
    for i, bore in enumerate(bores):
        for k, length in enumerate(lengths):
            hose = Hose(bore_m=bore, length_m=length, roughness_m=2e-6)
            alone = find_operating_point(LINE.with_element(2, hose), TOOL)
            assert swept.pressures_pa_abs[:, i, k] == pytest.approx(alone.pressures_pa_abs, rel=1e-12)
            assert swept.choked[:, i, k].tolist() == alone.choked.tolist()


def test_the_setting_that_gives_a_pressure_gives_it() -> None:
    setting = needed_setting(LINE, TOOL, 7e5)
    raised = Line(regulator=Regulator(set_pa_abs=setting, droop_pa_s_m3=0.03e8), elements=LINE.elements)
    assert float(find_operating_point(raised, TOOL).inlet_pa_abs) == pytest.approx(7e5, rel=1e-12)


def test_the_conductance_of_one_part_is_its_own() -> None:
    found = effective_conductance(Line(regulator=REGULATOR, elements=(PAIR,)), 7e5)
    assert float(found.sonic_conductance) == pytest.approx(9e-8, rel=1e-12)
    assert float(found.critical_pressure_ratio) == pytest.approx(0.35, rel=1e-12)


def test_two_parts_that_both_choke_by_hand() -> None:
    """1 and 5 L/(s bar), b 0.3 and 0.2, from 10 bar: the first decides. It chokes until 3 bar are behind it, of which the second at
    10/15 of its choked flow leaves 0.2 + 0.8 √(1 − 4/9)."""
    pairs = tuple(Restriction(sonic_conductance=c, critical_pressure_ratio=b) for c, b in ((1e-8, 0.3), (5e-8, 0.2)))
    found = effective_conductance(Line(regulator=REGULATOR, elements=pairs), 10e5)
    assert float(found.sonic_conductance) == pytest.approx(1e-8, rel=1e-12)
    assert float(found.critical_pressure_ratio) == pytest.approx(0.3 * (0.2 + 0.8 * math.sqrt(5 / 9)), rel=1e-12)


def test_cold_air_is_denser_by_hand() -> None:
    """ISO 6358: the choked flow goes with the root of 293.15 K over the temperature before the part; the conductance does not."""
    cold = 253.15
    assert float(PAIR.largest_flow(8e5, cold)) == pytest.approx(9e-8 * 8e5 * math.sqrt(293.15 / cold), rel=1e-14)
    flow = 0.5 * float(PAIR.largest_flow(8e5, cold))
    assert float(PAIR.outlet_pressure(flow, 8e5, cold)) == pytest.approx(
        8e5 * (0.35 + 0.65 * math.sqrt(0.75)), rel=1e-14
    )
    found = effective_conductance(Line(regulator=REGULATOR, elements=(PAIR,), temperature_k=cold), 8e5)
    assert float(found.sonic_conductance) == pytest.approx(9e-8, rel=1e-12)


def test_choking_of_a_line_begins_at_its_critical_pressure_ratio() -> None:
    """Just below the ratio the flow through the line is the choked one, just above it is less."""
    line = Line(regulator=Regulator(set_pa_abs=7e5), elements=(PAIR, HOSE, PAIR))
    found = effective_conductance(line, 7e5)
    choked = float(found.sonic_conductance) * 7e5
    for factor, is_choked in ((0.999, True), (1.001, False)):
        behind = float(found.critical_pressure_ratio) * 7e5 * factor
        point = find_operating_point(line, Demand(conductance=choked / behind))
        assert (float(point.flow_m3_s) == pytest.approx(choked, rel=1e-12)) == is_choked
        assert bool(point.choked.any()) == is_choked


def test_the_profile_passes_through_the_pressures_of_the_parts() -> None:
    point = find_operating_point(LINE, TOOL)
    profile = pressure_profile(point, 10)
    assert profile.labels == ("regulator", "coupler", "hose", "coupler")
    assert np.all(np.diff(profile.position_m) >= 0)
    assert np.all(np.diff(profile.pressure_pa_abs) <= 0)
    assert set(point.pressures_pa_abs) <= set(profile.pressure_pa_abs)
    middle = Hose(bore_m=0.010, length_m=7.5, roughness_m=2e-6).outlet_pressure(
        point.flow_m3_s, point.pressures_pa_abs[1]
    )
    at = int(np.argmin(np.abs(profile.position_m - 7.5)))
    assert profile.pressure_pa_abs[at] == pytest.approx(float(middle), rel=1e-12)


def test_the_profile_of_a_hose_that_chokes_ends_in_a_step() -> None:
    """Inside the hose the pressure stays above its critical one; what the tool has is lower, at the same place."""
    thin = Hose(bore_m=0.004, length_m=10.0)
    point = find_operating_point(Line(regulator=Regulator(set_pa_abs=8e5), elements=(thin,)), Demand(conductance=10e-8))
    profile = pressure_profile(point, 10)
    assert np.all(np.diff(profile.pressure_pa_abs) <= 0)
    assert profile.position_m[-2:].tolist() == [10.0, 10.0]
    assert profile.pressure_pa_abs[-2] == pytest.approx(float(thin.critical_outlet(point.flow_m3_s)), rel=1e-12)
    assert profile.pressure_pa_abs[-1] == float(point.inlet_pa_abs) < profile.pressure_pa_abs[-2]


def test_where_flow_turns_turbulent_the_loss_lies_between_both_laws() -> None:
    """Constructed: a regulator between what a laminar and what a turbulent hose needs, both at a Reynolds number of 2040."""
    bore, tool = 0.004, Demand(conductance=0.02 * L_S_BAR)
    hose = Hose(bore_m=bore, length_m=500.0)
    turning = 2040 * float(viscosity()) * math.pi / 4 * bore / RHO_ANR
    inlet = turning / tool.conductance
    laminar, turbulent = (float(hose.inlet_pressure(turning * k, inlet)) for k in (1 - 1e-12, 1 + 1e-12))
    assert turbulent > 1.02 * laminar
    line = Line(regulator=Regulator(set_pa_abs=0.5 * (laminar + turbulent)), elements=(hose,))
    point = find_operating_point(line, tool)
    holds_together(point)
    assert float(point.flow_m3_s) == pytest.approx(turning, rel=1e-12)
