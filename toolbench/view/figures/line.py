"""The pictures of an air line: pressure along it, and what length and bore of its hose do. All of it is modelled, and says so."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from matplotlib.axes import Axes

from toolbench.quantities import unit_label
from toolbench.records.settings import SeasonSettings
from toolbench.records.supply import SupplyFigure
from toolbench.season.supply.study import AirStudy, ElectricStudy, LineState, LineStudy, Mark, Sweep
from toolbench.supply.line import pressure_profile
from toolbench.view.figures.canvas import (
    FONT_SIZE,
    INK,
    LIGHT_GROUND,
    MUTED,
    RULE,
    Look,
    honest_limits,
    label_ends,
    look,
    new_axes,
    repel,
    say_cut,
    shortened,
)
from toolbench.view.wording.line import print_bore
from toolbench.view.wording.printed import display_unit, response_words, scaled

_SMALL = FONT_SIZE - 1.5
_SIGN_WIDTH = 0.62
"""Width of a letter over the size of its type, about."""
_MARKED = 0.05
"""Room between a mark and its name, as a share of the axes' width."""


def plot_line(study: LineStudy, ax: Axes | None = None) -> Axes:
    """Modelled pressure along the air line as tested and as asked for; the measured inlet pressure is marked.

    For packs and leads: modelled voltage at rest and at the tool of each, with the measured one.

    Parameters
    ----------
    study : LineStudy
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    """
    ax = new_axes(ax)
    if study.air is None:
        assert study.electric is not None
        return _plot_supplies(study, study.electric, ax)
    return _plot_air(study, study.air, ax)


def _plot_air(study: LineStudy, air: AirStudy, ax: Axes) -> Axes:
    settings, ends, reached = study.settings, [], []
    states = [(air.tested, "tested"), *([(air.asked, "asked for")] if air.asked is not None else [])]
    for index, (state, word) in enumerate(states):
        seen, profile = look(index), pressure_profile(state.point)
        pressure = _gauge(profile.pressure_pa_abs, state, settings)
        metres = [scaled(float(x), "m", settings) for x in profile.position_m]
        ax.plot(metres, pressure, color=seen.light, linestyle=seen.dash)
        ends.append((f"{word}, modelled", float(pressure[-1]), seen))
        reached.append((metres[-1], float(pressure[-1]), seen))
    measured = study.measured
    if measured is not None and measured.drive is not None and not measured.held:
        place = scaled(float(pressure_profile(air.tested.point).position_m[-1]), "m", settings)
        _mark(ax, place, measured.drive, look(0), settings)
    _scale(ax, settings, states)
    _name_parts(ax, air.last, settings)
    ax.set_xlabel(f"Along the line [{unit_label(display_unit('m', settings))}]")
    ax.set_ylabel(f"Pressure, gauge [{unit_label(display_unit('Pa', settings))}]")
    for end, level, seen in reached:
        ax.plot([end, ax.get_xlim()[1]], [level, level], color=seen.light, linestyle=(0, (1, 3)), linewidth=0.8)
    label_ends(ax, ends)
    return ax


def _gauge(pressure_pa_abs: Iterable[float], state: LineState, settings: SeasonSettings) -> list[float]:
    ambient = state.point.line.ambient_pa_abs
    return [scaled(float(p) - ambient, "Pa", settings) for p in pressure_pa_abs]


def _mark(
    ax: Axes, x: float, figure: SupplyFigure, seen: Look, settings: SeasonSettings, *, filled: bool = True
) -> None:
    """A measured value with its interval."""
    unit = figure.estimate.unit
    low, value, high = (
        scaled(v, unit, settings) for v in (figure.interval.lower, figure.estimate.value, figure.interval.upper)
    )
    ax.plot([x, x], [low, high], color=seen.light, linewidth=1.2)
    face = seen.light if filled else "none"
    ax.plot([x], [value], color=seen.light, marker="o", markersize=5, markerfacecolor=face, clip_on=False)


def _scale(ax: Axes, settings: SeasonSettings, states: Sequence[tuple[LineState, str]]) -> None:
    """Room below the curves for the names of the parts."""
    pressures = [p for state, _ in states for p in _gauge(list(state.point.pressures_pa_abs), state, settings)]
    low, high, cut = honest_limits(min(pressures), max(pressures))
    if cut:
        low -= 0.9 * (high - low)
        say_cut(ax, "The vertical axis does not start at zero.")
    ax.set_ylim(max(low, 0.0), high)
    longest = max(float(pressure_profile(state.point).position_m[-1]) for state, _ in states)
    ax.set_xlim(0.0, scaled(longest, "m", settings) * 1.001 or 1.0)


