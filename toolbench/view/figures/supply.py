"""The supply while the tool runs."""

from __future__ import annotations

from matplotlib.axes import Axes

from toolbench.view.figures.canvas import MUTED, new_axes
from toolbench.view.figures.runs import plot_runs
from toolbench.view.markup import Compared

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
