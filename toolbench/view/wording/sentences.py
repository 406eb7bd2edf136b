"""Sentences from numbers: what a difference is, when curves part, and what may not be said.

The same strings stand on the page, in the notes and on the episode page. A direction is claimed only where the verdict
that holds for all rows of its family together leaves zero; the number beside it carries the interval of its own row.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from toolbench.quantities import format_asymmetric, format_at_least, format_percent, format_seconds
from toolbench.records.comparison import POOLED, ComparisonRecord, Difference, Verdict
from toolbench.records.findings import Finding, worst_first
from toolbench.records.settings import SeasonSettings
from toolbench.view.wording.printed import (
    item_label,
    metric_words,
    print_change,
    print_share,
)

_MORE_LESS = ("more", "less")
_LONG_SHORT = ("longer", "shorter")
_HIGH_LOW = ("higher", "lower")
_AMOUNTS = ("torque", "force", "air_flow")


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """One answer of a report: `item` against `baseline` in the headline metric, as it is printed everywhere."""

    item: str
    baseline: str
    response: str
    metric: str
    at: float | None
    verdict: Verdict
    text: str
    percent_text: str
    touched_by: tuple[Finding, ...] = ()
    """The findings that limit this sentence, worst first."""


def headline_metric(record: ComparisonRecord, response: str) -> tuple[str, float | None] | None:
    """The metric that headlines use: sustained where there is one, else the last mark; None where neither is there."""
    return headline_among([(r.metric, r.at) for r in record.differences if r.response == response])


def headline_among(rows: Sequence[tuple[str, float | None]]) -> tuple[str, float | None] | None:
    """The headline's metric among rows (metric, at) of one response; the one rule for every page."""
    if ("sustained", None) in rows:
        return "sustained", None
    marks = [at for metric, at in rows if metric == "at_mark" and at is not None]
    return ("at_mark", max(marks)) if marks else None


def percent_text(difference: Difference) -> str:
    """The percent difference with sign: ``"−9.4 % ± 1.9 %"``, with both bounds where the interval is not symmetric."""
    interval = difference.interval
    if not math.isfinite(interval.lower):
        if difference.verdict != "not assessed":
            return "no percentage: base near zero"
        return f"{format_percent(difference.percent.value)}, not assessed"
    return format_asymmetric(difference.percent.value, interval.lower, interval.upper, "%", signed=True)


def _amount_text(difference: Difference) -> str:
    """The size without sign, for a sentence whose word carries the direction."""
    value, low, high = difference.percent.value, difference.interval.lower, difference.interval.upper
    if value < 0:
        value, low, high = -value, -high, -low
    return format_asymmetric(value, low, high, "%")


def _basis(record: ComparisonRecord, difference: Difference) -> str:
    runs = f"{difference.n} and {difference.n_baseline} runs"
    blocks = f", paired in {difference.blocks} blocks" if difference.blocks else ""
    return f"{print_share(record.confidence)} confidence, {runs}{blocks}"


def _direction_words(difference: Difference) -> tuple[str, str]:
    if difference.metric in ("rise_time", "time_to"):
        return _LONG_SHORT
    is_level = difference.metric in ("at_mark", "sustained", "peak")
    return _MORE_LESS if is_level and difference.response in _AMOUNTS else _HIGH_LOW


def _resolved(record: ComparisonRecord, difference: Difference, item: str, base: str, what: str) -> str:
    words = _direction_words(difference)
    word = words[0] if difference.family_verdict == "higher" else words[1]
    amount, basis = _amount_text(difference), _basis(record, difference)
    if words == _MORE_LESS:
        return f"{item}: {amount} {word} {what} than {base} ({basis})."
    return f"{item}: {what} {amount} {word} than with {base} ({basis})."


