"""What a season's recordings teach of one tool's supply: its demand for air, and how its torque follows pressure or voltage.

Every usable run of the tool counts, under whatever protocol, as long as rig, filter, measurand, direction and response are
those asked for. Each run gives its means over the window of the sustained mean: there the torque has settled, and a pressure
that sags late is the pressure that the torque was made at.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from toolbench.errors import AnalysisError
from toolbench.metrology import mean_and_sd, pooled_sd
from toolbench.records.runs import Run
from toolbench.records.settings import Certificate, Protocol, SeasonSettings
from toolbench.season.beside import like_findings
from toolbench.season.calibrating import certificate_for, day_of
from toolbench.season.opening import Season
from toolbench.season.reducing import reduce_runs
from toolbench.season.supply.measured import window_mean
from toolbench.supply.air import ATMOSPHERE_PA_ABS
from toolbench.supply.electric import fit_voltage_exponent
from toolbench.supply.exponent import ExponentFit, fit_exponent
from toolbench.supply.fitting import DemandFit, fit_demand

UNSTATED_FLOW = "no calibration of the flow is stated, so its scale error is not in the uncertainty"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What two runs must share to be learned from together: they are then of one measurand."""

    rig: str
    filter: str
    measurand: str
    direction: str
    response: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrivenRun:
    """One run by its means over the window: torque, what drove it, and the flow or current it took; nan where not recorded.

    SI; pressures gauge.
    """

    run: Run
    response: float
    inlet_pressure: float
    supply_pressure: float
    air_flow: float
    voltage: float
    current: float

    @property
    def cell(self) -> tuple[str, str]:
        """Setup and protocol it was made under."""
        return self.run.entry.setup, self.run.entry.protocol


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learned:
    """What is known of one tool. `demand` is None where no flow was recorded; `voltage_exponent` where no voltage was."""

    tool: str
    kind: Kind
    runs: tuple[DrivenRun, ...]
    exponent: ExponentFit | None
    demand: DemandFit | None
    voltage_exponent: ExponentFit | None

    def digests(self) -> dict[str, str]:
        """sha256 of every recording that was learned from, by its path in the season."""
        return {one.run.entry.file: one.run.digest for one in self.runs}

    def of_setup(self, setup: str) -> tuple[DrivenRun, ...]:
        """The runs on one setup."""
        return tuple(one for one in self.runs if one.run.entry.setup == setup)


def kind_of(run: Run, protocol: Protocol) -> Kind:
    """What a run has to share with others."""
    return Kind(
        rig=run.rig,
        filter=run.filter,
        measurand=protocol.measurand,
        direction=protocol.direction,
        response=protocol.response[0],
    )


def learn_tool(
    season: Season,
    tool: str,
    kind: Kind | None = None,
    known: Sequence[Run] = (),
    *,
    without: frozenset[str] = frozenset(),
) -> Learned | None:
    """Learn from every run of a tool; None where it has no usable run of the kind.

    Parameters
    ----------
    kind
        What the runs must share; by default that of the tool's first run.
    known
        Runs that are reduced already; they are not read again.
    without
        Ids of runs that no exponent is learned from: those whose difference it is to explain.
    """
    driven: list[DrivenRun] = []
    for protocol in season.settings.protocols.values():
        if kind is not None and (protocol.measurand, protocol.direction) != (kind.measurand, kind.direction):
            continue
        for run in _runs_of(season, tool, protocol, known):
            mine = kind_of(run, protocol)
            kind = kind or mine
            if mine == kind and (one := _driven(run, protocol)) is not None:
                driven.append(one)
    driven = _trusted(driven, without)
    if kind is None or not driven:
        return None
    outside = [one for one in driven if one.run.id not in without]
    elsewhere = _repeatability([one for one in driven if one.run.id in without])
    return Learned(
        tool=tool,
        kind=kind,
        runs=tuple(driven),
        exponent=_exponent(season.settings, outside, elsewhere),
        demand=_demand(season.settings, driven),
        voltage_exponent=_voltage_exponent(outside, elsewhere),
    )


def _trusted(driven: Sequence[DrivenRun], inside: frozenset[str]) -> list[DrivenRun]:
    """Each recording once, and none that reads in another unit or from another zero than its like; a report's own runs stay."""
    doubted = {subject for finding in like_findings([one.run for one in driven]) for subject in finding.subjects}
    kept: dict[str, DrivenRun] = {}
    for one in sorted(driven, key=lambda one: one.run.id not in inside):
        if one.run.id in inside or one.run.id not in doubted:
            kept.setdefault(one.run.digest, one)
    return [one for one in driven if kept.get(one.run.digest) is one]


def _runs_of(season: Season, tool: str, protocol: Protocol, known: Sequence[Run]) -> list[Run]:
    """The tool's runs under one protocol, those that are known first."""
    mine = [run for run in known if run.entry.tool == tool and run.entry.protocol == protocol.id]
    left_out = season.conditioning(protocol.id) | {run.id for run in mine}
    wanted = [
        entry
        for entry in season.settings.runs
        if (entry.tool, entry.protocol) == (tool, protocol.id) and not entry.excluded and entry.run not in left_out
    ]
    if not wanted:
        return mine
    try:
        return [*mine, *reduce_runs(season.settings, protocol, wanted).runs]
    except AnalysisError:
        # What is wrong with them is told by `check` and by the reports that compare them.
        return mine