def _name_parts(ax: Axes, state: LineState, settings: SeasonSettings) -> None:
    """Names of the parts below the curve, each under its place, on as many rows as it takes for none to meet another."""
    profile = pressure_profile(state.point)
    width_pt, height_pt = _size_pt(ax)
    span = ax.get_xlim()[1]
    places = [scaled(float(x), "m", settings) / span for x in profile.label_m]
    texts = [shortened(label, 26) for label in profile.labels]
    rows = _rows(
        [(place, _SIGN_WIDTH * _SMALL * len(text) / width_pt) for place, text in zip(places, texts, strict=True)]
    )
    bottom, step = 0.10, 1.35 * _SMALL / height_pt
    for text, (left, row), place in zip(texts, rows, places, strict=True):
        level = bottom + step * (max(r for _, r in rows) - row)
        ax.plot([place, place], [level + 0.6 * step, 1.0], transform=ax.transAxes, color=RULE, linewidth=0.5, zorder=0)
        ax.text(left, level, text, transform=ax.transAxes, fontsize=_SMALL, color=MUTED, va="center")


def _rows(wanted: Sequence[tuple[float, float]]) -> list[tuple[float, int]]:
    """Left edge and row of each label of a place and width [share of the axes]: the first row where it meets none."""
    ends: list[float] = []
    found = []
    for place, width in wanted:
        left = min(place + 0.006, max(0.0, 1.0 - width))
        row = next((k for k, end in enumerate(ends) if left > end + 0.01), len(ends))
        ends[row:] = [left + width, *ends[row + 1 :]]
        found.append((left, row))
    return found


def _plot_supplies(study: LineStudy, electric: ElectricStudy, ax: Axes) -> Axes:
    """A row per pack or lead: from the voltage at rest to that at the tool, with its interval, and the measured one."""
    settings = study.settings
    rows = [electric.tested, *([electric.asked] if electric.asked is not None else []), *electric.others]
    for number, one in enumerate(rows):
        seen = look(0) if number == 0 else look(1)
        rest = one.voltage.estimate.value + one.sag.estimate.value
        ax.plot([rest], [number], color=seen.light, marker="|", markersize=10)
        ax.plot(
            [one.voltage.estimate.value, rest], [number, number], color=seen.light, linewidth=0.8, linestyle=seen.dash
        )
        ax.plot(
            [one.voltage.interval.lower, one.voltage.interval.upper], [number, number], color=seen.light, linewidth=2.4
        )
        ax.plot([one.voltage.estimate.value], [number], color=seen.light, marker=seen.marker, markersize=5)
        tested = None if one is electric.asked else study.tested.get(one.setup.id)
        if tested is not None and tested.drive is not None:
            ax.plot([tested.drive.estimate.value], [number], color=look(2).light, marker="x", markersize=7)
    ax.set_yticks(range(len(rows)), [shortened(one.setup.label, 26) for one in rows])
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_xlabel(f"Voltage, modelled (× measured; | at rest) [{unit_label(display_unit('V', settings))}]")
    return ax


def plot_sweep(study: LineStudy, ax: Axes | None = None, *, quantity: str = "") -> Axes:
    """Modelled torque or inlet pressure over the length of the hose, a curve for each bore; tested setups are marked as measured.

    Parameters
    ----------
    study : LineStudy
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    quantity : str
        ``"response"`` (torque) or ``"inlet_pressure"``; by default torque, where a level was measured.
    """
    ax = new_axes(ax)
    found = study.air.sweep if study.air is not None else None
    if found is None or study.air is None:
        why = "No line is swept: a pack has none" if study.air is None else "No other line is predicted for this setup"
        ax.text(0.5, 0.5, why, transform=ax.transAxes, ha="center", color=MUTED)
        ax.set_axis_off()
        return ax
    in_torque = found.response is not None and quantity != "inlet_pressure"
    _plot_bores(study, study.air, found, ax, in_torque=in_torque)
    _plot_marks(study, found, ax, in_torque=in_torque)
    what = f"Sustained {response_words(study.response)}" if in_torque else "Flowing inlet pressure, gauge"
    unit = unit_label(display_unit(_unit(study, in_torque=in_torque), study.settings))
    ax.set_ylabel(f"{what}, modelled [{unit}]")
    ax.set_xlabel(f"Length of the hose [{unit_label(display_unit('m', study.settings))}]")
    return ax


