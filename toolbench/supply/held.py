"""The pressure that a line must start with to leave a wanted pressure at the tool's inlet, with uncertain inputs propagated."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from toolbench.records.runs import Floats
from toolbench.supply.fitted import Fitted
from toolbench.supply.line import Line, needed_pressures
from toolbench.supply.modelled import Modelled, as_modelled, drawn_from, propagate_linear
from toolbench.supply.uncertain_lines import ASSUMED, LEAST, Assumed, UncertainLines


def predict_start(
    line: Line, conductance: Fitted, inlet_pa: Fitted, *, assumed: Assumed = ASSUMED, confidence: float = 0.95
) -> Modelled:
    """Flowing pressure behind the regulator [Pa gauge] that holds `inlet_pa` [Pa gauge] at the inlet of a running tool.

    The regulator's own setting and droop do not matter: what is asked is what they must leave.

    References
    ----------
    GUM 5.1.3: central differences over all inputs in one call of the line.
    """
    lines = UncertainLines((line, line), assumed)
    named = {
        **lines.inputs,
        "demand": (drawn_from(conductance), "air demand of the tool"),
        "inlet": (drawn_from(inlet_pa), "held inlet pressure"),
    }

    def model(x: Mapping[str, Floats]) -> dict[str, Floats]:
        inlet = x["inlet"] + line.ambient_pa_abs
        flow = np.maximum(x["demand"], LEAST * conductance.value) * inlet
        start = needed_pressures(lines.with_errors(0, x), flow, inlet)[0]
        return {"start": np.asarray(start - line.ambient_pa_abs)}

    inputs = {name: drawn for name, (drawn, _) in named.items()}
    labels = {name: words for name, (_, words) in named.items()}
    return as_modelled(propagate_linear(model, inputs, {"start": "Pa"}, labels)["start"], confidence)