def _unresolved(record: ComparisonRecord, difference: Difference, item: str, base: str, what: str) -> str:
    text = f"{item}: no difference in {what} from {base} resolved"
    smallest = difference.smallest_resolvable
    if math.isfinite(smallest):
        text += f" (smallest resolvable {format_percent(smallest, signed=False)})"
    text += f": {percent_text(difference)} ({_basis(record, difference)})."
    if difference.verdict in ("higher", "lower"):
        told = record.is_told(difference)
        rows = f"{record.family_size} rows of the response" if told else f"{record.supporting_size} supporting rows"
        text += f" Taken alone this row's interval leaves zero; held together over all {rows} it does not."
    return text


def _not_assessed(difference: Difference, item: str, base: str, what: str) -> str:
    number = format_percent(difference.percent.value)
    runs = f"{difference.n} and {difference.n_baseline} runs"
    why = (
        "the repeats read all alike, and no resolution is stated to judge by"
        if min(difference.n, difference.n_baseline) > 1
        else "no repeat to judge by"
    )
    return f"{item}: {number} in {what} against {base}, not assessed: {why} ({runs})."


def _limit_words(record: ComparisonRecord, difference: Difference) -> str:
    limit = record.episode.equivalent_within
    # The limit is stated for the response; a droop or a time may change by more without any harm.
    if limit is None or not difference.within_limit or not record.is_told(difference):
        return ""
    stated = format_percent(100 * limit, signed=False)
    return {
        "yes": f" The interval lies inside the stated limit of ±{stated}.",
        "no": f" The interval lies outside the stated limit of ±{stated}.",
        "undecided": f" Whether the difference stays within ±{stated} is undecided.",
    }[difference.within_limit]


def _lent_words(record: ComparisonRecord, difference: Difference) -> str:
    """What a single run was judged by: repeats elsewhere on the bench, else what the protocol assumes."""
    if min(difference.n, difference.n_baseline) > 1 or difference.verdict == "not assessed":
        return ""
    if any(part.label == POOLED for part in difference.percent.components):
        return f" A single run is judged by the {POOLED}."
    assumed = record.protocol.repeatability
    if assumed is None:
        return ""
    share = format_percent(100 * assumed.value, signed=False)
    return f" Repeatability assumed: {share} ({assumed.source})."


def sentence(record: ComparisonRecord, settings: SeasonSettings, difference: Difference) -> str:
    """One row of the differences as a sentence: size, uncertainty, direction, base, confidence and runs.

    Parameters
    ----------
    difference : Difference
        Percent of the baseline's level; the direction follows its family verdict.
    """
    item, base = item_label(record, difference.item), item_label(record, difference.baseline)
    what = metric_words(record, settings, difference.response, difference.metric, difference.at)
    if not difference.n or not difference.n_baseline:
        without = base if difference.n else item
        return f"{item}: {what} is not compared with {base}: no run of {without} has it."
    unbounded = not math.isfinite(difference.interval.lower) and difference.verdict != "not assessed"
    if unbounded or not math.isfinite(difference.percent.value):
        return (
            f"{item}: no percentage in {what} against {base}, whose level is too near zero; the difference is"
            f" {print_change(difference, settings)}, {difference.family_verdict}."
        )
    if difference.family_verdict == "not assessed" or difference.verdict == "not assessed":
        return _not_assessed(difference, item, base, what)
    build = _resolved if difference.family_verdict in ("higher", "lower") else _unresolved
    text = build(record, difference, item, base, what)
    return text + _limit_words(record, difference) + _lent_words(record, difference)


def at_least_text(record: ComparisonRecord, difference: Difference) -> str:
    """The one-sided bound in words: "at least 7.8 % less (95 % confidence, one-sided)"; empty where there is none.

    Empty too where the direction itself is not claimed for all rows together.
    """
    if difference.at_least is None or difference.family_verdict not in ("higher", "lower"):
        return ""
    words = _direction_words(difference)
    word = words[0] if difference.at_least > 0 else words[1]
    amount = format_at_least(difference.at_least, u=difference.expanded_uncertainty)
    return f"at least {amount} {word} ({print_share(record.confidence)} confidence, one-sided)"


