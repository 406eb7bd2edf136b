"""The pages over the reports: the season's index, and for every episode one page and its notes."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jinja2

from toolbench.report.effects import effect_rows, effects_csv, effects_of
from toolbench.report.headlines import (
    Head,
    PageCaveat,
    heads_of,
    merged_caveats,
    results_of,
    sentences_of,
)
from toolbench.report.ledger import STALE, Ledger
from toolbench.report.page import close_page
from toolbench.view.markup import unbroken
from toolbench.view.page import SHARED_TEMPLATE
from toolbench.view.wording.notes import plain
from toolbench.view.wording.sentences import compensated_sentence

PAGES = "toolbench-pages"

INDEX = "index.html"

STATE_ORDER = {"failed": 0, "rendered": 1, "unchanged": 1, "skipped": 2}
STATE_WORDS = {"rendered": "up to date", "unchanged": "up to date", "failed": "failed", "skipped": "skipped"}
VERDICT_MARKS = {"higher": "▲", "lower": "▼", "not resolved": "○", "not assessed": "–"}


@lru_cache(maxsize=4)
def _templates(folder: str) -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader([str(Path(folder) / PAGES), str(Path(folder) / SHARED_TEMPLATE)]),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


@lru_cache(maxsize=4)
def _style(folder: str) -> str:
    """The shared style sheet, and what these pages need beside it."""
    shared = sorted((Path(folder) / SHARED_TEMPLATE).glob("*.css"))
    return "\n".join(path.read_text(encoding="utf-8") for path in [*shared, Path(folder) / PAGES / "pages.css"])


def render_page(templates: Path, name: str, **values: Any) -> str:
    """One of our own pages, closed by its content policy."""
    script = (templates / PAGES / "table.js").read_text(encoding="utf-8")
    html = (
        _templates(str(templates))
        .get_template(name)
        .render(style=_style(str(templates)), script=script, marks=VERDICT_MARKS, **values)
    )
    return close_page(unbroken(html))


def write_pages(season: Any, ledger: Ledger, templates: Path, *, health: str = "", standings: str = "") -> list[str]:
    """Write index.html, effects.csv, EPISODE/index.html and EPISODE/notes.md for every report in the ledger; return their names.

    `health` and `standings` are the states of the page on the bench and of the standings, empty where there is none to link.

    Raises
    ------
    OutputError
        When a page cannot be written.
    """
    entries = [_entry(season, ledger, row) for row in ledger.rows.values()]
    pages = [INDEX]
    for episode in dict.fromkeys(entry["episode"] for entry in entries):
        mine = [entry for entry in entries if entry["episode"] == episode]
        values = _episode_values(season, episode, mine)
        ledger.write_page(f"{episode}/index.html", render_page(templates, "episode.html.j2", **values))
        ledger.write_page(f"{episode}/notes.md", _episode_notes(values))
        pages += [f"{episode}/index.html", f"{episode}/notes.md"]
    listed = sorted(entries, key=lambda entry: STATE_ORDER[entry["state"]])
    counts = {word: sum(e["state_words"] == word for e in entries) for word in ("up to date", "failed", "skipped")}
    effects = effects_of(season.settings, {entry["path"]: entry["results"] for entry in entries if entry["has_page"]})
    values = {
        "title": season.settings.name or "Season",
        "entries": listed,
        "counts": counts,
        "health": health,
        "standings": standings,
        "effects": effect_rows(season.settings, effects),
    }
    ledger.write_page(INDEX, render_page(templates, "season.html.j2", **values))
    if effects:
        ledger.write_page("effects.csv", effects_csv(effects))
        return [*pages, "effects.csv"]
    ledger.remove_page("effects.csv")
    return pages


def _entry(season: Any, ledger: Ledger, row: Mapping[str, Any]) -> dict[str, Any]:
    """One report as the pages need it."""
    settings, path = season.settings, row["path"]
    folder = ledger.out / path
    has_page = ledger.has_page(path)
    results = results_of(folder) if has_page else {}
    episode = settings.episodes.get(row["episode"])
    protocol = settings.protocols.get(row["protocol"])
    return {
        **row,
        "episode_title": (episode.title if episode else "") or row["episode"],
        "subject_label": _subject_label(settings, row),
        "protocol_label": (protocol.label if protocol else "") or row["protocol"],
        "state_words": STATE_WORDS[row["state"]],
        "has_page": has_page,
        "stale": has_page and (folder / STALE).is_file(),
        "results": results,
        "heads": heads_of(results),
        "sentences": sentences_of(results) if has_page else [],
    }


def _subject_label(settings: Any, row: Mapping[str, Any]) -> str:
    subject = row["subject"]
    if row["axis"] == "setups":
        tool = settings.tools.get(subject)
        name = (tool.name if tool else "") or subject
        # Two specimens of one model share its name.
        shared = sum(other.name == name for other in settings.tools.values()) > 1
        return f"{name}{f' ({subject})' if shared else ''}: its setups compared"
    if row["axis"] == "tools":
        setup = settings.setups.get(subject)
        return f"{(setup.label if setup else '') or subject}: its tools compared"
    return "the pairs compared"


def _episode_values(season: Any, episode: str, entries: list[dict[str, Any]]) -> dict[str, Any]:
    settings = season.settings.episodes.get(episode)
    with_page = {entry["path"]: entry["results"] for entry in entries if entry["has_page"]}
    protocols = list(dict.fromkeys(entry["protocol"] for entry in entries if entry["has_page"]))
    labels = {entry["protocol"]: entry["protocol_label"] for entry in entries}
    return {
        "title": (settings.title if settings else "") or episode,
        "question": settings.question if settings else "",
        "expected": settings.expected if settings else "",
        "disclosure": settings.disclosure if settings else "",
        "episode": episode,
        "entries": entries,
        "protocols": [labels[one] for one in protocols],
        "side_by_side": _side_by_side(entries, protocols),
        "caveats": merged_caveats(with_page),
        "names": {entry["path"]: f"{entry['subject_label']}, {entry['protocol_label']}" for entry in entries},
        "with_pages": len(with_page),
        "compensated": list(dict.fromkeys(filter(None, map(_compensated, entries)))),
    }


def _compensated(entry: Mapping[str, Any]) -> str:
    """What holding the flowing pressure does to a report, with its protocol; empty where nothing is held."""
    if not entry["results"].get("compensated"):
        return ""
    # The sentence asks only these two things of a record.
    record: Any = SimpleNamespace(compensated=True, axis=entry["axis"])
    return f"{entry['protocol_label']}: {compensated_sentence(record)}"


def _side_by_side(entries: list[dict[str, Any]], protocols: list[str]) -> list[dict[str, Any]]:
    """A row per subject and compared pair, a cell per protocol (None where that protocol has none)."""
    rows: dict[tuple[str, str, str, str], dict[str, Head]] = {}
    for entry in entries:
        for head in entry["heads"]:
            key = (entry["subject_label"], head.item, head.baseline, head.response)
            rows.setdefault(key, {})[entry["protocol"]] = head
    return [
        {
            "subject": subject,
            "item": item,
            "baseline": base,
            "response": response,
            "cells": [cells.get(p) for p in protocols],
        }
        for (subject, item, base, response), cells in rows.items()
    ]


def _episode_notes(values: Mapping[str, Any]) -> str:
    """EPISODE/notes.md: every headline and one set of caveats, as plain Markdown."""
    lines = [f"# {plain(values['title'])}", ""]
    lines += [plain(values["question"]), ""] if values["question"] else []
    for entry in values["entries"]:
        lines += [f"## {plain(values['names'][entry['path']])}", "", *_entry_notes(entry), ""]
    lines += ["## Caveats", "", *_caveat_notes(values), ""]
    return "\n".join(lines)


def _entry_notes(entry: Mapping[str, Any]) -> list[str]:
    lines = [f"- {plain(sentence.text)}" for sentence in entry["sentences"]]
    if entry["state"] in ("failed", "skipped"):
        what = (
            "Not made again, the page is from an earlier run"
            if entry["stale"]
            else STATE_WORDS[entry["state"]].capitalize()
        )
        lines.append(f"- {what}: {plain(entry['error'])}")
    name = Path(entry["path"]).name
    return lines + ([f"- [{name}]({name}/report.html)"] if entry["has_page"] else [])


def _caveat_notes(values: Mapping[str, Any]) -> list[str]:
    caveats: list[PageCaveat] = values["caveats"]
    lines = [f"- {plain(values['disclosure'])}"] if values["disclosure"] else []
    lines += [f"- {plain(text)}" for text in values["compensated"]]
    for caveat in caveats:
        touched = f" ({caveat.touched})" if caveat.touches else ""
        lines.append(f"- {caveat.severity}: {plain(caveat.text + touched)}")
    if not any(entry["has_page"] for entry in values["entries"]):
        return lines or ["- No report could be made, so nothing was looked at."]
    return lines or ["- None found."]