def _unit(study: LineStudy, *, in_torque: bool) -> str:
    measured = study.measured
    known = in_torque and measured is not None and measured.response is not None
    return measured.response.estimate.unit if known and measured and measured.response else "Pa"


def _plot_bores(study: LineStudy, air: AirStudy, found: Sweep, ax: Axes, *, in_torque: bool) -> None:
    settings, unit = study.settings, _unit(study, in_torque=in_torque)
    table = found.response if in_torque and found.response is not None else found.inlet_pa
    hose = next(one for one in air.last.point.line.elements if one.label == air.hose)
    asked = float(getattr(hose, "bore_m", math.nan))
    order = sorted(range(len(found.bores_m)), key=lambda k: (not math.isclose(found.bores_m[k], asked), k))
    metres = [scaled(float(x), "m", settings) for x in found.lengths_m]
    ends = []
    for index, k in enumerate(order):
        values = np.array([scaled(float(v), unit, settings) for v in table[k]])
        ax.plot(metres, values, color=look(index).light, linestyle=look(index).dash)
        known = np.flatnonzero(np.isfinite(values))
        if known.size:
            ends.append((print_bore(found.bores_m[k], settings), float(values[known[-1]]), look(index)))
    levels = [*_levels(found.marks, settings, in_torque=in_torque), *(y for _, y, _ in ends)]
    top = scaled(float(np.nanmax(table)), unit, settings)
    low, high, cut = honest_limits(min(levels), max(top, *levels))
    # Names need their own heights, and the note on the axis a line of its own.
    ax.set_ylim(low - 0.12 * (high - low) if cut else low, high)
    ax.set_xlim(0.0, metres[-1])
    if cut:
        say_cut(ax, "The vertical axis does not start at zero.")
    label_ends(ax, ends)


def _figure(mark: Mark, *, in_torque: bool) -> SupplyFigure | None:
    return mark.tested.response if in_torque else mark.tested.drive


def _levels(marks: Sequence[Mark], settings: SeasonSettings, *, in_torque: bool) -> list[float]:
    """Ends of the intervals of what was measured."""
    figures = [_figure(mark, in_torque=in_torque) for mark in marks]
    ends = [(end, f) for f in figures if f is not None for end in (f.interval.lower, f.interval.upper)]
    return [scaled(end, f.estimate.unit, settings) for end, f in ends if math.isfinite(end)]


def _plot_marks(study: LineStudy, found: Sweep, ax: Axes, *, in_torque: bool) -> None:
    """Tested setups: filled and named where only the hose differs; hollow ones have other parts or another setting."""
    settings, named = study.settings, []
    for mark in found.marks:
        figure = _figure(mark, in_torque=in_torque)
        place = scaled(mark.length_m, "m", settings)
        if figure is None or place > ax.get_xlim()[1]:
            continue
        _mark(ax, place, figure, _INK, settings, filled=mark.alike)
        level = scaled(figure.estimate.value, figure.estimate.unit, settings)
        if mark.alike:
            named.append((shortened(mark.tested.label, 24), place, level))
    _name_marks(ax, named)


_INK = Look(INK, INK, "solid", "o")
_CLEAR = {"facecolor": LIGHT_GROUND, "edgecolor": "none", "pad": 0.4}
"""A name hides the curve that it stands on."""


def _name_marks(ax: Axes, names: Sequence[tuple[str, float, float]]) -> None:
    """Names beside their marks, each with a line to it; all stand on heights of their own, so none covers another."""
    low, high = ax.get_ylim()
    width_pt, height_pt = _size_pt(ax)
    gap = (high - low) / height_pt * _SMALL * 1.15
    across = ax.get_xlim()[1]
    places = repel([level for _, _, level in names], gap, low + gap, high - gap)
    for (name, place, level), y in zip(names, places, strict=True):
        room = _SIGN_WIDTH * _SMALL * (len(name) + 2) / width_pt * across
        on_left = place + _MARKED * across + room > across
        x = place - _MARKED * across if on_left else place + _MARKED * across
        ax.plot([place, x], [level, y], color=MUTED, linewidth=0.5)
        side = "right" if on_left else "left"
        ax.text(x, y, f" {name} ", fontsize=_SMALL, color=INK, va="center", ha=side, bbox=_CLEAR)


def _size_pt(ax: Axes) -> tuple[float, float]:
    """Width and height of the axes in points."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    width, height = figure.get_size_inches()
    box = ax.get_position()
    return max(box.width * float(width) * 72, 1.0), max(box.height * float(height) * 72, 1.0)
