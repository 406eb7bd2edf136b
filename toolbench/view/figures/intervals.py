"""Differences at the marks with their intervals."""

from __future__ import annotations

import math

from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from toolbench.quantities import format_seconds
from toolbench.records.comparison import ComparisonRecord, Difference
from toolbench.view.figures.canvas import FONT_SIZE, INK, MUTED, RULE, Look, look, new_axes, shortened
from toolbench.view.markup import Compared
from toolbench.view.wording.printed import VERDICT_SIGNS, item_label
from toolbench.view.wording.sentences import percent_text

_METRICS = ("at_mark", "sustained")
Row = tuple[float, Difference]


def interval_rows(record: ComparisonRecord, response: str) -> list[tuple[str, str, list[Difference]]]:
    """(item, baseline, its rows at the marks and over the window), in the report's order."""
    groups: dict[tuple[str, str], list[Difference]] = {}
    for row in record.differences:
        if row.response == response and row.metric in _METRICS:
            groups.setdefault((row.item, row.baseline), []).append(row)
    return [(item, base, rows) for (item, base), rows in groups.items()]


def row_count(record: ComparisonRecord, response: str) -> int:
    """Lines the plot needs: one per difference and one per heading."""
    return math.ceil(sum(len(rows) + 1.4 for _, _, rows in interval_rows(record, response))) or 1


def _draw_row(ax: Axes, y: float, row: Difference, seen: Look) -> None:
    value, alone, together = row.percent.value, row.interval, row.family_interval
    if math.isfinite(together.lower):
        ax.plot([together.lower, together.upper], [y, y], color=seen.light, linewidth=0.9)
        for edge in (together.lower, together.upper):
            ax.plot([edge, edge], [y - 0.16, y + 0.16], color=seen.light, linewidth=0.9)
    if math.isfinite(alone.lower):
        ax.plot([alone.lower, alone.upper], [y, y], color=seen.light, linewidth=3.2, solid_capstyle="butt")
    if math.isfinite(value):
        resolved = row.family_verdict in ("higher", "lower")
        face = seen.light if resolved else "#ffffff"
        ax.plot([value], [y], marker=seen.marker, markersize=5.5, color=seen.light, markerfacecolor=face)
    beside = ax.get_yaxis_transform()
    ax.text(1.05, y, VERDICT_SIGNS[row.family_verdict], transform=beside, va="center", ha="center", color=MUTED)
    ax.text(1.1, y, percent_text(row), transform=beside, va="center")


def _row_name(row: Difference) -> str:
    return "sustained" if row.metric == "sustained" else f"at {format_seconds(row.at)}"


def _limits(ax: Axes, rows: list[Row]) -> None:
    bounds = [0.0]
    for _, row in rows:
        wide = row.family_interval
        bounds += [v for v in (wide.lower, wide.upper, row.percent.value) if math.isfinite(v)]
    ax.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    room = 0.06 * (max(bounds) - min(bounds)) or 1.0
    ax.set_xlim(min(bounds) - room, max(bounds) + room)


def plot_intervals(comparison: Compared, ax: Axes | None = None, *, response: str | None = None) -> Axes:
    """Percent differences with their intervals: thick for the row alone, thin for all rows of the report together.

    Parameters
    ----------
    comparison : Comparison
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    response : str, optional
        The protocol's first response otherwise.
    """
    record = comparison.record
    response = response or record.protocol.response[0]
    ax = new_axes(ax)
    order = {item.id: index for index, item in enumerate(record.items)}
    rows: list[Row] = []
    names: list[str] = []
    y = 0.0
    for item, base, found in interval_rows(record, response):
        heading = f"{item_label(record, item)} against {item_label(record, base)}"
        y += 0.4 if rows else 0
        ax.text(-0.28, y, shortened(heading, 66), transform=ax.get_yaxis_transform(), va="center", fontweight="bold")
        y += 1
        for row in found:
            _draw_row(ax, y, row, look(order.get(item, 1)))
            rows.append((y, row))
            names.append(_row_name(row))
            y += 1
    _limits(ax, rows)
    ax.axvline(0, color=INK, linewidth=0.8, zorder=0)
    ax.set_ylim(y - 0.4, -0.6)
    ax.set_yticks([place for place, _ in rows], names)
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x", color=RULE)
    ax.set_axisbelow(True)
    ax.set_xlabel("Difference in percent of the baseline's level", fontsize=FONT_SIZE)
    if not rows:
        ax.clear()
        ax.set_axis_off()
        ax.text(0.5, 0.5, "No difference could be formed", transform=ax.transAxes, ha="center", color=MUTED)
    return ax
