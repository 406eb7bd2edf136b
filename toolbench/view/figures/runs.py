"""Single runs against time."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from toolbench.view.figures.bands import axis_label, curve_scaled
from toolbench.view.figures.canvas import honest_limits, label_ends, look, new_axes, say_cut, thin
from toolbench.view.markup import Compared
from toolbench.view.wording.printed import item_label

_POINTS = 300


def plot_runs(comparison: Compared, ax: Axes | None = None, *, channel: str | None = None) -> Axes:
    """Every used run of one channel, aligned on its onset; one colour and dash per item, labelled at the end.

    Parameters
    ----------
    comparison : Comparison
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    channel : str, optional
        The protocol's first response otherwise.
    """
    record, settings = comparison.record, comparison.settings
    channel = channel or record.protocol.response[0]
    ax = new_axes(ax)
    ends, unit, low, high = [], "", np.inf, -np.inf
    for index, item in enumerate(record.items):
        last = np.nan
        for run in record.runs:
            trace = run.traces.get(channel)
            if run.id not in item.runs or trace is None or not np.isfinite(trace.mean).any():
                continue
            unit = trace.unit
            values = curve_scaled(trace.mean, unit, settings)
            x, y = thin(run.grid_s, values, _POINTS)
            ax.plot(x, y, color=look(index).light, linestyle=look(index).dash, linewidth=0.9)
            last = float(values[np.isfinite(values)][-1])
            low, high = min(low, float(np.nanmin(values))), max(high, float(np.nanmax(values)))
        if np.isfinite(last):
            ends.append((item_label(record, item.id), last, look(index)))
    bottom, top, cut = honest_limits(low, high) if ends else (0.0, 1.0, False)
    ax.set_ylim(bottom, top)
    ax.set_xlim(0, record.duration_s)
    ax.set_xlabel("Time after the onset [s]")
    ax.set_ylabel(axis_label(channel, unit, settings))
    if cut:
        say_cut(ax, "The vertical axis does not start at zero.")
    label_ends(ax, ends)
    return ax
