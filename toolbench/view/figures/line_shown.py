"""The answer to "what would another line give?" as one piece: sentences, both pictures, the tables, and the cautions."""

from __future__ import annotations

from typing import Any

from toolbench.season.supply.study import LineState, LineStudy
from toolbench.view.cautions import REMINDER, line_cautions
from toolbench.view.figures.inline import inline
from toolbench.view.figures.line import plot_line, plot_sweep
from toolbench.view.markup import Shown, render
from toolbench.view.wording import line as words
from toolbench.view.wording.printed import print_share, response_words
from toolbench.view.wording.supply import print_figure

_PLACE = (0.115, 0.15, 0.60, 0.82)
"""Room on the right for names at the ends of curves."""
_WITH_NAMES = (0.30, 0.20, 0.66, 0.76)


def show_line(study: LineStudy) -> Shown:
    """Measured, modelled and asked for; where the pressure is lost, how long it lasts, what to change, what that rests on.

    Parameters
    ----------
    study : LineStudy
        What `open_line` found.
    """
    advice = words.advice_sentences(study)
    values: dict[str, Any] = {
        "measured": words.measured_sentence(study),
        "answer": words.answer_sentence(study),
        "refused": words.refused_sentences(study),
        "pictures": _pictures(study),
        "states": _states(study),
        "supplies": words.supply_rows(study),
        "response": response_words(study.response),
        "tested": words.tested_rows(study),
        "courses": words.course_sentences(study),
        "advice": [text for text in advice if not text.startswith("- ")],
        "lists": [text.removeprefix("- ") for text in advice if text.startswith("- ")],
        "longest_heading": words.longest_heading(study),
        "longest": words.longest_rows(study),
        "rests": words.rest_sentences(study),
        "reminder": REMINDER,
        "cautions": line_cautions(study.tool, words.setups_of(study)),
        "confidence": print_share(study.confidence),
        "is_air": study.air is not None,
    }
    said = [
        words.title_words(study),
        values["measured"],
        values["answer"],
        *values["refused"],
        *(text for _, text, _ in values["states"]),
        *values["courses"],
        *advice,
        *values["rests"],
    ]
    return Shown(
        html=render("line", values), text="\n".join(filter(None, [*said, REMINDER])), title=words.title_words(study)
    )


def _states(study: LineStudy) -> list[tuple[str, str, list[list[str]]]]:
    """Of each line: its name, its sentence, and the rows of its losses."""
    air = study.air
    if air is None:
        return []
    found: list[tuple[str, LineState]] = [(f"As tested, {study.setup.label}", air.tested)]
    if air.asked is not None:
        found.append((f"Asked for, {words.asked_words(study)}", air.asked))
    return [
        (name, words.state_sentence(study, state, name), words.loss_rows(state, study.settings))
        for name, state in found
    ]


def _pictures(study: LineStudy) -> list[tuple[str, str, str]]:
    """Heading, picture and note of each picture; a sweep only where there is one."""
    air, name = study.air, f"line {study.setup.id} {study.tool.id}"
    if air is None:
        title = "Voltage at the tool, modelled"
        said = [f"{row[0]}: {row[1]} modelled, measured {row[5]}" for row in words.supply_rows(study)]
        svg = inline(name, title, "; ".join(said), lambda ax: plot_line(study, ax), place=_WITH_NAMES)
        note = "Thick: modelled, with its interval; a line to the voltage at rest. Crosses: measured."
        return [(title, svg, note)]
    title = "Pressure along the line, modelled"
    said = [words.state_sentence(study, state, "Line") for state in filter(None, (air.tested, air.asked))]
    note = "The dot is measured: the inlet pressure of the tested line, with its interval."
    found = [(title, inline(name, title, " ".join(said), lambda ax: plot_line(study, ax), place=_PLACE), note)]
    if air.sweep is not None:
        found.append(_sweep(study, name))
    return found


def _sweep(study: LineStudy, name: str) -> tuple[str, str, str]:
    assert study.air is not None
    assert study.air.sweep is not None
    sweep = study.air.sweep
    what = response_words(study.response) if sweep.response is not None else "inlet pressure"
    title = f"{what[:1].upper()}{what[1:]} over length and bore, modelled"
    tested = [
        f"{mark.tested.label} {print_figure(figure, study.settings)}"
        for mark in sweep.marks
        if (figure := mark.tested.response if sweep.response is not None else mark.tested.drive) is not None
    ]
    bores = ", ".join(words.print_bore(bore, study.settings) for bore in sweep.bores_m)
    told = f"Curves for bores of {bores}. Measured: {'; '.join(tested)}."
    note = (
        "Curves: modelled, best values. Dots: measured, with their intervals. Filled and named: lines that differ from the"
        " one in question in length and bore of this hose alone. Hollow: other parts, another setting or receiver."
    )
    return title, inline(f"{name} sweep", title, told, lambda ax: plot_sweep(study, ax), place=_PLACE), note
