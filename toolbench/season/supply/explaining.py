"""What the supply explains of a report: measured against modelled drive at the tool, and what that leaves of a difference.

The exponent that turns a drive into torque is learned from runs outside the report: else a difference would explain itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from toolbench.errors import AnalysisError
from toolbench.metrology import combine, difference_interval
from toolbench.records.comparison import ComparisonRecord, Difference, Estimate, Item
from toolbench.records.supply import (
    Drive,
    ExplainedDifference,
    ItemSupply,
    LearnedFigure,
    SupplyExplained,
    SupplyFigure,
)
from toolbench.season.opening import Season
from toolbench.season.supply.conductance import line_conductance
from toolbench.season.supply.learning import Kind, Learned, is_calibrated, kind_of, learn_tool
from toolbench.season.supply.measured import Measured, measure_items, runs_of, shown, shown_of
from toolbench.season.supply.modelling import (
    EXPONENT,
    StartedLine,
    as_estimate,
    as_fitted,
    demand_of,
    electric_of,
    exponent_of,
    losses_of,
    sags_of,
    started_line,
)
from toolbench.season.supply.remainder import remainder, scatter_of_pair
from toolbench.season.supply.untested import predict_untested
from toolbench.supply.effects import Question, predict
from toolbench.supply.electric import voltage_at_tool
from toolbench.supply.exponent import PRIOR_AIR
from toolbench.supply.fitted import Fitted
from toolbench.supply.held import predict_start

CHANNELS: Mapping[Drive, tuple[Drive, str, str]] = {
    "inlet_pressure": ("inlet_pressure", "air_flow", "supply_pressure"),
    "voltage": ("voltage", "current", ""),
}
"""Of each drive: the channel it is recorded in, what the tool takes, and the channel at the start of the line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """The supply section, and the digests of recordings outside the report that it was learned from."""

    supply: SupplyExplained
    digests: Mapping[str, str]


def explain_supply(season: Season, record: ComparisonRecord, absent: Sequence[Item] = ()) -> Explained | None:
    """What the supply explains of a comparison; None where neither a drive was recorded nor a supply is stated.

    `absent` are the items that the report asks for and that have no run.

    Figures that cannot be had are left out with a remark; nothing here stops a report.
    """
    drive = _drive(season, record)
    if drive is None:
        return None
    channel, taken, start = CHANNELS[drive]
    settings = season.settings
    measured = Measured(
        drive=measure_items(settings, record, channel),
        taken=measure_items(settings, record, taken),
        start=measure_items(settings, record, start) if start else {},
    )
    inside = frozenset(run.id for run in record.runs)
    learned = {
        tool: found
        for tool in dict.fromkeys(item.tool for item in record.items)
        if (found := learn_tool(season, tool, _kind(record, tool), record.runs, without=inside)) is not None
    }
    one_item = _air_item if drive == "inlet_pressure" else _electric_item
    items = tuple(one_item(season, record, item, measured, learned.get(item.tool)) for item in record.items)
    differences = held_together(
        [
            explained
            for one in record.differences
            if (explained := _explain(season, record, one, measured, learned, drive)) is not None
        ],
        record.confidence,
    )
    if not differences and all(one.measured is None and one.modelled is None for one in items):
        return None
    supply = SupplyExplained(
        drive=drive,
        items=items,
        differences=differences,
        untested=predict_untested(season, record, absent, measured, learned, drive),
        learned=(*_figures(season, record, learned, drive), *_conductances(season, record, drive)),
        assumed=_assumed(season, record, drive),
        confidence=record.confidence,
    )
    digests = {file: digest for one in learned.values() for file, digest in one.digests().items()}
    return Explained(supply=supply, digests=digests)


def _drive(season: Season, record: ComparisonRecord) -> Drive | None:
    """What drives the report's tools: what was recorded, else what their setups say; None where they differ or say nothing."""
    recorded = {name for run in record.runs for name in run.traces}
    supplies = {season.settings.setups[item.setup].supply for item in record.items if item.setup}
    if "inlet_pressure" in recorded or supplies == {"air"}:
        return "inlet_pressure"
    if "voltage" in recorded or (supplies and supplies <= {"battery", "mains"}):
        return "voltage"
    return None


