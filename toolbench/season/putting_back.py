"""The result with all runs beside the one with the runs used: what was excluded by hand is put back and judged again.

An unexplained value stays in and an exclusion has a reason, so a reader may see what the exclusions did.
Conditioning runs were never meant to count and a copy of a run is no run of its own: neither is put back.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from toolbench.errors import AnalysisError
from toolbench.metrology import Row
from toolbench.quantities import GLOSSARY, format_seconds
from toolbench.records.comparison import AllRuns, Difference, ExcludedRun, Item
from toolbench.records.findings import Finding
from toolbench.records.runs import Run
from toolbench.records.settings import RunEntry
from toolbench.season.beside import same_content
from toolbench.season.joining import NO_LINK, Joined
from toolbench.season.judged import Basis
from toolbench.season.opening import ReportPlan, Season
from toolbench.season.reducing import Timing, reduce_runs


@dataclass(frozen=True, slots=True)
class Returned:
    """What became of the runs of a report that were excluded by hand, and those of them that could be reduced."""

    told: tuple[ExcludedRun, ...]
    runs: tuple[Run, ...]


def read_excluded(season: Season, plan: ReportPlan, joined: Joined, timing: Timing) -> Returned:
    """Reduce the excluded runs of a report on the time base of the runs used, and say which cannot be put back and why."""
    runs = joined.runs
    warming = season.conditioning(plan.protocol)
    entries = [
        (cell.id, entry)
        for cell in plan.cells
        for entry in season.entries(cell.tool, cell.setup, plan.protocol)
        if entry.excluded and entry.run not in warming
    ]
    with_runs = {(run.entry.tool, run.entry.setup) for run in runs.values()}
    wanted = [entry for _, entry in entries if (entry.tool, entry.setup) in with_runs]
    failures = {entry.run: "no other run of its item could be used" for _, entry in entries if entry not in wanted}
    reduced, unread = _reduce_each(season, plan.protocol, wanted, timing)
    failures |= unread
    kept: list[Run] = []
    for run in reduced:
        brought = joined.bring(run)
        why = NO_LINK if brought is None else _not_comparable(brought, [*runs.values(), *kept])
        if why or brought is None:
            failures[run.id] = why
        else:
            kept.append(brought)
    told = tuple(
        ExcludedRun(item=item, run=entry.run, reason=entry.reason, failure=failures.get(entry.run, ""))
        for item, entry in entries
    )
    return Returned(told, tuple(kept))


def _reduce_each(
    season: Season, protocol: str, entries: Sequence[RunEntry], timing: Timing
) -> tuple[list[Run], dict[str, str]]:
    """One by one, as an excluded run that cannot be read is no reason against the others."""
    runs: list[Run] = []
    failures: dict[str, str] = {}
    for entry in entries:
        try:
            reduced = reduce_runs(season.settings, season.settings.protocols[protocol], [entry], timing)
        except AnalysisError as error:
            failures[entry.run] = error.faults[0].message
            continue
        runs += reduced.runs
        failures |= {one.run: fault.message for one, fault in reduced.failed}
    return runs, failures


def _not_comparable(run: Run, others: Sequence[Run]) -> str:
    """Why a run cannot stand beside the others; empty where it can."""
    for what in ("rig", "filter"):
        if getattr(run, what) != getattr(others[0], what):
            return f"it differs from the runs used in {what}, so it is another measurand"
    if any(run.id in finding.subjects for finding in same_content([*others, run])):
        return "it is the same recording as another run"
    return ""


def judge_all_runs(
    basis: Basis, items: Sequence[Item], runs: Mapping[str, Run], returned: Returned, rows: Sequence[Row]
) -> AllRuns | None:
    """The told `rows` judged with the excluded runs in; None where nothing was excluded by hand."""
    if not returned.told:
        return None
    back: dict[str, list[str]] = defaultdict(list)
    for one in returned.told:
        if not one.failure:
            back[one.item].append(one.run)
    if not back or not rows:
        return AllRuns(excluded=returned.told, differences=())
    whole = [replace(item, runs=(*item.runs, *back[item.id])) for item in items]
    outcome = basis.judge(whole, {**runs, **{run.id: run for run in returned.runs}}, rows)
    return AllRuns(excluded=returned.told, differences=outcome.differences)


def turned_findings(all_runs: AllRuns | None, used: Sequence[Difference], items: Sequence[Item]) -> list[Finding]:
    """One finding for each pair that is told otherwise with all runs than with the runs used."""
    if all_runs is None:
        return []
    turned: dict[tuple[str, str], list[tuple[Difference, Difference]]] = defaultdict(list)
    for whole, row in all_runs.beside(used):
        if whole.family_verdict != row.family_verdict:
            turned[(row.item, row.baseline)].append((whole, row))
    labels = {item.id: item.label or item.id for item in items}
    return [_turned(all_runs, pair, labels, rows) for pair, rows in turned.items()]


def _turned(
    all_runs: AllRuns,
    pair: tuple[str, str],
    labels: Mapping[str, str],
    rows: Sequence[tuple[Difference, Difference]],
) -> Finding:
    back = [one for one in all_runs.put_back if one.item in pair] or all_runs.put_back
    names = ", ".join(f"{one.run} ({one.reason})" for one in back)
    groups: dict[tuple[str, str], list[str]] = defaultdict(list)
    for whole, row in rows:
        groups[(whole.family_verdict, row.family_verdict)].append(_words(row))
    said = "; ".join(f"{new} instead of {old} in {', '.join(words)}" for (new, old), words in groups.items())
    return Finding(
        code="rests-on-exclusion",
        # A run is left out for a technical cause only, so the result with it is information, not a doubt.
        severity="note",
        kind="design",
        message=f"The verdict on {labels[pair[0]]} against {labels[pair[1]]} rests on leaving out {names}: with all runs it is {said}.",
        mend="say with the result why the run was left out, or repeat the test",
        # The base would make it a caveat of every other pair too.
        subjects=pair[:1],
    )


def _words(row: Difference) -> str:
    label = GLOSSARY[row.response].label if row.response in GLOSSARY else row.response.replace("_", " ")
    name = label[:1].lower() + label[1:]
    return f"{name} at {format_seconds(row.at)}" if row.metric == "at_mark" else f"{row.metric} {name}"
