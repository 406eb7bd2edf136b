"""The model beside one report's measurements: an air line, a pack or a lead, item by item.

The line starts at the flowing pressure behind the regulator where that was recorded: the regulator's setting, its droop and
the receiver then have no part in what the line takes. Else it starts at the stated setting.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from toolbench.errors import AnalysisError
from toolbench.metrology import mean_and_sd
from toolbench.records.comparison import Component, Estimate, Item
from toolbench.records.runs import Run
from toolbench.records.settings import SeasonSettings, Tool
from toolbench.records.supply import Drive, PartLoss, SagTold
from toolbench.season.supply.learning import Learned, scale_of
from toolbench.season.supply.lines import StatedLine, is_modelled_air, lead_of, line_of, pack_of
from toolbench.season.supply.measured import mean_trace
from toolbench.supply.air import ATMOSPHERE_PA_ABS
from toolbench.supply.electric import PRIOR_VOLTAGE, Lead, Pack
from toolbench.supply.elements import Regulator
from toolbench.supply.exponent import PRIOR_AIR
from toolbench.supply.fitted import Fitted
from toolbench.supply.line import Line, OperatingPoint
from toolbench.supply.regimes import known_supply, which_regime
from toolbench.supply.uncertain_lines import ASSUMED, Assumed

STATED_DEMAND = 0.3
"""Relative standard uncertainty of a catalogue's air consumption, which may assume 20 to 30 % duty (common practice, no source)."""
RATED_AT_PA = 6.3e5
"""Gauge inlet pressure at which consumption is stated (ISO 2787)."""
EXPONENT = "exponent of torque against the drive"
BEHIND_REGULATOR = "start of the line, as recorded"
_ROUNDING = 1e-9
"""What a part takes below this share of the pressure behind it is arithmetic: a recorded start takes nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartedLine:
    """A line with what it starts from, and the uncertainties that go with that start."""

    stated: StatedLine
    line: Line
    assumed: Assumed
    is_recorded: bool


def started_line(settings: SeasonSettings, item: Item, behind_regulator: Estimate | None) -> StartedLine | None:
    """The line of an item's setup, from where it was measured on; None where its setup states no line.

    Raises
    ------
    AnalysisError
        The setup's line is stated in part only.
    """
    setup = settings.setups.get(item.setup)
    if setup is None or not is_modelled_air(setup):
        return None
    stated = line_of(settings, setup)
    if behind_regulator is None:
        return StartedLine(stated=stated, line=stated.line, assumed=ASSUMED, is_recorded=False)
    start = Regulator(set_pa_abs=behind_regulator.value + stated.line.ambient_pa_abs, label=BEHIND_REGULATOR)
    return StartedLine(
        stated=stated,
        line=replace(stated.line, regulator=start),
        assumed=replace(ASSUMED, setting_pa=behind_regulator.standard_uncertainty),
        is_recorded=True,
    )


SMALLEST_DEMAND, GREATEST_DEMAND = 1e-7, 20.0
"""Stated consumptions [m3/s ANR] that a model works with: from 0.0001 to 20 000 L/s."""


def demand_of(settings: SeasonSettings, tool: Tool, learned: Learned | None) -> Fitted | None:
    """A tool's air demand: learned from recordings, else from its stated consumption; None where neither is there.

    A stated consumption of nothing, or one that no line could carry, is none.
    """
    if learned is not None and learned.demand is not None and not learned.demand.fitted.effective:
        return learned.demand.fitted
    if tool.air_consumption_m3_s is None or not SMALLEST_DEMAND <= tool.air_consumption_m3_s <= GREATEST_DEMAND:
        return None
    ambient = settings.ambient_pressure_pa_abs or ATMOSPHERE_PA_ABS
    value = tool.air_consumption_m3_s / (RATED_AT_PA + ambient)
    return Fitted(
        value=value,
        standard_uncertainty=STATED_DEMAND * value,
        source="stated",
        note="stated consumption, taken at 6.3 bar at the inlet; a catalogue's average may be meant",
    )


def exponent_of(learned: Learned | None, drive: Drive) -> Fitted:
    """The exponent of a tool, its prior where nothing outside the report teaches it."""
    found = None
    if learned is not None:
        found = learned.exponent if drive == "inlet_pressure" else learned.voltage_exponent
    if found is None or found.fitted.effective:
        return PRIOR_AIR if drive == "inlet_pressure" else PRIOR_VOLTAGE
    return found.fitted


def losses_of(point: OperatingPoint) -> tuple[PartLoss, ...]:
    """The parts of one line with what they take; gauge pressures."""
    pressures = np.asarray(point.pressures_pa_abs, dtype=float)
    takes = np.abs(point.losses_pa) > _ROUNDING * pressures
    losses, shares = (np.where(takes, found, 0.0) for found in (point.losses_pa, point.shares))
    return tuple(
        PartLoss(label=label, pressure=float(pressure), loss=float(loss), share=float(share))
        for label, pressure, loss, share in zip(
            point.line.labels, pressures - point.line.ambient_pa_abs, losses, shares, strict=True
        )
    )


def as_fitted(estimate: Estimate) -> Fitted:
    """A measured estimate as an input of the model."""
    return Fitted(
        value=estimate.value,
        standard_uncertainty=estimate.standard_uncertainty,
        degrees_of_freedom=estimate.degrees_of_freedom,
        source="learned",
    )


def as_estimate(fitted: Fitted, source: str, label: str, unit: str) -> Estimate:
    """A learned or assumed figure as an estimate with one component."""
    return Estimate(
        value=fitted.value,
        unit=unit,
        components=(
            Component(
                source=source,
                label=label,
                contribution=fitted.standard_uncertainty,
                degrees_of_freedom=fitted.degrees_of_freedom,
                evaluation="A" if fitted.source == "learned" else "B",
                value=fitted.value,
                standard_uncertainty=fitted.standard_uncertainty,
                unit=unit,
            ),
        ),
    )


def electric_of(settings: SeasonSettings, item: Item, runs: list[Run]) -> Pack | Lead | None:
    """The pack or lead of an item's setup at its recorded voltage at rest; None for any other supply.

    Raises
    ------
    AnalysisError
        The setup does not state enough of it.
    """
    setup = settings.setups.get(item.setup)
    if setup is None or setup.supply not in ("battery", "mains"):
        return None
    rested = [run.conditions.voltage_rest for run in runs if run.conditions.voltage_rest is not None]
    rest, sd = mean_and_sd(rested) if rested else (None, 0.0)
    scatter = sd / len(rested) ** 0.5 if len(rested) > 1 else 0.0
    scale = max((scale_of(settings, run, "voltage") for run in runs), default=0.0)
    u = math.hypot(scatter, scale * (rest or 0.0))
    make = pack_of if setup.supply == "battery" else lead_of
    return make(settings, setup, rest_voltage_v=rest, rest_u=u)


def sags_of(stated: StatedLine, point: OperatingPoint, runs: list[Run]) -> tuple[SagTold, ...]:
    """What the falls of the recorded inlet pressure can come from; none where the runs are too short to tell."""
    traced = mean_trace(runs, "inlet_pressure")
    rested = [run.conditions.rest_pressure for run in runs if run.conditions.rest_pressure is not None]
    if traced is None or len(rested) != len(runs):
        return ()
    rest_s = np.linspace(-0.5, -0.02, 25)
    time = np.concatenate([rest_s, traced[0]])
    pressure = np.concatenate([np.full(rest_s.size, mean_and_sd(rested)[0]), traced[1]])
    try:
        found = which_regime(time, pressure, known_supply(stated.line, point.demand, stated.receiver))
    except AnalysisError:
        return ()
    return tuple(
        SagTold(begins_s=sag.begins_s, ends_s=sag.ends_s, drop=sag.drop_pa, verdict=sag.verdict, excluded=sag.excluded)
        for sag in found
    )