def _kind(record: ComparisonRecord, tool: str) -> Kind:
    run = next(run for run in record.runs if run.entry.tool == tool)
    return kind_of(run, record.protocol)


def _air_item(
    season: Season, record: ComparisonRecord, item: Item, measured: Measured, learned: Learned | None
) -> ItemSupply:
    confidence = record.confidence
    inlet = measured.drive.get(item.id)
    plain = ItemSupply(
        item=item.id,
        measured=shown_of(measured.drive, item.id, confidence),
        taken=shown_of(measured.taken, item.id, confidence),
        needed=shown_of(measured.start, item.id, confidence) if record.compensated else None,
    )
    try:
        started = started_line(season.settings, item, measured.start.get(item.id))
        if started is None:
            return replace(plain, remark="its line is not stated")
        demand = demand_of(season.settings, season.settings.tools[item.tool], learned)
        if demand is None:
            return replace(
                plain, remark="the tool's air demand is not known: record air_flow, or state air_consumption"
            )
        return _modelled_air(record, plain, started, demand, inlet)
    except AnalysisError as error:
        return replace(plain, remark=error.faults[0].message)


def _modelled_air(
    record: ComparisonRecord, plain: ItemSupply, started: StartedLine, demand: Fitted, inlet: Estimate | None
) -> ItemSupply:
    line = started.line
    same = predict(
        Question(reference=line, other=line, conductance=demand, exponent=PRIOR_AIR, assumed=started.assumed),
        confidence=record.confidence,
    )
    point = same.point
    gauge = replace(same.reference_inlet.estimate, value=same.reference_inlet.value - line.ambient_pa_abs)
    losses = losses_of(point)
    needed = None
    if record.compensated and inlet is not None:
        start = predict_start(line, demand, as_fitted(inlet), assumed=started.assumed, confidence=record.confidence)
        needed = SupplyFigure(estimate=start.estimate, interval=start.interval, modelled=True)
    mine = runs_of(record, next(item for item in record.items if item.id == plain.item))
    return replace(
        plain,
        modelled=shown(gauge, record.confidence, modelled=True),
        taken_modelled=shown(same.flow.estimate, record.confidence, modelled=True),
        needed_modelled=needed,
        losses=losses,
        limiting=losses[int(point.limiting)].label,
        sags=sags_of(started.stated, point, mine),
    )


def _electric_item(
    season: Season, record: ComparisonRecord, item: Item, measured: Measured, learned: Learned | None
) -> ItemSupply:
    current = measured.taken.get(item.id)
    plain = ItemSupply(
        item=item.id,
        measured=shown_of(measured.drive, item.id, record.confidence),
        taken=shown_of(measured.taken, item.id, record.confidence),
    )
    try:
        supply = electric_of(season.settings, item, runs_of(record, item))
        if supply is None:
            return replace(plain, remark="its supply is not stated")
        if current is None:
            return replace(plain, remark="the current was not recorded")
        found = voltage_at_tool(supply, current.value, current_u=current.standard_uncertainty)
    except AnalysisError as error:
        return replace(plain, remark=error.faults[0].message)
    return replace(plain, modelled=shown(found, record.confidence, modelled=True))


def _explain(
    season: Season,
    record: ComparisonRecord,
    one: Difference,
    measured: Measured,
    learned: Mapping[str, Learned],
    drive: Drive,
) -> ExplainedDifference | None:
    """How much of one sustained difference of one tool the drive explains; None for other rows, and where it cannot be told."""
    if one.metric != "sustained" or one.response != record.protocol.response[0]:
        return None
    by_id = {item.id: item for item in record.items}
    item, base = by_id[one.item], by_id[one.baseline]
    if item.tool != base.tool or not one.percent.standard_uncertainty > 0:
        return None
    exponent = exponent_of(learned.get(item.tool), drive)
    scatter: Estimate | None = None
    if item.id in measured.drive and base.id in measured.drive:
        by: Literal["measured", "modelled"] = "measured"
        drives = measured.drive[item.id], measured.drive[base.id]
        found = explained_percent(*drives, as_estimate(exponent, f"exponent/{item.tool}", EXPONENT, "1"))
        pair = item.id, base.id
        scatter = scatter_of_pair(season, record, pair, CHANNELS[drive][0], exponent.value, one.percent, found)
    else:
        by = "modelled"
        between = _between(season, item, base, measured, exponent, learned.get(item.tool), drive)
        if between is None:
            return None
        found = between
    left = shown(remainder(one.percent, found, scatter), record.confidence, modelled=True)
    return ExplainedDifference(
        item=one.item,
        baseline=one.baseline,
        measured=shown(one.percent, record.confidence),
        explained=shown(found, record.confidence, modelled=True),
        left=left,
        family_interval=left.interval,
        by=by,
    )


