"""The steady air line: how much flows from the regulator to a running tool, and what is left of the pressure at its inlet.

The tool passes a flow that goes with its inlet pressure, since it is choked. So from a flow follows the inlet pressure, and from
there, part after part backwards, the pressure that each part needs before it, up to the regulator: as ISO 6358-3 reckons a
series of parts, and in this direction without an exception where a part chokes. The pressure that the regulator must have rises with the
flow, the one that it has falls, and they cross once: that is the operating point. Where a part chokes, the flow is capped by
what it passes, and the pressure behind it collapses to what the tool's conductance makes of that flow.

Pressures are absolute [Pa]. Every number of a line may be an array that broadcasts with the others: one call answers them all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from toolbench.records.runs import Floats
from toolbench.supply.air import ATMOSPHERE_PA_ABS, T_ANR, Numbers
from toolbench.supply.crossing import find_crossing
from toolbench.supply.elements import Element, Regulator
from toolbench.supply.guards import require_positive
from toolbench.supply.hose import Hose

_JUMP = 1e-9
"""Flow this close to a jump of friction, as a share of itself, is on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A regulator and the parts from there to the tool, in the order of the flow.

    Part 0 is the regulator, part i the i-th of `elements`: every list that goes along the line counts so.
    """

    regulator: Regulator
    elements: tuple[Element, ...] = ()
    temperature_k: Numbers = T_ANR
    ambient_pa_abs: float = ATMOSPHERE_PA_ABS
    """Of the room: only what turns absolute pressures into gauge ones."""

    def __post_init__(self) -> None:
        require_positive(temperature=self.temperature_k, ambient_pressure=self.ambient_pa_abs)

    @property
    def labels(self) -> tuple[str, ...]:
        """Names of the parts, the regulator first."""
        return (self.regulator.label, *(element.label for element in self.elements))

    def with_element(self, part: int, element: Element) -> Line:
        """The line with another part at place `part` (counted from 1; 0 is the regulator)."""
        elements = list(self.elements)
        elements[part - 1] = element
        return replace(self, elements=tuple(elements))


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """A running tool: it takes `conductance` [m3/(s*Pa) ANR] times its absolute inlet pressure. Raises ValueError unless above zero."""

    conductance: Numbers
    rated_pa_abs: float | None = None
    """Pressure that the tool may not exceed [Pa abs]; None: not stated."""
    label: str = "tool"

    def __post_init__(self) -> None:
        require_positive(conductance=self.conductance)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OperatingPoint:
    """What flows and what is left of the pressure, for one line and tool or for whole arrays of them.

    `...` is the shape that the line's and the tool's numbers broadcast to: () for one line.
    """

    line: Line
    demand: Demand
    flow_m3_s: Floats
    """Flow [m3/s ANR], shape (...)."""
    pressures_pa_abs: Floats
    """Behind the regulator and behind each element [Pa abs], shape (parts, ...); the last is the tool's inlet."""
    losses_pa: Floats
    """What each part takes [Pa], shape (parts, ...); first the regulator's droop. They add up to setting less inlet pressure."""
    choked: npt.NDArray[np.bool_]
    """Whether each part chokes, shape (parts, ...)."""

    @property
    def inlet_pa_abs(self) -> Floats:
        """Flowing pressure at the tool's inlet [Pa abs], shape (...)."""
        return np.asarray(self.pressures_pa_abs[-1])

    @property
    def shares(self) -> Floats:
        """Each part's share of the whole loss, shape (parts, ...); zero where nothing is lost."""
        whole = self.losses_pa.sum(axis=0)
        return np.asarray(self.losses_pa / np.where(whole > 0, whole, np.inf))

    @property
    def limiting(self) -> npt.NDArray[np.intp]:
        """Which part takes most of the pressure (0: the regulator), shape (...)."""
        return np.asarray(np.argmax(self.losses_pa, axis=0))


class Profile(NamedTuple):
    """Pressure along a line, as a picture shows it: `label` i stands where part i begins, at `label_m` i."""

    position_m: Floats
    pressure_pa_abs: Floats
    labels: tuple[str, ...]
    label_m: Floats


class Conductance(NamedTuple):
    """A whole line as ISO 6358-3 describes it: its sonic conductance [m3/(s*Pa) ANR] and critical pressure ratio."""

    sonic_conductance: Floats
    critical_pressure_ratio: Floats


