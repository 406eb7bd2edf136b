"""What would make the largest part of an uncertainty smaller, in words, by the kind of its source."""

from __future__ import annotations

import math

from toolbench.quantities import format_number
from toolbench.records.comparison import POOLED, ComparisonRecord, Component, Estimate
from toolbench.view.wording.printed import item_label

_REMEDIES = {
    "scale": "A calibration with a smaller uncertainty of scale would shrink it; more runs do not.",
    "zero": "Zeroing the sensor before every run, or a better known zero, would shrink it; more runs do not.",
    "linearity": "A sensor that is straighter, or calibration points near these readings, would shrink it; more runs do not.",
    "resolution": "A logger that shows more digits would shrink it; more runs that round alike do not.",
    "arm": "Measuring the arm more exactly would shrink it; more runs do not.",
    "line": "More calibration points, or points nearer to these readings, would shrink it; more runs do not.",
    "straightness": "A calibration with points near these readings would shrink it; more runs do not.",
    "reference": "A calibration against a better known reference would shrink it; more runs do not.",
    "drift": "Calibrations closer together in time would shrink it; more runs do not.",
    "sitting": "Running every item in several sittings would shrink it; more runs in the same one do not.",
    "departure": "Holding the pressure closer to its target would shrink it; more runs do not.",
}


def sentence(component: Component) -> str:
    """What would shrink a component; empty where its source is not one that is known here."""
    kind = component.source.partition("/")[0]
    if kind != "repeatability":
        return _REMEDIES.get(kind, "")
    if component.label == POOLED or component.label.startswith("repeatability assumed"):
        return "Repeating the single run would replace this lent scatter by its own."
    if "sittings" in component.label:
        return "More sittings would shrink it; more runs in the same ones do not."
    if "block" in component.label:
        return f"More blocks would shrink it: twice as many take it to about {_half()} of this."
    return f"More runs would shrink it: twice as many take it to about {_half()} of this."


def _half() -> str:
    return format_number(100 / math.sqrt(2), 2, unit="%")


def labelled(record: ComparisonRecord, component: Component) -> str:
    """A component's label, with the item that it belongs to where it is one item's own."""
    label = component.label or component.source
    for item in record.items:
        own = component.source.startswith(f"repeatability/{item.id}/") and " - " not in component.source
        if own or component.source.endswith(f"/{item.id}"):
            return f"{label}: {item_label(record, item.id)}"
    return label


def largest(estimate: Estimate) -> Component | None:
    """The component that weighs most; None where nothing is known."""
    counted = [c for c in estimate.components if not c.contained]
    if not counted or not estimate.standard_uncertainty > 0:
        return None
    return min(counted, key=lambda c: (-abs(c.contribution), c.source))
