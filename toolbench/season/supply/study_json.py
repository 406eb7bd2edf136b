"""A study as plain JSON values: SI, full precision, pressures gauge; every figure says whether it is modelled."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from toolbench.errors import Fault
from toolbench.records.settings import Setup
from toolbench.records.supply import LearnedFigure, SupplyFigure
from toolbench.season.known import known
from toolbench.season.supply.study import (
    AirStudy,
    Course,
    ElectricStudy,
    LineState,
    LineStudy,
    OtherSupply,
    Sweep,
    TestedSetup,
)
from toolbench.season.supply.written import figure_json
from toolbench.supply.advice import Advice, Change, ChangeList

FORMAT = 1


def study_json(study: LineStudy) -> dict[str, Any]:
    """The whole study as one object."""
    return {
        "format": FORMAT,
        "setup": study.setup.id,
        "tool": study.tool.id,
        "supply": study.setup.supply or "air",
        "asked": asdict(study.asked),
        "confidence": study.confidence,
        "drive": study.drive,
        "response": study.response,
        "effective": study.effective,
        "tested": [_tested(one) for one in study.tested.values()],
        "learned": [_learned(one) for one in study.learned],
        "assumed": list(study.assumed),
        "remarks": list(study.remarks),
        "refused": [_fault(fault) for fault in study.refused],
        "air": _air(study.air) if study.air is not None else None,
        "electric": _electric(study.electric) if study.electric is not None else None,
        "inputs": dict(sorted(study.digests.items())),
    }


def _figure(figure: SupplyFigure | None) -> dict[str, Any] | None:
    """A figure with what each source contributes."""
    found = figure_json(figure)
    if figure is None or found is None:
        return None
    return {**found, "components": {part.source: part.contribution for part in figure.estimate.components}}


def _fault(fault: Fault) -> dict[str, Any]:
    return {"line": fault.key, "code": fault.code, "message": fault.message, "mend": fault.mend}


def _tested(one: TestedSetup) -> dict[str, Any]:
    return {
        "setup": one.setup,
        "protocol": one.protocol,
        "runs": list(one.runs),
        "held": one.held,
        "epoch": one.epoch,
        "rest": known(one.rest),
        "drive": _figure(one.drive),
        "taken": _figure(one.taken),
        "response": _figure(one.response),
    }


def _learned(one: LearnedFigure) -> dict[str, Any]:
    return {
        "name": one.name,
        "value": one.estimate.value,
        "unit": one.estimate.unit,
        "standard_uncertainty": one.estimate.standard_uncertainty,
        "source": one.source,
        "runs": one.runs,
        "note": one.note,
    }


def _air(air: AirStudy) -> dict[str, Any]:
    ambient = air.last.point.line.ambient_pa_abs
    return {
        "tested": _state(air.tested),
        "asked": _state(air.asked) if air.asked is not None else None,
        "hose": air.hose,
        "percent": _figure(air.percent),
        "response": _figure(air.response),
        "measured_less_modelled_inlet": air.offset_pa,
        "courses": [_course(one) for one in air.courses],
        "advice": _advice(air.advice, ambient, air.offset_pa) if air.advice is not None else None,
        "longest": [{"bore": one.bore_m, "length": one.length_m, "modelled": True} for one in air.longest],
        "sweep": _sweep(air.sweep) if air.sweep is not None else None,
    }


def _state(state: LineState) -> dict[str, Any]:
    return {
        "line": _line(state.setup),
        "anchored": state.anchored,
        "inlet": _figure(state.inlet),
        "inlet_by_the_model_alone": _figure(state.inlet_alone),
        "flow": _figure(state.flow),
        "flow_by_the_model_alone": _figure(state.flow_alone),
        "losses": [{**asdict(part), "modelled": True} for part in state.losses],
        "limiting": state.limiting,
        "choked": list(state.choked),
        "nearest_choking": {"part": state.nearest_choking[0], "margin": state.nearest_choking[1]},
    }


def _line(setup: Setup) -> dict[str, Any]:
    stated = setup.facts.get("regulator.set")
    parts = [{key: value for key, value in asdict(part).items() if value not in (None, "")} for part in setup.line]
    return {"regulator_set": stated[0] if stated is not None else None, "parts": parts}


def _course(one: Course) -> dict[str, Any]:
    return {
        "starts_at": one.starts,
        "start": one.start,
        "duration": one.duration_s,
        "isothermal": {"sag_begins": one.sag_begins_s[0], "inlet_at_end": one.end[0]},
        "adiabatic": {"sag_begins": one.sag_begins_s[1], "inlet_at_end": one.end[1]},
        "modelled": True,
    }


def _advice(advice: Advice, ambient: float, offset: float) -> dict[str, Any]:
    closest = advice.closest
    return {
        "enough_now": advice.enough_now,
        "lists": [_list(one, ambient, offset) for one in advice.lists],
        "closest": _list(closest, ambient, offset) if closest is not None else None,
        "highest_rated": None if advice.ceiling is None else advice.ceiling.pressure_pa_abs - ambient,
        "unrated": list(advice.unrated),
    }


def _list(one: ChangeList, ambient: float, offset: float) -> dict[str, Any]:
    return {
        "changes": [_change(change, ambient) for change in one.changes],
        "inlet": float(one.point.inlet_pa_abs) - ambient + offset,
        "spare": one.spare_pa,
        "modelled": True,
    }


def _change(change: Change, ambient: float) -> dict[str, Any]:
    lift = ambient if change.kind == "regulator" else 0.0
    return {
        "part": change.part,
        "label": change.label,
        "kind": change.kind,
        "before": None if change.before is None else change.before - lift,
        "after": None if change.after is None else change.after - lift,
    }


def _sweep(sweep: Sweep) -> dict[str, Any]:
    return {
        "modelled": True,
        "lengths": sweep.lengths_m.tolist(),
        "bores": list(sweep.bores_m),
        "inlet": sweep.inlet_pa.tolist(),
        "response": None
        if sweep.response is None
        else [[known(value) for value in row] for row in sweep.response.tolist()],
        "marks": [
            {"setup": one.tested.setup, "length": one.length_m, "bore": one.bore_m, "alike": one.alike}
            for one in sweep.marks
        ],
    }


def _electric(electric: ElectricStudy) -> dict[str, Any]:
    return {
        "current": _figure(electric.current),
        "tested": _supply(electric.tested),
        "asked": _supply(electric.asked) if electric.asked is not None else None,
        "others": [_supply(one) for one in electric.others],
    }


def _supply(one: OtherSupply) -> dict[str, Any]:
    return {
        "setup": one.setup.id,
        "label": one.setup.label,
        "voltage": _figure(one.voltage),
        "sag": _figure(one.sag),
        "percent": _figure(one.percent),
        "response": _figure(one.response),
    }