def _driven(run: Run, protocol: Protocol) -> DrivenRun | None:
    """None where the response has no level in the window."""
    begin, end = protocol.window_s or (0.8 * float(run.grid_s[-1]), float(run.grid_s[-1]))

    def mean(channel: str) -> float:
        return window_mean(run, channel, (begin, end))

    response = mean(protocol.response[0])
    if not response > 0:
        return None
    return DrivenRun(
        run=run,
        response=response,
        inlet_pressure=mean("inlet_pressure"),
        supply_pressure=mean("supply_pressure"),
        air_flow=mean("air_flow"),
        voltage=mean("voltage"),
        current=mean("current"),
    )


def _group(one: DrivenRun) -> str:
    """Runs that share a level: those of one block under one protocol; tool, rig and day are then the same."""
    entry = one.run.entry
    return f"{entry.protocol}/{entry.block or (entry.started.date().isoformat() if entry.started else '')}"


def _exponent(
    settings: SeasonSettings, driven: Sequence[DrivenRun], elsewhere: tuple[float, float] | None
) -> ExponentFit | None:
    usable = [one for one in driven if one.inlet_pressure > 0]
    if not usable:
        return None
    return fit_exponent(
        [one.inlet_pressure for one in usable],
        [one.response for one in usable],
        [_group(one) for one in usable],
        zero_pa=max((zero_of(settings, one.run, "inlet_pressure") for one in usable), default=0.0),
        repeatability=elsewhere,
    )


def _voltage_exponent(driven: Sequence[DrivenRun], elsewhere: tuple[float, float] | None) -> ExponentFit | None:
    usable = [one for one in driven if one.voltage > 0]
    if not usable:
        return None
    return fit_voltage_exponent(
        [one.voltage for one in usable],
        [one.response for one in usable],
        [_group(one) for one in usable],
        repeatability=elsewhere,
    )


def _repeatability(driven: Sequence[DrivenRun]) -> tuple[float, float] | None:
    """Relative scatter of repeats on one setup under one protocol in one block, and its degrees of freedom; None without one.

    For runs that no exponent is fitted to: the scatter of the others is in its residuals, and would count twice.
    """
    groups: dict[tuple[str, str], list[float]] = {}
    for one in driven:
        groups.setdefault((one.run.entry.setup, _group(one)), []).append(math.log(one.response))
    repeated = [values for values in groups.values() if len(values) > 1]
    sd, dof = pooled_sd([mean_and_sd(values)[1] for values in repeated], [len(values) - 1.0 for values in repeated])
    return (sd, dof) if dof > 0 and sd > 0 else None


def _demand(settings: SeasonSettings, driven: Sequence[DrivenRun]) -> DemandFit | None:
    usable = [one for one in driven if one.air_flow > 0 and one.inlet_pressure > 0]
    if len(usable) < 2:
        return None
    ambient = settings.ambient_pressure_pa_abs or ATMOSPHERE_PA_ABS
    zero = max(zero_of(settings, one.run, "inlet_pressure") / (one.inlet_pressure + ambient) for one in usable)
    found = fit_demand(
        [one.air_flow for one in usable],
        [one.inlet_pressure + ambient for one in usable],
        [one.run.entry.setup for one in usable],
        flow_scale=max(scale_of(settings, one.run, "air_flow") for one in usable),
        pressure_scale=math.hypot(zero, max(scale_of(settings, one.run, "inlet_pressure") for one in usable)),
    )
    if all(is_calibrated(settings, one.run, "air_flow") for one in usable):
        return found
    return replace(
        found, fitted=replace(found.fitted, note="; ".join(filter(None, (found.fitted.note, UNSTATED_FLOW))))
    )


def _certificate(settings: SeasonSettings, run: Run, channel: str) -> Certificate | None:
    sensor = run.sensors.get(channel)
    return None if sensor is None else certificate_for(settings.sensors[sensor], day_of(run.entry))


def is_calibrated(settings: SeasonSettings, run: Run, channel: str) -> bool:
    """Whether a calibration of what read a channel is stated for the run's day."""
    return _certificate(settings, run, channel) is not None


def zero_of(settings: SeasonSettings, run: Run, channel: str) -> float:
    """Standard uncertainty of a sensor's zero where it is the same in every run [SI]; 0 where none is stated."""
    found = _certificate(settings, run, channel)
    return found.zero or 0.0 if found is not None and found.zero_per == "season" else 0.0


def scale_of(settings: SeasonSettings, run: Run, channel: str) -> float:
    """Relative standard uncertainty of a sensor's scale; 0 where none is stated."""
    found = _certificate(settings, run, channel)
    return found.scale or 0.0 if found is not None else 0.0


def mean_of(driven: Sequence[DrivenRun], name: str) -> tuple[float, float, int]:
    """Mean, standard deviation and number of a figure over the runs that have it [SI]; nan where none has."""
    values = np.array([getattr(one, name) for one in driven], dtype=float)
    known = values[np.isfinite(values)]
    mean, sd = mean_and_sd(known)
    return mean, sd, int(known.size)
