"""The pictures and the piece of a study: what is drawn, that names do not meet, and that the model says it is one."""

from __future__ import annotations

from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

import toolbench as tb
from toolbench.season.supply.study import LineStudy
from toolbench.view.figures.line import plot_line, plot_sweep
from toolbench.view.wording.line import change_words, print_bore

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@cache
def study(setup: str = "near", tool: str = "quernel-1", **more: Any) -> LineStudy:
    found = tb.open_line(tb.open_season(DEMO), setup=setup, tool=tool, **more)
    assert isinstance(found, LineStudy)
    return found


def drawn(which: Any, of: LineStudy, **more: Any) -> Axes:
    figure = Figure(figsize=(6.6, 3.6))
    ax = figure.add_axes((0.115, 0.15, 0.60, 0.82))
    assert which(of, ax, **more) is ax
    return ax


def no_names_meet(ax: Axes, *, out_of: int) -> None:
    figure = ax.get_figure(root=True)
    assert figure is not None
    figure.canvas.draw()
    boxes = [text.get_window_extent() for text in ax.texts if text.get_text()]
    assert len(boxes) >= out_of
    for one, other in combinations(boxes, 2):
        wide = min(one.x1, other.x1) - max(one.x0, other.x0)
        high = min(one.y1, other.y1) - max(one.y0, other.y0)
        assert wide <= 1 or high <= 2
    width = figure.get_size_inches()[0] * figure.dpi
    assert max(box.x1 for box in boxes) <= width


@pytest.mark.parametrize("length", ["2 m", "30 m", "90 m"])
def test_names_of_parts_do_not_meet(length: str) -> None:
    ax = drawn(plot_line, study(length=length))
    # regulator, two couplers, the hose, two ends
    no_names_meet(ax, out_of=6)


def test_a_line_of_many_parts_has_room_for_their_names() -> None:
    no_names_meet(drawn(plot_line, study("three-couplers", bore="19 mm")), out_of=7)


def test_the_curve_runs_from_behind_the_regulator_to_the_inlet() -> None:
    of = study(length="30 m")
    assert of.air is not None
    assert of.air.asked is not None
    ax = drawn(plot_line, of)
    curves = [np.asarray(line.get_ydata(), dtype=float) for line in ax.lines if len(line.get_ydata()) > 20]
    assert len(curves) == 2
    for curve, state in zip(curves, (of.air.tested, of.air.asked), strict=True):
        # the demo prints bar
        assert curve[0] == pytest.approx(state.losses[0].pressure / 1e5)
        assert curve[-1] == pytest.approx(state.losses[-1].pressure / 1e5)
        assert (np.diff(curve) <= 1e-9).all()
    assert {text.get_text().replace("\n", " ") for text in ax.texts} >= {"tested, modelled", "asked for, modelled"}
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    assert of.measured is not None
    assert of.measured.drive is not None
    assert np.asarray(dots[0].get_ydata())[0] == pytest.approx(of.measured.drive.estimate.value / 1e5)


@pytest.mark.parametrize("quantity", ["", "inlet_pressure"])
def test_the_sweep_marks_every_tested_setup_and_names_those_alike(quantity: str) -> None:
    of = study(length="30 m")
    assert of.air is not None
    assert of.air.sweep is not None
    ax = drawn(plot_sweep, of, quantity=quantity)
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    assert len(dots) == len(of.air.sweep.marks)
    filled = sum(line.get_markerfacecolor() != "none" for line in dots)
    assert filled == sum(mark.alike for mark in of.air.sweep.marks) == 4
    assert "modelled" in ax.get_ylabel()
    assert ("pressure" if quantity else "torque") in ax.get_ylabel()
    no_names_meet(ax, out_of=4 + len(of.air.sweep.bores_m))


def test_a_supply_without_a_line_has_its_own_picture_and_no_sweep() -> None:
    ax = drawn(plot_line, study("one-string", "ostrel"))
    assert [text.get_text() for text in ax.get_yticklabels()] == [
        "one string, 20 °C", "two strings, 20 °C", "one string, 2 °C", "two strings, 2 °C",
    ]  # fmt: skip
    assert "modelled" in ax.get_xlabel()
    assert "a pack has none" in drawn(plot_sweep, study("one-string", "ostrel")).texts[0].get_text()


def test_axes_of_their_own_show_themselves() -> None:
    shown = plot_line(study(length="30 m"))
    assert shown._repr_png_().startswith(b"\x89PNG")  # type: ignore[attr-defined]


def test_the_piece_has_words_and_both_pictures() -> None:
    shown = tb.show_line(study(length="30 m", want="6 bar", loss="10 %"))
    assert shown.html.count("<svg") == 2
    assert shown.html.count("<table") == 4
    assert shown.title == "Quernel (quernel-1) on 13 mm × 12 m (near)"
    for title in ("Pressure along the line, modelled", "Torque over length and bore, modelled"):
        assert title in shown.html
    assert "nan" not in shown.html.replace("nano", "")
    assert "Reminders only." in shown.text
    electric = tb.show_line(study("lead-5", "pelmoor", length="25 m"))
    assert electric.html.count("<svg") == 1
    assert "What other supplies would give" in electric.html


def test_a_refusal_stands_in_the_answer() -> None:
    shown = tb.show_line(study("at-4", length="50 m"))
    assert "No torque is modelled" in shown.html[: shown.html.index("<svg")]


def test_words_of_changes() -> None:
    from toolbench.supply.advice import Change

    settings = study().settings
    said = [
        change_words(Change(part=2, label="hose", kind=kind, before=before, after=after), settings, 101300.0)  # type: ignore[arg-type]
        for kind, before, after in (
            ("bore", 0.01, 0.013), ("length", 30.0, 12.0), ("straight", None, None), ("removed", None, None),
            ("high-flow", 4e-8, 9e-8), ("regulator", 791300.0, 801300.0),
        )
    ]  # fmt: skip
    assert [text.replace("\u2009", " ") for text in said] == [
        "hose changed for one of 13 mm (0.512 in) bore",
        "hose shortened to 12.0 m (39.4 ft)",
        "hose laid straight",
        "hose left out",
        "hose changed for one of 9.0 L/(s·bar)",
        "regulator raised to 7.00 bar (102 psi)",
    ]


def test_a_bore_has_inches_only_where_us_units_are_printed() -> None:
    from dataclasses import replace

    from toolbench.records.settings import Display

    plain = replace(study().settings, display=Display())
    assert print_bore(0.0127, plain) == "12.7\u2009mm"
    assert print_bore(0.0127, study().settings) == "12.7\u2009mm (0.500\u2009in)"