def held_together(differences: Sequence[ExplainedDifference], confidence: float) -> tuple[ExplainedDifference, ...]:
    """The differences with the interval of what is left that holds for all of them at once (Bonferroni)."""
    together = 1.0 - (1.0 - confidence) / max(len(differences), 1)
    return tuple(replace(one, family_interval=difference_interval(one.left.estimate, together)) for one in differences)


def explained_percent(drive: Estimate, reference: Estimate, exponent: Estimate) -> Estimate:
    """Percent of torque that a change of drive explains by the power law: 100 ((drive / reference)^n - 1).

    References
    ----------
    GUM 5.1.2; errors that both drives share, as their gauge's scale, cancel as far as they act alike.
    """
    ratio = drive.value / reference.value
    power = ratio**exponent.value
    return combine(
        100.0 * (power - 1.0),
        "%",
        [
            (drive, 100.0 * exponent.value * power / drive.value),
            (reference, -100.0 * exponent.value * power / reference.value),
            (exponent, 100.0 * power * math.log(ratio)),
        ],
    )


def _between(
    season: Season,
    item: Item,
    base: Item,
    measured: Measured,
    exponent: Fitted,
    learned: Learned | None,
    drive: Drive,
) -> Estimate | None:
    """The percent that the model alone explains between two items; None where it cannot be worked out."""
    if drive != "inlet_pressure":
        return None
    settings = season.settings
    try:
        first, second = (started_line(settings, one, measured.start.get(one.id)) for one in (base, item))
        demand = demand_of(settings, settings.tools[item.tool], learned)
        if first is None or second is None or demand is None:
            return None
        question = Question(
            reference=first.line, other=second.line, conductance=demand, exponent=exponent, assumed=second.assumed
        )
        return predict(question).percent.estimate
    except AnalysisError:
        return None


def _figures(
    season: Season, record: ComparisonRecord, learned: Mapping[str, Learned], drive: Drive
) -> Iterator[LearnedFigure]:
    """What the explanation rests on, tool by tool."""
    for tool in dict.fromkeys(item.tool for item in record.items):
        mine = learned.get(tool)
        exponent = exponent_of(mine, drive)
        yield LearnedFigure(
            tool=tool,
            name="exponent",
            estimate=as_estimate(exponent, f"exponent/{tool}", EXPONENT, "1"),
            source=exponent.source,
            runs=len(exponent.residuals),
            note=exponent.note,
        )
        demand = demand_of(season.settings, season.settings.tools[tool], mine) if drive == "inlet_pressure" else None
        if demand is not None:
            yield LearnedFigure(
                tool=tool,
                name="demand",
                estimate=as_estimate(demand, f"demand/{tool}", "air demand of the tool", "m3/(s*Pa)"),
                source=demand.source,
                runs=len(demand.residuals),
                note=demand.note,
            )


def _conductances(season: Season, record: ComparisonRecord, drive: Drive) -> Iterator[LearnedFigure]:
    """The conductance of every line that was recorded at both ends."""
    if drive == "inlet_pressure":
        for item in record.items:
            found = line_conductance(season.settings, record, item)
            if found is not None:
                yield found


def _assumed(season: Season, record: ComparisonRecord, drive: Drive) -> tuple[str, ...]:
    """What had to be assumed of the lines of a report and of what their channels were read with, each told once."""
    found = [
        f"no error of what reads the {channel.replace('_', ' ')}"
        for channel in filter(None, CHANNELS[drive])
        if any(channel in run.traces and not is_calibrated(season.settings, run, channel) for run in record.runs)
    ]
    for item in record.items if drive == "inlet_pressure" else ():
        try:
            started = started_line(season.settings, item, None)
        except AnalysisError:
            continue
        found += started.stated.assumed if started is not None else ()
    return tuple(dict.fromkeys(found))
