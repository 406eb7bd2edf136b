"""How the bench is: its check standard's charts, where its sensors rest over the season, and their calibrations."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from toolbench.errors import AnalysisError
from toolbench.records.runs import Run
from toolbench.records.settings import RunEntry, SeasonSettings, Sensor
from toolbench.season.calibrating import calibrated_on, certificate_for, day_of, overdue_since
from toolbench.season.opening import Season
from toolbench.season.reducing import reduce_runs
from toolbench.season.standards import StandardChart, chart_standards, in_time

SOON_DAYS = 60
"""A calibration due within so many days of the last run is said to be due soon (choice: time to send a sensor away)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RestLevel:
    """Where a run's response rested before its onset [unit]."""

    run: str
    day: date | None
    rig: str
    response: str
    level: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorState:
    """A sensor's calibration in force at its last run: judged by the days of the runs, never by today's."""

    sensor: str
    quantity: str
    runs: int
    calibrated: date | None
    due: date | None
    last_used: date | None
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The bench over a season, `read` runs of it."""

    settings: SeasonSettings
    charts: tuple[StandardChart, ...]
    rests: tuple[RestLevel, ...]
    sensors: tuple[SensorState, ...]
    read: int
    unreadable: int


def check_bench(season: Season) -> Bench:
    """Read every run of a season that is not excluded, and say how the bench was.

    Returns
    -------
    Bench
        Charts of the check standard, rest levels [SI] in order of time, and the sensors with their calibrations.
    """
    entries = [entry for entry in season.settings.runs if not entry.excluded]
    runs = in_time(run for entry in entries for run in _read(season.settings, entry))
    return Bench(
        settings=season.settings,
        charts=tuple(chart_standards(season, runs)),
        rests=tuple(_rest(season.settings, run) for run in runs if run.metrics),
        sensors=tuple(_state(sensor, runs) for sensor in season.settings.sensors.values()),
        read=len(runs),
        unreadable=len(entries) - len(runs),
    )


def _read(settings: SeasonSettings, entry: RunEntry) -> tuple[Run, ...]:
    try:
        return reduce_runs(settings, settings.protocols[entry.protocol], [entry]).runs
    except AnalysisError:
        return ()


def _rest(settings: SeasonSettings, run: Run) -> RestLevel:
    response = settings.protocols[run.entry.protocol].response[0]
    return RestLevel(
        run=run.id,
        day=day_of(run.entry),
        rig=run.rig,
        response=response,
        level=run.onset.rest,
        unit=next((metric.unit for metric in run.metrics if metric.response == response), ""),
    )


def _state(sensor: Sensor, runs: Iterable[Run]) -> SensorState:
    used = [run for run in runs if sensor.id in run.sensors.values()]
    days = [day for run in used if (day := day_of(run.entry))]
    last = max(days, default=None)
    certificate = certificate_for(sensor, last)
    due = certificate.due if certificate else None
    late = sum(overdue_since(sensor, day) is not None for day in days)
    if certificate is None:
        state = "no calibration stated"
    elif late:
        state = f"overdue in {late} {'run' if late == 1 else 'runs'}"
    elif due is None:
        state = "no due date stated"
    elif last is None:
        state = "no dated run"
    else:
        left = (due - last).days
        state = f"due {left} days after its last run" if 0 <= left <= SOON_DAYS else "in date"
    return SensorState(
        sensor=sensor.id,
        quantity=sensor.quantity,
        runs=len(used),
        calibrated=calibrated_on(certificate) if certificate else None,
        due=due,
        last_used=last,
        state=state,
    )
