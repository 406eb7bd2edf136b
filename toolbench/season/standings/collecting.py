"""Marks of the scorecard from a season's records: per tool and criterion a level, alone or per a column of tools.csv."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from toolbench.metrology import combine
from toolbench.records.comparison import Estimate
from toolbench.records.findings import Finding
from toolbench.records.runs import Run
from toolbench.records.scorecard import Scorecard, StatedCriterion
from toolbench.records.settings import SeasonSettings
from toolbench.season.calibrating import day_of
from toolbench.season.opening import Season
from toolbench.season.standings.columns import column_value
from toolbench.season.standings.levels import ProtocolLevels, ToolLevels, Wanted, read_levels
from toolbench.season.standings.lives import Entrant
from toolbench.season.standings.outcome import Facts
from toolbench.standings import Basis, Entry, Mark

SUSTAINED: Wanted = ("sustained", None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Collected:
    """The tools of one class with their marks, what they rest on and the facts beside them.

    `levels` holds the levels by protocol; claims are judged by them.
    """

    entries: Mapping[str, Entry]
    bases: Mapping[str, Basis]
    facts: Mapping[str, Facts]
    levels: Mapping[str, ProtocolLevels]
    findings: tuple[Finding, ...]

    def none_of(self, tool: str) -> str:
        """Why a tool has no measured mark at all; empty where it has one."""
        if self.facts[tool].runs:
            return ""
        return next(iter(dict.fromkeys(mark.missing for mark in self.entries[tool].marks.values())), "no criterion")

    @property
    def digests(self) -> dict[str, str]:
        """sha256 of every recording read, by its path in the season."""
        return {name: value for one in self.levels.values() for name, value in one.digests.items()}


def collect_class(
    season: Season, scorecard: Scorecard, criteria: Sequence[StatedCriterion], entrants: Sequence[Entrant]
) -> Collected:
    """Marks of the tools of one kind of supply."""
    supply = entrants[0].supply
    setups = {one.tool.id: one.setup for one in entrants}
    levels: dict[str, ProtocolLevels] = {}
    for name in dict.fromkeys(filter(None, (c.protocol_of(supply) for c in criteria))):
        wanted = dict.fromkeys([*((c.metric, c.at) for c in criteria if c.protocol_of(supply) == name), SUSTAINED])
        protocol = season.settings.protocols[name]
        levels[name] = read_levels(season, protocol, setups, list(wanted), newest=scorecard.retest == "replace")
    marks = {one.tool.id: _marks(one, criteria, levels) for one in entrants}
    facts = {one.tool.id: _facts(season, one, _of_tool(levels, one.tool.id)) for one in entrants}
    return Collected(
        entries={tool: Entry(tool=tool, marks=mine) for tool, mine in marks.items()},
        bases={one.tool.id: _basis(one, criteria, levels, marks[one.tool.id]) for one in entrants},
        facts=facts,
        levels=levels,
        findings=tuple(finding for one in levels.values() for finding in one.findings),
    )


def _of_tool(levels: Mapping[str, ProtocolLevels], tool: str) -> list[ToolLevels]:
    return [one.tools[tool] for one in levels.values()]


def _marks(
    entrant: Entrant, criteria: Sequence[StatedCriterion], levels: Mapping[str, ProtocolLevels]
) -> dict[str, Mark]:
    return {c.id: _mark(entrant, c, levels) for c in criteria}


def _mark(entrant: Entrant, criterion: StatedCriterion, levels: Mapping[str, ProtocolLevels]) -> Mark:
    """One tool in one criterion: its level, divided where the criterion says so, or the reason why it is missing."""
    name = criterion.protocol_of(entrant.supply)
    if not name:
        return Mark(missing=f"the criterion names no protocol for the supply {entrant.supply or 'that is not stated'}")
    level = levels[name].tools[entrant.tool.id].of((criterion.metric, criterion.at))
    if isinstance(level, str):
        return Mark(missing=level)
    divisor = column_value(entrant.tool, criterion.per) if criterion.per else 1.0
    if isinstance(divisor, str):
        return Mark(missing=divisor)
    return Mark(estimate=_divided(level, divisor, criterion.unit))


def _divided(level: Estimate, divisor: float, unit: str) -> Estimate:
    return combine(level.value / divisor, unit, [(level, 1.0 / divisor)])


def _basis(
    entrant: Entrant,
    criteria: Sequence[StatedCriterion],
    levels: Mapping[str, ProtocolLevels],
    marks: Mapping[str, Mark],
) -> Basis:
    """What the marks rest on, for a later state to be compared with."""
    runs, scatter = {}, {}
    for c in criteria:
        if marks[c.id].estimate is None:
            continue
        mine = levels[c.protocol_of(entrant.supply)].tools[entrant.tool.id]
        runs[c.id] = {run.id: run.digest for run in mine.runs}
        scatter[c.id] = mine.scatter
    status = entrant.tool.status
    return Basis(
        setup=entrant.setup,
        price=entrant.tool.price,
        runs=runs,
        scatter=scatter,
        status=status if status in ("retired", "superseded", "withdrawn") else "",  # type: ignore[arg-type]
    )


def _facts(season: Season, entrant: Entrant, levels: Sequence[ToolLevels]) -> Facts:
    runs = {run.id: run for one in levels for run in one.runs}
    days = [day for run in runs.values() if (day := day_of(run.entry)) is not None]
    drive, unit = _drive(list(runs.values()))
    return Facts(
        tool=entrant.tool,
        label=season.tool_label(entrant.tool.id),
        supply=entrant.supply,
        setup=entrant.setup,
        runs=tuple(runs),
        replaced=tuple(dict.fromkeys(run for one in levels for run in one.replaced)),
        left_out=tuple(dict.fromkeys(lost for one in levels for lost in one.left_out)),
        first_day=min(days, default=None),
        last_day=max(days, default=None),
        drive=(min(drive), max(drive)) if drive else None,
        drive_unit=unit,
        notices=_notices(season.settings, entrant.tool.id, runs),
    )


def _drive(runs: Sequence[Run]) -> tuple[list[float], str]:
    """Flowing pressure of each run, else its voltage while running, and the unit; none where not recorded."""
    for name, unit in (("flowing_pressure", "Pa"), ("voltage_flowing", "V")):
        found: list[float] = [value for run in runs if (value := getattr(run.conditions, name)) is not None]
        known = [value for value in found if math.isfinite(value)]
        if known:
            return known, unit
    return [], ""


def _notices(settings: SeasonSettings, tool: str, runs: Mapping[str, Run]) -> tuple[str, ...]:
    return tuple(
        f"{one.date.isoformat()}: {one.note}"
        for one in settings.corrections
        if tool in one.tools or not runs.keys().isdisjoint(one.runs)
    )
