"""The invented bench's air lines: what flows, and what is left of the pressure at the tool."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache, lru_cache

from bench_parts import (
    AIR_RT,
    AIR_VISCOSITY,
    ANR_DENSITY,
    ATMOSPHERE,
    BAR,
    REGULATOR_DROOP,
    SETUPS,
    TOOLS,
    Coupler,
    Hose,
    Tool,
)


def hose_outlet(inlet_bar_abs: float, flow: float, hose: Hose) -> float:
    """Pressure [bar abs] at the end of a smooth hose; isothermal flow with Darcy friction, `flow` in L/s ANR."""
    area = math.pi * hose.bore_m**2 / 4
    mass_flux = flow * 1e-3 * ANR_DENSITY / area
    reynolds = max(mass_flux * hose.bore_m / AIR_VISCOSITY, 4000.0)
    friction = (-1.8 * math.log10(6.9 / reynolds + (2e-6 / hose.bore_m / 3.7) ** 1.11)) ** -2  # Haaland
    outlet = inlet_bar_abs
    for _ in range(30):
        loss = friction * hose.length_m / hose.bore_m + 2 * math.log(inlet_bar_abs / outlet)
        squared = inlet_bar_abs**2 - mass_flux**2 * AIR_RT * loss / BAR**2
        outlet = math.sqrt(max(squared, 0.25))
    return outlet


def coupler_outlet(inlet_bar_abs: float, flow: float, coupler: Coupler) -> float:
    """Pressure [bar abs] behind a mated pair, by the flow formula of ISO 6358."""
    share = min(flow / (coupler.conductance * inlet_bar_abs), 1.0)
    return inlet_bar_abs * (coupler.ratio + (1 - coupler.ratio) * math.sqrt(1 - share**2))


def line_outlet(inlet_bar: float, flow: float, line: Sequence[Hose | Coupler]) -> float:
    """Gauge pressure [bar] at the end of the whole line."""
    pressure = inlet_bar + ATMOSPHERE
    for part in line:
        outlet = hose_outlet if isinstance(part, Hose) else coupler_outlet
        pressure = outlet(pressure, flow, part)  # type: ignore[arg-type]
    return pressure - ATMOSPHERE


def demand(tool: Tool, inlet_bar: float) -> float:
    """Air flow [L/s ANR] of a running tool: choked, so it goes with the absolute pressure at the inlet."""
    return tool.conductance * (inlet_bar + ATMOSPHERE)


def _bisect(low: float, high: float, miss: Callable[[float], float]) -> float:
    """Where `miss`, which rises, crosses zero between `low` and `high`."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if miss(middle) > 0 else (middle, high)
    return (low + high) / 2


@lru_cache(maxsize=4096)
def inlet_behind(tool: str, setup: str, outlet_bar: float) -> float:
    """Flowing inlet pressure [bar] when the regulator's outlet flows at `outlet_bar`."""
    kind, line = TOOLS[tool], SETUPS[setup].line
    return _bisect(0.0, outlet_bar, lambda p: p - line_outlet(outlet_bar, demand(kind, p), line))


@cache
def flowing_inlet(tool: str, setup: str, regulator_bar: float) -> float:
    """Flowing inlet pressure [bar] for a regulator set at rest to `regulator_bar`."""
    kind, line = TOOLS[tool], SETUPS[setup].line

    def miss(p: float) -> float:
        flow = demand(kind, p)
        return p - line_outlet(regulator_bar - REGULATOR_DROOP * flow, flow, line)

    return _bisect(0.0, regulator_bar, miss)


@cache
def regulator_for(tool: str, setup: str, inlet_bar: float) -> float:
    """Regulator setting at rest [bar] that gives `inlet_bar` at the inlet while the tool runs."""
    flow = demand(TOOLS[tool], inlet_bar)
    line = SETUPS[setup].line
    rest = REGULATOR_DROOP * flow
    return _bisect(inlet_bar, 14.0, lambda r: line_outlet(r - rest, flow, line) - inlet_bar)
