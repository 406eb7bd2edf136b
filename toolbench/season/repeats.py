"""What a single run is judged by: the scatter of the bench's other repeats, else what the protocol states."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence

from toolbench.errors import AnalysisError
from toolbench.metrology import Pooled, Row, pool_repeatability
from toolbench.records.comparison import POOLED, TOLD
from toolbench.records.runs import Run
from toolbench.records.settings import Protocol, RunEntry
from toolbench.season.epochs import find_epochs
from toolbench.season.opening import Season
from toolbench.season.reducing import Timing, reduce_runs

Repeats = Sequence[Sequence[Run]]


def value_of(run: Run, row: Row) -> float:
    """The run's number in a row, nan where it has none."""
    found = run.metric(row.response, row.metric, row.at)
    return found.value if found is not None else math.nan


def sittings_of(entries: Sequence[RunEntry]) -> tuple[str, ...]:
    """The sitting of each run: its block, else the day it was made; empty where that is not known of all of them."""
    found = tuple(one.block or (one.started.date().isoformat() if one.started else "") for one in entries)
    return found if all(found) else ()


def find_repeats(season: Season, protocol: Protocol, runs: Mapping[str, Run], timing: Timing) -> Repeats:
    """Every cell of the protocol with repeats on this rig, reduced on this report's time base where the runs reach it."""
    left_out = season.conditioning(protocol.id) | runs.keys()
    wanted = [e for e in season.settings.runs if e.protocol == protocol.id and not e.excluded and e.run not in left_out]
    known = list(runs.values())
    if wanted:
        try:
            known += reduce_runs(season.settings, protocol, wanted, timing).runs
        except AnalysisError:
            wanted = []
    rig = (known[0].rig, known[0].filter)
    epochs = find_epochs(season.settings)
    cells: dict[tuple[str, str, int | None], list[Run]] = defaultdict(list)
    for run in (run for run in known if (run.rig, run.filter) == rig):
        # A change of the rig is no scatter; runs of the report that were brought over it are of one cell again.
        cells[(run.entry.tool, run.entry.setup, None if run.links else epochs.of(run.entry))].append(run)
    return [like for like in cells.values() if len(like) > 1]


def lend_repeatability(repeats: Repeats, protocol: Protocol, rows: Sequence[Row]) -> list[Pooled | None]:
    """The repeatability lent to single runs, one per row; None where there is nothing to judge by."""
    return [_lend(repeats, protocol, row) for row in rows]


def _lend(repeats: Repeats, protocol: Protocol, row: Row) -> Pooled | None:
    if row.metric == "slope":
        # Scatter is lent as a share of the level, and a slope is about zero: its share would be of nothing.
        return None
    groups = [[value for run in like if math.isfinite(value := value_of(run, row))] for like in repeats]
    found = pool_repeatability([group for group in groups if len(group) > 1], POOLED, contains_per_run=True)
    told = row.metric in TOLD and row.response in protocol.response
    if found is None and told and protocol.repeatability is not None:
        return Pooled(
            relative_sd=protocol.repeatability.value,
            degrees_of_freedom=math.inf,
            label=f"repeatability assumed ({protocol.repeatability.source})",
        )
    return found
