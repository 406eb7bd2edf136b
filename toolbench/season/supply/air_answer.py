"""What another air line would give: the answer from the model, anchored on what was measured where something was."""

from __future__ import annotations

from dataclasses import dataclass, replace

from toolbench.errors import AnalysisError, Fault
from toolbench.quantities import format_number, from_si
from toolbench.records.comparison import Estimate
from toolbench.records.settings import SeasonSettings, Setup, Tool
from toolbench.records.supply import SupplyFigure
from toolbench.season.supply.air_figures import advise, courses_of, longest_of, sweep_hose
from toolbench.season.supply.answering import Answer, Subject, as_figure, figure_of, fit_remarks, run_remarks
from toolbench.season.supply.lines import StatedLine, line_of, place_of
from toolbench.season.supply.measured import shown
from toolbench.season.supply.modelling import as_fitted, demand_of, losses_of
from toolbench.season.supply.study import AirStudy, LineState
from toolbench.supply.effects import Prediction, Question, predict, predict_inlet
from toolbench.supply.exponent import PRIOR_AIR
from toolbench.supply.fitted import Fitted
from toolbench.supply.limits import chokes, over_rating, too_low
from toolbench.supply.line import Demand, Line, OperatingPoint, margins

REST_APART_PA = 0.2e5
"""Recordings whose pressure at rest is further from the regulator's stated setting than this were made at another setting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of the tool, and what its tested line was measured at; None where it was not."""

    demand: Fitted
    exponent: Fitted
    inlet: Estimate | None
    level: Estimate | None

    def question(self, reference: Line, other: Line, tool: Tool) -> Question:
        """The question for the model."""
        rated = tool.rated_pressure_pa
        return Question(
            reference=reference,
            other=other,
            conductance=self.demand,
            exponent=self.exponent,
            rated_pa_abs=None if rated is None else rated + other.ambient_pa_abs,
            measured_inlet=None if self.inlet is None else as_fitted(self.inlet),
            measured_level=self.level,
        )


def longest_hose(setup: Setup) -> int | None:
    """Place in the setup's line (from 0) of its longest hose, the first of equals; None where it has none."""
    hoses = [(part.length_m or 0.0, -place) for place, part in enumerate(setup.line) if part.part == "hose"]
    return -max(hoses)[1] if hoses else None


def check_rating(settings: SeasonSettings, setup: Setup, tool: Tool, option: str) -> None:
    """Raise AnalysisError where a part or the tool stands above its rating; `option` is what asked for it, empty if the setup does."""
    line = line_of(settings, setup).line
    faults = over_rating(line, demand_for(tool, line, 1e-7))
    file, number, key = place_of(settings, setup)
    if option:
        raise_at(faults, key=option)
    raise_at(faults, file=file, line=number, key=key)


def raise_at(faults: tuple[Fault, ...], *, file: str | None = None, line: int | None = None, key: str) -> None:
    """Raise AnalysisError with the faults, where there are any, under the place they come from."""
    if faults:
        raise AnalysisError([replace(fault, file=file, line=line, key=key) for fault in faults])


def demand_for(tool: Tool, line: Line, conductance: float) -> Demand:
    """The tool at the end of a line, with its name and rating."""
    rated = tool.rated_pressure_pa
    return Demand(
        conductance=conductance,
        rated_pa_abs=None if rated is None else rated + line.ambient_pa_abs,
        label=tool.name or tool.id,
    )


def answer_air(subject: Subject) -> Answer:
    """The tested line, the one asked for, and what both rest on.

    Raises
    ------
    AnalysisError
        As `open_line`.
    """
    settings, tool = subject.season.settings, subject.tool
    stated = line_of(settings, subject.setup)
    other = line_of(settings, subject.other) if subject.other is not None else None
    effective = _is_effective(subject)
    if effective:
        _refuse_others(subject)
    known, remarks = _known(subject, stated, effective)
    air = _air(subject, stated, other, known, effective)
    figures = [figure_of(tool.id, "demand", known.demand)]
    if not effective:
        figures.append(figure_of(tool.id, "exponent", known.exponent))
    return Answer(
        learned=tuple(figures),
        assumed=(other or stated).assumed,
        remarks=(*remarks, *run_remarks(subject)),
        effective=effective,
        air=air,
    )


def _is_effective(subject: Subject) -> bool:
    """Whether the tool was run, and never with its inlet pressure recorded."""
    learned = subject.learned
    return learned is not None and not any(one.inlet_pressure > 0 for one in learned.runs)


def _refuse_others(subject: Subject) -> None:
    """Raise AnalysisError where another line is asked of a tool whose inlet pressure was never recorded."""
    asked = subject.asked
    if asked.is_other or asked.want_pa is not None or asked.loss_percent is not None:
        raise AnalysisError(
            Fault(
                f"no pressure was recorded at the inlet of {subject.tool.id}, so its figures are effective for this setup:"
                " no other line is predicted",
                key=f"setups.{subject.setup.id}",
                mend="record inlet_pressure, at the tool, in the runs that are to teach it",
            )
        )


