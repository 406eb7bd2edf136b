"""Sellers' claims of torque beside what was measured, by a stated decision rule (JCGM 106); a claim has no part in a score."""

from __future__ import annotations

import math
from collections.abc import Sequence

from toolbench.metrology import mean_and_sd
from toolbench.records.comparison import ComparisonRecord, Estimate
from toolbench.records.runs import Conditions
from toolbench.records.scorecard import StatedCriterion
from toolbench.records.settings import Protocol, SeasonSettings, Tool
from toolbench.season.opening import Season
from toolbench.season.standings.collecting import SUSTAINED, Collected
from toolbench.season.standings.outcome import ToolClaim
from toolbench.standings import judge_claim

CLAIM_WITHIN_PA = 0.2e5
"""A claim for one pressure is judged by data within this of it; 0.2 bar of 6.2 bar is some 2.6 % of the torque (domain practice)."""
LEVELS_OF_RESPONSE = ("sustained", "at_mark", "peak")


def judge_claims(season: Season, criteria: Sequence[StatedCriterion], collected: Collected) -> tuple[ToolClaim, ...]:
    """The claim of every tool of a class that was measured, against its sustained torque on the setup that counts.

    The protocol is that of the first criterion that judges a level of torque.
    """
    found = []
    for facts in collected.facts.values():
        protocol = _protocol(season, criteria, facts.supply)
        if facts.tool.claimed_torque is None or protocol is None:
            continue
        measured = collected.levels[protocol.id].tools[facts.tool.id]
        level = measured.of(SUSTAINED)
        if isinstance(level, Estimate):
            flowing = _flowing_pressure([run.conditions for run in measured.runs])
            found.append(_judged(facts.tool, facts.tool.claimed_torque, protocol, level, flowing))
    return tuple(found)


def _protocol(season: Season, criteria: Sequence[StatedCriterion], supply: str) -> Protocol | None:
    for criterion in criteria:
        protocol = season.settings.protocols.get(criterion.protocol_of(supply))
        if protocol is not None and criterion.metric in LEVELS_OF_RESPONSE and protocol.response[0] == "torque":
            return protocol
    return None


def claim_of_report(record: ComparisonRecord, settings: SeasonSettings) -> ToolClaim | None:
    """The claim for the tool whose setups a report compares, against its sustained torque on the baseline; None without one."""
    tool = settings.tools.get(record.subject) if record.axis == "setups" else None
    if tool is None or tool.claimed_torque is None or record.protocol.response[0] != "torque":
        return None
    levels = [
        one for one in record.levels if (one.item, one.response, one.metric) == (record.baseline, "torque", "sustained")
    ]
    if not levels:
        return None
    base = next(item for item in record.items if item.id == record.baseline)
    flowing = _flowing_pressure([run.conditions for run in record.runs if run.id in base.runs])
    return _judged(tool, tool.claimed_torque, record.protocol, levels[0].estimate, flowing)


def _flowing_pressure(conditions: Sequence[Conditions]) -> float | None:
    """Mean over the runs that a level is of [Pa]; None where none recorded it."""
    known = [one.flowing_pressure for one in conditions if one.flowing_pressure is not None]
    finite = [value for value in known if math.isfinite(value)]
    return mean_and_sd(finite)[0] if finite else None


def _judged(tool: Tool, claimed: float, protocol: Protocol, level: Estimate, flowing_pa: float | None) -> ToolClaim:
    reason = _unlike(tool, protocol, flowing_pa)
    unknown = tool.claim_pressure_pa is None and flowing_pa is not None and not reason
    return ToolClaim(
        tool=tool.id,
        kind=tool.claim_kind,
        source=tool.claim_source,
        pressure_pa=tool.claim_pressure_pa,
        judged=judge_claim(level, claimed, confidence=protocol.confidence, comparable=not reason, reason=reason),
        judged_at_pa=flowing_pa if unknown else None,
        remark="the claim names no pressure, and may be meant for another than the tool was run at" if unknown else "",
    )


def _unlike(tool: Tool, protocol: Protocol, flowing_pa: float | None) -> str:
    """Why claim and data are of different things; empty where they may be compared."""
    if not tool.claim_kind:
        return "what kind of torque is claimed is not stated"
    if tool.claim_kind == "peak":
        return "a peak is claimed and a sustained mean was measured; peaks hang on the rig"
    if tool.claim_kind != protocol.direction:
        return f"{tool.claim_kind} is claimed and {protocol.direction} was measured"
    if tool.claim_pressure_pa is None:
        return ""
    if flowing_pa is None:
        return "it is claimed for a pressure, and the flowing pressure was not recorded"
    if abs(flowing_pa - tool.claim_pressure_pa) > CLAIM_WITHIN_PA:
        return "it was measured at another flowing pressure than the claim is made for"
    return ""
