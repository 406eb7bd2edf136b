"""Sellers' claims of torque beside what was measured, by a stated decision rule (JCGM 106); a claim has no part in a score."""

from __future__ import annotations

from collections.abc import Sequence

from toolbench.records.comparison import Estimate
from toolbench.records.scorecard import StatedCriterion
from toolbench.records.settings import Protocol, Tool
from toolbench.season.opening import Season
from toolbench.season.standings.collecting import SUSTAINED, Collected
from toolbench.season.standings.outcome import Facts, ToolClaim
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
        level = collected.levels[protocol.id].tools[facts.tool.id].of(SUSTAINED)
        if isinstance(level, Estimate):
            found.append(_judged(facts, facts.tool.claimed_torque, protocol, level))
    return tuple(found)


def _protocol(season: Season, criteria: Sequence[StatedCriterion], supply: str) -> Protocol | None:
    for criterion in criteria:
        protocol = season.settings.protocols.get(criterion.protocol_of(supply))
        if protocol is not None and criterion.metric in LEVELS_OF_RESPONSE and protocol.response[0] == "torque":
            return protocol
    return None


def _judged(facts: Facts, claimed: float, protocol: Protocol, level: Estimate) -> ToolClaim:
    tool = facts.tool
    reason = _unlike(tool, facts, protocol)
    unknown = tool.claim_pressure_pa is None and facts.drive_unit == "Pa" and not reason
    return ToolClaim(
        tool=tool.id,
        kind=tool.claim_kind,
        source=tool.claim_source,
        pressure_pa=tool.claim_pressure_pa,
        judged=judge_claim(level, claimed, confidence=protocol.confidence, comparable=not reason, reason=reason),
        remark="the claim names no pressure, and may be meant for another than the tool was run at" if unknown else "",
    )


def _unlike(tool: Tool, facts: Facts, protocol: Protocol) -> str:
    """Why claim and data are of different things; empty where they may be compared."""
    if not tool.claim_kind:
        return "what kind of torque is claimed is not stated"
    if tool.claim_kind == "peak":
        return "a peak is claimed and a sustained mean was measured; peaks hang on the rig"
    if tool.claim_kind != protocol.direction:
        return f"{tool.claim_kind} is claimed and {protocol.direction} was measured"
    if tool.claim_pressure_pa is None:
        return ""
    if facts.drive_unit != "Pa" or facts.drive_mean is None:
        return "it is claimed for a pressure, and the flowing pressure was not recorded"
    if abs(facts.drive_mean - tool.claim_pressure_pa) > CLAIM_WITHIN_PA:
        return "it was measured at another flowing pressure than the claim is made for"
    return ""
