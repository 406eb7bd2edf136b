"""Who enters the standings: one entry per tool in the class of its supply; some stand apart, the check standard never enters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from toolbench.errors import Fault, UsageError
from toolbench.records.scorecard import Scorecard
from toolbench.records.settings import SeasonSettings, Tool
from toolbench.season.opening import Season
from toolbench.season.standards import check_standards
from toolbench.settings.faults import did_you_mean


@dataclass(frozen=True, slots=True, kw_only=True)
class Entrant:
    """A tool with the class it belongs to, the setup that counts for it, and why it stands apart (empty where it is ranked)."""

    tool: Tool
    supply: str
    setup: str
    apart: str = ""


def find_entrants(season: Season, scorecard: Scorecard, what_if: Mapping[str, str]) -> list[Entrant]:
    """Every tool but the check standard, in the order of tools.csv.

    Parameters
    ----------
    what_if
        Setup that is to count for a tool, by tool.

    Raises
    ------
    UsageError
        `what_if` names a tool or a setup that is not there, or a check standard.
    """
    settings, standards = season.settings, check_standards(season)
    _check_what_if(settings, what_if, standards)
    found = []
    for tool in settings.tools.values():
        if tool.id in standards:
            continue
        supply = supply_of(settings, scorecard, tool)
        setup = what_if.get(tool.id) or scorecard.setups.get(supply, "")
        found.append(Entrant(tool=tool, supply=supply, setup=setup, apart=_apart(tool, supply, setup)))
    return found


def supply_of(settings: SeasonSettings, scorecard: Scorecard, tool: Tool) -> str:
    """A tool's kind of supply: as tools.csv states it, else that of the setups it was run on, else the scorecard's only one."""
    if tool.supply:
        return tool.supply
    seen = {settings.setups[run.setup].supply for run in settings.runs if run.tool == tool.id} - {""}
    if len(seen) == 1:
        return seen.pop()
    return next(iter(scorecard.setups)) if not seen and len(scorecard.setups) == 1 else ""


def _apart(tool: Tool, supply: str, setup: str) -> str:
    """Why a tool is not ranked among the others; empty where nothing stands against it."""
    if tool.status:
        return f"{tool.status}: {tool.note or 'no reason stated'}"
    if tool.modified:
        return f"modified, not as it is on sale: {tool.modified}"
    if not setup:
        return f"the scorecard names no setup for the supply {supply}" if supply else "its kind of supply is not stated"
    return ""


def _check_what_if(settings: SeasonSettings, what_if: Mapping[str, str], standards: frozenset[str]) -> None:
    for tool, setup in what_if.items():
        for kind, name, known in (("tool", tool, settings.tools), ("setup", setup, settings.setups)):
            if name not in known:
                raise UsageError(Fault(f"there is no {kind} {name!r} in this season", mend=did_you_mean(name, known)))
        if tool in standards:
            raise UsageError(Fault(f"{tool!r} is a check standard, which is never ranked", mend="name another tool"))
