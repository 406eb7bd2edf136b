"""Draft lines for the narration: each with its number, its uncertainty and the row of the table it comes from."""

from __future__ import annotations

import re

from toolbench.quantities import format_number
from toolbench.records.comparison import ComparisonRecord, Difference
from toolbench.records.settings import SeasonSettings
from toolbench.view.wording.caveats import caveats
from toolbench.view.wording.parting import span_sentences
from toolbench.view.wording.printed import item_label, metric_words, print_value
from toolbench.view.wording.rising import rising_sentences
from toolbench.view.wording.sentences import (
    at_least_text,
    compensated_sentence,
    headline_metric,
    limits,
    missing_sentences,
    percent_text,
    sentence,
)


def plain(text: str) -> str:
    """A text on one line in which no character starts Markdown or HTML; thin spaces stay."""
    return re.sub(r"([\\`*_\[\]<>#|])", r"\\\1", re.sub(r"[ \t\r\n]+", " ", text).strip())


def _source(difference: Difference, line: int) -> str:
    at = "" if difference.at is None else f"{difference.at!r}"
    return (
        f"  `differences.csv` line {line}: item {difference.item}, baseline {difference.baseline}, response"
        f" {difference.response}, metric {difference.metric}, at {at or 'empty'};"
        f" percent {plain(percent_text(difference))}"
    )


def _difference_lines(record: ComparisonRecord, settings: SeasonSettings, *, wanted: bool) -> list[str]:
    """Lines for the headline rows (`wanted`) or for all others. The header is line 1 of differences.csv."""
    lines = []
    for number, row in enumerate(record.differences, start=2):
        if ((row.metric, row.at) == headline_metric(record, row.response)) is not wanted:
            continue
        lines.append(f"- {plain(sentence(record, settings, row))}")
        bound = at_least_text(record, row)
        if bound:
            lines.append(f"  One-sided: {plain(bound)}.")
        lines.append(_source(row, number))
    return lines


def _level_lines(record: ComparisonRecord, settings: SeasonSettings) -> list[str]:
    lines = []
    for number, row in enumerate(record.levels, start=2):
        if (row.metric, row.at) != headline_metric(record, row.response):
            continue
        value = print_value(row.estimate.value, row.expanded_uncertainty, row.estimate.unit, settings)
        what = metric_words(record, settings, row.response, row.metric, row.at)
        factor = format_number(row.coverage_factor, 3)
        lines.append(
            f"- {plain(item_label(record, row.item))}: {plain(what)} {plain(value)} (k = {factor}, {row.n} runs)\n"
            f"  `levels.csv` line {number}"
        )
    return lines


def _listed(texts: tuple[str, ...] | list[str]) -> list[str]:
    return [f"- {plain(text)}" for text in texts]


def notes_text(record: ComparisonRecord, settings: SeasonSettings) -> str:
    """The whole of notes.md: headlines, other marks, levels, spans, caveats to be said with them, and what not to say.

    Returns
    -------
    str
        Markdown with LF line ends; the numbers are the same strings as on the page.
    """
    title = record.episode.title or record.episode.id
    parts: list[tuple[str, list[str]]] = [
        ("Result", [*_difference_lines(record, settings, wanted=True), *_listed(missing_sentences(record))]),
        ("At every other mark and metric", _difference_lines(record, settings, wanted=False)),
        ("Levels", _level_lines(record, settings)),
        ("Still rising or falling", _listed(rising_sentences(record, settings))),
        ("When the curves part", _listed(span_sentences(record))),
        ("To be said with it", _listed(_caveat_texts(record))),
        ("What may not be said", _listed(limits(record, settings))),
    ]
    head = f"# Draft lines: {plain(title)}, {plain(record.name)}\n\nBase of every percentage: "
    head += f"{plain(item_label(record, record.baseline))}, unless the line names another one.\n"
    return head + "".join(f"\n## {name}\n\n" + "\n".join(lines) + "\n" for name, lines in parts if lines)


def _caveat_texts(record: ComparisonRecord) -> list[str]:
    first = [compensated_sentence(record)] if record.compensated else []
    if record.episode.disclosure:
        first.append(record.episode.disclosure)
    return first + [c.text + (f" ({c.touched})" if c.touches else "") for c in caveats(record)]
