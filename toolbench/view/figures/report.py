"""The two figures of a report, as inline SVG with their data beside them, and as files."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from toolbench import files
from toolbench.quantities import format_number, format_percent, format_seconds, unit_label
from toolbench.records.comparison import Band, ComparisonRecord
from toolbench.view.figures.bands import bands_of, plot_bands, plot_percent
from toolbench.view.figures.canvas import LIGHT_GROUND, MOST_OVERLAID, Look, look, style, wrapped
from toolbench.view.figures.intervals import interval_rows, plot_intervals, row_count
from toolbench.view.figures.svg import file_svg, page_svg, raw_svg
from toolbench.view.markup import Compared, Shown, render
from toolbench.view.wording.printed import (
    display_unit,
    item_label,
    print_number,
    print_share,
    response_words,
    scaled,
)
from toolbench.view.wording.sentences import percent_text

_WIDTH = 6.6
_DPI = 220
_TIMES = 10
_PANEL = 1.98


@dataclass(frozen=True, slots=True)
class Picture:
    """One figure of a report: its short name, heading, text alternative, how it is drawn, and its data as a table."""

    name: str
    title: str
    description: str
    draw: Callable[[], Figure]
    table: tuple[list[str], list[list[str]]] | None = None
    note: str = ""


def _intervals_figure(comparison: Compared, response: str) -> Figure:
    lines = row_count(comparison.record, response)
    height = 0.235 * lines + 0.75
    figure = Figure(figsize=(_WIDTH, height))
    ax = figure.add_axes((0.155, 0.6 / height, 0.45, 1 - 0.7 / height))
    plot_intervals(comparison, ax, response=response)
    return figure


def _curves_figure(comparison: Compared, response: str) -> Figure:
    found = bands_of(comparison.record, response)
    if len(found) > MOST_OVERLAID:
        return _small_multiples(comparison, response)
    with_percent = any(band.percent is not None for _, _, band in found)
    figure = Figure(figsize=(_WIDTH, 5.4 if with_percent else 3.6))
    if not with_percent:
        plot_bands(comparison, figure.add_axes((0.115, 0.14, 0.60, 0.83)), response=response)
        return figure
    top = figure.add_axes((0.115, 0.42, 0.60, 0.565))
    plot_bands(comparison, top, response=response)
    top.set_xlabel("")
    top.tick_params(labelbottom=False)
    below = figure.add_axes((0.115, 0.095, 0.60, 0.27))
    plot_percent(comparison, below, response=response)
    below.set_xlabel("Time after the onset [s]")
    return figure


def _small_multiples(comparison: Compared, response: str) -> Figure:
    """One panel per compared item, each with the baseline, all on the same axes."""
    record = comparison.record
    others = [item for _, item, _ in bands_of(record, response) if item.id != record.baseline]
    lines = math.ceil(len(others) / 2)
    height = _PANEL * lines + 0.5
    figure = Figure(figsize=(_WIDTH, height))
    axes = []
    for index, item in enumerate(others):
        line, column = divmod(index, 2)
        bottom = (0.5 + _PANEL * (lines - 1 - line)) / height
        ax = figure.add_axes((0.115 + 0.46 * column, bottom, 0.41, 1.5 / height))
        plot_bands(comparison, ax, response=response, items=(record.baseline, item.id), labels=False)
        _panel_title(ax, item_label(record, item.id), look(record.items.index(item)))
        if column:
            ax.set_ylabel("")
            ax.tick_params(labelleft=False)
        if index < len(others) - 2:
            ax.set_xlabel("")
            ax.tick_params(labelbottom=False)
        axes.append(ax)
    top = max((ax.get_ylim()[1] for ax in axes), default=1.0)
    low = min((ax.get_ylim()[0] for ax in axes), default=0.0)
    for ax in axes:
        ax.set_ylim(low, top)
    return figure


def _panel_title(ax: Axes, label: str, seen: Look) -> None:
    """The name of the item above its panel, with a piece of its line before it."""
    ax.plot([0, 0.08], [1.09, 1.09], transform=ax.transAxes, clip_on=False, color=seen.light, linestyle=seen.dash)
    text = wrapped(label, 31, 2)
    ax.text(0.1, 1.09, text, transform=ax.transAxes, va="center", fontsize=9.5, linespacing=1.05, fontweight="bold")


def _interval_words(record: ComparisonRecord, response: str) -> str:
    words = []
    for item, base, rows in interval_rows(record, response):
        told = [
            f"{'sustained' if row.metric == 'sustained' else 'at ' + format_seconds(row.at)} {percent_text(row)},"
            f" {row.family_verdict}"
            for row in rows
        ]
        words.append(f"{item_label(record, item)} against {item_label(record, base)}: {'; '.join(told)}.")
    return " ".join(words) or "No difference could be formed."


def _times(record: ComparisonRecord) -> list[float]:
    """About ten times to tabulate curves at: the marks, and even steps between."""
    steps = [record.duration_s * k / _TIMES for k in range(1, _TIMES + 1)]
    near = record.duration_s / (2.5 * _TIMES)
    kept = [t for t in steps if all(abs(t - mark) >= near for mark in record.marks_s)]
    return sorted({*kept, *record.marks_s})


def _curve_table(comparison: Compared, response: str) -> tuple[list[str], list[list[str]]]:
    record, settings = comparison.record, comparison.settings
    found = bands_of(record, response)
    means = {band.item: band for _, _, band in found}
    head = ["Time after the onset"]
    for _, item, band in found:
        unit = unit_label(display_unit(band.unit, settings))
        head.append(f"{item_label(record, item.id)} [{unit}]" if unit else item_label(record, item.id))
        if band.percent is not None:
            head.append(f"{item_label(record, item.id)} against {item_label(record, band.baseline)}")
    rows = []
    for time in _times(record):
        row = [format_seconds(float(f"{time:.4g}"))]
        for _, _, band in found:
            place = int(np.argmin(np.abs(band.time_s - time)))
            mean = float(band.mean[place])
            row.append(format_number(scaled(mean, band.unit, settings) if math.isfinite(mean) else None))
            if band.percent is not None:
                value = float(band.percent[place])
                usable = math.isfinite(value) and not _is_base_near_zero(band, means.get(band.baseline), place)
                row.append(format_percent(value if usable else None))
        rows.append(row)
    return head, rows


def _is_base_near_zero(band: Band, base: Band | None, place: int) -> bool:
    """Whether both means have bands there but their ratio has none."""
    if base is None or band.percent_pointwise is None:
        return False
    known = all(math.isfinite(one.pointwise[0][place]) for one in (band, base))
    return known and not math.isfinite(band.percent_pointwise[0][place])


def _curve_words(comparison: Compared, response: str) -> str:
    record, settings = comparison.record, comparison.settings
    words = []
    for _, item, band in bands_of(record, response):
        told = []
        for mark in record.marks_s:
            place = int(np.argmin(np.abs(band.time_s - mark)))
            level = print_number(float(band.mean[place]), band.unit, settings)
            told.append(f"{level} at {format_seconds(mark)}")
        words.append(f"{item_label(record, item.id)}: {', '.join(told)}, mean of {band.n} runs.")
    return " ".join(words) or "No run could be used."


def pictures(comparison: Compared) -> tuple[Picture, ...]:
    """The figures of a report, two per response; those of the first response are called intervals and curves."""
    record, found = comparison.record, []
    share = print_share(record.confidence)
    for index, response in enumerate(record.protocol.response):
        suffix = f"-{response}" if index else ""
        name = response_words(response)
        found += [
            Picture(
                f"intervals{suffix}",
                f"Differences of {name} at the marks",
                _interval_words(record, response),
                lambda response=response: _intervals_figure(comparison, response),  # type: ignore[misc]
                note=_intervals_note(record, share),
            ),
            Picture(
                f"curves{suffix}",
                f"Curves of {name}, aligned on the onset",
                _curve_words(comparison, response),
                lambda response=response: _curves_figure(comparison, response),  # type: ignore[misc]
                _curve_table(comparison, response) if bands_of(record, response) else None,
                f"Thin: single runs. Thick: means, with the band that holds over the whole time at once ({share})."
                + _multiples_note(record, response),
            ),
        ]
    return tuple(found)


def _intervals_note(record: ComparisonRecord, share: str) -> str:
    if not record.family_size:
        return "No interval could be formed: there is nothing to judge by. The numbers are in the table below."
    return (
        f"Thick: {share} interval of the row alone. Thin: interval that holds for all {record.family_size} rows together."
        " ▲ higher, ▼ lower, ○ not resolved. The numbers are in the table below."
    )


def _multiples_note(record: ComparisonRecord, response: str) -> str:
    if len(bands_of(record, response)) <= MOST_OVERLAID:
        return ""
    return f" Black in every panel: {item_label(record, record.baseline)}; all panels share their axes."


def _salt(record: ComparisonRecord, picture: Picture) -> str:
    return f"tb-{picture.name}-{files.digest_bytes(record.path.encode())[:6]}"


_last: list[tuple[Compared, dict[str, tuple[Figure, str]]]] = []


def _drawn(comparison: Compared, picture: Picture) -> tuple[Figure, str]:
    """A picture as figure and as raw SVG; those of the last comparison are kept, for the page and the files show the same."""
    if not _last or _last[0][0] is not comparison:
        _last[:] = [(comparison, {})]
    kept = _last[0][1]
    if picture.name not in kept:
        with style(_salt(comparison.record, picture)):
            figure = picture.draw()
            kept[picture.name] = figure, raw_svg(figure)
    return kept[picture.name]


def _png(comparison: Compared, picture: Picture) -> bytes:
    """A picture as PNG, free of dates and program names."""
    figure, _ = _drawn(comparison, picture)
    stream = io.BytesIO()
    with style(_salt(comparison.record, picture)):
        figure.savefig(stream, format="png", dpi=_DPI, facecolor=LIGHT_GROUND, metadata={"Software": None})
    return stream.getvalue()


def plot_report(comparison: Compared) -> Shown:
    """Interval plot and curves side by side, as inline SVG with text alternatives, the curves with their data."""
    record = comparison.record
    found = [
        (picture, page_svg(_drawn(comparison, picture)[1], _salt(record, picture), picture.title, picture.description))
        for picture in pictures(comparison)
    ]
    html = render("figures", {"pictures": found})
    return Shown(html=html, text="\n".join(f"{p.title}. {p.description}" for p, _ in found))


def save_figures(comparison: Compared, folder: str | Path) -> None:
    """Write figures/*.svg and *.png into `folder`; nothing where `folder` is empty. Raises OutputError."""
    if not str(folder):
        return
    record, out = comparison.record, Path(folder) / "figures"
    for picture in pictures(comparison):
        raw = _drawn(comparison, picture)[1]
        svg = file_svg(raw, _salt(record, picture), picture.title, picture.description)
        files.write_text(out / f"{picture.name}.svg", svg)
        files.write_bytes(out / f"{picture.name}.png", _png(comparison, picture))
