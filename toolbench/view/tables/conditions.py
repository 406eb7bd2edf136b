"""The head of a report: its title and the strip of conditions."""

from __future__ import annotations

from collections.abc import Iterable

from toolbench.quantities import GLOSSARY, channel_quantity, format_seconds
from toolbench.quantities.units import KINDS
from toolbench.records.comparison import ComparisonRecord, Item
from toolbench.records.runs import Run
from toolbench.records.settings import Hold, Protocol, SeasonSettings, Tool
from toolbench.season.standings.claiming import claim_of_report
from toolbench.view.markup import Compared, Shown, render
from toolbench.view.wording.printed import item_label, list_words, print_number, print_share, print_value
from toolbench.view.wording.sentences import compensated_sentence
from toolbench.view.wording.standings import claim_fact
from toolbench.view.wording.tools import obtained_text, tool_text

Facts = list[tuple[str, str]]


def page_title(record: ComparisonRecord, settings: SeasonSettings) -> str:
    """The title of a report: what is held fixed, and the episode."""
    episode = record.episode.title or record.episode.id
    if record.axis == "pairs":
        return f"{episode}: the episode's pairs"
    if record.axis == "setups":
        tool = settings.tools.get(record.subject)
        return f"{episode}: {(tool.name if tool else '') or record.subject} on {len(record.items)} setups"
    setup = settings.setups.get(record.subject)
    return f"{episode}: {len(record.items)} tools on {(setup.label if setup else '') or record.subject}"


def _held_text(protocol: Protocol, settings: SeasonSettings) -> str:
    held = [(protocol.hold, "while running"), (protocol.rest, "at rest, before the start")]
    said = [f"{_hold_text(hold, settings)}, {when}" for hold, when in held if hold is not None]
    return "; ".join(said) or "nothing but the setup as it stands"


def _hold_text(hold: Hold, settings: SeasonSettings) -> str:
    kind = channel_quantity(hold.channel)
    unit = KINDS[kind].si_unit if kind in KINDS else ""
    label = GLOSSARY[hold.channel].label if hold.channel in GLOSSARY else hold.channel
    return f"{label}, {print_value(hold.at, hold.within, unit, settings)}"


def _runs_of(record: ComparisonRecord, item: Item) -> list[Run]:
    return [run for run in record.runs if run.id in item.runs]


def _range(values: Iterable[float], unit: str, settings: SeasonSettings) -> str:
    found = sorted(values)
    low, high = (print_number(v, unit, settings, 3) for v in (found[0], found[-1]))
    return low if low == high else f"{low} to {high}"


def _flowing(record: ComparisonRecord, settings: SeasonSettings) -> str:
    seen = [r.conditions.flowing_pressure for i in record.items for r in _runs_of(record, i)]
    known = [p for p in seen if p is not None]
    if known:
        return _range(known, "Pa", settings) + " (gauge, at the tool's inlet)"
    volts = [r.conditions.voltage_flowing for i in record.items for r in _runs_of(record, i)]
    running = [v for v in volts if v is not None]
    return _range(running, "V", settings) if running else "not recorded"


def _dates(record: ComparisonRecord) -> str:
    days = sorted({run.entry.started.date().isoformat() for run in record.runs if run.entry.started})
    if not days:
        return "not stated"
    return days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"


def _run_counts(record: ComparisonRecord) -> str:
    numbers = {len(item.runs) for item in record.items}
    each = f"{min(numbers, default=0)} of each" if len(numbers) == 1 else ""
    counts = [f"{item_label(record, item.id)}: {len(item.runs)}" for item in record.items]
    out = sum(len(item.excluded) for item in record.items)
    return (each or "; ".join(counts)) + (f"; {out} left out" if out else "")


def conditions(record: ComparisonRecord, settings: SeasonSettings) -> Facts:
    """The strip as (term, text): tool and specimen, setups, protocol, what is held, pressure, runs, dates, origin."""
    protocol = record.protocol
    tools = [settings.tools[t] for t in dict.fromkeys(i.tool for i in record.items) if t in settings.tools]
    setups = list(dict.fromkeys(i.setup for i in record.items if i.setup))
    labels = [(settings.setups[s].label if s in settings.setups else "") or s for s in setups]
    is_air = any(settings.setups[s].supply == "air" for s in setups if s in settings.setups)
    marks = list_words([format_seconds(mark) for mark in record.marks_s])
    facts: Facts = [
        ("Tool" if len(tools) == 1 else "Tools", "; ".join(map(tool_text, tools)) or "not stated"),
        ("Setup" if len(labels) == 1 else "Setups", "; ".join(labels) or "not stated"),
        ("Baseline", item_label(record, record.baseline)),
        ("Protocol", f"{protocol.label or protocol.id}, {protocol.direction}, {format_seconds(record.duration_s)}"),
        ("Measurand", protocol.measurand or "not stated"),
        ("Marks", f"{marks} after the onset"),
        ("Held", _held_text(protocol, settings)),
        ("Flowing pressure" if is_air else "While running", _flowing(record, settings)),
        ("Runs used", _run_counts(record)),
        ("Dates", _dates(record)),
        ("Obtained", "; ".join(_obtained(tools)) or "not stated"),
        ("Confidence", print_share(record.confidence)),
    ]
    claim = claim_of_report(record, settings)
    return [
        *facts,
        *([("Claimed torque", claim_fact(claim, settings))] if claim else []),
        *([("Disclosure", record.episode.disclosure)] if record.episode.disclosure else []),
    ]


def _obtained(tools: list[Tool]) -> list[str]:
    if len(tools) == 1:
        return [obtained_text(tools[0])]
    return [f"{tool.name or tool.id}: {obtained_text(tool)}" for tool in tools]


def show_conditions(comparison: Compared) -> Shown:
    """Title and conditions strip: what was compared, how it was held, with how many runs, and how the tools were obtained."""
    record, settings = comparison.record, comparison.settings
    title = page_title(record, settings)
    facts = conditions(record, settings)
    compensated = compensated_sentence(record)
    values = {
        "title": title,
        "facts": facts,
        "question": record.episode.question,
        "expected": record.episode.expected,
        "compensated": compensated,
    }
    text = "\n".join([title, *(f"{term}: {fact}" for term, fact in facts), *filter(None, [compensated])])
    protocol = record.protocol.label or record.protocol.id
    return Shown(html=render("conditions", values), text=text, title=f"{title} · {protocol}")
