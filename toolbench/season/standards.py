"""The check standard over a season: its chart on each rig, and the runs that a block out of control puts in doubt.

A block is in doubt when its own check standard run is out of control. A run of no such block is placed by its date: it is in
doubt when the block of the check standard before it or the one after it is out of control, which is every run since the last
good block and until the next. A change of the rig starts a new chart: its blocks are not judged by those before it.
"""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from toolbench.errors import AnalysisError
from toolbench.metrology import JudgedBlocks, check_standard_findings, judge_blocks
from toolbench.metrology.standard import apart_words, block_words, step_words
from toolbench.records.findings import Finding
from toolbench.records.runs import Run
from toolbench.season.epochs import find_epochs
from toolbench.season.opening import Season
from toolbench.season.reducing import reduce_runs


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardChart:
    """The check standard's blocks on one rig in one epoch of it, under one setup and protocol, in order of time.

    `means` are of the sustained `response` [`unit`]; `started` is when the first and the last of a block's runs were, None
    where not known of all of them. The epoch is from day `since` to before day `until`, None where it has no such end.
    """

    label: str
    rig: str
    response: str
    unit: str
    blocks: tuple[str, ...]
    means: tuple[float, ...]
    started: tuple[tuple[datetime, datetime] | None, ...]
    judged: JudgedBlocks
    stated: int = 0
    """How many first blocks are stated to be in control."""
    since: date | None = None
    until: date | None = None

    def may_cover(self, run: Run) -> bool:
        """Whether a run is of the chart's epoch, or may be, since its day is not known."""
        if run.entry.started is None:
            return True
        day = run.entry.started.date()
        return (self.since is None or self.since <= day) and (self.until is None or day < self.until)


def check_standards(season: Season) -> frozenset[str]:
    """The tools that are the season's check standards."""
    return frozenset(tool.id for tool in season.settings.tools.values() if tool.role == "check standard")


def read_standards(season: Season, rigs: Iterable[str]) -> list[Run]:
    """Every usable run of a check standard on these rigs, each on its own time base, as `check` reads them."""
    settings, standards, wanted = season.settings, check_standards(season), set(rigs)
    runs: list[Run] = []
    for entry in settings.runs:
        if entry.tool not in standards or entry.excluded or settings.loggers[entry.logger].rig not in wanted:
            continue
        try:
            runs += reduce_runs(settings, settings.protocols[entry.protocol], [entry]).runs
        except AnalysisError:
            # What is wrong with it is told by `check` and by the reports that compare it; the chart goes on without it.
            continue
    return runs


def chart_standards(season: Season, runs: Iterable[Run]) -> list[StandardChart]:
    """A chart of block means for each rig and epoch, tool, setup and protocol of a check standard, of the runs given."""
    standards, epochs = check_standards(season), find_epochs(season.settings)
    groups: dict[tuple[str, str, str, str], dict[int | None, dict[str, list[Run]]]] = defaultdict(dict)
    for run in in_time(runs):
        entry = run.entry
        if entry.tool not in standards or entry.excluded or not math.isfinite(_level(season, run)):
            continue
        by_epoch = groups[(run.rig, entry.tool, entry.setup, entry.protocol)]
        by_epoch.setdefault(epochs.of(entry), {}).setdefault(entry.block or run.id, []).append(run)
    charts: list[StandardChart] = []
    for by_epoch in groups.values():
        for epoch, blocks in by_epoch.items():
            since, until = (None, None) if epoch is None else epochs.bounds(epoch)
            words = "not dated" if epoch is None else epochs.words(epoch)
            charts.append(_chart(season, blocks, f", {words}" if len(by_epoch) > 1 else "", since, until))
    return charts


def _chart(
    season: Season, blocks: dict[str, list[Run]], when: str, since: date | None, until: date | None
) -> StandardChart:
    first = next(iter(blocks.values()))[0]
    response = season.settings.protocols[first.entry.protocol].response[0]
    means = tuple(statistics.fmean(_level(season, run) for run in runs) for runs in blocks.values())
    stated = _stated(season, blocks.values())
    return StandardChart(
        label=f"{season.settings.tools[first.entry.tool].name} on {first.entry.setup} under {first.entry.protocol}{when}",
        rig=first.rig,
        response=response,
        unit=next(metric.unit for metric in first.metrics if metric.response == response),
        blocks=tuple(blocks),
        means=means,
        started=tuple(_span(runs) for runs in blocks.values()),
        judged=judge_blocks(means, stated),
        stated=stated,
        since=since,
        until=until,
    )


def _stated(season: Season, blocks: Iterable[Sequence[Run]]) -> int:
    """How many first blocks were run up to the day until which the check standard is stated to be in control."""
    until = season.settings.in_control_until
    if until is None:
        return 0
    days = [span[1].date() if (span := _span(runs)) else None for runs in blocks]
    return next((k for k, day in enumerate(days) if day is None or day > until), len(days))