def touching(record: ComparisonRecord, *items: str) -> tuple[Finding, ...]:
    """The findings that limit a statement about these items.

    Those that name an item, its tool, its setup, a run, block or sensor of it, the protocol or the episode; and those
    that name nothing.
    """
    found = [item for item in record.items if item.id in items]
    ids = {part for item in found for part in (item.id, item.tool, item.setup, *item.runs)}
    for run in record.runs:
        if run.id in ids:
            ids |= {run.entry.block, *run.sensors.values()}
    ids = (ids | {record.protocol.id, record.episode.id}) - {""}
    hits = [f for f in record.findings if f.severity != "note" and (not f.subjects or ids & set(f.subjects))]
    return worst_first(list({(f.code, f.message): f for f in hits}.values()))


def headlines(record: ComparisonRecord, settings: SeasonSettings) -> tuple[Headline, ...]:
    """One headline per response and compared pair, in the order of the report's differences."""
    found = []
    for response in record.protocol.response:
        wanted = headline_metric(record, response)
        for row in record.differences:
            if row.response != response or (row.metric, row.at) != wanted:
                continue
            found.append(
                Headline(
                    item=row.item,
                    baseline=row.baseline,
                    response=response,
                    metric=row.metric,
                    at=row.at,
                    verdict=row.family_verdict,
                    text=sentence(record, settings, row),
                    percent_text=percent_text(row),
                    touched_by=touching(record, row.item, row.baseline),
                )
            )
    return tuple(found)


def missing_sentences(record: ComparisonRecord) -> tuple[str, ...]:
    """A sentence for every item that no difference speaks of, so that none disappears without a word."""
    spoken = {i for row in record.differences for i in (row.item, row.baseline)}
    return tuple(
        f"{item.label or item.id}: nothing to compare, "
        + ("no run could be used." if not item.runs else f"{len(item.runs)} runs used, but no common result.")
        for item in record.items
        if item.id not in spoken
    )


def compensated_sentence(record: ComparisonRecord) -> str:
    """What holding the flowing pressure does to a comparison; empty where the protocol does not hold it."""
    if not record.compensated:
        return ""
    each = {"setups": "setup", "tools": "tool", "pairs": "pair"}[record.axis]
    return (
        f"The flowing inlet pressure was held by setting the regulator anew for each {each}, so the line's steady loss is"
        " compensated: what remains is droop and transient. The regulator pressure needed, the air flow and the droop"
        " are results of their own."
    )


def limits(record: ComparisonRecord, settings: SeasonSettings) -> tuple[str, ...]:
    """What may not be said from this report, each as a sentence of its own."""
    said = []
    for line in headlines(record, settings):
        pair = f"{item_label(record, line.item)} and {item_label(record, line.baseline)}"
        if line.verdict == "not resolved":
            said.append(f"That {pair} are the same: no difference was resolved, which is not the same thing.")
        if line.verdict == "not assessed":
            said.append(f"That {pair} differ: there is nothing to judge the number by.")
    others = [item for item in record.items if item.id != record.baseline]
    if len(others) > 1 and record.episode.compare == "baseline":
        said.append("Which of the compared items is ahead of another one: each was compared with the baseline only.")
    if record.axis == "setups" and not record.episode.factor:
        said.append("That one part of a setup is the cause, where more than one part differs.")
    said.append("Anything about a model: each result is of this specimen, on this rig, in this state.")
    said.append(
        "That a standard was followed: none was found for the torque of an impacting tool over seconds on a rig."
    )
    said.append("That a torque holds for a joint: results compare tools on this rig.")
    return tuple(said)


def conditions_sentence(record: ComparisonRecord) -> str:
    """Confidence, rows and runs in one line for the foot of the result."""
    start, end = record.window_s
    sustained = f"Sustained is the mean from {format_seconds(start)} to {format_seconds(end)} after the onset."
    if not record.family_size:
        return f"{sustained} No row of the response could be judged, so no direction is claimed."
    return (
        f"{sustained} Each ± is the {print_share(record.confidence)} interval of that number alone; a direction is claimed"
        f" only where the interval that holds for all {record.family_size} rows of the response together leaves zero."
    )
