"""From a plan to a comparison: runs reduced on one time base, handed to metrology, and judged for their design."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from toolbench.errors import AnalysisError, Fault
from toolbench.metrology import (
    ItemCurves,
    Row,
    find_spans,
    make_bands,
    statistical_findings,
)
from toolbench.records.comparison import Band, ComparisonRecord, Item
from toolbench.records.findings import Finding, worst_first
from toolbench.records.runs import Floats, Run
from toolbench.records.settings import Protocol, RunEntry
from toolbench.season.beside import like_findings, same_content
from toolbench.season.checked import add_check
from toolbench.season.departures import departure_along
from toolbench.season.design import design_findings, refuse_unlike
from toolbench.season.joining import Joined, join_epochs, too_few
from toolbench.season.judged import Basis, compared_pairs, find_rows, judge_rows, sample_of, told_rows
from toolbench.season.opening import Cell, ReportPlan, Season, find_plan
from toolbench.season.outcome import Comparison
from toolbench.season.plausible import supply_doubts
from toolbench.season.putting_back import judge_all_runs, read_excluded, turned_findings
from toolbench.season.reducing import Reduced, reduce_runs
from toolbench.season.repeats import Repeats, find_repeats, sittings_of
from toolbench.season.sources import cells_of, parts_of
from toolbench.season.standards import chart_standards, doubted_runs, read_standards
from toolbench.season.supply.explaining import explain_supply

BAND_POINTS = 100
"""Grid times of the bands at most: a blow's ripple is averaged, and a stretch of time is one statement, not fifty."""


def compare(
    season: Season,
    *,
    episode: str,
    tool: str | None = None,
    setup: str | None = None,
    pairs: bool = False,
    protocol: str | None = None,
    monte_carlo: bool = False,
    t_inputs: bool = False,
) -> Comparison:
    """Compare the setups of one tool, the tools on one setup, or an episode's pairs.

    Parameters
    ----------
    season
        What `open_season` returned.
    episode
        Id of the episode.
    tool, setup, pairs
        One of them: a tool compares its setups, a setup its tools, `pairs` the episode's pairs. An empty string is none.
    protocol
        Needed where the episode has several.
    monte_carlo
        Check the percent differences by Monte Carlo (JCGM 101), with the inputs of their budgets.
    t_inputs
        With `monte_carlo`: the intervals that t-distributed inputs give, too, as information.

    Returns
    -------
    Comparison
        Levels, differences and bands as tidy tables [SI units], and the record they are taken from.

    Raises
    ------
    UsageError
        No report, or several, match.
    AnalysisError
        Fewer than two items have a usable run, or the runs are not of the same measurand.
    """
    plan = find_plan(season, episode=episode, tool=tool, setup=setup, pairs=pairs, protocol=protocol)
    record = compare_plan(season, plan)
    return Comparison(add_check(record, t_inputs=t_inputs) if monte_carlo or t_inputs else record, season)


