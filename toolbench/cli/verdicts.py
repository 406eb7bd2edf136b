"""How a verdict reads at the bench: the word first, told by colour and by itself; then the reason or the number; then what is next."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from typing import Any

import click

from toolbench.cli.wrapping import NARROWEST
from toolbench.errors import shown
from toolbench.quantities import format_percent, format_seconds
from toolbench.records.findings import Finding
from toolbench.records.settings import RunEntry, SeasonSettings
from toolbench.season.watch.verdicts import REPEAT, Facts
from toolbench.season.watch.watching import Judged

WORDS = {"keep": "KEEP", "repeat": "REPEAT NOW", "look": "LOOK"}
_COLOURS = {"keep": "green", "repeat": "red", "look": "yellow"}
INDENT = " " * 13
"""Width of the longest word with its margins: what follows stands in one column."""

_METRICS = {"sustained": "sustained", "at_mark": "at"}


def say(text: str, *, word: str = "", colour: str = "", indent: str = "") -> None:
    """Print one line: broken at words on a terminal with the rest below the text, whole in a pipe. The word comes first."""
    badge = click.style(f" {word} ", bold=True, reverse=True, fg=colour or None) if word else ""
    lead = indent if not word else ""
    text = "\n".join(map(shown, text.split("\n")))  # what a file is called does not move the cursor
    width = max(shutil.get_terminal_size().columns, NARROWEST + len(INDENT))
    if not sys.stdout.isatty():
        click.echo(f"{word}: {text}" if word else text, color=False)
    else:
        lines = textwrap.wrap(text, width - len(INDENT), break_long_words=False, break_on_hyphens=False) or [""]
        first = badge + " " * (len(INDENT) - len(word) - 2) + lines[0] if word else lead + lines[0]
        rest = [(INDENT if word or indent else "  ") + line for line in lines[1:]]
        click.echo("\n".join([first, *rest]), color=False if os.environ.get("NO_COLOR") else None)
    sys.stdout.flush()


def say_judged(one: Judged, settings: SeasonSettings) -> None:
    """A verdict, in a pipe on one line: what it is, then what is next on the sheet."""
    verdict = one.judgement.verdict
    parts = [_main(one, settings), *_beside(one), *_next(one)]
    if not sys.stdout.isatty():
        say("; ".join(parts), word=WORDS[verdict])
        return
    say(parts[0], word=WORDS[verdict], colour=_COLOURS[verdict])
    for part in parts[1:]:
        say(part, indent=INDENT)
    click.echo()


def _main(one: Judged, settings: SeasonSettings) -> str:
    """The run and the reason, or the run and its number."""
    name = one.entry.run if one.entry is not None else shown(one.file)
    if one.judgement.verdict == "keep":
        return f"{name}: {_number(one.judgement.facts, settings)}{_cell(one.entry)}"
    return f"{name}: {_reasons(one.judgement.reasons)}{_cell(one.entry)}"


def _cell(entry: RunEntry | None) -> str:
    return f" ({entry.tool} on {entry.setup}, {entry.protocol})" if entry is not None else ""


def _number(facts: Facts | None, settings: SeasonSettings) -> str:
    """The main number, and how it stands beside the earlier runs."""
    from toolbench.view.wording.printed import print_number

    if facts is None:
        return "no number could be taken"
    at = f" {format_seconds(facts.at)}" if facts.metric == "at_mark" and facts.at is not None else ""
    text = f"{print_number(facts.value, facts.unit, settings)} {_METRICS.get(facts.metric, facts.metric)}{at}"
    if facts.mean is None:
        return f"{text}; {ordinal(facts.number)} run"
    scatter = f", scatter {format_percent(100 * facts.scatter, signed=False)}" if facts.scatter is not None else ""
    mean = print_number(facts.mean, facts.unit, settings)
    return f"{text}; {ordinal(facts.number)} run, mean of {facts.of}: {mean}{scatter}"


def _reasons(reasons: tuple[Finding, ...]) -> str:
    """Every reason in trade words, the main one with what to do."""
    first, *others = reasons
    text = f"{_trade(first)}{first.message.rstrip('.')}"
    if first.mend:
        text += f" -> {first.mend}"
    return text + "".join(f". Also: {one.message.rstrip('.')}" for one in others)


def _trade(finding: Finding) -> str:
    words = REPEAT.get(finding.code, "").removeprefix("rig fault: ")
    return f"{words.upper()}. " if words else ""


def _beside(one: Judged) -> list[str]:
    """What is only told: doubtful findings, the sheet's order, a row that could not be written."""
    parts = [f"note: {finding.message.rstrip('.')}" for finding in one.judgement.told]
    parts += [f"note: {notice}" for notice in one.notices]
    if one.again:
        parts.append("note: judged again, this verdict counts")
    if one.not_entered:
        parts.append(f"not yet in runs.csv: {one.not_entered}")
    return parts


def _next(one: Judged) -> list[str]:
    if not one.has_plan:
        return []
    return [next_text(one.next_row, one.open_rows)]


def next_text(row: RunEntry | None, left: int) -> str:
    """What the sheet has next; it asks nobody to start."""
    if row is None:
        return "the sheet is filled"
    order = f"{row.order:g}: " if row.order is not None else ""
    block = f", block {row.block}" if row.block else ""
    return f"next on the sheet: {order}{row.tool} on {row.setup}, {row.protocol}{block} ({left} open)"


def ordinal(number: int) -> str:
    """1st, 2nd, 3rd, 4th ..."""
    ending = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def judged_json(one: Judged) -> dict[str, Any]:
    """A verdict for other programs; numbers in SI, none as null."""
    facts, entry, row = one.judgement.facts, one.entry, one.next_row
    return {
        "event": "judged",
        "file": one.file,
        "verdict": one.judgement.verdict,
        "reason": one.judgement.words,
        "reasons": [_finding_json(finding) for finding in one.judgement.reasons],
        "told": [_finding_json(finding) for finding in one.judgement.told],
        "notices": list(one.notices),
        "run": entry.run if entry else None,
        "tool": entry.tool if entry else None,
        "setup": entry.setup if entry else None,
        "protocol": entry.protocol if entry else None,
        "entered": not one.not_entered,
        "not_entered": one.not_entered or None,
        "again": one.again,
        "facts": _facts_json(facts) if facts else None,
        "next": {"tool": row.tool, "setup": row.setup, "protocol": row.protocol, "order": row.order, "block": row.block}
        if row
        else None,
        "open_rows": one.open_rows if one.has_plan else None,
        "seconds": round(one.seconds, 3),
    }


def _finding_json(finding: Finding) -> dict[str, Any]:
    return {"code": finding.code, "message": finding.message, "mend": finding.mend, "line": finding.line}


def _facts_json(facts: Facts) -> dict[str, Any]:
    names = ("response", "metric", "at", "value", "unit", "number", "mean", "scatter", "of")
    return {name: getattr(facts, name) for name in names}