def find_operating_point(line: Line, demand: Demand) -> OperatingPoint:
    """Flow and pressures of a tool that runs at the end of a line.

    Parameters
    ----------
    line, demand : their numbers may be arrays that broadcast

    Returns
    -------
    OperatingPoint
        Found to about twelve digits. `choked` says what chokes; there the flow is the most that the part passes.

    References
    ----------
    ISO 6358-3 (calculation of assemblies, part after part; from memory).
    """
    regulator = line.regulator
    set_ = np.asarray(regulator.set_pa_abs, dtype=float)
    highest = np.asarray(demand.conductance * set_, dtype=float)

    # In squares the pressure needed is nearly a straight line over the flow, so few steps lead to the crossing.
    def miss(flow_squared: Floats) -> Floats:
        flow = np.sqrt(flow_squared)
        needed = _needed(line, flow, flow / demand.conductance)[-1]
        offered = np.maximum(regulator.outlet_pressure(flow), 0.0)
        return np.asarray((needed**2 - offered**2) / set_**2)

    flow = np.sqrt(find_crossing(miss, highest**2))
    pressures = _settled(line, demand, flow)
    above = np.concatenate([np.broadcast_to(set_, flow.shape)[None], pressures[:-1]])
    return OperatingPoint(
        line=line,
        demand=demand,
        flow_m3_s=flow,
        pressures_pa_abs=pressures,
        losses_pa=above - pressures,
        choked=_choked(line, flow, pressures),
    )


def _settled(line: Line, demand: Demand, flow: Floats) -> Floats:
    """Pressures along the line at the flow that was found.

    Friction jumps where flow in a hose turns turbulent. With little flow in a long hose the crossing may lie on the jump: flow then
    changes between both laws, and the losses lie between theirs, so that the regulator's own pressure comes out.
    """
    pressures = needed_pressures(line, flow, flow / demand.conductance)
    offered = np.maximum(line.regulator.outlet_pressure(flow), 0.0)
    jumps = np.abs(pressures[0] - offered) > _JUMP * np.asarray(line.regulator.set_pa_abs)
    if not np.any(jumps):
        return pressures
    sides = (flow * (1.0 - _JUMP), flow * (1.0 + _JUMP))
    below, above = (needed_pressures(line, side, side / demand.conductance) for side in sides)
    share = np.clip((offered - below[0]) / np.where(jumps, above[0] - below[0], 1.0), 0.0, 1.0)
    return np.where(jumps, below + share * (above - below), pressures)


def needed_pressures(line: Line, flow_m3_s: Numbers, inlet_pa_abs: Numbers) -> Floats:
    """Pressure [Pa abs] behind regulator and each element that drives a flow [m3/s ANR] against the pressure at the end.

    Shape (parts, ...); the last is `inlet_pa_abs` itself. Never nan: behind a part that chokes the pressure may be anything lower.
    """
    pressures = _needed(line, flow_m3_s, inlet_pa_abs)
    return np.stack(np.broadcast_arrays(*reversed(pressures), np.asarray(flow_m3_s))[:-1])


def _needed(line: Line, flow_m3_s: Numbers, inlet_pa_abs: Numbers) -> list[Floats]:
    """The same from the tool backwards, each in its own shape."""
    pressures = [np.asarray(inlet_pa_abs, dtype=float)]
    for element in reversed(line.elements):
        pressures.append(element.inlet_pressure(flow_m3_s, pressures[-1], line.temperature_k))
    return pressures


def needed_setting(line: Line, demand: Demand, inlet_pa_abs: Numbers) -> Floats:
    """Regulator setting at rest [Pa abs] that gives a flowing inlet pressure [Pa abs]; a closed form, no search."""
    flow = demand.conductance * np.asarray(inlet_pa_abs)
    return np.asarray(_needed(line, flow, inlet_pa_abs)[-1] + flow * line.regulator.droop_pa_s_m3)


def sweep(line: Line, demand: Demand, hose: int, lengths_m: Numbers, bores_m: Numbers) -> OperatingPoint:
    """Operating points with the hose at place `hose` (counted from 1) at every length and bore.

    Returns
    -------
    OperatingPoint
        `flow_m3_s` and `inlet_pa_abs` have the shape (bores, lengths).
    """
    element = line.elements[hose - 1]
    if not isinstance(element, Hose):
        raise ValueError(f"part {hose} of the line is a {element.label}, not a hose")
    bores, lengths = np.atleast_1d(bores_m)[:, None], np.atleast_1d(lengths_m)[None, :]
    return find_operating_point(line.with_element(hose, replace(element, bore_m=bores, length_m=lengths)), demand)


