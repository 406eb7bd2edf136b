"""The supply section as plain JSON values, in SI."""

from __future__ import annotations

import math
from typing import Any

from toolbench.records.supply import ItemSupply, SupplyExplained, SupplyFigure

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
                "measured": _figure(one.measured),
                "explained": _figure(one.explained),
                "left": _figure(one.left),
                "left_lower_family": _known(one.family_interval.lower),
                "left_upper_family": _known(one.family_interval.upper),
            }
            for one in supply.differences
        ],
        "untested": [
            {
                "item": one.item,
                "label": one.label,
                "baseline": one.baseline,
                "percent": _figure(one.percent),
                "drive": _figure(one.drive),
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
                "standard_uncertainty": _known(one.estimate.standard_uncertainty),
                "degrees_of_freedom": _known(one.estimate.degrees_of_freedom),
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
        "measured": _figure(one.measured),
        "modelled": _figure(one.modelled),
        "taken": _figure(one.taken),
        "taken_modelled": _figure(one.taken_modelled),
        "needed": _figure(one.needed),
        "needed_modelled": _figure(one.needed_modelled),
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


def _figure(figure: SupplyFigure | None) -> Json | None:
    if figure is None:
        return None
    estimate = figure.estimate
    return {
        "value": _known(estimate.value),
        "unit": estimate.unit,
        "standard_uncertainty": _known(estimate.standard_uncertainty),
        "degrees_of_freedom": _known(estimate.degrees_of_freedom),
        "lower": _known(figure.interval.lower),
        "upper": _known(figure.interval.upper),
        "modelled": figure.modelled,
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None
