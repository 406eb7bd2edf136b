"""The supply while the tool runs: the recorded pressure or voltage, the model beside it, and what they explain."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from toolbench.records.supply import ItemSupply
from toolbench.view.figures.canvas import MUTED, new_axes
from toolbench.view.figures.inline import inline, spread_words
from toolbench.view.figures.runs import plot_runs
from toolbench.view.markup import Compared, Shown, render
from toolbench.view.wording.printed import item_label, print_number, print_share, response_words
from toolbench.view.wording.supply import (
    DRIVE_WORDS,
    assumed_sentence,
    explained_sentence,
    learned_sentence,
    loss_sentence,
    print_figure,
    sag_sentences,
    supply_sentences,
    untested_sentence,
)

_CHANNELS = ("inlet_pressure", "voltage", "supply_pressure", "current")


def supply_channel(comparison: Compared) -> str:
    """The channel that tells most of the supply and was recorded; empty where none was."""
    recorded = {channel for run in comparison.record.runs for channel in run.traces}
    return next((channel for channel in _CHANNELS if channel in recorded), "")


def plot_supply(comparison: Compared, ax: Axes | None = None) -> Axes:
    """Inlet pressure (or voltage) of every used run against time after the onset; says so where none was recorded."""
    channel = supply_channel(comparison)
    if channel:
        return plot_runs(comparison, ax, channel=channel)
    ax = new_axes(ax)
    ax.text(0.5, 0.5, "No supply channel was recorded", transform=ax.transAxes, ha="center", color=MUTED)
    ax.set_axis_off()
    return ax


def show_supply(comparison: Compared) -> Shown:
    """The supply section: measured and modelled drive at the tool, what it explains of each difference, what a line loses where.

    Empty where no supply was recorded and none is stated.
    """
    record, settings = comparison.record, comparison.settings
    supply = record.supply
    if supply is None:
        return Shown(html="", text="No supply was recorded, and none is stated.")
    values = {
        "sentences": [
            *(explained_sentence(record, supply, one) for one in supply.differences),
            *(untested_sentence(record, one) for one in supply.untested),
        ],
        "more": [
            said
            for one in supply.items
            for said in (*filter(None, [loss_sentence(record, settings, one)]), *sag_sentences(record, settings, one))
        ],
        "figure": _figure(comparison),
        "title": _title(comparison),
        "drive": DRIVE_WORDS[supply.drive],
        "is_air": supply.drive == "inlet_pressure",
        "held": record.compensated,
        "rows": [_row(comparison, one) for one in supply.items],
        "parts": [_parts(comparison, one) for one in supply.items if one.losses],
        "learned": [learned_sentence(record, settings, one, supply.drive) for one in supply.learned],
        "assumed": assumed_sentence(supply),
        "confidence": print_share(supply.confidence),
    }
    return Shown(html=render("supply", values), text="\n".join(supply_sentences(record, settings)))


def _title(comparison: Compared) -> str:
    words = response_words(supply_channel(comparison))
    return f"{words[:1].upper()}{words[1:]} while the tool runs"


def _figure(comparison: Compared) -> str:
    """The recorded drive of every run, as a picture; empty where none was recorded."""
    record, settings = comparison.record, comparison.settings
    channel = supply_channel(comparison)
    if not channel:
        return ""
    traces = [run.traces[channel] for run in record.runs if channel in run.traces]
    ends = [float(trace.mean[np.isfinite(trace.mean)][-1]) for trace in traces]
    words = f"{len(traces)} runs; at the end {spread_words(ends, traces[0].unit, settings)}."
    title = _title(comparison)
    # Room on the right for the names of the items at the ends of their lines.
    place = (0.115, 0.15, 0.60, 0.82)
    return inline(f"supply-{record.path}", title, words, lambda ax: plot_supply(comparison, ax), place=place)


def _row(comparison: Compared, one: ItemSupply) -> dict[str, str]:
    settings = comparison.settings
    return {
        "item": item_label(comparison.record, one.item),
        "measured": print_figure(one.measured, settings),
        "modelled": print_figure(one.modelled, settings),
        "taken": print_figure(one.taken, settings),
        "taken_modelled": print_figure(one.taken_modelled, settings),
        "needed": print_figure(one.needed, settings),
        "needed_modelled": print_figure(one.needed_modelled, settings),
        "remark": one.remark,
    }


def _parts(comparison: Compared, one: ItemSupply) -> tuple[str, list[dict[str, str]]]:
    """The parts of one item's modelled line with what each takes."""
    settings = comparison.settings
    rows = [
        {
            "label": part.label,
            "pressure": print_number(part.pressure, "Pa", settings, 3),
            "loss": print_number(part.loss, "Pa", settings, 2),
            "share": print_share(round(part.share, 2)),
        }
        for part in one.losses
    ]
    return item_label(comparison.record, one.item), rows
