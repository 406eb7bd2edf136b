"""What was measured of a report's supply, item by item: means over the window of the sustained mean, with their budgets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from toolbench.metrology import ItemRuns, Row, difference_interval, mean_and_sd, pool_repeatability
from toolbench.metrology.samples import summarise
from toolbench.records.comparison import ComparisonRecord, Estimate, Item
from toolbench.records.runs import Floats, Run
from toolbench.records.settings import SeasonSettings
from toolbench.records.supply import SupplyFigure
from toolbench.season.sources import parts_of

READING = "flowing_pressure"
"""Metric whose type B parts a mean over a window has: those of a reading."""
LENT = "repeatability pooled from the report's other items"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Means over the window of every item that has them [SI]: what drives the tool, what it takes, what its line starts from."""

    drive: Mapping[str, Estimate]
    taken: Mapping[str, Estimate]
    start: Mapping[str, Estimate]


def runs_of(record: ComparisonRecord, item: Item) -> list[Run]:
    """The runs of one item that the report uses."""
    return [run for run in record.runs if run.id in item.runs]


def window_mean(run: Run, channel: str, window_s: tuple[float, float]) -> float:
    """Mean of a channel between two times after the onset [SI]; nan where it was not recorded."""
    trace = run.traces.get(channel)
    inside = (run.grid_s >= window_s[0]) & (run.grid_s <= window_s[1])
    return mean_and_sd(trace.mean[inside])[0] if trace is not None and inside.any() else float("nan")


def measure_items(settings: SeasonSettings, record: ComparisonRecord, channel: str) -> dict[str, Estimate]:
    """The mean of a channel for every item that recorded it in each of its runs [SI unit of the channel].

    A single run is judged by the scatter of the report's other items.
    """
    items = {item.id: runs_of(record, item) for item in record.items}
    return measure_cells(settings, items, channel, record.window_s)


def measure_cells(
    settings: SeasonSettings,
    cells: Mapping[str, Sequence[Run]],
    channel: str,
    window_s: tuple[float, float],
    *,
    metric: str = READING,
) -> dict[str, Estimate]:
    """The mean of a channel over a window for every group of runs that recorded it in each run [SI unit of the channel].

    A single run is judged by the scatter of the other groups; without any it has no estimate. `metric` says which errors of
    the sensor a mean has: a response's sustained level has those of its scale and zero.
    """
    values = {name: np.array([window_mean(run, channel, window_s) for run in runs]) for name, runs in cells.items()}
    known = {name: mine for name, mine in values.items() if mine.size and np.isfinite(mine).all()}
    lent = pool_repeatability([mine for mine in known.values() if mine.size > 1], LENT, contains_per_run=True)
    found: dict[str, Estimate] = {}
    for name, mine in known.items():
        if mine.size == 1 and lent is None:
            continue
        runs = cells[name]
        row = Row(response=channel, metric=metric, at=None, unit=runs[0].traces[channel].unit)
        parts = parts_of(settings, name, runs, channel, metric, None)
        sample = ItemRuns(id=name, values=mine[:, None], sources=(parts,))
        found[name] = summarise(sample, 0, row, (), lent).estimate
    return found


def shown(estimate: Estimate, confidence: float, *, modelled: bool = False) -> SupplyFigure:
    """A figure with its interval."""
    return SupplyFigure(estimate=estimate, interval=difference_interval(estimate, confidence), modelled=modelled)


def shown_of(found: Mapping[str, Estimate], item: str, confidence: float) -> SupplyFigure | None:
    """The measured figure of an item; None where it was not recorded."""
    return shown(found[item], confidence) if item in found else None


def mean_trace(runs: Sequence[Run], channel: str) -> tuple[Floats, Floats] | None:
    """Grid times [s] and the mean curve of a channel over runs [SI]; None where one run lacks it."""
    if not runs or not all(channel in run.traces for run in runs):
        return None
    return runs[0].grid_s, np.asarray(np.mean([run.traces[channel].mean for run in runs], axis=0))
