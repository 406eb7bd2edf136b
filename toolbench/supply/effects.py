"""What another air line would give: inlet pressure, flow and torque against a reference line, with uncertain inputs propagated.

Both lines are worked out in one go with the same errors: a friction factor that is too low is so in both, and cancels as far
as it acts alike on both. Where the reference was measured, the change is put on what was measured, so that its band is never
narrower than the measured one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from toolbench.metrology.monte_carlo import Drawn
from toolbench.metrology.propagation import combine
from toolbench.records.comparison import Estimate, Interval
from toolbench.records.runs import Floats
from toolbench.supply.fitted import Fitted
from toolbench.supply.limits import over_rating, refuse, require_supported
from toolbench.supply.line import Demand, Line, OperatingPoint, find_operating_point
from toolbench.supply.modelled import Model, Modelled, as_modelled, drawn_from, propagate_draws, propagate_linear
from toolbench.supply.uncertain_lines import ASSUMED, LEAST, Assumed, UncertainLines

UNITS = {
    "reference inlet": "Pa",
    "inlet": "Pa",
    "change": "Pa",
    "flow": "m3/s",
    "percent": "%",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What the model says of another line; nothing in it is measured but what it was anchored on.

    `reference_inlet` is the reference's by the model alone, to hold against a measured one. `torque` is None without a measured
    level.
    """

    reference_inlet: Modelled
    inlet: Modelled
    change: Modelled
    flow: Modelled
    percent: Modelled
    torque: Modelled | None
    anchored: bool
    point: OperatingPoint


@dataclass(frozen=True, slots=True, kw_only=True)
class InletPrediction:
    """What the model says of another line's pressure and flow alone: it holds below 3 bar and behind a part that chokes, too."""

    reference_inlet: Modelled
    inlet: Modelled
    change: Modelled
    flow: Modelled
    point: OperatingPoint


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A reference line, another one, and what is known of the tool at their ends.

    `conductance` [m3/(s*Pa) ANR] is the tool's demand. `measured_inlet` is the flowing inlet pressure that was recorded on the
    reference [Pa gauge], `measured_level` the torque there.
    """

    reference: Line
    other: Line
    conductance: Fitted
    exponent: Fitted
    rated_pa_abs: float | None = None
    measured_inlet: Fitted | None = None
    measured_level: Estimate | None = None
    assumed: Assumed = ASSUMED


def predict(question: Question, *, confidence: float = 0.95) -> Prediction:
    """Inlet pressure [Pa abs], flow and percent change of torque that the other line would give.

    Raises
    ------
    AnalysisError
        Where either line leaves less than 3 bar at the inlet (the power law is not supported there), chokes, or stands at rest
        above the rated pressure of a part or of the tool.

    References
    ----------
    GUM 5.1.3: central differences over all inputs in one call of each line. Percent is 100 ((p / p_ref)^n - 1) in gauge pressure.
    """
    demand = Demand(conductance=question.conductance.value, rated_pa_abs=question.rated_pa_abs)
    require_supported(question.reference, demand, "the reference")
    point = require_supported(question.other, demand, "the other line")
    model, inputs, labels = _model(question)
    found = propagate_linear(model, inputs, UNITS, labels)
    level, torque = question.measured_level, None
    if level is not None:
        torque = as_modelled(scaled_level(level, found["percent"]), confidence)
    shown = {name: as_modelled(estimate, confidence) for name, estimate in found.items()}
    return Prediction(
        reference_inlet=shown["reference inlet"],
        inlet=shown["inlet"],
        change=shown["change"],
        flow=shown["flow"],
        percent=shown["percent"],
        torque=torque,
        anchored=question.measured_inlet is not None,
        point=point,
    )


def scaled_level(level: Estimate, percent: Estimate) -> Estimate:
    """A measured level changed by a modelled percentage; its band is never narrower than that of the level."""
    ratio = 1.0 + percent.value / 100.0
    return combine(level.value * ratio, level.unit, [(level, max(ratio, 1.0)), (percent, level.value / 100.0)])


def predict_inlet(question: Question, *, confidence: float = 0.95) -> InletPrediction:
    """Inlet pressure [Pa abs] and flow that the other line would give, without a word on torque.

    Raises
    ------
    AnalysisError
        Where either line stands at rest above the rated pressure of a part or of the tool.

    References
    ----------
    As `predict`.
    """
    demand = Demand(conductance=question.conductance.value, rated_pa_abs=question.rated_pa_abs)
    for line in (question.reference, question.other):
        refuse(over_rating(line, demand))
    model, inputs, labels = _model(question)
    found = propagate_linear(model, inputs, UNITS, labels)
    return InletPrediction(
        reference_inlet=as_modelled(found["reference inlet"], confidence),
        inlet=as_modelled(found["inlet"], confidence),
        change=as_modelled(found["change"], confidence),
        flow=as_modelled(found["flow"], confidence),
        point=find_operating_point(question.other, demand),
    )


def predict_by_draws(
    question: Question, *, confidence: float = 0.95, draws: int = 20_000, seed: int = 1
) -> dict[str, tuple[float, float, Interval]]:
    """The twin of `predict` by random draws (JCGM 101): mean, standard deviation and interval of each output."""
    model, inputs, _ = _model(question)
    return propagate_draws(model, inputs, confidence=confidence, draws=draws, seed=seed)


def _model(question: Question) -> tuple[Model, dict[str, Drawn], dict[str, str]]:
    """Both lines as one function of their errors, the errors, and words for them."""
    lines = UncertainLines((question.reference, question.other), question.assumed)
    named = {
        **lines.inputs,
        "demand": (drawn_from(question.conductance), "air demand of the tool"),
        "exponent": (drawn_from(question.exponent), "exponent of torque against pressure"),
    }
    if question.measured_inlet is not None:
        named["measured inlet"] = (drawn_from(question.measured_inlet), "measured inlet pressure of the reference")

    def model(x: Mapping[str, Floats]) -> dict[str, Floats]:
        # A draw far out must not turn a tool into a source of air.
        demand = Demand(conductance=np.maximum(x["demand"], LEAST * question.conductance.value))
        first, second = (find_operating_point(lines.with_errors(place, x), demand).inlet_pa_abs for place in (0, 1))
        modelled = first - question.reference.ambient_pa_abs
        before = x.get("measured inlet", modelled)
        after = before + (second - first)
        with np.errstate(invalid="ignore"):
            percent = 100.0 * ((after / before) ** x["exponent"] - 1.0)
        inlet = after + question.other.ambient_pa_abs
        return {
            "reference inlet": first,
            "inlet": inlet,
            "change": np.asarray(second - first),
            "flow": np.asarray(demand.conductance * inlet),
            "percent": np.asarray(percent),
        }

    inputs = {name: drawn for name, (drawn, _) in named.items()}
    return model, inputs, {name: words for name, (_, words) in named.items()}