def margins(point: OperatingPoint) -> Floats:
    """How far each part is from choking: 1 less flow over the most it passes at its inlet pressure, shape (parts, ...).

    The regulator does not choke in this model: 1.
    """
    line = point.line
    left = [np.ones(point.flow_m3_s.shape)]
    for element, before in zip(line.elements, point.pressures_pa_abs[:-1], strict=True):
        left.append(1.0 - point.flow_m3_s / element.largest_flow(before, line.temperature_k))
    return np.asarray(np.maximum(np.stack(np.broadcast_arrays(*left)), 0.0))


def effective_conductance(line: Line, inlet_pa_abs: Numbers) -> Conductance:
    """The whole line without its regulator, as one sonic conductance and critical pressure ratio.

    By their definition: C is the choked flow over the inlet pressure, b the pressure behind at which choking begins over that before.
    They hang a little on `inlet_pa_abs` [Pa abs], since friction in a hose does.

    Raises
    ------
    ValueError
        The line has no parts, so nothing chokes.

    References
    ----------
    ISO 6358-3 (from memory).
    """
    if not line.elements:
        raise ValueError("a line without parts has no conductance")
    inlet = np.asarray(inlet_pa_abs, dtype=float)
    most = reduce(np.minimum, (e.largest_flow(inlet, line.temperature_k) for e in line.elements))

    def miss(flow_squared: Floats) -> Floats:
        return np.asarray((_needed(line, np.sqrt(flow_squared), 0.0)[-1] / inlet) ** 2 - 1.0)

    flow = np.sqrt(find_crossing(miss, np.asarray(most**2)))
    at_anr = np.sqrt(np.asarray(line.temperature_k) / T_ANR)
    return Conductance(flow * at_anr / inlet, _onset_of_choking(line, flow) / inlet)


def _onset_of_choking(line: Line, flow: Floats) -> Floats:
    """Highest pressure [Pa abs] behind the line at which it still chokes at its choked flow.

    The first part that chokes decides: it begins to do so at its own critical outlet, and the parts behind it take their losses
    from there.
    """
    pressures = needed_pressures(line, flow, 0.0)
    critical = _critical_outlets(line, flow)
    behind, chokes = pressures[0], np.zeros(flow.shape, dtype=bool)
    for element, outlet, limit in zip(line.elements, pressures[1:], critical, strict=True):
        passed = element.outlet_pressure(flow, behind, line.temperature_k)
        first = outlet <= limit
        behind = np.where(chokes, passed, np.where(first, limit, outlet))
        chokes = chokes | first
    return np.asarray(behind)


def _critical_outlets(line: Line, flow: Floats) -> Floats:
    """Highest pressure [Pa abs] behind each element at which it chokes, shape (elements, ...)."""
    limits = [element.critical_outlet(flow, line.temperature_k) for element in line.elements]
    return np.stack(np.broadcast_arrays(*limits, flow)[:-1]) if limits else np.empty((0, *flow.shape))


def _choked(line: Line, flow: Floats, pressures: Floats) -> npt.NDArray[np.bool_]:
    regulator = np.zeros((1, *flow.shape), dtype=bool)
    return np.concatenate([regulator, pressures[1:] <= _critical_outlets(line, flow)])


def pressure_profile(point: OperatingPoint, points_per_hose: int = 40) -> Profile:
    """Pressure along one line: falling along its hoses, in steps at its other parts. `point` is of one line, no arrays."""
    line, flow = point.line, float(point.flow_m3_s)
    positions, pressures, begins = [0.0], [float(point.pressures_pa_abs[0])], [0.0]
    for element, outlet in zip(line.elements, point.pressures_pa_abs[1:], strict=True):
        start = positions[-1]
        begins.append(start)
        if isinstance(element, Hose):
            left = np.linspace(1.0, 0.0, points_per_hose + 1)[1:-1]
            rest = replace(element, length_m=element.length_m * left, loss_coefficient=element.loss_coefficient * left)
            end = max(float(outlet), float(element.critical_outlet(flow, line.temperature_k)))
            positions += [*(start + element.length_m * (1.0 - left)), start + float(element.length_m)]
            pressures += [*rest.inlet_pressure(flow, outlet, line.temperature_k), end]
        positions.append(positions[-1])
        pressures.append(float(outlet))
    return Profile(np.asarray(positions), np.asarray(pressures), line.labels, np.asarray(begins))
