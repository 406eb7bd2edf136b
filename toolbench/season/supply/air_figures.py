"""What surrounds the answer for an air line: the sweep over its hose, the course behind its receiver, and advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from toolbench.errors import AnalysisError
from toolbench.records.comparison import Estimate
from toolbench.records.runs import Floats
from toolbench.records.settings import SeasonSettings, Setup
from toolbench.records.supply import SupplyFigure
from toolbench.season.supply.answering import Subject
from toolbench.season.supply.lines import StatedLine, is_modelled_air, line_of
from toolbench.season.supply.study import Asked, Course, Mark, Sweep, TestedSetup
from toolbench.supply.advice import USUAL_BORES_M, Advice, Candidates, find_changes, wanted_above
from toolbench.supply.elements import Element
from toolbench.supply.exponent import LOWEST_PA
from toolbench.supply.fitted import Fitted
from toolbench.supply.hose import Hose
from toolbench.supply.limits import lowest_rating, refuse
from toolbench.supply.line import Demand, Line, OperatingPoint, sweep
from toolbench.supply.longest import LongestHose, longest_hoses
from toolbench.supply.receiver import run_transient

MOST_BORES = 5
POINTS = 60
REACH = 1.3
"""The sweep goes to this multiple of the longest hose that is tested or asked for."""
SHORTEST_REACH_M = 10.0
LOOKED_AT_S = 60.0
"""A receiver that lasts a minute lasts for any run of a bench."""
USUAL_RUN_S = 5.0
"""Length of a run where none was made."""
ADIABATIC = 1.4


def sweep_hose(
    subject: Subject,
    line: StatedLine,
    demand: Demand,
    place: int,
    offset_pa: float,
    anchor: tuple[SupplyFigure, Estimate | None],
    exponent: Fitted,
) -> Sweep:
    """Inlet pressure and torque over length and bore of the hose at `place` (from 0), with the tested setups to mark.

    `anchor` is the tested line's inlet pressure and the torque measured there.
    """
    marks = _marks(subject, line, place)
    hose = _hose(line.line, place)
    near = [mark for mark in marks if mark.alike]
    bores = _bores(float(hose.bore_m), [mark.bore_m for mark in near])
    longest = max(SHORTEST_REACH_M, float(hose.length_m), *(mark.length_m for mark in near))
    lengths = np.linspace(min(1.0, float(hose.length_m)), REACH * longest, POINTS)
    point = sweep(line.line, demand, place + 1, lengths, np.asarray(bores))
    inlet = np.maximum(point.inlet_pa_abs - line.line.ambient_pa_abs + offset_pa, 0.0)
    return Sweep(
        lengths_m=lengths,
        bores_m=bores,
        inlet_pa=inlet,
        response=_response(point, inlet, anchor, exponent),
        marks=marks,
    )


def _hose(line: Line, place: int) -> Hose:
    element = line.elements[place]
    if not isinstance(element, Hose):
        raise ValueError(f"part {place + 1} of the line is a {element.label}, not a hose")
    return element


def _response(
    point: OperatingPoint, inlet: Floats, anchor: tuple[SupplyFigure, Estimate | None], exponent: Fitted
) -> Floats | None:
    """Torque by the power law; nan where it is not supported or a part chokes, None without a measured level or where all is nan."""
    figure, level = anchor
    reference = figure.estimate.value
    if level is None or reference < LOWEST_PA:
        return None
    supported = (inlet >= LOWEST_PA) & ~point.choked.any(axis=0)
    if not supported.any():
        return None
    return np.where(supported, level.value * (inlet / reference) ** exponent.value, np.nan)


def _bores(asked: float, tested: Sequence[float]) -> tuple[float, ...]:
    """The bore asked for, those that were tested alike, and the usual ones next to it, narrowest first."""
    wanted = [asked, *tested]
    wider = [bore for bore in USUAL_BORES_M if bore > asked]
    narrower = [bore for bore in reversed(USUAL_BORES_M) if bore < asked]
    kept: list[float] = []
    for bore in [*wanted, *narrower[:1], *wider[:1], *narrower[1:2]]:
        if not any(np.isclose(bore, other) for other in kept):
            kept.append(bore)
    return tuple(sorted(kept[:MOST_BORES]))


def _marks(subject: Subject, line: StatedLine, place: int) -> tuple[Mark, ...]:
    """The tested setups whose line is stated and whose pressure was measured at the setting that is stated."""
    found = (_mark(subject, tested, line, place) for tested in subject.tested.values())
    return tuple(mark for mark in found if mark is not None)


def _mark(subject: Subject, tested: TestedSetup, line: StatedLine, place: int) -> Mark | None:
    settings = subject.season.settings
    setup = settings.setups[tested.setup]
    if tested.held or tested.drive is None or not is_modelled_air(setup):
        return None
    try:
        mine = line_of(settings, setup).line
    except AnalysisError:
        return None
    hoses = [element for element in mine.elements if isinstance(element, Hose)]
    if not hoses:
        return None
    hose = max(hoses, key=lambda one: float(one.length_m))
    there = _hose(line.line, place)
    same = line.line.with_element(place + 1, replace(there, bore_m=hose.bore_m, length_m=hose.length_m))
    return Mark(
        tested=tested,
        length_m=float(hose.length_m),
        bore_m=float(hose.bore_m),
        alike=_plain(same) == _plain(mine) and _receiver(setup) == _receiver(line.setup),
    )


def _receiver(setup: Setup) -> dict[str, float | str]:
    return {key: value for key, (value, _) in setup.facts.items() if key.startswith("receiver.")}


def _plain(line: Line) -> tuple[object, ...]:
    """What decides of a line, without names and ratings."""
    elements: tuple[Element, ...] = tuple(replace(one, label="", rated_pa_abs=None) for one in line.elements)
    return line.regulator, elements


def courses_of(line: StatedLine, demand: Demand, measured: TestedSetup | None) -> tuple[Course, ...]:
    """A run behind the receiver, from full and from where its compressor starts; none where no receiver is stated."""
    if line.receiver is None:
        return ()
    duration = measured.ends_s if measured is not None else USUAL_RUN_S
    return (_course(line, demand, "cut-out", duration), _course(line, demand, "cut-in", duration))


def _course(line: StatedLine, demand: Demand, starts: Literal["cut-out", "cut-in"], duration_s: float) -> Course:
    receiver = line.receiver
    assert receiver is not None
    start = receiver.cut_out_pa_abs if starts == "cut-out" else receiver.cut_in_pa_abs
    ambient = line.line.ambient_pa_abs
    begins: list[float | None] = []
    ends: list[float] = []
    for exponent in (1.0, ADIABATIC):
        run = run_transient(
            line.line,
            demand,
            receiver,
            start_pa_abs=start,
            duration_s=max(LOOKED_AT_S, duration_s),
            polytropic_exponent=exponent,
        )
        begins.append(run.sag_begins_s)
        ends.append(float(np.interp(duration_s, run.time_s, run.inlet_pa_abs)) - ambient)
    return Course(
        starts=starts,
        start=start - ambient,
        sag_begins_s=(begins[0], begins[1]),
        duration_s=duration_s,
        end=(ends[0], ends[1]),
    )


def advise(subject: Subject, line: StatedLine, demand: Demand, offset_pa: float) -> Advice | None:
    """The shortest lists of changes that give the wanted pressure; None where none is wanted.

    The model is asked for what is wanted less what the tested line was measured above it.
    """
    wanted = subject.asked.want_pa
    if wanted is None:
        return None
    ambient, rating = line.line.ambient_pa_abs, lowest_rating(line.line, demand)
    refuse(wanted_above(line.line, demand, wanted + ambient), "want")
    shifted = max(wanted - offset_pa, 1.0)
    if rating is not None:
        shifted = min(shifted, rating.pressure_pa_abs - ambient)
    return find_changes(line.line, demand, shifted, _candidates(subject.season.settings, line.setup))


def _candidates(settings: SeasonSettings, setup: Setup) -> Candidates:
    """Lengths that the season's setups have, and their bores beside the usual ones."""
    parts = [part for one in (*settings.setups.values(), setup) for part in one.line]
    lengths = {part.length_m for part in parts if part.length_m}
    bores = {part.bore_m for part in parts if part.bore_m}
    return Candidates(lengths_m=tuple(sorted(lengths)), bores_m=tuple(sorted({*USUAL_BORES_M, *bores})))


def longest_of(asked: Asked, line: StatedLine, demand: Demand, place: int | None) -> tuple[LongestHose, ...]:
    """The longest hose of each usual bore that loses no more than is asked for; none where nothing is asked, or it has no hose."""
    if asked.loss_percent is None or place is None:
        return ()
    bores = sorted({*USUAL_BORES_M, float(_hose(line.line, place).bore_m)})
    return longest_hoses(line.line, demand, asked.loss_percent, hose=place + 1, bores_m=bores)
