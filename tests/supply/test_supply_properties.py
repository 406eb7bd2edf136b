"""What must hold for any line: which way each change moves the inlet pressure, limits, scaling, and refusals of impossible numbers."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbench.supply.elements import Element, Regulator, Restriction, from_flow_coefficient
from toolbench.supply.hose import Hose
from toolbench.supply.line import Demand, Line, effective_conductance, find_operating_point, margins, needed_pressures

hoses = st.builds(
    Hose,
    bore_m=st.floats(0.004, 0.03),
    length_m=st.floats(0.1, 100),
    roughness_m=st.sampled_from([0.0, 2e-6, 5e-5]),
    loss_coefficient=st.floats(0, 5),
)
restrictions = st.builds(
    Restriction, sonic_conductance=st.floats(1e-8, 3e-7), critical_pressure_ratio=st.floats(0, 0.6)
)
regulators = st.builds(Regulator, set_pa_abs=st.floats(4e5, 12e5), droop_pa_s_m3=st.floats(0, 5e6))
lines = st.builds(
    Line,
    regulator=regulators,
    elements=st.lists(hoses | restrictions, min_size=1, max_size=5).map(tuple),
    temperature_k=st.floats(260, 320),
)
demands = st.builds(Demand, conductance=st.floats(5e-9, 8e-8))
ROUND = 1 + 1e-9
"""Two points found apart agree to this."""


def inlet(line: Line, demand: Demand) -> float:
    return float(find_operating_point(line, demand).inlet_pa_abs)


@settings(max_examples=150, deadline=None)
@given(lines, demands)
def test_every_point_obeys_the_tool_the_regulator_and_the_parts(line: Line, demand: Demand) -> None:
    """One flow through every part: each brings the pressure before it to the one behind, unless it chokes and passes its most."""
    point = find_operating_point(line, demand)
    flow = float(point.flow_m3_s)
    assert flow == pytest.approx(demand.conductance * float(point.inlet_pa_abs), rel=1e-11)
    assert float(point.pressures_pa_abs[0]) == pytest.approx(float(line.regulator.outlet_pressure(flow)), rel=1e-11)
    assert np.all(point.losses_pa >= -1e-6)
    for i, element in enumerate(line.elements):
        before, behind = (float(p) for p in point.pressures_pa_abs[i : i + 2])
        if point.choked[i + 1]:
            assert float(element.largest_flow(before, line.temperature_k)) == pytest.approx(flow, rel=1e-9)
            assert behind <= float(element.critical_outlet(flow, line.temperature_k)) * ROUND
        else:
            near_choking = float(margins(point)[i + 1]) < 1e-6
            found = float(element.outlet_pressure(flow * (1 - 1e-13), before, line.temperature_k))
            assert found == pytest.approx(behind, rel=1e-3 if near_choking else 1e-7)


@settings(max_examples=100, deadline=None)
@given(lines, hoses, demands, st.floats(1, 5))
def test_more_length_never_raises_and_more_bore_never_lowers(
    line: Line, hose: Hose, demand: Demand, more: float
) -> None:
    line = replace(line, elements=(*line.elements, hose))
    part = len(line.elements)
    now = inlet(line, demand)
    assert inlet(line.with_element(part, replace(hose, length_m=hose.length_m * more)), demand) <= now * ROUND
    assert inlet(line.with_element(part, replace(hose, bore_m=hose.bore_m * more)), demand) >= now / ROUND


@settings(max_examples=100, deadline=None)
@given(lines, restrictions, demands, st.floats(1, 5))
def test_what_else_moves_the_inlet_pressure(line: Line, pair: Restriction, demand: Demand, more: float) -> None:
    """A higher setting and a better coupler never lower it; droop, thirst and one more part never raise it."""
    now = inlet(line, demand)
    set_, droop = line.regulator.set_pa_abs, line.regulator.droop_pa_s_m3
    with_pair = replace(line, elements=(*line.elements, pair))
    assert inlet(replace(line, regulator=replace(line.regulator, set_pa_abs=set_ * more)), demand) >= now / ROUND
    assert inlet(replace(line, regulator=replace(line.regulator, droop_pa_s_m3=droop * more)), demand) <= now * ROUND
    assert inlet(line, replace(demand, conductance=demand.conductance * more)) <= now * ROUND
    assert inlet(with_pair, demand) <= now * ROUND
    better = replace(pair, sonic_conductance=pair.sonic_conductance * more)
    assert inlet(replace(line, elements=(*line.elements, better)), demand) >= inlet(with_pair, demand) / ROUND


@settings(max_examples=50, deadline=None)
@given(lines, demands)
def test_a_line_that_loses_nothing_gives_the_regulator_s_pressure(line: Line, demand: Demand) -> None:
    """Limits: every hose as wide as a barrel and a hair long, every coupler huge."""

    def wide(element: Element) -> Element:
        if isinstance(element, Hose):
            return replace(element, bore_m=1.0, length_m=1e-6, loss_coefficient=0.0)
        return replace(element, sonic_conductance=1.0)

    free = replace(line, elements=tuple(wide(element) for element in line.elements))
    expected = inlet(Line(regulator=line.regulator), demand)
    assert inlet(free, demand) == pytest.approx(expected, rel=1e-9)


@settings(max_examples=50, deadline=None)
@given(lines, demands)
def test_a_tool_that_takes_nearly_nothing_has_the_set_pressure(line: Line, demand: Demand) -> None:
    idle = replace(demand, conductance=1e-16)
    assert inlet(line, idle) == pytest.approx(line.regulator.set_pa_abs, rel=1e-6)


@settings(max_examples=50, deadline=None)
@given(st.lists(restrictions, min_size=1, max_size=4).map(tuple), regulators, demands, st.floats(0.5, 2))
def test_couplers_scale(pairs: tuple[Restriction, ...], regulator: Regulator, demand: Demand, scale: float) -> None:
    """Without hoses pressures are all in proportion to the setting, flows too; a common factor on every C changes no pressure."""
    line = Line(regulator=replace(regulator, droop_pa_s_m3=0.0), elements=pairs)
    point = find_operating_point(line, demand)
    raised = find_operating_point(
        replace(line, regulator=replace(line.regulator, set_pa_abs=line.regulator.set_pa_abs * scale)), demand
    )
    assert raised.pressures_pa_abs == pytest.approx(point.pressures_pa_abs * scale, rel=1e-10)
    assert float(raised.flow_m3_s) == pytest.approx(float(point.flow_m3_s) * scale, rel=1e-10)
    larger = tuple(replace(pair, sonic_conductance=pair.sonic_conductance * scale) for pair in pairs)
    scaled = find_operating_point(
        replace(line, elements=larger), replace(demand, conductance=demand.conductance * scale)
    )
    assert scaled.pressures_pa_abs == pytest.approx(point.pressures_pa_abs, rel=1e-10)


@settings(max_examples=50, deadline=None)
@given(hoses, st.floats(0.05, 0.95), st.floats(3e5, 12e5), st.floats(0.1, 0.9))
def test_a_hose_in_two_pieces_is_the_hose(hose: Hose, load: float, before: float, cut: float) -> None:
    hose = replace(hose, loss_coefficient=0.0)
    flow = float(hose.largest_flow(before)) * load
    first, second = (replace(hose, length_m=hose.length_m * share) for share in (cut, 1 - cut))
    middle = first.outlet_pressure(flow, before)
    assert float(second.outlet_pressure(flow, middle)) == pytest.approx(
        float(hose.outlet_pressure(flow, before)), rel=1e-9
    )


@settings(max_examples=50, deadline=None)
@given(lines, st.floats(3e5, 12e5))
def test_a_line_passes_no_more_than_its_narrowest_part(line: Line, before: float) -> None:
    found = effective_conductance(line, before)
    alone = [
        effective_conductance(replace(line, elements=(element,)), before).sonic_conductance for element in line.elements
    ]
    assert float(found.sonic_conductance) <= float(min(alone)) * ROUND
    assert 0 <= float(found.critical_pressure_ratio) < 1


@settings(max_examples=30, deadline=None)
@given(lines, st.lists(st.floats(5e-9, 8e-8), min_size=2, max_size=6))
def test_an_array_of_tools_gives_what_single_tools_give(line: Line, conductances: list[float]) -> None:
    together = find_operating_point(line, Demand(conductance=np.array(conductances)))
    for i, conductance in enumerate(conductances):
        alone = find_operating_point(line, Demand(conductance=conductance))
        assert together.pressures_pa_abs[:, i] == pytest.approx(alone.pressures_pa_abs, rel=1e-11)


def test_a_coil_loses_more_than_a_straight_hose() -> None:
    straight = Hose(bore_m=0.008, length_m=8.0)
    losses = [8e5 - float(replace(straight, coil_diameter_m=d).outlet_pressure(0.008, 8e5)) for d in (None, 0.3, 0.06)]
    assert losses[0] < losses[1] < losses[2]
    assert losses[2] / losses[0] < 1.8


def test_loss_goes_with_the_fifth_power_of_the_bore() -> None:
    """By hand: a bore 5 % small costs 0.95^-5 = 1.29 times the loss at fixed friction; friction takes back a little of it."""
    losses = [8e5 - float(Hose(bore_m=d, length_m=5.0).outlet_pressure(0.008, 8e5)) for d in (0.01, 0.0095)]
    assert losses[1] / losses[0] == pytest.approx(0.95**-5, rel=0.03)


def test_pressures_needed_are_never_nan() -> None:
    line = Line(regulator=Regulator(set_pa_abs=8e5), elements=(Hose(bore_m=0.004, length_m=50.0), PAIR))
    assert np.all(np.isfinite(needed_pressures(line, np.array([0.0, 1e-9, 1e-3, 10.0]), 0.0)))


PAIR = Restriction(sonic_conductance=1e-8, critical_pressure_ratio=0.3)
REFUSED = [
    (lambda: Hose(bore_m=0.0, length_m=1.0), "bore"),
    (lambda: Hose(bore_m=np.array([0.01, -0.01]), length_m=1.0), "bore must be above zero, not -0.01"),
    (lambda: Hose(bore_m=0.01, length_m=-1.0), "length"),
    (lambda: Hose(bore_m=0.01, length_m=float("nan")), "length"),
    (lambda: Hose(bore_m=0.01, length_m=1.0, roughness_m=-1e-6), "roughness"),
    (lambda: Hose(bore_m=0.01, length_m=1.0, coil_diameter_m=0.0), "coil_diameter"),
    (lambda: Hose(bore_m=0.01, length_m=1.0, friction_scale=0.0), "friction_scale"),
    (lambda: Restriction(sonic_conductance=0.0, critical_pressure_ratio=0.3), "sonic_conductance"),
    (lambda: Restriction(sonic_conductance=1e-8, critical_pressure_ratio=1.0), "critical_pressure_ratio"),
    (lambda: Restriction(sonic_conductance=1e-8, critical_pressure_ratio=-0.1), "critical_pressure_ratio"),
    (lambda: from_flow_coefficient(0.0), "flow_coefficient"),
    (lambda: Regulator(set_pa_abs=0.0), "set_pressure"),
    (lambda: Regulator(set_pa_abs=8e5, droop_pa_s_m3=-1.0), "droop"),
    (lambda: Demand(conductance=0.0), "conductance"),
    (lambda: Line(regulator=Regulator(set_pa_abs=8e5), temperature_k=0.0), "temperature"),
]


@pytest.mark.parametrize(("make", "named"), REFUSED)
def test_numbers_that_no_part_can_have_are_refused_by_name(make: object, named: str) -> None:
    assert callable(make)
    with pytest.raises(ValueError, match=named):
        make()


odd_hoses = st.builds(
    Hose,
    bore_m=st.floats(0.0005, 0.1),
    length_m=st.floats(0.01, 1000),
    coil_diameter_m=st.none() | st.floats(0.4, 5),
    loss_coefficient=st.floats(0, 30),
)
odd_restrictions = st.builds(
    Restriction, sonic_conductance=st.floats(1e-10, 1e-5), critical_pressure_ratio=st.floats(0, 0.99)
)


@settings(max_examples=150, deadline=None)
@given(st.lists(odd_hoses | odd_restrictions, max_size=5).map(tuple), regulators, st.floats(-12, -6))
def test_lines_that_nobody_has_still_have_a_point(
    elements: tuple[Element, ...], regulator: Regulator, tens: float
) -> None:
    """Capillaries, barrels, coils at the edge of turbulence, tools that take nothing and everything: finite and consistent."""
    line = Line(regulator=regulator, elements=elements)
    point = find_operating_point(line, Demand(conductance=10**tens))
    assert np.all(np.isfinite(point.pressures_pa_abs))
    assert np.all(np.isfinite(margins(point)))
    assert float(point.flow_m3_s) > 0
    offered = float(regulator.outlet_pressure(point.flow_m3_s))
    assert float(point.pressures_pa_abs[0]) == pytest.approx(offered, rel=1e-6, abs=1e-6 * regulator.set_pa_abs)
    assert np.all(np.diff(point.pressures_pa_abs) <= 1e-6)
