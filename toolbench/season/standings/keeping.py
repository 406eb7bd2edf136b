"""A state of the standings as JSON, and back: what a later state is compared with.

The marks are kept with their components, and what they rest on; ranks follow from them again, to the same digits.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from toolbench.errors import Fault, UsageError
from toolbench.records.comparison import Component, Estimate
from toolbench.season.known import known
from toolbench.season.standings.outcome import ClassStandings, Standings
from toolbench.standings import (
    Basis,
    Criterion,
    Entry,
    Mark,
    Move,
    Published,
    compare_standings,
    rank_entries,
    score_entries,
)

FORMAT = 1


def standings_json(standings: Standings) -> str:
    """The state as text; the same bytes from the same records."""
    content = {
        "format": FORMAT,
        "title": standings.scorecard.title,
        "classes": [_class(one) for one in standings.classes],
    }
    return json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"


def _class(one: ClassStandings) -> dict[str, Any]:
    apart = {other.facts.tool.id: other.reason for other in one.apart}
    return {
        "supply": one.supply,
        "setup": one.setup,
        "criteria": [
            {"id": c.id, "label": c.label, "weight": c.weight, "worst_at": c.worst_at, "best_at": c.best_at}
            for c in sorted(one.criteria, key=lambda c: c.id)
        ],
        "entries": [
            {
                "tool": tool,
                "apart": apart.get(tool, ""),
                "marks": _marks(one.entries[tool]),
                "basis": _basis(one.bases[tool]),
            }
            for tool in sorted(one.entries)
        ],
    }


def _marks(entry: Entry) -> dict[str, Any]:
    return {id: _mark(mark) for id, mark in entry.marks.items()}


def _mark(mark: Mark) -> dict[str, Any]:
    if mark.estimate is None:
        return {"missing": mark.missing}
    return {
        "value": mark.estimate.value,
        "unit": mark.estimate.unit,
        "components": [_component(c) for c in mark.estimate.components if not c.contained],
        "degrees_of_freedom": known(mark.estimate.degrees_of_freedom_override),
    }


def _component(component: Component) -> dict[str, Any]:
    return {
        "source": component.source,
        "label": component.label,
        "contribution": known(component.contribution),
        "degrees_of_freedom": known(component.degrees_of_freedom),
        "evaluation": component.evaluation,
    }


def _basis(basis: Basis) -> dict[str, Any]:
    return {
        "setup": basis.setup,
        "price": basis.price,
        "status": basis.status,
        "runs": {id: dict(runs) for id, runs in basis.runs.items()},
        "scatter": {id: sorted(names) for id, names in basis.scatter.items()},
    }


def find_moves(standings: Standings, earlier: str) -> dict[str, tuple[Move, ...]]:
    """Who moved since an earlier state, by kind of supply; classes in which nobody did are left out.

    Raises
    ------
    UsageError
        The text is no state of standings, or of a newer format.
    """
    before = _read(earlier)
    found = {}
    for one in standings.classes:
        moves = compare_standings(before.get(one.supply) or _nobody(one), published(one))
        if moves:
            found[one.supply] = moves
    return found


def published(one: ClassStandings) -> Published:
    """A class as `compare_standings` takes it; who stands apart has no rank."""
    return Published(standing=one.standing, entries=one.entries, criteria=one.criteria, bases=one.bases)


def _nobody(one: ClassStandings) -> Published:
    standing = rank_entries(score_entries([], one.criteria))
    return Published(standing=standing, entries={}, criteria=one.criteria)


def _read(text: str) -> dict[str, Published]:
    try:
        content = json.loads(text)
        if content["format"] > FORMAT:
            raise UsageError(Fault(f"format {content['format']} is newer than this toolbench reads ({FORMAT})"))
        return {one["supply"]: _read_class(one) for one in content["classes"]}
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(Fault(f"is no state of standings: {error}")) from None


def _read_class(content: Mapping[str, Any]) -> Published:
    criteria = tuple(Criterion(**one) for one in content["criteria"])
    entries = {one["tool"]: _read_entry(one) for one in content["entries"]}
    ranked = [entries[one["tool"]] for one in content["entries"] if not one["apart"]]
    return Published(
        standing=rank_entries(score_entries(ranked, criteria)),
        entries=entries,
        criteria=criteria,
        bases={one["tool"]: _read_basis(one["basis"]) for one in content["entries"]},
    )


def _read_entry(content: Mapping[str, Any]) -> Entry:
    return Entry(tool=content["tool"], marks={id: _read_mark(mark) for id, mark in content["marks"].items()})


def _read_mark(content: Mapping[str, Any]) -> Mark:
    if "missing" in content:
        return Mark(missing=content["missing"])
    return Mark(
        estimate=Estimate(
            value=content["value"],
            unit=content["unit"],
            components=tuple(_read_component(one) for one in content["components"]),
            degrees_of_freedom_override=content["degrees_of_freedom"],
        )
    )


def _read_component(content: Mapping[str, Any]) -> Component:
    known, dof = content["contribution"], content["degrees_of_freedom"]
    return Component(
        source=content["source"],
        label=content["label"],
        contribution=math.nan if known is None else known,
        degrees_of_freedom=math.inf if dof is None else dof,
        evaluation=content["evaluation"],
    )


def _read_basis(content: Mapping[str, Any]) -> Basis:
    return Basis(
        setup=content["setup"],
        price=content["price"],
        runs=content["runs"],
        scatter={id: frozenset(names) for id, names in content["scatter"].items()},
        status=content["status"],
    )
