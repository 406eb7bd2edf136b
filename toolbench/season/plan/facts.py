"""A plan for other programs: shares as numbers (0.03 for 3 %), seconds and cubic metres of free air (ANR)."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from toolbench.metrology.power import Bought
from toolbench.season.known import known
from toolbench.season.plan.planning import EpisodePlan, Needed, ProtocolNeed, ReportNeed, RowNeed

Json = dict[str, Any]


def plan_json(plan: EpisodePlan) -> Json:
    """Everything a plan says. A number of runs is null where more are needed than are planned; an unknown figure is null."""
    return {
        "format": 1,
        "episode": plan.episode,
        "resolve": plan.resolve,
        "seed": plan.seed,
        "permission": plan.permission,
        "protocols": [_protocol(need) for need in plan.protocols],
        "sheet": [asdict(row) for row in plan.sheet],
        "remarks": list(plan.remarks),
    }


def _protocol(need: ProtocolNeed) -> Json:
    costs = asdict(need.costs) | {"running_s": need.costs.running_s, "total_s": need.costs.total_s}
    return {
        "protocol": need.protocol.id,
        "confidence": need.protocol.confidence,
        "source": need.source,
        "blocks": need.blocks,
        "too_many": need.too_many,
        "reports": [_report(report, need.protocol.confidence) for report in need.reports],
        "costs": costs | {"air_unknown": list(need.costs.air_unknown)},
    }


def _report(report: ReportNeed, confidence: float) -> Json:
    return {
        "report": report.path,
        "items": list(report.items),
        "runs_there": report.there,
        "in_blocks": report.in_blocks,
        "family_size": report.family_size,
        "missing": report.missing,
        "rows": [_row(row, confidence) for row in report.rows],
        "gains": [{"alone": _gain(alone), "family": _gain(family)} for alone, family in report.gains],
    }


def _row(one: RowNeed, confidence: float) -> Json:
    ends = one.scatter.interval(confidence)
    return {
        "response": one.row.response,
        "metric": one.row.metric,
        "at": known(one.row.at),
        "scatter": one.scatter.sd,
        "scatter_lower": ends.lower,
        "scatter_upper": ends.upper,
        "degrees_of_freedom": known(one.scatter.degrees_of_freedom),
        "shared_uncertainty": one.fixed,
        "alone": [_needed(needed) for needed in one.alone],
        "family": [_needed(needed) for needed in one.family],
    }


def _needed(needed: Needed) -> Json:
    return {"power": needed.power, "runs": needed.runs, "lower": needed.fewest, "upper": needed.most}


def _gain(one: Bought) -> Json:
    return {"runs": one.runs, "smallest_resolvable": known(one.resolvable), "half_width": known(one.half_width)}