def _known(subject: Subject, stated: StatedLine, effective: bool) -> tuple[Known, list[str]]:
    """Demand, exponent and anchors, with remarks on them. Raises AnalysisError where nobody knows the demand."""
    learned, measured = subject.learned, subject.measured
    demand = demand_of(subject.season.settings, subject.tool, learned)
    if demand is None and measured is not None and measured.taken is not None:
        demand = _effective_demand(stated.line, measured.taken.estimate)
    if demand is None:
        raise AnalysisError(
            Fault(
                f"the air demand of {subject.tool.id} is not known",
                file="tools.csv",
                mend="record air_flow and inlet_pressure, or state air_consumption in tools.csv",
            )
        )
    remarks: list[str] = []
    fit = learned.exponent if learned is not None and not effective else None
    if learned is not None and learned.demand is not None and not learned.demand.proportional:
        remarks.append("Flow is not in proportion to inlet pressure in the runs, as the model takes it to be.")
    anchored = _may_anchor(subject, stated.line, remarks)
    return (
        Known(
            demand=demand,
            exponent=fit.fitted if fit is not None and not fit.fitted.effective else PRIOR_AIR,
            inlet=measured.drive.estimate if anchored and measured is not None and measured.drive else None,
            level=measured.response.estimate if anchored and measured is not None and measured.response else None,
        ),
        [*remarks, *fit_remarks(fit)],
    )


def _effective_demand(line: Line, flow: Estimate) -> Fitted | None:
    """A tool's demand from the measured flow and the modelled pressure that its own line leaves; None where it leaves none."""
    pressure = float(line.regulator.outlet_pressure(flow.value))
    for element in line.elements:
        pressure = float(element.outlet_pressure(flow.value, pressure, line.temperature_k))
    if not pressure > 0:
        return None
    return Fitted(
        value=flow.value / pressure,
        standard_uncertainty=flow.standard_uncertainty / pressure,
        source="learned",
        note="effective for this setup: no pressure was recorded at the tool's inlet",
        effective=True,
    )


def _may_anchor(subject: Subject, line: Line, remarks: list[str]) -> bool:
    """Whether what was measured on the setup belongs to its stated setting; says why not."""
    measured = subject.measured
    if measured is None:
        return False
    if measured.held:
        remarks.append(
            f"The runs under {measured.protocol} hold the inlet pressure by the regulator, so none was made at the stated"
            " setting: everything starts from the model."
        )
        return False
    setting = float(line.regulator.set_pa_abs) - line.ambient_pa_abs
    if measured.rest is not None and abs(measured.rest - setting) > REST_APART_PA:
        seen, wanted = (format_number(from_si(p, "bar", "pressure"), 3, unit="bar") for p in (measured.rest, setting))
        remarks.append(
            f"At rest the recordings stand at {seen}, and the regulator is stated at {wanted}: everything starts from the model."
        )
        return False
    return True


def _air(subject: Subject, stated: StatedLine, other: StatedLine | None, known: Known, effective: bool) -> AirStudy:
    tool, confidence = subject.tool, subject.confidence
    tested = _state(stated, stated, known, tool, confidence)
    asked = _state(stated, other, known, tool, confidence) if other is not None else None
    refused = _refused(tested, asked) if asked is not None else ()
    found = (
        predict(known.question(stated.line, other.line, tool), confidence=confidence)
        if other is not None and not refused
        else None
    )
    last = other or stated
    demand = demand_for(tool, last.line, known.demand.value)
    offset = tested.inlet.estimate.value - tested.inlet_alone.estimate.value
    place = longest_hose(last.setup)
    return AirStudy(
        tested=tested,
        asked=asked,
        hose=last.line.elements[place].label if place is not None else "",
        percent=as_figure(found.percent) if found is not None else None,
        response=_level(found),
        refused=refused,
        offset_pa=offset,
        courses=courses_of(last, demand, subject.measured),
        sweep=sweep_hose(subject, last, demand, place, offset, (tested.inlet, known.level), known.exponent)
        if place is not None and not effective
        else None,
        advice=advise(subject, last, demand, offset),
        longest=longest_of(subject.asked, last, demand, place),
    )


def _level(found: Prediction | None) -> SupplyFigure | None:
    return as_figure(found.torque) if found is not None and found.torque is not None else None


def _state(reference: StatedLine, line: StatedLine, known: Known, tool: Tool, confidence: float) -> LineState:
    """One line at its operating point; its inlet starts from what was measured on the reference, where it was."""
    question = known.question(reference.line, line.line, tool)
    found = predict_inlet(question, confidence=confidence)
    alone = predict_inlet(replace(question, measured_inlet=None), confidence=confidence)
    point, ambient = found.point, line.line.ambient_pa_abs
    losses, left = losses_of(point), margins(point)
    nearest = min(range(1, len(losses)), key=lambda part: float(left[part]))

    def gauge(estimate: Estimate) -> SupplyFigure:
        return shown(replace(estimate, value=estimate.value - ambient), confidence, modelled=True)

    return LineState(
        setup=line.setup,
        point=point,
        losses=losses,
        limiting=losses[int(point.limiting)].label,
        choked=tuple(label for label, is_choked in zip(line.line.labels, point.choked, strict=True) if is_choked),
        nearest_choking=(losses[nearest].label, float(left[nearest])),
        inlet=gauge(found.inlet.estimate),
        inlet_alone=gauge(alone.inlet.estimate),
        flow=as_figure(found.flow),
        flow_alone=as_figure(alone.flow),
        anchored=known.inlet is not None,
    )


def _refused(tested: LineState, asked: LineState) -> tuple[Fault, ...]:
    """Why no torque is modelled for the line asked for; empty where it is."""
    faults: list[Fault] = []
    for name, state in (("the tested line", tested), ("the line asked for", asked)):
        found = (*chokes(state.point), *(too_low(_moved(state)) or too_low(state.point)))
        faults += [replace(fault, key=name) for fault in found]
    return tuple(faults)


def _moved(state: LineState) -> OperatingPoint:
    """The operating point with the inlet pressure as it follows from what was measured."""
    pressures = state.point.pressures_pa_abs.copy()
    pressures[-1] = state.inlet.estimate.value + state.point.line.ambient_pa_abs
    return replace(state.point, pressures_pa_abs=pressures)
