"""The demo's setups as lines of the package, so that what is planted there can be asked of the model."""

from __future__ import annotations

from bench_parts import ATMOSPHERE, BAR, REGULATOR_DROOP, SETUPS
from bench_parts import Hose as DemoHose

from toolbench.supply.elements import Regulator, Restriction
from toolbench.supply.hose import Hose
from toolbench.supply.line import Line

AMBIENT_PA = ATMOSPHERE * BAR


def demo_line(setup: str) -> Line:
    """A setup as bench.toml states it."""
    one = SETUPS[setup]
    elements = tuple(
        Hose(bore_m=part.bore_m, length_m=part.length_m, roughness_m=2e-6)
        if isinstance(part, DemoHose)
        else Restriction(sonic_conductance=part.conductance * 1e-8, critical_pressure_ratio=part.ratio)
        for part in one.line
    )
    regulator = Regulator(set_pa_abs=one.regulator * BAR + AMBIENT_PA, droop_pa_s_m3=REGULATOR_DROOP * 1e8)
    return Line(regulator=regulator, elements=elements, ambient_pa_abs=AMBIENT_PA)
