"""What the pages over the reports say about each: its headline numbers, sentences and caveats, from its own folder."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolbench.quantities import format_asymmetric
from toolbench.records.findings import SEVERITY_ORDER
from toolbench.view.wording.printed import name_some
from toolbench.view.wording.sentences import headline_among

Results = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """One compared pair in a report's headline metric: `number` is the percent difference as printed everywhere."""

    item: str
    baseline: str
    response: str
    verdict: str
    number: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentence:
    """A headline as said on the report's page. `verdict` may be empty."""

    text: str
    verdict: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageCaveat:
    """A caveat on the episode page, told once for all the reports it stands in."""

    severity: str
    text: str
    touches: tuple[str, ...]
    mend: str
    reports: tuple[str, ...]

    @property
    def touched(self) -> str:
        """What it touches, as printed."""
        return name_some(self.touches)


def results_of(folder: Path) -> dict[str, Any]:
    """results.json of a report's folder; empty where it is missing or cannot be read."""
    try:
        content = json.loads((folder / "results.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}


def label_of(results: Results, item: str) -> str:
    """Label of an item, with its id where two share a label; the id where it has none."""
    labels = {one["id"]: one.get("label") or one["id"] for one in results.get("items", [])}
    label = str(labels.get(item, item))
    return f"{label} ({item})" if list(labels.values()).count(label) > 1 else label


def heads_of(results: Results) -> list[Head]:
    """One per response and compared pair."""
    rows = results.get("differences", [])
    found: list[Head] = []
    for response in dict.fromkeys(row["response"] for row in rows):
        mine = [row for row in rows if row["response"] == response]
        wanted = headline_among([(row["metric"], row["at"]) for row in mine])
        found += [_head(results, row) for row in mine if (row["metric"], row["at"]) == wanted]
    return found


def _head(results: Results, row: Mapping[str, Any]) -> Head:
    return Head(
        item=label_of(results, row["item"]),
        baseline=label_of(results, row["baseline"]),
        response=row["response"],
        verdict=row["verdict_family"],
        number=format_asymmetric(row["percent"], row["lower"], row["upper"], "%", signed=True),
    )


def sentences_of(results: Results) -> list[Sentence]:
    """The report's headline sentences, as they stand on its page."""
    return [
        Sentence(text=s["text"], verdict=s.get("verdict", "")) for s in results.get("sentences", []) if s.get("text")
    ]


def _excluded(results: Results) -> Iterable[tuple[str, str, str, str, tuple[str, ...]]]:
    for item in results.get("items", []):
        for one in item.get("excluded") or []:
            yield "run-excluded", "doubtful", f"Run {one['run']} left out: {one['reason']}.", "", ()


def _findings(results: Results) -> Iterable[tuple[str, str, str, str, tuple[str, ...]]]:
    told = {one["run"] for item in results.get("items", []) for one in item.get("excluded") or []}
    for one in results.get("findings", []):
        subjects = tuple(one.get("subjects", ()))
        # An exclusion is told once, with its reason, under its item.
        if "excluded" in one["code"] and subjects and set(subjects) <= told:
            continue
        yield one["code"], one["severity"], one["message"], one.get("mend", ""), subjects


def merged_caveats(reports: Mapping[str, Results]) -> list[PageCaveat]:
    """The caveats of several reports, worst first, the same one told once with the reports it stands in."""
    groups: dict[tuple[str, str], list[tuple[str, str, str, tuple[str, ...]]]] = {}
    for path, results in reports.items():
        for code, severity, message, mend, subjects in (*_excluded(results), *_findings(results)):
            groups.setdefault((code, message), []).append((path, severity, mend, subjects))
    merged = [
        PageCaveat(
            severity=min((entry[1] for entry in group), key=SEVERITY_ORDER.__getitem__),
            text=message,
            touches=tuple(dict.fromkeys(subject for entry in group for subject in entry[3])),
            mend=next((entry[2] for entry in group if entry[2]), ""),
            reports=tuple(dict.fromkeys(entry[0] for entry in group)),
        )
        for (_, message), group in groups.items()
    ]
    return sorted(merged, key=lambda caveat: SEVERITY_ORDER[caveat.severity])
