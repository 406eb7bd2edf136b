"""What the model gives for the items that a report asks for and that nobody ran, against one that was run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from toolbench.errors import AnalysisError
from toolbench.records.comparison import ComparisonRecord, Estimate, Item
from toolbench.records.supply import Drive, SupplyFigure, UntestedItem
from toolbench.season.opening import Season
from toolbench.season.supply.learning import Learned
from toolbench.season.supply.lines import lead_of, line_of, pack_of
from toolbench.season.supply.measured import Measured, runs_of
from toolbench.season.supply.modelling import as_fitted, demand_of, electric_of, exponent_of
from toolbench.supply.effects import Question, predict
from toolbench.supply.electric import Lead, Pack, predict_voltage, voltage_at_tool
from toolbench.supply.modelled import Modelled, as_modelled


def predict_untested(
    season: Season,
    record: ComparisonRecord,
    absent: Sequence[Item],
    measured: Measured,
    learned: Mapping[str, Learned],
    drive: Drive,
) -> tuple[UntestedItem, ...]:
    """A modelled figure for every absent item whose tool was run on another setup; the first such item is its base.

    None where the protocol holds the drive: then a line changes what the regulator needs, not the torque.
    """
    if record.compensated:
        return ()
    found = []
    for item in absent:
        base = next((one for one in record.items if one.tool == item.tool and one.id in measured.drive), None)
        if base is None:
            continue
        found.append(_predicted(season, record, base, item, measured, learned.get(item.tool), drive))
    return tuple(found)


def _predicted(
    season: Season,
    record: ComparisonRecord,
    base: Item,
    item: Item,
    measured: Measured,
    learned: Learned | None,
    drive: Drive,
) -> UntestedItem:
    plain = UntestedItem(item=item.id, label=item.label, baseline=base.id)
    predict_one = _by_air if drive == "inlet_pressure" else _by_voltage
    try:
        percent, at_tool = predict_one(season, record, base, item, measured, learned)
    except AnalysisError as error:
        return replace(plain, remark=error.faults[0].message)
    return replace(plain, percent=_figure(percent), drive=_figure(at_tool))


def _figure(modelled: Modelled) -> SupplyFigure:
    return SupplyFigure(estimate=modelled.estimate, interval=modelled.interval, modelled=True)


def _by_air(
    season: Season,
    record: ComparisonRecord,
    base: Item,
    item: Item,
    measured: Measured,
    learned: Learned | None,
) -> tuple[Modelled, Modelled]:
    """Percent and gauge inlet pressure on the absent item's line, from what was measured on the base's."""
    settings = season.settings
    demand = demand_of(settings, settings.tools[item.tool], learned)
    if demand is None:
        raise AnalysisError("the tool's air demand is not known")
    other = line_of(settings, settings.setups[item.setup]).line
    question = Question(
        reference=line_of(settings, settings.setups[base.setup]).line,
        other=other,
        conductance=demand,
        exponent=exponent_of(learned, "inlet_pressure"),
        measured_inlet=as_fitted(measured.drive[base.id]),
    )
    found = predict(question, confidence=record.confidence)
    inlet = found.inlet.estimate
    gauge = Estimate(value=inlet.value - other.ambient_pa_abs, unit=inlet.unit, components=inlet.components)
    return found.percent, as_modelled(gauge, record.confidence)


def _by_voltage(
    season: Season,
    record: ComparisonRecord,
    base: Item,
    item: Item,
    measured: Measured,
    learned: Learned | None,
) -> tuple[Modelled, Modelled]:
    """Percent and voltage at the tool with the absent item's pack or lead, at the current that the base took."""
    settings = season.settings
    current = measured.taken.get(base.id)
    reference = electric_of(settings, base, runs_of(record, base))
    if current is None or reference is None:
        raise AnalysisError("the current was not recorded")
    other = _other_supply(season, reference, item)
    percent = predict_voltage(
        reference,
        other,
        current_a=current.value,
        current_u=current.standard_uncertainty,
        exponent=exponent_of(learned, "voltage"),
        confidence=record.confidence,
    )
    at_tool = voltage_at_tool(other, current.value, current_u=current.standard_uncertainty)
    return percent, as_modelled(at_tool, record.confidence)


def _other_supply(season: Season, reference: Pack | Lead, item: Item) -> Pack | Lead:
    """The absent item's supply; a pack of as many cells in series is taken to rest at the voltage that the base rested at."""
    settings, setup = season.settings, season.settings.setups[item.setup]
    if isinstance(reference, Lead):
        return lead_of(settings, setup)
    other = pack_of(settings, setup)
    if other.cells_in_series != reference.cells_in_series or other.state_of_charge != reference.state_of_charge:
        return other
    return pack_of(settings, setup, rest_voltage_v=reference.rest_voltage_v, rest_u=reference.rest_voltage_u)
