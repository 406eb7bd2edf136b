"""Rows of a comparison and how they are judged: reduced runs to samples, samples to levels and differences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np

from toolbench.metrology import ItemRuns, Outcome, Row, compare_items
from toolbench.records.comparison import TOLD, Item
from toolbench.records.runs import Run
from toolbench.records.settings import Episode, Protocol
from toolbench.season.opening import Season
from toolbench.season.repeats import Repeats, lend_repeatability, sittings_of, value_of
from toolbench.season.sources import sources_of

METRIC_ORDER = (
    "at_mark",
    "sustained",
    "peak",
    "slope",
    "rise_time",
    "time_to",
    "flowing_pressure",
    "droop",
    "regulator_needed",
)


def compared_pairs(ids: Sequence[str], how: str) -> list[tuple[str, str]]:
    """Which items are compared with which base, by their ids in order: the first is the baseline."""
    if how == "neighbours":
        return [(after, before) for before, after in pairwise(ids)]
    if how == "all":
        return [(after, before) for before, after in combinations(ids, 2)]
    return [(item, ids[0]) for item in ids[1:]]


def find_rows(runs: Sequence[Run], protocol: Protocol) -> list[Row]:
    """Every metric that at least one run has, in the order of the page."""
    found: dict[tuple[str, str, float | None], Row] = {}
    for run in runs:
        for m in run.metrics:
            if np.isfinite(m.value):
                found.setdefault(
                    (m.response, m.metric, m.at), Row(response=m.response, metric=m.metric, at=m.at, unit=m.unit)
                )
    responses = list(dict.fromkeys([*protocol.response, *(row.response for row in found.values())]))
    return sorted(
        found.values(),
        key=lambda row: (
            responses.index(row.response),
            METRIC_ORDER.index(row.metric),
            row.at if row.at is not None else -1.0,
        ),
    )


def sample_of(season: Season, item: Item, runs: Mapping[str, Run], rows: Sequence[Row]) -> ItemRuns:
    """The runs of one item as metrology takes them: their values in some rows, their blocks, sittings and sources."""
    mine = [runs[r] for r in item.runs]
    values = np.array([[value_of(run, row) for row in rows] for run in mine], dtype=float)
    blocks = tuple(run.entry.block for run in mine)
    return ItemRuns(
        id=item.id,
        values=values,
        blocks=blocks if any(blocks) else (),
        sittings=sittings_of([run.entry for run in mine]),
        sources=sources_of(season.settings, item.id, mine, list(runs.values()), rows),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What the rows of one report are judged by, whatever runs take part."""

    season: Season
    episode: Episode
    protocol: Protocol
    pairs: Sequence[tuple[str, str]]
    repeats: Repeats

    def judge(self, items: Sequence[Item], runs: Mapping[str, Run], rows: Sequence[Row]) -> Outcome:
        """Rows that hold together as one family."""
        lend = self.repeats or self.protocol.repeatability
        return compare_items(
            [sample_of(self.season, item, runs, rows) for item in items],
            rows,
            self.pairs,
            confidence=self.protocol.confidence,
            pooled=lend_repeatability(self.repeats, self.protocol, rows) if lend else None,
            # The limit is one of the response; a slope, a time or a pressure within it would say nothing.
            equivalent_within=self.episode.equivalent_within if rows == told_rows(rows, self.protocol) else None,
        )


def told_rows(rows: Sequence[Row], protocol: Protocol) -> list[Row]:
    """The rows of the response that are told as one story."""
    return [row for row in rows if row.metric in TOLD and row.response in protocol.response]


def judge_rows(
    basis: Basis, items: Sequence[Item], runs: Mapping[str, Run], rows: Sequence[Row]
) -> tuple[Outcome, Outcome | None]:
    """All rows in one outcome, with the family of what is told of the response, and the outcome of all that explains it."""
    told = told_rows(rows, basis.protocol)
    rest = [row for row in rows if row not in told]
    outcomes = [basis.judge(items, runs, part) for part in (told, rest) if part]
    place = {(row.response, row.metric, row.at): k for k, row in enumerate(rows)}
    names = {item.id: k for k, item in enumerate(items)}
    contests = {pair: k for k, pair in enumerate(basis.pairs)}
    whole = replace(
        outcomes[0],
        levels=tuple(
            sorted(
                (level for outcome in outcomes for level in outcome.levels),
                key=lambda one: (names[one.item], place[(one.response, one.metric, one.at)]),
            )
        ),
        differences=tuple(
            sorted(
                (one for outcome in outcomes for one in outcome.differences),
                key=lambda one: (contests[(one.item, one.baseline)], place[(one.response, one.metric, one.at)]),
            )
        ),
    )
    return whole, outcomes[-1] if rest else None
