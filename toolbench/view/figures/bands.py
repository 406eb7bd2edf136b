"""Mean curves with the simultaneous band, and the percent difference against time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from toolbench.quantities import GLOSSARY, unit_label
from toolbench.records.comparison import Band, ComparisonRecord, Item
from toolbench.records.runs import Floats
from toolbench.records.settings import SeasonSettings
from toolbench.view.figures.canvas import (
    INK,
    MUTED,
    Look,
    honest_limits,
    label_ends,
    look,
    new_axes,
    say_cut,
    thin,
)
from toolbench.view.markup import Compared
from toolbench.view.wording.printed import display_unit, item_label, scaled

_MEAN_POINTS, _BAND_POINTS, _RUN_POINTS = 360, 160, 120


def curve_scaled(values: Floats, unit: str, settings: SeasonSettings) -> Floats:
    """A curve [SI unit] in the unit that is printed."""
    one, zero = scaled(1.0, unit, settings), scaled(0.0, unit, settings)
    return np.asarray(values * (one - zero) + zero, dtype=np.float64)


def axis_label(channel: str, unit: str, settings: SeasonSettings) -> str:
    """Label of an axis: the glossary's words and the unit that is printed."""
    known = GLOSSARY.get(channel)
    words = known.label if known else channel.replace("_", " ")
    label = unit_label(display_unit(unit, settings))
    return f"{words} [{label}]" if label else words


def _fill(ax: Axes, time_s: Floats, pair: tuple[Floats, Floats], seen: Look) -> None:
    if not np.isfinite(pair[0]).any():
        return
    step = max(1, len(time_s) // _BAND_POINTS)
    ax.fill_between(time_s[::step], pair[0][::step], pair[1][::step], color=seen.light, alpha=0.2, linewidth=0)


def _draw_runs(ax: Axes, compared: Compared, item: Item, response: str, seen: Look) -> None:
    for run in compared.record.runs:
        trace = run.traces.get(response)
        if run.id not in item.runs or trace is None:
            continue
        x, y = thin(run.grid_s, curve_scaled(trace.mean, trace.unit, compared.settings), _RUN_POINTS)
        ax.plot(x, y, color=seen.light, alpha=0.35, linewidth=0.6)


def _draw_band(ax: Axes, band: Band, settings: SeasonSettings, seen: Look) -> float:
    """Draw mean and simultaneous band; gives the height at which the curve ends."""
    low, high = (curve_scaled(edge, band.unit, settings) for edge in band.simultaneous)
    _fill(ax, band.time_s, (low, high), seen)
    mean = curve_scaled(band.mean, band.unit, settings)
    x, y = thin(band.time_s, mean, _MEAN_POINTS)
    ax.plot(x, y, color=seen.light, linestyle=seen.dash)
    finite = mean[np.isfinite(mean)]
    return float(finite[-1]) if len(finite) else float("nan")


def bands_of(record: ComparisonRecord, response: str) -> list[tuple[int, Item, Band]]:
    """Index of the item, item and band, for every item that has a band of this response."""
    found = {band.item: band for band in record.bands if band.response == response}
    return [(k, item, found[item.id]) for k, item in enumerate(record.items) if item.id in found]


def _limits(ax: Axes, bands: Sequence[Band], settings: SeasonSettings) -> None:
    values = [curve_scaled(part, b.unit, settings) for b in bands for part in (b.mean, *b.simultaneous)]
    finite = np.concatenate([v[np.isfinite(v)] for v in values]) if values else np.array([0.0, 1.0])
    if not len(finite):
        finite = np.array([0.0, 1.0])
    low, high, cut = honest_limits(float(finite.min()), float(finite.max()))
    ax.set_ylim(low, high)
    if cut:
        say_cut(ax, "The vertical axis does not start at zero.")


def plot_bands(
    comparison: Compared, ax: Axes | None = None, *, response: str | None = None, items: Sequence[str] | None = None,
    labels: bool = True,
) -> Axes:  # fmt: skip
    """Aligned runs, mean curves and the band that holds over the whole time at once, labelled at their ends.

    Parameters
    ----------
    comparison : Comparison
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    response : str, optional
        The protocol's first response otherwise.
    items : sequence of str, optional
        Only these items.
    labels : bool
        Whether curves are labelled at their ends.
    """
    record, settings = comparison.record, comparison.settings
    response = response or record.protocol.response[0]
    ax = new_axes(ax)
    chosen = [c for c in bands_of(record, response) if items is None or c[1].id in items]
    _limits(ax, [band for _, _, band in chosen], settings)
    ends = []
    for index, item, band in chosen:
        seen = look(index)
        _draw_runs(ax, comparison, item, response, seen)
        end = _draw_band(ax, band, settings, seen)
        if np.isfinite(end):
            ends.append((item_label(record, item.id), end, seen))
    ax.set_xlim(0, record.duration_s)
    ax.set_xlabel("Time after the onset [s]")
    unit = chosen[0][2].unit if chosen else ""
    ax.set_ylabel(axis_label(response, unit, settings))
    if not chosen:
        ax.set_axis_off()
        ax.text(0.5, 0.5, "No run could be used", transform=ax.transAxes, ha="center", color=MUTED)
    if labels:
        label_ends(ax, ends)
    return ax


def plot_percent(comparison: Compared, ax: Axes, *, response: str, items: Sequence[str] | None = None) -> Axes:
    """Percent difference of the mean curves against time with its simultaneous band; zero is drawn."""
    record = comparison.record
    ends, edges = [], [0.0]
    ax.axhline(0, color=INK, linewidth=0.8)
    for index, item, band in bands_of(record, response):
        if band.percent is None or (items is not None and item.id not in items):
            continue
        seen = look(index)
        # before the first mark the base is small and a percentage of it tells nothing
        late = band.time_s >= 0.02 * record.duration_s
        if band.percent_simultaneous is not None:
            pair = (band.percent_simultaneous[0][late], band.percent_simultaneous[1][late])
            _fill(ax, band.time_s[late], pair, seen)
        x, y = thin(band.time_s[late], band.percent[late], _MEAN_POINTS)
        ax.plot(x, y, color=seen.light, linestyle=seen.dash)
        finite = y[np.isfinite(y)]
        edges += _core(band, late)
        if len(finite):
            ends.append((item_label(record, item.id), float(finite[-1]), seen))
    room = 0.08 * (max(edges) - min(edges)) or 1.0
    ax.set_ylim(min(edges) - room, max(edges) + room)
    ax.set_xlim(0, record.duration_s)
    ax.set_ylabel("Difference [%]")
    label_ends(ax, ends)
    return ax


def _core(band: Band, late: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[float]:
    """What the axis must show: the difference itself, and its band but for the widest moments of the first rise."""
    parts = [band.percent] if band.percent is not None else []
    found = [float(f(p[late])) for p in parts for f in (np.nanmin, np.nanmax) if np.isfinite(p[late]).any()]
    for edge in band.percent_simultaneous or ():
        values = edge[late]
        if np.isfinite(values).any():
            found += [float(q) for q in np.nanquantile(values, [0.05, 0.95])]
    return found
