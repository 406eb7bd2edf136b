"""Receiver and compressor over a run: V dp/dt = in - out, and what is left at the tool as the receiver falls.

Three regimes follow each other: the air that lies in the line (under a second), a plateau limited by the line, and a sag once
the receiver has come down to what the regulator needs.

The line answers at once beside the receiver, so its steady states are worked out once, over the pressures that can stand ahead
of it, and a single equation is left. The receiver's air is isothermal; `polytropic_exponent` 1.4 makes it adiabatic.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from toolbench.records.runs import Floats
from toolbench.supply.air import P_ANR, T_ANR
from toolbench.supply.guards import require_not_negative, require_positive
from toolbench.supply.hose import Hose
from toolbench.supply.line import Demand, Line, find_operating_point

STEP_S = 0.01
LEVELS = 120
"""Pressures ahead of the line at which its steady state is worked out."""
LOWEST_SHARE = 0.25
"""Of the held pressure: a receiver that has fallen so far is not followed any further."""
INVENTORY_LASTS = 3.0
"""Time constants after which the air of the line no longer counts: 5 % of it is left."""

Regime = Literal["line inventory", "flow-limited", "compressor-limited"]
REGIMES: tuple[Regime, ...] = ("line inventory", "flow-limited", "compressor-limited")
Steady = Callable[[Floats], tuple[Floats, Floats]]
"""Inlet pressure [Pa abs] and flow [m3/s ANR] for pressures at the regulator's outlet [Pa abs]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Receiver:
    """Receiver and its compressor, which starts at `cut_in_pa_abs`, stops at `cut_out_pa_abs` and gives `free_air_m3_s` ANR.

    Raises ValueError for a volume that is not above zero, or a compressor that starts above where it stops.
    """

    volume_m3: float
    free_air_m3_s: float = 0.0
    cut_in_pa_abs: float = 0.0
    cut_out_pa_abs: float = math.inf

    def __post_init__(self) -> None:
        require_positive(volume=self.volume_m3)
        require_not_negative(free_air=self.free_air_m3_s)
        if self.cut_in_pa_abs > self.cut_out_pa_abs:
            raise ValueError("a compressor starts at a lower pressure than it stops at: cut_in lies above cut_out")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Transient:
    """A modelled run: arrays over `time_s` from the onset; `regime` is a number into `REGIMES`."""

    time_s: Floats
    receiver_pa_abs: Floats
    inlet_pa_abs: Floats
    flow_m3_s: Floats
    regime: npt.NDArray[np.int8]
    compressor: npt.NDArray[np.bool_]
    inventory_s: float

    @property
    def sag_begins_s(self) -> float | None:
        """When the receiver has come down to what the regulator needs; None where it does not during the run."""
        late = np.flatnonzero(self.regime == REGIMES.index("compressor-limited"))
        return float(self.time_s[late[0]]) if late.size else None


def line_inventory_s(
    volume_m3: float, flow_m3_s: float, from_pa_abs: float, to_pa_abs: float, *, temperature_k: float = T_ANR
) -> float:
    """How long the air in a volume feeds a flow [s] while its pressure falls.

    Parameters
    ----------
    volume_m3
        Of the hoses.
    flow_m3_s
        Of the tool [ANR].

    References
    ----------
    Ideal gas at one temperature: V (p1 - p2) / p_ANR of free air.
    """
    return volume_m3 * (from_pa_abs - to_pa_abs) / P_ANR * T_ANR / temperature_k / flow_m3_s


def blow_down_s(
    volume_m3: float,
    conductance: float,
    from_pa_abs: float,
    to_pa_abs: float,
    *,
    temperature_k: float = T_ANR,
    adiabatic: bool = False,
) -> float:
    """How long a receiver without a compressor takes to fall through a choked outlet [s]; `temperature_k` is that at the start.

    Parameters
    ----------
    volume_m3
        Of the receiver.
    conductance
        Flow over absolute pressure [m3/(s*Pa) ANR] at 20 degC; it goes with one over the root of the temperature.
    adiabatic
        Whether the air that stays cools as it expands; then the fall is faster.

    References
    ----------
    Mass balance with an ideal gas, T/T0 = (p/p0)^((k-1)/k), k = 1.4.
    """
    constant = volume_m3 / (conductance * P_ANR) * math.sqrt(T_ANR / temperature_k)
    if not adiabatic:
        return constant * math.log(from_pa_abs / to_pa_abs)
    power = (1.4 - 1.0) / (2.0 * 1.4)
    return float(constant * 2.0 / (1.4 - 1.0) * ((from_pa_abs / to_pa_abs) ** power - 1.0))


def line_volume_m3(line: Line) -> float:
    """Air space of the hoses of one line [m3]; couplers and fittings hold next to nothing."""
    hoses = [element for element in line.elements if isinstance(element, Hose)]
    return math.fsum(math.pi / 4.0 * float(hose.bore_m) ** 2 * float(hose.length_m) for hose in hoses)


