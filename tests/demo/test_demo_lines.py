"""The demo's air lines, written apart (Haaland's friction, one part after the other), against the model of the supply."""

import pytest
from bench_line import flowing_inlet, regulator_for
from bench_parts import ATMOSPHERE, REGULATOR_DROOP, SETUPS, TOOLS
from bench_parts import Hose as DemoHose

from toolbench.supply.elements import Element, Regulator, Restriction
from toolbench.supply.hose import Hose
from toolbench.supply.line import Demand, Line, find_operating_point, needed_setting

CASES = [
    (t, s) for t, tool in TOOLS.items() if tool.conductance for s, setup in SETUPS.items() if setup.supply == "air"
]
PA_S_M3, L_S_BAR, BAR = 1e8, 1e-8, 1e5


def line_of(setup: str, regulator_bar: float) -> Line:
    elements: list[Element] = [
        Hose(bore_m=part.bore_m, length_m=part.length_m, roughness_m=2e-6)
        if isinstance(part, DemoHose)
        else Restriction(sonic_conductance=part.conductance * L_S_BAR, critical_pressure_ratio=part.ratio)
        for part in SETUPS[setup].line
    ]
    regulator = Regulator(set_pa_abs=(regulator_bar + ATMOSPHERE) * BAR, droop_pa_s_m3=REGULATOR_DROOP * PA_S_M3)
    return Line(regulator=regulator, elements=tuple(elements), ambient_pa_abs=ATMOSPHERE * BAR)


@pytest.mark.parametrize(("tool", "setup"), CASES)
def test_flowing_inlet_pressure(tool: str, setup: str) -> None:
    """Gauge inlet pressure within 2 %, and what the line takes within 2 % of itself and 0.01 bar."""
    set_bar = SETUPS[setup].regulator
    point = find_operating_point(line_of(setup, set_bar), Demand(conductance=TOOLS[tool].conductance * L_S_BAR))
    gauge = float(point.inlet_pa_abs) / BAR - ATMOSPHERE
    expected = flowing_inlet(tool, setup, set_bar)
    assert gauge == pytest.approx(expected, rel=0.02)
    assert set_bar - gauge == pytest.approx(set_bar - expected, rel=0.02, abs=0.01)
    assert not point.choked.any()


@pytest.mark.parametrize(("tool", "setup"), CASES)
def test_regulator_pressure_needed(tool: str, setup: str) -> None:
    found = needed_setting(
        line_of(setup, 6.9), Demand(conductance=TOOLS[tool].conductance * L_S_BAR), (6.2 + ATMOSPHERE) * BAR
    )
    assert float(found) / BAR - ATMOSPHERE == pytest.approx(regulator_for(tool, setup, 6.2), rel=0.005)