def compare_plan(season: Season, plan: ReportPlan) -> ComparisonRecord:
    """The comparison that a plan asks for. Raises AnalysisError where the runs do not carry one."""
    settings = season.settings
    episode, protocol = settings.episodes[plan.episode], settings.protocols[plan.protocol]
    chosen, excluded = _choose(season, plan)
    reduced = reduce_runs(settings, protocol, [entry for entries in chosen.values() for entry in entries])
    items = _items(plan, chosen, excluded, reduced)
    if len(items) < 2:
        raise AnalysisError(_too_few(plan, items, reduced))
    refuse_unlike(reduced.runs, plan.path)
    standards = read_standards(season, {run.rig for run in reduced.runs})
    joined = join_epochs(season, protocol, items, {run.id: run for run in reduced.runs}, standards)
    items, runs = joined.items, joined.runs
    if len(items) < 2:
        raise too_few(joined, plan.path)
    rows = find_rows(list(runs.values()), protocol)
    pairs = compared_pairs([item.id for item in items], episode.compare)
    single = any(len(item.runs) == 1 for item in items)
    repeats = find_repeats(season, protocol, runs, reduced.timing) if single else ()
    basis = Basis(season=season, episode=episode, protocol=protocol, pairs=pairs, repeats=repeats)
    outcome, supporting = judge_rows(basis, items, runs, rows)
    returned = read_excluded(season, plan, joined, reduced.timing)
    all_runs = judge_all_runs(basis, items, runs, returned, told_rows(rows, protocol))
    found = [
        *_findings(season, plan, joined, reduced, rows, standards),
        *turned_findings(all_runs, outcome.differences, items),
    ]
    bands = tuple(
        band
        for response in protocol.response
        if all(response in run.traces for run in runs.values())
        for band in _bands(season, response, items, runs, pairs, protocol, repeats)
    )
    record = ComparisonRecord(
        axis=plan.axis,
        subject=plan.subject,
        episode=episode,
        protocol=protocol,
        items=items,
        baseline=items[0].id,
        runs=tuple(runs[r] for item in items for r in item.runs),
        levels=outcome.levels,
        differences=outcome.differences,
        bands=bands,
        spans=find_spans(bands, after_s=_judged_after(list(runs.values()))),
        findings=worst_first(list(dict.fromkeys(found))),
        duration_s=reduced.timing.duration_s,
        marks_s=reduced.timing.marks_s,
        window_s=reduced.timing.window_s,
        confidence=protocol.confidence,
        family_size=outcome.family_size,
        family_level=outcome.family_level,
        supporting_size=supporting.family_size if supporting else 0,
        supporting_level=supporting.family_level if supporting else float("nan"),
        digests=_digests(
            season, [*reduced.runs, *standards, *returned.runs, *(run for like in repeats for run in like)]
        ),
        compensated=protocol.hold is not None and protocol.hold.channel == "inlet_pressure",
        all_runs=all_runs,
    )
    absent = _absent(plan, items)
    explained = explain_supply(season, record, absent)
    if explained is None:
        return record
    shown = [*items, *absent]
    doubts = supply_doubts(settings, [item.setup for item in shown], [item.tool for item in shown])
    return replace(
        record,
        supply=explained.supply,
        findings=worst_first([*record.findings, *doubts]),
        digests={**explained.digests, **record.digests},
    )


def _choose(season: Season, plan: ReportPlan) -> tuple[dict[str, list[RunEntry]], dict[str, list[tuple[str, str]]]]:
    """Entries per item, without what is excluded by hand and the conditioning runs of each block, which are listed."""
    chosen: dict[str, list[RunEntry]] = {}
    excluded: dict[str, list[tuple[str, str]]] = defaultdict(list)
    warming = season.conditioning(plan.protocol)
    for cell in plan.cells:
        chosen[cell.id] = []
        for entry in season.entries(cell.tool, cell.setup, plan.protocol):
            if entry.excluded:
                excluded[cell.id].append((entry.run, entry.reason))
            elif entry.run in warming:
                excluded[cell.id].append((entry.run, "conditioning run"))
            else:
                chosen[cell.id].append(entry)
    return chosen, excluded


def _absent(plan: ReportPlan, items: Sequence[Item]) -> list[Item]:
    """What the report asks for and what has no run."""
    there = {item.id for item in items}
    return [
        Item(id=cell.id, label=cell.label, tool=cell.tool, setup=cell.setup, runs=(), excluded=())
        for cell in plan.cells
        if cell.id not in there
    ]


def _items(
    plan: ReportPlan,
    chosen: dict[str, list[RunEntry]],
    excluded: dict[str, list[tuple[str, str]]],
    reduced: Reduced,
) -> tuple[Item, ...]:
    usable = {run.id for run in reduced.runs}
    failed = {entry.run: fault.message for entry, fault in reduced.failed}

    def item(cell: Cell) -> Item:
        left = [(entry.run, failed[entry.run]) for entry in chosen[cell.id] if entry.run in failed]
        return Item(
            id=cell.id,
            label=cell.label,
            tool=cell.tool,
            setup=cell.setup,
            runs=tuple(entry.run for entry in chosen[cell.id] if entry.run in usable),
            excluded=(*excluded[cell.id], *left),
        )

    return tuple(made for cell in plan.cells if (made := item(cell)).runs)


def _too_few(plan: ReportPlan, items: Sequence[Item], reduced: Reduced) -> Fault:
    """What is missing for a comparison, with the first recordings that could not be used."""
    told = [f"{entry.file}: {fault.message}" for entry, fault in reduced.failed]
    more = f"; and {len(told) - 2} more (see `toolbench check`)" if len(told) > 2 else ""
    lost = f"; {'; '.join(told[:2])}{more}" if told else ""
    have = f"only {items[0].id} has a usable run" if items else "no run is usable"
    return Fault(f"{have}{lost}", key=plan.path)