def run_transient(
    line: Line,
    demand: Demand,
    receiver: Receiver,
    *,
    start_pa_abs: float,
    duration_s: float,
    margin_pa: float = 0.0,
    running: bool | None = None,
    polytropic_exponent: float = 1.0,
) -> Transient:
    """A run of a tool on one line behind a receiver: pressures and flow over time, and which regime each moment is in.

    Parameters
    ----------
    start_pa_abs
        Receiver at the onset.
    margin_pa
        How much the receiver must lie above the regulator's outlet for it to hold; below, the line is fed by the receiver
        less this margin.
    running
        Whether the compressor runs at the onset; by default where the receiver lies below its cut-in.
    polytropic_exponent
        1 for air in the receiver that keeps its temperature (wall and air exchange heat), 1.4 for air that exchanges none. It
        matters: 40 L behind a wrench begin to sag at 8.2 s or at 6.1 s, and what is left after 12 s is 5.0 or 4.3 bar.

    Returns
    -------
    Transient
        Modelled. The first moments hold the air of the line alone: how fast a regulator answers is not in them, so measured
        pressures settle later.
    """
    held = find_operating_point(line, demand)
    ahead, flow = float(held.pressures_pa_abs[0]), float(held.flow_m3_s)

    def steady(pressures: Floats) -> tuple[Floats, Floats]:
        wide_open = replace(line.regulator, set_pa_abs=pressures, droop_pa_s_m3=0.0)
        point = find_operating_point(replace(line, regulator=wide_open), demand)
        return point.inlet_pa_abs, point.flow_m3_s

    rest, temperature = float(line.regulator.set_pa_abs), float(line.temperature_k)
    mean = float(np.mean(held.pressures_pa_abs[[0, -1]]))
    inventory = line_inventory_s(line_volume_m3(line), flow, rest, mean, temperature_k=temperature)
    return run_steady(
        steady,
        receiver,
        start_pa_abs=start_pa_abs,
        held_pa_abs=ahead,
        lowest_pa_abs=LOWEST_SHARE * ahead,
        duration_s=duration_s,
        rest_pa_abs=min(rest, start_pa_abs),
        inventory_s=inventory,
        margin_pa=margin_pa,
        running=running,
        polytropic_exponent=polytropic_exponent,
        temperature_k=temperature,
    )


def _step(slope: Callable[[float], float], now: float) -> float:
    """How far the receiver comes in one step [Pa], by the exponential rule of second order.

    It stays stable for a receiver whose air lasts no longer than the step.
    """
    here = slope(now)
    bend = (slope(now + 1.0) - here) * STEP_S
    return STEP_S * here * (math.expm1(min(bend, 1.0)) / bend if bend else 1.0)


def run_steady(
    steady: Steady,
    receiver: Receiver,
    *,
    start_pa_abs: float,
    held_pa_abs: float,
    lowest_pa_abs: float,
    duration_s: float,
    rest_pa_abs: float | None = None,
    inventory_s: float = 0.0,
    margin_pa: float = 0.0,
    running: bool | None = None,
    polytropic_exponent: float = 1.0,
    temperature_k: float = T_ANR,
) -> Transient:
    """The course of a run for a line whose steady states are given by `steady`.

    Parameters
    ----------
    start_pa_abs
        Receiver at the onset.
    held_pa_abs
        Regulator's outlet while the tool runs and the receiver lies high enough.
    lowest_pa_abs
        Lowest pressure ahead of the line that is looked at; the receiver does not fall below it.
    rest_pa_abs
        Inlet before the onset; from there it comes down with the time constant `inventory_s`.
    margin_pa
        How much the receiver must lie above the regulator's outlet to hold it.
    running
        Whether the compressor runs at the onset; by default where the receiver lies below its cut-in.
    polytropic_exponent
        1 for air in the receiver that keeps its temperature, 1.4 for air that exchanges no heat.
    """
    levels = np.linspace(lowest_pa_abs, held_pa_abs, LEVELS)
    inlet_at, flow_at = steady(levels)
    time = np.arange(0.0, duration_s + 0.5 * STEP_S, STEP_S)
    pressure, compressor = np.empty_like(time), np.empty(time.size, dtype=np.bool_)
    on = start_pa_abs < receiver.cut_in_pa_abs if running is None else running
    per_air = polytropic_exponent * P_ANR * temperature_k / T_ANR / receiver.volume_m3
    cooling = (polytropic_exponent - 1.0) / polytropic_exponent
    given, highest = receiver.free_air_m3_s, max(start_pa_abs, receiver.cut_out_pa_abs)

    def slope(p: float) -> float:
        """Pa/s with the compressor as it is now."""
        out = float(np.interp(p - margin_pa, levels, flow_at))
        return float(per_air * (p / start_pa_abs) ** cooling * (given * on - out))

    now = start_pa_abs
    for k in range(time.size):
        on = (on and now < receiver.cut_out_pa_abs) or now < receiver.cut_in_pa_abs
        pressure[k], compressor[k] = now, on
        now = min(max(now + _step(slope, now), lowest_pa_abs), highest)
    ahead = np.minimum(pressure - margin_pa, held_pa_abs)
    inlet, flow = np.interp(ahead, levels, inlet_at), np.interp(ahead, levels, flow_at)
    regime = np.where(ahead < held_pa_abs, REGIMES.index("compressor-limited"), REGIMES.index("flow-limited"))
    if rest_pa_abs is not None and inventory_s > 0:
        fade = np.exp(-time / inventory_s)
        flow = flow * (1.0 + (rest_pa_abs / inlet - 1.0) * fade)
        inlet = inlet + (rest_pa_abs - inlet) * fade
        regime = np.where(time < INVENTORY_LASTS * inventory_s, REGIMES.index("line inventory"), regime)
    return Transient(
        time_s=time,
        receiver_pa_abs=pressure,
        inlet_pa_abs=np.asarray(inlet),
        flow_m3_s=np.asarray(flow),
        regime=regime.astype(np.int8),
        compressor=compressor,
        inventory_s=inventory_s,
    )
