"""The supply section as plain JSON values, in SI."""

from __future__ import annotations

from typing import Any

from toolbench.records.supply import ItemSupply, SupplyExplained, SupplyFigure
from toolbench.season.known import known

Json = dict[str, Any]


def supply_json(supply: SupplyExplained) -> Json:
    """Everything that the section says; null for what is not known. `modelled` marks what no measurement gave."""
    return {
        "drive": supply.drive,
        "confidence": supply.confidence,
        "items": [_item(one) for one in supply.items],
        "differences": [
            {
                "item": one.item,
                "baseline": one.baseline,
                "by": one.by,
                "measured": figure_json(one.measured),
                "explained": figure_json(one.explained),
                "left": figure_json(one.left),
                "left_lower_family": known(one.family_interval.lower),
                "left_upper_family": known(one.family_interval.upper),
            }
            for one in supply.differences
        ],
        "untested": [
            {
                "item": one.item,
                "label": one.label,
                "baseline": one.baseline,
                "percent": figure_json(one.percent),
                "drive": figure_json(one.drive),
                "remark": one.remark,
            }
            for one in supply.untested
        ],
        "learned": [
            {
                "tool": one.tool,
                "item": one.item,
                "name": one.name,
                "value": one.estimate.value,
                "standard_uncertainty": known(one.estimate.standard_uncertainty),
                "degrees_of_freedom": known(one.estimate.degrees_of_freedom),
                "unit": one.estimate.unit,
                "source": one.source,
                "runs": one.runs,
                "stated": one.stated,
                "note": one.note,
            }
            for one in supply.learned
        ],
        "assumed": list(supply.assumed),
    }


def _item(one: ItemSupply) -> Json:
    return {
        "item": one.item,
        "measured": figure_json(one.measured),
        "modelled": figure_json(one.modelled),
        "taken": figure_json(one.taken),
        "taken_modelled": figure_json(one.taken_modelled),
        "needed": figure_json(one.needed),
        "needed_modelled": figure_json(one.needed_modelled),
        "losses": [
            {"part": part.label, "pressure": part.pressure, "loss": part.loss, "share": part.share}
            for part in one.losses
        ],
        "limiting": one.limiting,
        "sags": [
            {
                "from_s": sag.begins_s,
                "to_s": sag.ends_s,
                "drop": sag.drop,
                "verdict": sag.verdict,
                "excluded": [{"regime": regime, "reason": reason} for regime, reason in sag.excluded],
            }
            for sag in one.sags
        ],
        "remark": one.remark,
    }


def figure_json(figure: SupplyFigure | None) -> Json | None:
    """A figure with its interval; null for none."""
    if figure is None:
        return None
    estimate = figure.estimate
    return {
        "value": known(estimate.value),
        "unit": estimate.unit,
        "standard_uncertainty": known(estimate.standard_uncertainty),
        "degrees_of_freedom": known(estimate.degrees_of_freedom),
        "lower": known(figure.interval.lower),
        "upper": known(figure.interval.upper),
        "modelled": figure.modelled,
    }