def _bands(
    season: Season,
    response: str,
    items: Sequence[Item],
    runs: dict[str, Run],
    pairs: Sequence[tuple[str, str]],
    protocol: Protocol,
    repeats: Repeats,
) -> tuple[Band, ...]:
    first = next(iter(runs.values()))
    coarse = {name: _coarse(run.traces[response].mean) for name, run in runs.items()}
    cells = list(cells_of(runs.values()).values())
    curves = []
    for item in items:
        mine = [runs[r] for r in item.runs]
        blocks = tuple(run.entry.block for run in mine)
        curves.append(
            ItemCurves(
                id=item.id,
                curves=np.stack([coarse[run.id] for run in mine]),
                blocks=blocks if all(blocks) else (),
                sittings=sittings_of([run.entry for run in mine]),
                sources=parts_of(season.settings, item.id, mine, response, "at_mark", None),
                errors=departure_along(protocol, cells, mine, response, lambda run: coarse[run.id]),
            )
        )
    return make_bands(
        curves,
        _coarse(first.grid_s),
        pairs,
        response=response,
        unit=first.traces[response].unit,
        confidence=protocol.confidence,
        extra_residuals=_other_curves(response, runs, repeats),
    )


def _other_curves(response: str, runs: dict[str, Run], repeats: Repeats) -> list[Floats]:
    """Curves of repeats outside the report, where they were read for it anyway, on its grid; one array per cell.

    Bands reach their coverage with the report's own runs, so no recording is read for their sake.
    """
    grid = next(iter(runs.values())).grid_s.size
    groups = [
        [_coarse(run.traces[response].mean) for run in like if response in run.traces and run.grid_s.size == grid]
        for like in repeats
        if not any(run.id in runs for run in like)
    ]
    return [np.stack(group) for group in groups if len(group) > 1]


ONSETS_AWAY = 10.0
"""Curves are told apart from this many standard uncertainties of the onset on; nearer to it, it moves a level by over 10 %."""


def _judged_after(runs: Sequence[Run]) -> float:
    return ONSETS_AWAY * max(run.onset.standard_uncertainty_s for run in runs)


def _coarse(values: Floats) -> Floats:
    """Means of neighbouring buckets, at most BAND_POINTS of them; the grid's times are taken the same way."""
    step = -(-len(values) // BAND_POINTS)
    edges = np.arange(0, len(values), step)
    return np.asarray(np.add.reduceat(values, edges) / np.diff(np.append(edges, len(values))))


def _findings(
    season: Season,
    plan: ReportPlan,
    joined: Joined,
    reduced: Reduced,
    rows: Sequence[Row],
    standards: Sequence[Run],
) -> list[Finding]:
    settings, items, runs = season.settings, joined.items, joined.runs
    episode, protocol = settings.episodes[plan.episode], settings.protocols[plan.protocol]
    # As they were read: what a link made of them would hide a recording that counts twice.
    used = [run for run in reduced.runs if run.id in runs]
    found: list[Finding] = [finding for run in used for finding in run.findings]
    found += reduced.findings
    found += same_content(used)
    found += like_findings(used)
    found += [*design_findings(settings, episode, protocol, items, used), *joined.findings]
    orders = [[runs[r].entry.order for r in item.runs] for item in items]
    headline = [row for row in rows if (row.response, row.metric) == (protocol.response[0], "sustained")]
    found += statistical_findings([sample_of(season, item, runs, headline) for item in items], headline, orders)
    found += doubted_runs(chart_standards(season, standards), used)
    absent = [cell for cell in plan.cells if cell.id not in {item.id for item in (*items, *joined.left_out)}]
    if absent:
        names = ", ".join(cell.label for cell in absent)
        base = f" {items[0].label} is the base instead." if plan.cells[0] in absent else ""
        found.append(
            Finding(
                code="no-runs",
                severity="doubtful" if base else "note",
                kind="design",
                message=f"No usable run of {names} under {protocol.label}.{base}",
                mend="run it, or take it out of the episode",
                subjects=tuple(cell.id for cell in absent),
            )
        )
    return found


def _digests(season: Season, runs: Sequence[Run]) -> dict[str, str]:
    """sha256 of every file that this comparison read, by its path below the season."""
    return dict(sorted({**season.settings.digests, **{run.entry.file: run.digest for run in runs}}.items()))
