"""What the supply explains, in sentences. Every number of the model carries the word "modelled"."""

from __future__ import annotations

import math

from toolbench.quantities import format_number, format_percent, format_seconds, format_value, from_si
from toolbench.records.comparison import ComparisonRecord, Interval
from toolbench.records.settings import SeasonSettings
from toolbench.records.supply import (
    ExplainedDifference,
    ItemSupply,
    LearnedFigure,
    SupplyExplained,
    SupplyFigure,
    UntestedItem,
)
from toolbench.view.wording.printed import item_label, list_words, print_number, print_share, print_value

DRIVE_WORDS = {"inlet_pressure": "flowing inlet pressure", "voltage": "voltage at the tool"}
USUAL_SAGS = ("line inventory, then flow-limited", "line inventory")
"""The air of the line runs out into its steady loss: what every run shows."""


def half_width(figure: SupplyFigure) -> float:
    """Half of a figure's interval [its unit]."""
    return 0.5 * (figure.interval.upper - figure.interval.lower)


def print_figure(figure: SupplyFigure | None, settings: SeasonSettings) -> str:
    """A figure of the supply with its expanded uncertainty; an en dash for none, and "modelled" behind what is."""
    if figure is None:
        return "–"
    half = half_width(figure)
    text = print_value(figure.estimate.value, half if math.isfinite(half) else None, figure.estimate.unit, settings)
    return f"{text} modelled" if figure.modelled else text


def print_percent(figure: SupplyFigure) -> str:
    """A percentage of the supply section with its expanded uncertainty."""
    half = half_width(figure)
    text = format_percent(figure.estimate.value, half if math.isfinite(half) else None)
    return f"{text} modelled" if figure.modelled else text


def leaves_zero(interval: Interval) -> bool:
    """Whether an interval holds nothing but one sign."""
    return interval.lower > 0 or interval.upper < 0


def explained_sentence(record: ComparisonRecord, supply: SupplyExplained, one: ExplainedDifference) -> str:
    """What the drive explains of one difference, and what it leaves."""
    names = f"{item_label(record, one.item)} against {item_label(record, one.baseline)}"
    drive = f"{DRIVE_WORDS[supply.drive]}, as {one.by},"
    said = f"{names}: the {drive} explains {print_percent(one.explained)} of the measured {print_percent(one.measured)}"
    if leaves_zero(one.family_interval):
        return f"{said}. It leaves {print_percent(one.left)}: something else differs, or the runs err."
    together = ""
    if leaves_zero(one.left.interval):
        together = f" over all {len(supply.differences)} explained differences together"
    return f"{said}. What it leaves, {print_percent(one.left)}, is not told apart from zero{together}."


def untested_sentence(record: ComparisonRecord, one: UntestedItem) -> str:
    """What the model gives for an item that was not run, or why it gives nothing."""
    base = item_label(record, one.baseline)
    if one.percent is None:
        return f"{one.label} was not run, and the model gives nothing for it: {one.remark.rstrip('.')}."
    return (
        f"{one.label} was not run. Against {base} the model gives {print_percent(one.percent)} of the sustained level."
    )


def learned_sentence(record: ComparisonRecord, settings: SeasonSettings, one: LearnedFigure, drive: str) -> str:
    """A figure that the explanation rests on, or a line's conductance, and where it is from."""
    if one.name == "conductance":
        return _conductance_sentence(record, one)
    return figure_sentence(settings, one, drive)


def figure_sentence(settings: SeasonSettings, one: LearnedFigure, drive: str, *, outside: bool = True) -> str:
    """A figure of a tool that the model rests on, and where it is from: for a report, an exponent from runs `outside` it."""
    tool = settings.tools[one.tool].name or one.tool
    if one.name == "exponent":
        value = format_value(one.estimate.value, 2.0 * one.estimate.standard_uncertainty, "1")
        said = f"{tool}: torque is taken to go with the {DRIVE_WORDS[drive]} to the power {value} (k = 2)"
    else:
        said = f"{tool}: its air demand is {_conductance(one)} (k = 2) of absolute inlet pressure"
    origin = {
        "learned": f"learned from {one.runs} runs"
        + (" outside this report" if outside and one.name == "exponent" else ""),
        "prior": "assumed",
        "stated": "as stated",
    }[one.source]
    return f"{said}, {origin}{f'; {one.note}' if one.note else ''}."


def _conductance(one: LearnedFigure) -> str:
    u = 2.0 * one.estimate.standard_uncertainty
    return format_value(one.estimate.value, u, "m3/(s*Pa)", display="L/(s*bar)")


def _conductance_sentence(record: ComparisonRecord, one: LearnedFigure) -> str:
    said = (
        f"{item_label(record, one.item)}: between its two gauges the line has a sonic conductance of {_conductance(one)} (k = 2),"
        f" from {one.runs} runs"
    )
    if one.stated is None:
        return f"{said}."
    return f"{said}; its parts as stated give {format_number(from_si(one.stated, 'L/(s*bar)', 'sonic_conductance'), 3, unit='L/(s*bar)')} modelled."


def loss_sentence(record: ComparisonRecord, settings: SeasonSettings, one: ItemSupply) -> str:
    """Which part of a modelled line takes most; empty where no line was worked out."""
    if not one.losses:
        return ""
    most = max(one.losses, key=lambda part: part.loss)
    whole = sum(part.loss for part in one.losses)
    return (
        f"{item_label(record, one.item)}: of {print_number(whole, 'Pa', settings, 3)} lost on the way,"
        f" {most.label} takes {print_share(round(most.share, 2))} (modelled)."
    )


def sag_sentences(record: ComparisonRecord, settings: SeasonSettings, one: ItemSupply) -> list[str]:
    """Falls of the inlet pressure that are not the usual one, with what can be behind them and what cannot."""
    found = []
    for sag in one.sags:
        if sag.verdict in USUAL_SAGS:
            continue
        why = "; ".join(f"not {regime}: {reason}" for regime, reason in sag.excluded)
        span = f"{format_seconds(round(sag.begins_s, 1))} to {format_seconds(round(sag.ends_s, 1))}"
        found.append(
            f"{item_label(record, one.item)}: the inlet pressure falls by {print_number(sag.drop, 'Pa', settings, 2)}"
            f" from {span}. Behind it: {sag.verdict} (modelled){f'; {why}' if why else ''}."
        )
    return found


def assumed_sentence(supply: SupplyExplained) -> str:
    """What the model had to assume; empty where all was stated."""
    return f"Assumed, as nobody states it: {list_words(list(supply.assumed))}." if supply.assumed else ""


def supply_sentences(record: ComparisonRecord, settings: SeasonSettings) -> list[str]:
    """The section's sentences, in its order; none where no supply was recorded or stated."""
    supply = record.supply
    if supply is None:
        return []
    told = [explained_sentence(record, supply, one) for one in supply.differences]
    told += [untested_sentence(record, one) for one in supply.untested]
    for item in supply.items:
        told += [*filter(None, [loss_sentence(record, settings, item)]), *sag_sentences(record, settings, item)]
    return told