def _level(season: Season, run: Run) -> float:
    found = run.metric(season.settings.protocols[run.entry.protocol].response[0], "sustained")
    return math.nan if found is None else found.value


def in_time(runs: Iterable[Run]) -> list[Run]:
    """Runs in the order they were made, those without a date first, by name."""
    return sorted(runs, key=lambda one: (_instant(one), one.id))


def _instant(run: Run) -> float:
    """Its start as a number to sort by; a stamp with no zone is taken as it stands, as all of a season are written one way."""
    started = run.entry.started
    if started is None:
        return -math.inf
    return (started.replace(tzinfo=None) - datetime.min).total_seconds() - (
        offset.total_seconds() if (offset := started.utcoffset()) else 0.0
    )


def _span(runs: Sequence[Run]) -> tuple[datetime, datetime] | None:
    stamps = [run.entry.started for run in runs if run.entry.started is not None]
    return (min(stamps), max(stamps)) if len(stamps) == len(runs) else None


def chart_findings(charts: Iterable[StandardChart]) -> list[Finding]:
    """Blocks out of control, for the list of `check`."""
    return [
        finding
        for chart in charts
        for finding in check_standard_findings(chart.means, chart.blocks, chart.label, chart.stated)
    ]


def doubted_runs(charts: Iterable[StandardChart], runs: Sequence[Run]) -> list[Finding]:
    """The runs of a report that a check standard out of control puts in doubt, one finding for each stretch of its blocks."""
    found: list[Finding] = []
    for chart in charts:
        if not chart.judged.out:
            continue
        touched = [
            run
            for run in runs
            if run.rig == chart.rig and chart.may_cover(run) and any(m.response == chart.response for m in run.metrics)
        ]
        near = {run.id: _blocks_about(chart, run) for run in touched}
        for stretch in _stretches(chart.judged.out):
            doubtful = [run.id for run in touched if not stretch.isdisjoint(near[run.id] or ())]
            if doubtful:
                found.append(_in_doubt(chart, sorted(stretch), doubtful))
        unplaced = [name for name, blocks in near.items() if blocks is None]
        if unplaced:
            found.append(_not_placed(chart, unplaced))
    return found


def _blocks_about(chart: StandardChart, run: Run) -> tuple[int, ...] | None:
    """The chart's block that a run is of, else those before and after it in time; None where neither is known."""
    block = run.entry.block or run.id
    if block in chart.blocks:
        return (chart.blocks.index(block),)
    started = run.entry.started
    if started is None or None in chart.started:
        return None
    before = sum(span is not None and span[0] <= started for span in chart.started)
    return tuple(k for k in (before - 1, before) if 0 <= k < len(chart.blocks))


def _stretches(out: frozenset[int]) -> list[set[int]]:
    """Blocks out of control one after the other."""
    stretches: list[set[int]] = []
    for block in sorted(out):
        if stretches and block - 1 in stretches[-1]:
            stretches[-1].add(block)
        else:
            stretches.append({block})
    return stretches


def _in_doubt(chart: StandardChart, stretch: Sequence[int], runs: Sequence[str]) -> Finding:
    judged, names = chart.judged, [chart.blocks[block] for block in stretch]
    apart = [judged.apart[block] for block in stretch if block in judged.apart]
    together = [step_words(judged.step)] if judged.step and len(apart) < len(stretch) else []
    why, where = "; ".join([*map(apart_words, apart[:1]), *together]), block_words(names)
    since = f"since its last good block, {chart.blocks[stretch[0] - 1]}" if stretch[0] else "with no good block before"
    return _doubt(
        f"The check standard {chart.label} is out of control in {where}: {why}. "
        f"In doubt, made {since}: {_listed(runs)}.",
        runs,
    )


def _not_placed(chart: StandardChart, runs: Sequence[str]) -> Finding:
    names = [chart.blocks[block] for block in sorted(chart.judged.out)]
    return _doubt(
        f"The check standard {chart.label} is out of control in block {', '.join(names)}, and whether that touches "
        f"{_listed(runs)} is not known: start or block is not stated.",
        runs,
    )


def _doubt(message: str, runs: Sequence[str]) -> Finding:
    return Finding(
        code="check-standard-out-of-control",
        severity="doubtful",
        kind="statistical",
        message=message,
        mend="find what changed on the rig; repeat these runs, or exclude them with the reason rig fault",
        subjects=tuple(runs),
    )


NAMED = 6
"""Runs named in a sentence; the others are counted, and all are among the finding's subjects."""


def _listed(runs: Sequence[str]) -> str:
    if len(runs) == 1:
        return f"run {runs[0]}"
    more = f" and {len(runs) - NAMED} more" if len(runs) > NAMED else ""
    return f"{len(runs)} runs ({', '.join(runs[:NAMED])}{more})"
