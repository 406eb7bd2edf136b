"""Figures: each plot takes an Axes and returns it; reports get them as SVG and PNG with the same bytes each time."""

from toolbench.view.figures.bands import plot_bands
from toolbench.view.figures.intervals import plot_intervals
from toolbench.view.figures.line import plot_line, plot_sweep
from toolbench.view.figures.line_shown import show_line
from toolbench.view.figures.report import plot_report, save_figures
from toolbench.view.figures.rest import plot_rest, show_rest
from toolbench.view.figures.runs import plot_runs
from toolbench.view.figures.standard import plot_standard, show_standard
from toolbench.view.figures.standings import plot_criteria, plot_standings, show_standings
from toolbench.view.figures.supply import plot_supply, show_supply

__all__ = [
    "plot_bands",
    "plot_criteria",
    "plot_intervals",
    "plot_line",
    "plot_report",
    "plot_rest",
    "plot_runs",
    "plot_standard",
    "plot_standings",
    "plot_supply",
    "plot_sweep",
    "save_figures",
    "show_line",
    "show_rest",
    "show_standard",
    "show_standings",
    "show_supply",
]
