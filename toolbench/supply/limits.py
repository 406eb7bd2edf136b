"""Where a line is outside what a part bears or the model supports: one place for these checks, each with its sentence.

The checks speak of parts by their labels; whoever knows the setup puts its name into `Fault.key`. Pressures are said as gauge ones.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple, TypeAlias

import numpy as np

from toolbench.errors import AnalysisError, Fault
from toolbench.quantities import format_number, from_si
from toolbench.supply.air import Numbers
from toolbench.supply.elements import Element, Regulator
from toolbench.supply.exponent import LOWEST_PA
from toolbench.supply.line import Demand, Line, OperatingPoint, find_operating_point

_Part: TypeAlias = Regulator | Element | Demand


class Rating(NamedTuple):
    """The lowest pressure [Pa abs] that a line and its tool are rated for, and the part that it is of."""

    pressure_pa_abs: float
    label: str


def lowest_rating(line: Line, demand: Demand) -> Rating | None:
    """The lowest rated pressure among the parts of a line and the tool; None where nobody states one."""
    stated = [Rating(part.rated_pa_abs, part.label) for part in _parts(line, demand) if part.rated_pa_abs is not None]
    return min(stated, default=None)


def unrated(line: Line, demand: Demand) -> tuple[str, ...]:
    """Labels of the parts, tool included, whose rated pressure nobody states, the regulator aside."""
    return tuple(part.label for part in _parts(line, demand)[1:] if part.rated_pa_abs is None)


def over_rating(line: Line, demand: Demand) -> tuple[Fault, ...]:
    """A fault for every part, tool included, that stands above its rated pressure at rest, when it has the regulator's setting."""
    at_rest = float(np.max(line.regulator.set_pa_abs))
    return tuple(
        Fault(
            f"at rest {part.label} stands at {gauge_text(at_rest, line)}, above its rated {gauge_text(part.rated_pa_abs, line)}",
            mend=f"set the regulator to {gauge_text(part.rated_pa_abs, line)} or lower",
            code="over-rating",
        )
        for part in _parts(line, demand)
        if part.rated_pa_abs is not None and at_rest > part.rated_pa_abs
    )


def chokes(point: OperatingPoint) -> tuple[Fault, ...]:
    """A fault for every part that chokes, with the flow it passes. `point` is of one line, no arrays."""
    return tuple(
        Fault(
            f"{label} chokes: no more than {flow_text(point.flow_m3_s)} passes, whatever the tool could take",
            mend="a wider part there, or a shorter hose",
            code="chokes",
        )
        for label, choked in zip(point.line.labels, point.choked, strict=True)
        if choked
    )


def too_low(point: OperatingPoint) -> tuple[Fault, ...]:
    """A fault where the flowing inlet pressure is below 3 bar gauge. `point` is of one line, no arrays."""
    inlet = float(point.inlet_pa_abs)
    if inlet - point.line.ambient_pa_abs >= LOWEST_PA:
        return ()
    lowest = format_number(from_si(LOWEST_PA, "bar", "pressure"), 1, unit="bar")
    return (
        Fault(
            f"{gauge_text(inlet, point.line)} is left at the inlet while the tool runs; below {lowest} the power law is not supported",
            mend="a wider bore, a shorter hose or a higher setting",
            code="too-low",
        ),
    )


def require_supported(line: Line, demand: Demand, setup: str = "") -> OperatingPoint:
    """The operating point of one line on which a tool's torque may be modelled.

    Raises
    ------
    AnalysisError
        A part or the tool stands above its rated pressure, a part chokes, or less than 3 bar is left; `setup` says where.
    """
    refuse(over_rating(line, demand), setup)
    point = find_operating_point(line, demand)
    refuse((*chokes(point), *too_low(point)), setup)
    return point


def refuse(faults: tuple[Fault, ...], setup: str = "") -> None:
    """Raise AnalysisError with the faults, each under the name of the setup, where there are any."""
    if faults:
        raise AnalysisError([replace(fault, key=setup or None) for fault in faults])


def _parts(line: Line, demand: Demand) -> tuple[_Part, ...]:
    return (line.regulator, *line.elements, demand)


def gauge_text(pressure_pa_abs: Numbers, line: Line) -> str:
    """An absolute pressure [Pa] as the gauge pressure of the line's room: ``"6.2 bar"``."""
    return format_number(from_si(float(pressure_pa_abs) - line.ambient_pa_abs, "bar", "pressure"), 3, unit="bar")


def flow_text(flow_m3_s: Numbers) -> str:
    """A flow: ``"12.3 L/s ANR"``."""
    return format_number(from_si(float(flow_m3_s), "L/s ANR", "air_flow"), 3, unit="L/s ANR")
