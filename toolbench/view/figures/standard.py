"""The check standard's chart, and the table of its blocks."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from toolbench.metrology.standard import apart_words, block_words, step_words
from toolbench.quantities import format_percent, unit_label
from toolbench.season.bench import Bench
from toolbench.season.standards import StandardChart
from toolbench.view.figures.canvas import INK, MUTED, look, new_axes, say_cut
from toolbench.view.figures.inline import inline, spread_words
from toolbench.view.markup import Shown, render
from toolbench.view.wording.printed import display_unit, print_both, response_words, scaled

_MOST_NAMED = 30
_ROOM_TO_SAY = 0.07
"""Share of the axis kept free below the lowest limit for the line that says where the axis starts."""


def plot_standard(bench: Bench, ax: Axes | None = None, *, chart: int = 0) -> Axes:
    """A check standard's block means and their moving average, with the limits that the blocks in control make.

    Parameters
    ----------
    bench : Bench
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    chart : int
        Which of `bench.charts`.
    """
    ax, one = new_axes(ax), bench.charts[chart]
    judged, settings = one.judged, bench.settings
    means = np.array([scaled(mean, one.unit, settings) for mean in one.means])
    places = np.arange(1, means.size + 1)
    out = np.array([k in judged.out for k in range(means.size)], dtype=bool)
    first, second, third = look(0), look(1), look(2)
    if judged.limits is not None and judged.moving_limits is not None:
        for limits, seen in ((judged.limits, first), (judged.moving_limits, second)):
            for edge in (limits.lower, limits.upper):
                ax.axhline(scaled(edge, one.unit, settings), color=seen.light, linestyle=seen.dash, linewidth=0.9)
        ax.axhline(scaled(judged.limits.centre, one.unit, settings), color=MUTED, linewidth=0.8)
        moving = [scaled(level, one.unit, settings) for level in judged.moving.values()]
        ax.plot([block + 1 for block in judged.moving], moving, color=second.light, linestyle=second.dash)
    ax.plot(places[~out], means[~out], color=first.light, marker=first.marker, linestyle="none", markersize=5)
    ax.plot(places[out], means[out], color=third.light, marker=third.marker, linestyle="none", markersize=8)
    for place in np.flatnonzero(out):
        ax.annotate(
            one.blocks[place], (places[place], means[place]), (8, 0), textcoords="offset points", color=INK, va="center"
        )
    _name_blocks(ax, one)
    unit = unit_label(display_unit(one.unit, settings))
    ax.set_ylabel(f"Sustained {response_words(one.response)} [{unit}]")
    ax.set_xlabel("Block, in order of time")
    low, high = ax.get_ylim()
    if low > 0:
        ax.set_ylim(low - _ROOM_TO_SAY * (high - low), high)
        say_cut(ax, "The vertical axis does not start at zero.")
    return ax


def _name_blocks(ax: Axes, chart: StandardChart) -> None:
    step = -(-len(chart.blocks) // _MOST_NAMED)
    ax.set_xticks(range(1, len(chart.blocks) + 1, step), chart.blocks[::step], rotation=90)


def show_standard(bench: Bench) -> Shown:
    """The check standard's charts, each with a table of its blocks and how many of them make its limits."""
    charts = [_chart(bench, k) for k in range(len(bench.charts))]
    lines = [f"{chart['title']}. {chart['verdict']} {chart['limits']}" for chart in charts]
    html = render("standard", {"charts": charts})
    return Shown(html=html, text="\n".join(lines) or "No check standard was run.")


def _chart(bench: Bench, number: int) -> dict[str, object]:
    chart = bench.charts[number]
    title, verdict, limits = f"Check standard {chart.label}", _verdict(chart), _limits(bench, chart)
    spread = spread_words(chart.means, chart.unit, bench.settings)
    words = f"Sustained {response_words(chart.response)} of {len(chart.blocks)} blocks, {spread}. {verdict} {limits}"
    return {
        "title": title if not chart.rig else f"{title}, {chart.rig}",
        "verdict": verdict,
        "limits": limits,
        "svg": inline(
            f"standard {number} {chart.label}", title, words, lambda ax: plot_standard(bench, ax, chart=number)
        ),
        "unit_head": f"Sustained {response_words(chart.response)}",
        "rows": _block_rows(bench, chart),
    }


def _verdict(chart: StandardChart) -> str:
    judged = chart.judged
    told = [f"Block {chart.blocks[k]} is out of control: {apart_words(apart)}." for k, apart in judged.apart.items()]
    if judged.step is not None:
        names = block_words([chart.blocks[k] for k in judged.step.blocks])
        told.append(f"It is out of control in {names}: {step_words(judged.step)}.")
    if judged.limits is None:
        told.append("Too few blocks to judge by.")
    return " ".join(told) or "Every block is in control."


def _limits(bench: Bench, chart: StandardChart) -> str:
    limits = chart.judged.limits
    if limits is None:
        return f"{len(chart.judged.history)} blocks make no limits; four do."
    low, high = (print_both(edge, chart.unit, bench.settings) for edge in (limits.lower, limits.upper))
    if chart.judged.stated:
        until = f"{bench.settings.in_control_until:%Y-%m-%d}"
        makers = f"The first {chart.judged.stated} blocks, stated to be in control until {until}, make the limits drawn"
        what = "three standard deviations of a further block about their mean"
    else:
        makers = f"{len(chart.judged.history)} blocks that are in control make the limits drawn"
        what = "three standard deviations about their mean"
    return f"{makers}, {low} to {high}: {what}. A block is called out of control by tests that keep to 4 % false alarms a chart."


def _block_rows(bench: Bench, chart: StandardChart) -> list[dict[str, str]]:
    judged = chart.judged
    centre = judged.limits.centre if judged.limits else None
    return [
        {
            "block": name,
            "date": span[0].date().isoformat() if span else "–",
            "mean": print_both(mean, chart.unit, bench.settings),
            "from_centre": format_percent(100.0 * (mean / centre - 1.0) if centre else None),
            "moving": print_both(judged.moving.get(k), chart.unit, bench.settings),
            "state": "out of control" if k in judged.out else "in control" if judged.limits else "not judged",
        }
        for k, (name, mean, span) in enumerate(zip(chart.blocks, chart.means, chart.started, strict=True))
    ]
