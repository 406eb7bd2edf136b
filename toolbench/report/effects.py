"""The season's table of effects: a row per changed factor over all episodes, measured or modelled, with the price of the change.

Rows come from the reports that compare the setups of one tool, or pairs of one tool: from their headline difference, and for
setups that were not run from what their supply section models.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from toolbench.quantities import format_asymmetric, format_number, format_stated
from toolbench.report.headlines import Results
from toolbench.season.design import differing_parts
from toolbench.season.results import csv_text
from toolbench.view.wording.sentences import headline_among

COLUMNS = [
    "episode", "report", "tool", "protocol", "factor", "baseline", "item", "percent", "lower", "upper", "verdict", "how",
    "price_change", "currency",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What one change of the supply does to the sustained response of one tool [% of the base's level].

    `how` is "measured" or "modelled"; a modelled row has no verdict. `price_change` is the item's price less the base's, None
    where either is not stated or in another currency.
    """

    episode: str
    report: str
    tool: str
    protocol: str
    factor: str
    baseline: str
    item: str
    percent: float
    lower: float
    upper: float
    verdict: str
    how: str
    price_change: float | None
    currency: str

    @property
    def number(self) -> str:
        """The percentage as it is printed everywhere, "modelled" behind what is."""
        text = format_asymmetric(self.percent, self.lower, self.upper, "%", signed=True)
        return f"{text} modelled" if self.how == "modelled" else text

    @property
    def price(self) -> str:
        """The price of the change, an en dash where it is not stated."""
        if self.price_change is None:
            return format_number(None)
        return f"{'+' if self.price_change > 0 else ''}{format_stated(self.price_change, self.currency)}"


def effects_of(settings: Any, reports: Mapping[str, Results]) -> list[Effect]:
    """The effects that the reports hold, strongest change of each factor first; `reports` by their paths."""
    found = [effect for path, results in reports.items() for effect in _of_report(settings, path, results)]
    return sorted(found, key=lambda one: (one.factor, -abs(one.percent), one.report, one.item))


def effects_csv(effects: Iterable[Effect]) -> str:
    """effects.csv: a row per effect; setups and tools by their ids."""
    return csv_text([{name: getattr(one, name) for name in COLUMNS} for one in effects], COLUMNS)


def _of_report(settings: Any, path: str, results: Results) -> Iterator[Effect]:
    if results.get("axis") == "tools" or not results:
        return
    rows = results.get("differences", [])
    items = {one["id"]: one for one in results.get("items", [])}
    response = rows[0]["response"] if rows else ""
    told = headline_among([(row["metric"], row["at"]) for row in rows if row["response"] == response])
    for row in rows:
        if row["response"] == response and (row["metric"], row["at"]) == told:
            ends = items[row["item"]], items[row["baseline"]]
            yield from _effect(settings, path, results, ends, row, row["verdict_family"], "measured")
    for one in (results.get("supply") or {}).get("untested", []):
        if one["percent"] is not None:
            base = items[one["baseline"]]
            item = {"id": one["item"], "tool": base["tool"], "setup": _setup_of(one["item"], base)}
            figure = {"percent": one["percent"]["value"], **{k: one["percent"][k] for k in ("lower", "upper")}}
            yield from _effect(settings, path, results, (item, base), figure, "", "modelled")


def _setup_of(item: str, base: Mapping[str, Any]) -> str:
    """The setup of an untested item: its id, or what follows the tool in a pair's."""
    return item.partition("/")[2] if item.startswith(f"{base['tool']}/") else item


def _effect(
    settings: Any,
    path: str,
    results: Results,
    ends: tuple[Mapping[str, Any], Mapping[str, Any]],
    row: Mapping[str, Any],
    verdict: str,
    how: str,
) -> Iterator[Effect]:
    """None for two tools, and for a setup that the season no longer has or a number that is not known."""
    item, base = ends
    setups = settings.setups.get(item["setup"]), settings.setups.get(base["setup"])
    known = all(row[name] is not None and math.isfinite(row[name]) for name in ("percent", "lower", "upper"))
    if item["tool"] != base["tool"] or None in setups or not known:
        return
    after, before = setups
    episode = settings.episodes.get(results["episode"]["id"])
    priced = after.price is not None and before.price is not None and after.price_currency == before.price_currency
    yield Effect(
        episode=results["episode"]["id"],
        report=path,
        tool=base["tool"],
        protocol=results["protocol"]["id"],
        factor=(episode.factor if episode else "")
        or ", ".join(differing_parts(before, after))
        or "nothing that is stated",
        baseline=base["setup"],
        item=item["setup"],
        percent=row["percent"],
        lower=row["lower"],
        upper=row["upper"],
        verdict=verdict,
        how=how,
        price_change=after.price - before.price if priced else None,
        currency=after.price_currency if priced else "",
    )


def effect_rows(settings: Any, effects: Iterable[Effect]) -> list[dict[str, str]]:
    """The table's rows as printed, tools and setups by their labels."""
    return [
        {
            "factor": one.factor[:1].upper() + one.factor[1:],
            "tool": _tool_name(settings, one.tool),
            "change": f"{_name(settings.setups, one.item, 'label')} against {_name(settings.setups, one.baseline, 'label')}",
            "protocol": _name(settings.protocols, one.protocol, "label"),
            "number": one.number,
            "verdict": one.verdict,
            "how": one.how,
            "price": one.price,
            "report": one.report,
        }
        for one in effects
    ]


def _name(known: Mapping[str, Any], id: str, attribute: str) -> str:
    return (getattr(known[id], attribute) if id in known else "") or id


def _tool_name(settings: Any, tool: str) -> str:
    """A tool's name, with its id where two specimens of one model share it."""
    name = _name(settings.tools, tool, "name")
    shared = sum(other.name == name for other in settings.tools.values()) > 1
    return f"{name} ({tool})" if shared else name
