"""How long a hose of each bore may be for the loss of the whole line to stay within a share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from toolbench.supply.guards import require_positive
from toolbench.supply.hose import Hose
from toolbench.supply.limits import over_rating, refuse
from toolbench.supply.line import Demand, Line, needed_pressures


@dataclass(frozen=True, slots=True, kw_only=True)
class LongestHose:
    """The longest hose of one bore, and what is at its tool then."""

    bore_m: float
    length_m: float | None
    """None: the rest of the line loses more than that without any hose, or a part chokes."""
    flow_m3_s: float
    inlet_pa_abs: float


def longest_hoses(
    line: Line, demand: Demand, loss_percent: float, *, hose: int, bores_m: Sequence[float]
) -> tuple[LongestHose, ...]:
    """The longest hose of each bore, at place `hose` of the line (counted from 1), that keeps the loss at `loss_percent`.

    The loss is that of the line while the tool runs, from behind the regulator to the tool's inlet, in percent of the flowing gauge
    pressure behind the regulator; the regulator's own droop is not counted. Flow and inlet pressure follow from the percentage
    alone, so they are the same for every bore.

    Raises
    ------
    ValueError
        The percentage lies outside 0 to 100, or the part is no hose.
    AnalysisError
        The line or the tool stands above a rated pressure.
    """
    element = line.elements[hose - 1]
    if not isinstance(element, Hose):
        raise ValueError(f"part {hose} of the line is a {element.label}, not a hose")
    require_positive(loss_percent=loss_percent, loss_left=100.0 - loss_percent)
    refuse(over_rating(line, demand))
    share, ambient, regulator = loss_percent / 100.0, line.ambient_pa_abs, line.regulator
    # Behind the regulator p0 = set − droop C p, at the inlet p = p0 − share (p0 − ambient): two straight lines.
    slope = float(demand.conductance) * float(regulator.droop_pa_s_m3)
    before = (float(regulator.set_pa_abs) - slope * share * ambient) / (1.0 + slope * (1.0 - share))
    inlet = before - share * (before - ambient)
    flow = float(demand.conductance) * inlet
    high = before
    for part in line.elements[: hose - 1]:
        high = float(part.outlet_pressure(flow, high, line.temperature_k))
    low = float(needed_pressures(replace(line, elements=line.elements[hose:]), flow, inlet)[0])
    bores = np.asarray(bores_m, dtype=float)
    lengths = replace(element, bore_m=bores).length_between(flow, high, low, line.temperature_k)
    return tuple(
        LongestHose(
            bore_m=float(bore), length_m=float(length) if length > 0 else None, flow_m3_s=flow, inlet_pa_abs=inlet
        )
        for bore, length in zip(bores, lengths, strict=True)
    )
