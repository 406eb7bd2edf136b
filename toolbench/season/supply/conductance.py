"""The sonic conductance of a whole line, from recordings at both of its ends, beside what its parts as stated give."""

from __future__ import annotations

import math

import numpy as np

from toolbench.errors import AnalysisError
from toolbench.records.comparison import ComparisonRecord, Item
from toolbench.records.runs import Run
from toolbench.records.settings import SeasonSettings
from toolbench.records.supply import LearnedFigure
from toolbench.season.supply.learning import scale_of, zero_of
from toolbench.season.supply.lines import line_of
from toolbench.season.supply.measured import runs_of, window_mean
from toolbench.season.supply.modelling import as_estimate
from toolbench.supply.air import ATMOSPHERE_PA_ABS
from toolbench.supply.fitting import fit_conductance, flow_share
from toolbench.supply.line import Line, effective_conductance

ENDS = ("air_flow", "supply_pressure", "inlet_pressure")
"""Channels that a conductance needs: what flows, and the pressure at the start and at the end of the line."""
CONDUCTANCE = "sonic conductance of the line"


def line_conductance(settings: SeasonSettings, record: ComparisonRecord, item: Item) -> LearnedFigure | None:
    """The conductance of an item's line between its two gauges; None where one end or the flow was not recorded.

    The critical pressure ratio is that of the line as stated: friction decides it, and the recordings hardly do.
    """
    runs = runs_of(record, item)
    means = np.array([[window_mean(run, channel, record.window_s) for channel in ENDS] for run in runs])
    if len(runs) < 2 or not np.isfinite(means).all():
        return None
    ambient = settings.ambient_pressure_pa_abs or ATMOSPHERE_PA_ABS
    flow, start, end = means[:, 0], means[:, 1] + ambient, means[:, 2] + ambient
    try:
        line = line_of(settings, settings.setups[item.setup]).line
        ratio = float(effective_conductance(line, float(start.mean())).critical_pressure_ratio)
        found = fit_conductance(
            flow,
            start,
            end,
            critical_pressure_ratio=ratio,
            drop_pa=_drop_uncertainty(settings, runs[0], float(start.mean()), float(end.mean())),
            flow_scale=scale_of(settings, runs[0], "air_flow"),
        )
    except (AnalysisError, ValueError):
        # A line that is not stated, or a drop that drowns in its uncertainty: there is nothing to set beside it.
        return None
    return LearnedFigure(
        tool=item.tool,
        item=item.id,
        name="conductance",
        estimate=as_estimate(found, f"conductance/{item.id}", CONDUCTANCE, "m3/(s*Pa)"),
        source="learned",
        runs=len(runs),
        stated=_as_stated(line, float(flow.mean()), float(start.mean()), ratio),
    )


def _as_stated(line: Line, flow_m3_s: float, start_pa_abs: float, ratio: float) -> float | None:
    """The conductance that the parts as stated show at the same flow and start, read off in the same way; None where they choke.

    A hose does not follow the ellipse of ISO 6358, so the figure of choked flow would differ from one read off here.
    """
    end = np.asarray(start_pa_abs)
    for element in line.elements:
        end = element.outlet_pressure(flow_m3_s, end, line.temperature_k)
    shown = float(flow_m3_s / (start_pa_abs * flow_share(end / start_pa_abs, ratio)))
    return shown if math.isfinite(shown) else None


def _drop_uncertainty(settings: SeasonSettings, run: Run, start_pa_abs: float, end_pa_abs: float) -> float:
    """Standard uncertainty of the difference of the two gauges that every run shares [Pa]."""
    parts = [zero_of(settings, run, channel) for channel in ENDS[1:]]
    parts += [
        scale_of(settings, run, channel) * pressure
        for channel, pressure in zip(ENDS[1:], (start_pa_abs, end_pa_abs), strict=True)
    ]
    return math.hypot(*parts)
