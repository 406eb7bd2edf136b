"""Levels of many tools under one protocol, each on the setup that counts for it, ready to be scored together.

Every run of a tool counts, or those of its newest test (`retests`). Runs made on another rig or with another filter are
another measurand; runs of other epochs of the rig are brought to that of the first tool by the check standard, or left out. What
tools share, such as the cell's scale, keeps the name of its source, so it cancels between them.

A score adds several metrics of the same runs, whose scatter is correlated: the scatter of one tool's metrics is an ensemble
(GUM H.2), with the correlation that the runs of all tools show about their means.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from toolbench.errors import AnalysisError
from toolbench.metrology import ItemRuns, Row, combine
from toolbench.metrology.samples import summarise
from toolbench.metrology.sittings import find_precision
from toolbench.records.comparison import Component, Estimate, Item
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, Run
from toolbench.records.settings import EMPTY, Episode, Protocol, RunEntry
from toolbench.season.design import design_findings
from toolbench.season.joining import NO_LINK, join_epochs
from toolbench.season.judged import find_rows, sample_of
from toolbench.season.opening import Season
from toolbench.season.reducing import Reduced, reduce_runs
from toolbench.season.repeats import find_repeats, lend_repeatability
from toolbench.season.standards import chart_standards, doubted_runs, in_time, read_standards
from toolbench.season.standings.retests import split_tests

Wanted = tuple[str, float | None]
"""A metric and its place: seconds for a mark, the level for the time to it, else None."""
FEWEST_FREEDOM = 3
"""A correlation between metrics is taken from the runs where so many degrees of freedom show it; else it is taken as none."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ToolLevels:
    """One tool under one protocol: an estimate per metric or the reason why there is none, and the runs they rest on."""

    estimates: Mapping[Wanted, Estimate] = field(default_factory=dict)
    missing: Mapping[Wanted, str] = field(default_factory=dict)
    none: str = ""
    """Why there is no level at all."""
    runs: tuple[Run, ...] = ()
    replaced: tuple[str, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()
    scatter: frozenset[str] = frozenset()
    """Sources that are scatter of these runs."""

    def of(self, wanted: Wanted) -> Estimate | str:
        """The estimate, or why there is none."""
        return self.estimates.get(wanted) or self.none or self.missing.get(wanted, "no such metric")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProtocolLevels:
    """All tools under one protocol."""

    tools: Mapping[str, ToolLevels]
    findings: tuple[Finding, ...] = ()
    digests: Mapping[str, str] = field(default_factory=lambda: EMPTY)


def read_levels(
    season: Season, protocol: Protocol, setups: Mapping[str, str], wanted: Sequence[Wanted], *, newest: bool
) -> ProtocolLevels:
    """Levels of some tools under one protocol.

    Parameters
    ----------
    setups
        The setup that counts, by tool.
    wanted
        Metrics; marks and levels that the protocol does not state are looked at too.
    newest
        Whether only the newest test of a tool counts.
    """
    asked = _asked(protocol, wanted)
    entries = {tool: _entries(season, tool, setup, protocol.id) for tool, setup in setups.items()}
    try:
        reduced = reduce_runs(season.settings, asked, [entry for mine in entries.values() for entry in mine])
    except AnalysisError as error:
        told = {tool: _nothing(season, tool, setups[tool], protocol, entries[tool], error) for tool in setups}
        return ProtocolLevels(tools={tool: ToolLevels(none=why) for tool, why in told.items()})
    found = _found(season, protocol, setups, entries, reduced, newest=newest)
    measured = {tool: one for tool, one in found.items() if one.runs}
    made = _Judging(season, asked, wanted, reduced, measured).levels() if measured else _NOTHING
    return ProtocolLevels(
        tools={**found, **made.tools},
        findings=made.findings,
        digests={**made.digests, **{run.entry.file: run.digest for run in reduced.runs}},
    )


_NOTHING = ProtocolLevels(tools={})


def _asked(protocol: Protocol, wanted: Sequence[Wanted]) -> Protocol:
    """The protocol with the marks and levels of the scorecard beside its own."""
    marks = sorted({at for metric, at in wanted if metric == "at_mark" and at is not None})
    reach = [at for metric, at in wanted if metric == "time_to" and at is not None]
    if marks:
        protocol = replace(protocol, marks_s=tuple(sorted({*(protocol.marks_s or ()), *marks})))
    return replace(protocol, reach=tuple(dict.fromkeys([*protocol.reach, *reach])))


def _entries(season: Season, tool: str, setup: str, protocol: str) -> list[RunEntry]:
    warming = season.conditioning(protocol)
    found = season.entries(tool, setup, protocol) if setup else ()
    return [entry for entry in found if not entry.excluded and entry.run not in warming]


def _nothing(
    season: Season, tool: str, setup: str, protocol: Protocol, entries: Sequence[RunEntry], error: AnalysisError | None
) -> str:
    """Why a tool has no level on the setup that counts."""
    if entries:
        why = f": {error.faults[0].message}" if error is not None else ""
        return f"none of its {len(entries)} runs under {protocol.label} can be used{why}"
    others = {run.setup for run in season.settings.runs if (run.tool, run.protocol) == (tool, protocol.id)} - {setup}
    label = season.settings.setups[setup].label if setup in season.settings.setups else "any setup"
    elsewhere = f", only on {', '.join(sorted(others))}" if others else ""
    return f"not run under {protocol.label} on {label}{elsewhere}"


def _found(
    season: Season, protocol: Protocol, setups: Mapping[str, str], entries: Mapping[str, Sequence[RunEntry]],
    reduced: Reduced, *, newest: bool,
) -> dict[str, ToolLevels]:  # fmt: skip
    """The runs that count of each tool, on the rig of the first of them; no level yet."""
    failed = {entry.run: fault.message for entry, fault in reduced.failed}
    by_id = {run.id: run for run in reduced.runs}
    found: dict[str, ToolLevels] = {}
    for tool, mine in entries.items():
        runs = [by_id[entry.run] for entry in mine if entry.run in by_id]
        tests = split_tests(runs)
        kept = tests[-1] if newest and tests else tuple(runs)
        found[tool] = ToolLevels(
            none="" if runs else _nothing(season, tool, setups[tool], protocol, mine, None),
            runs=tuple(in_time(kept)),
            replaced=tuple(run.id for run in runs if run not in kept),
            left_out=tuple((entry.run, failed[entry.run]) for entry in mine if entry.run in failed),
        )
    return _of_one_rig(found)


def _of_one_rig(found: Mapping[str, ToolLevels]) -> dict[str, ToolLevels]:
    """Runs on another rig, or read with another filter, than the first ever made are of another measurand."""
    first = next(iter(in_time(run for one in found.values() for run in one.runs)), None)
    kept: dict[str, ToolLevels] = {}
    for tool, one in found.items():
        other = [run for run in one.runs if first and (run.rig, run.filter) != (first.rig, first.filter)]
        runs = tuple(run for run in one.runs if run not in other)
        lost = tuple((run.id, f"run on {_rig(run)}, not on {_rig(first)}") for run in other if first)
        none = f"run on {_rig(other[0])} only, not on {_rig(first)}" if other and first and not runs else one.none
        kept[tool] = replace(one, runs=runs, left_out=(*one.left_out, *lost), none=none)
    return kept


def _rig(run: Run) -> str:
    words = ", ".join(filter(None, (run.rig, run.filter)))
    return f"the rig {words}" if words else "a rig that is not stated"


class _Judging:
    """The tools of one protocol that were measured, judged beside each other."""

    def __init__(
        self, season: Season, protocol: Protocol, wanted: Sequence[Wanted], reduced: Reduced,
        found: Mapping[str, ToolLevels],
    ) -> None:  # fmt: skip
        self.season, self.protocol, self.wanted, self.reduced, self.found = season, protocol, wanted, reduced, found

    def levels(self) -> ProtocolLevels:
        season, protocol = self.season, self.protocol
        items = self._items()
        runs = {run.id: run for one in self.found.values() for run in one.runs}
        standards = read_standards(season, {run.rig for run in runs.values()})
        joined = join_epochs(season, protocol, items, runs, standards)
        rows = self._rows(list(joined.runs.values()))
        samples = [sample_of(season, item, joined.runs, list(rows.values())) for item in joined.items]
        judged = self._judge(samples, list(rows.values()), joined.runs)
        made = {
            item.id: self._tool(item, joined.runs, rows, estimates)
            for item, estimates in zip(joined.items, judged, strict=True)
        }
        apart = {
            item.id: replace(
                self.found[item.id], none=NO_LINK, runs=(), left_out=tuple((run, NO_LINK) for run in item.runs)
            )
            for item in joined.left_out
        }
        used = [run for run in runs.values() if run.id in joined.runs]
        findings = [
            *(finding for run in used for finding in run.findings if finding.severity != "note"),
            *(finding for finding in self.reduced.findings if finding.severity != "note"),
            *(
                one
                for one in design_findings(season.settings, _AS_ASKED, protocol, joined.items, used)
                if one.code not in _PAIRS
            ),
            *joined.findings,
            *doubted_runs(chart_standards(season, standards), used),
            *self._free_duration(),
        ]
        return ProtocolLevels(
            tools={**made, **apart},
            findings=tuple(findings),
            digests={run.entry.file: run.digest for run in standards},
        )

    def _items(self) -> list[Item]:
        """The tools in the order they were first run: the rig as it was then is what all are brought to."""
        firsts = in_time(one.runs[0] for one in self.found.values())
        order = {run.entry.tool: place for place, run in enumerate(firsts)}
        return [
            Item(
                id=tool,
                label=self.season.tool_label(tool),
                tool=tool,
                setup=one.runs[0].entry.setup,
                runs=tuple(run.id for run in one.runs),
            )
            for tool, one in sorted(self.found.items(), key=lambda pair: order[pair[0]])
        ]

    def _rows(self, runs: Sequence[Run]) -> dict[Wanted, Row]:
        """The row of every metric that a run has."""
        found = find_rows(runs, self.protocol)
        first = self.protocol.response[0]
        rows: dict[Wanted, Row] = {}
        for metric, at in self.wanted:
            like = [row for row in found if row.metric == metric and _same_place(row.at, at)]
            mine = [row for row in like if row.response == first] or like
            if mine:
                rows[(metric, at)] = mine[0]
        return rows

    def _judge(self, samples: Sequence[ItemRuns], rows: Sequence[Row], runs: Mapping[str, Run]) -> list[list[Estimate]]:
        """An estimate for each tool and row; nan where no run has a value."""
        lent = [None] * len(rows)
        if any(len(sample.values) == 1 for sample in samples):
            repeats = find_repeats(self.season, self.protocol, runs, self.reduced.timing)
            lent = lend_repeatability(repeats, self.protocol, rows)  # type: ignore[assignment]
        precision = [find_precision([(one.values[:, r], one.sittings) for one in samples]) for r in range(len(rows))]
        correlation = metrics_correlation([sample.values for sample in samples])
        return [
            _as_ensemble(
                [summarise(sample, r, row, (), lent[r], precision[r]).estimate for r, row in enumerate(rows)],
                correlation,
                f"{self.protocol.id}/{sample.id}",
            )
            for sample in samples
        ]

    def _tool(
        self, item: Item, runs: Mapping[str, Run], rows: Mapping[Wanted, Row], estimates: Sequence[Estimate]
    ) -> ToolLevels:
        before, mine = self.found[item.id], [runs[run] for run in item.runs]
        missing = {wanted: f"no run gives {_words(wanted[0])}" for wanted in self.wanted if wanted not in rows}
        known: dict[Wanted, Estimate] = {}
        for (wanted, row), estimate in zip(rows.items(), estimates, strict=True):
            values = [one.value for run in mine if (one := run.metric(row.response, row.metric, row.at)) is not None]
            reached = sum(map(math.isfinite, values))
            if wanted[0] == "time_to" and reached < len(mine):
                missing[wanted] = f"{len(mine) - reached} of its {len(mine)} runs do not reach the level"
            elif reached == 0 or not math.isfinite(estimate.value):
                missing[wanted] = f"none of its {len(mine)} runs gives {_words(wanted[0])}"
            else:
                known[wanted] = estimate
        own = [f"repeatability/{item.id}/", f"scatter/{self.protocol.id}/{item.id}#"]
        sources = {c.source for estimate in known.values() for c in estimate.components}
        return replace(
            before,
            estimates=known,
            missing=missing,
            runs=tuple(mine),
            left_out=(*before.left_out, *item.excluded),
            scatter=frozenset(source for source in sources if source.startswith(tuple(own))),
        )

    def _free_duration(self) -> list[Finding]:
        """Without a stated duration the shortest run decides the window, so a new run could move every score."""
        if self.protocol.duration_s is not None:
            return []
        return [
            Finding(
                code="duration-not-stated",
                severity="doubtful",
                kind="design",
                message=f"{self.protocol.label} states no duration: the shortest run decides the window, so a new run can move "
                "the scores of all tools.",
                mend=f'state it, such as duration = "{self.reduced.timing.duration_s:g} s" in [protocols.{self.protocol.id}]',
            )
        ]


_AS_ASKED = Episode(id="standings", title="", factor="the tool", disclosure="beside the name")
"""What the checks of a design ask of an episode: tools on the setups that count, how each was obtained beside its name."""

_PAIRS = ("blocks-incomplete", "compared-in-part")
"""What is said of pairs within blocks: here every tool is judged by itself, between its own sittings."""


def _same_place(first: float | None, second: float | None) -> bool:
    if first is None or second is None:
        return first is second
    return math.isclose(first, second, rel_tol=1e-9)


def _words(metric: str) -> str:
    return f"the metric {metric}"


def metrics_correlation(values: Iterable[Floats]) -> Floats:
    """Correlation of the columns (metrics) over runs about each tool's mean, as a share of the tool's level.

    Parameters
    ----------
    values
        One per tool, of shape (runs, metrics).

    Returns
    -------
    shape (metrics, metrics)
        No correlation where fewer than `FEWEST_FREEDOM` degrees of freedom show one.
    """
    residuals, freedom, count = [], 0, 0
    for mine in values:
        count = mine.shape[1]
        known = mine[np.isfinite(mine).all(axis=1)]
        mean = known.mean(axis=0) if len(known) else np.zeros(count)
        if len(known) > 1 and np.all(mean != 0):
            residuals.append(known / mean - 1.0)
            freedom += len(known) - 1
    if freedom < FEWEST_FREEDOM:
        return np.eye(count)
    whole = np.concatenate(residuals)
    products = whole.T @ whole
    size = np.sqrt(np.diag(products))
    size = np.where(size > 0, size, 1.0)
    found = products / np.outer(size, size)
    np.fill_diagonal(found, 1.0)
    return np.asarray(found)


def _as_ensemble(estimates: Sequence[Estimate], correlation: Floats, name: str) -> list[Estimate]:
    """Several metrics of the same runs with the scatter of these, and of their sitting, correlated as the runs show it."""
    if len(estimates) < 2:
        return list(estimates)
    weights, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.clip(weights, 0.0, None))
    return [
        combine(one.value, one.unit, [(replace(one, components=_split(one.components, shares, name)), 1.0)])
        for one, shares in zip(estimates, root, strict=True)
    ]


def _split(components: Sequence[Component], shares: Floats, name: str) -> tuple[Component, ...]:
    parts: list[Component] = []
    for component in components:
        kind, _, rest = component.source.partition("/")
        ensemble = {"repeatability": f"scatter/{name}", "sitting": f"sitting/{rest.partition('/')[0]}"}.get(kind)
        if ensemble is None or component.contained:
            parts.append(component)
            continue
        parts += [
            replace(component, source=f"{ensemble}#{j}", contribution=component.contribution * float(share))
            for j, share in enumerate(shares)
            if share != 0
        ]
    return tuple(parts)
