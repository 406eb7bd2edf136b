"""What planned runs cost: starts, time, and free air."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from toolbench.records.runs import Run
from toolbench.records.settings import RunEntry
from toolbench.season.opening import Season
from toolbench.season.plan.scatter import KnownRuns
from toolbench.season.plan.sheet import SheetRow

LONGEST_GAP_S = 7200.0
"""Starts further apart than this are two sittings, whatever the block says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """Starts of a tool, seconds a run takes and the tool runs, from start to start, and free air [m3 ANR]; None: not known.

    `interval_source` and `air_source` say where the figures are from; `air_unknown` names tools whose demand nobody states.
    """

    starts: int = 0
    conditioning: int = 0
    checks: int = 0
    run_s: float | None = None
    interval_s: float | None = None
    interval_source: str = ""
    air_m3: float | None = None
    air_source: str = ""
    air_unknown: tuple[str, ...] = ()

    @property
    def running_s(self) -> float | None:
        """Seconds that a tool runs in all."""
        return None if self.run_s is None else self.starts * self.run_s

    @property
    def total_s(self) -> float | None:
        """Seconds on the bench, rest between runs with them."""
        return None if self.interval_s is None else self.starts * self.interval_s


def find_costs(season: Season, known: KnownRuns, sheet: Sequence[SheetRow], interval_s: float | None) -> Costs:
    """Costs of the blocks of one protocol on a sheet, check standard and conditioning runs with them."""
    rows = [row for row in sheet if row.block_protocol == known.protocol.id]
    if not rows:
        return Costs()
    run_s = _run_length(known)
    interval, source = (interval_s, "stated") if interval_s is not None else _interval(season, known)
    flows = [(row.tool, *_flow(season, known, row)) for row in rows if _takes_air(season, row)]
    unknown = tuple(dict.fromkeys(tool for tool, flow, _ in flows if flow is None))
    demand = [flow for _, flow, _ in flows if flow is not None]
    return Costs(
        starts=len(rows),
        conditioning=sum(row.kind == "conditioning" for row in rows),
        checks=sum(row.kind == "check" for row in rows),
        run_s=run_s,
        interval_s=interval,
        interval_source=source,
        air_m3=sum(demand) * run_s if demand and run_s is not None else None,
        air_source=" and ".join(dict.fromkeys(where for _, flow, where in flows if flow is not None)),
        air_unknown=unknown,
    )


def _run_length(known: KnownRuns) -> float | None:
    """Seconds the tool runs: as recorded after the onset, else the protocol's duration."""
    if known.runs:
        return statistics.median(run.available_s for run in known.runs)
    return known.timing.duration_s if known.timing is not None else None


def _interval(season: Season, known: KnownRuns) -> tuple[float | None, str]:
    """Median time from start to start within a block: of this protocol's blocks, else of all."""
    blocks = {run.entry.block for run in known.runs if run.entry.block}
    for wanted, words in ((blocks, "this protocol's blocks"), (None, "the season's blocks")):
        gaps = _gaps([run for run in season.settings.runs if run.block and (wanted is None or run.block in wanted)])
        if gaps:
            return statistics.median(gaps), f"median of {words}"
    return None, ""


def _gaps(runs: Sequence[RunEntry]) -> list[float]:
    starts: dict[str, list[float]] = defaultdict(list)
    for run in runs:
        if run.started is not None:
            starts[run.block].append(run.started.timestamp())
    return [
        after - before
        for times in starts.values()
        for before, after in zip(sorted(times), sorted(times)[1:], strict=False)
        if 0 < after - before <= LONGEST_GAP_S
    ]


def _takes_air(season: Season, row: SheetRow) -> bool:
    supply = season.settings.setups[row.setup].supply
    tool = season.settings.tools.get(row.tool)
    return supply == "air" or (not supply and tool is not None and tool.supply == "air")


def _flow(season: Season, known: KnownRuns, row: SheetRow) -> tuple[float | None, str]:
    """Air flow of a tool while it runs [m3/s ANR]: recorded on that setup, else on any, else as tools.csv says."""
    on_setup = _flows(known.cells.get((row.tool, row.setup), ()))
    on_any = _flows([run for (tool, _), runs in known.cells.items() if tool == row.tool for run in runs])
    for recorded in (on_setup, on_any):
        if recorded:
            return statistics.fmean(recorded), "recorded flow"
    tool = season.settings.tools.get(row.tool)
    if tool is not None and tool.air_consumption_m3_s is not None:
        return tool.air_consumption_m3_s, "air_consumption of tools.csv"
    return None, ""


def _flows(runs: Sequence[Run]) -> list[float]:
    return [run.conditions.air_flow for run in runs if run.conditions.air_flow]
