"""How many repeats an episode needs to show a difference, what more of them would buy, and what they cost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from toolbench.errors import Fault, UsageError
from toolbench.metrology import Row
from toolbench.metrology.comparing import compare_items
from toolbench.metrology.power import (
    MOST_RUNS,
    Bought,
    Level,
    PlannedFamily,
    Scatter,
    Side,
    bought,
    needed_runs,
    one_row,
)
from toolbench.metrology.propagation import welch_satterthwaite
from toolbench.records.comparison import Difference, Item
from toolbench.records.settings import Protocol
from toolbench.season.judged import compared_pairs, sample_of
from toolbench.season.opening import Cell, ReportPlan, Season
from toolbench.season.plan.costs import Costs, find_costs
from toolbench.season.plan.pressures import pressure_faults
from toolbench.season.plan.scatter import KnownRuns, Pair, find_known
from toolbench.season.plan.sheet import SheetRow, Wanted, make_sheet

MORE = 10
"""Repeats beyond those that are there whose gain is told."""

POWERS = (0.8, 0.9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """Runs a side; `fewest` and `most` at the ends of the interval of the scatter. None: more than are planned."""

    power: float
    runs: int | None
    fewest: int | None
    most: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RowNeed:
    """What one row of a report needs: judged alone, and with its family."""

    row: Row
    scatter: Scatter
    fixed: float
    alone: tuple[Needed, ...]
    family: tuple[Needed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportNeed:
    """One report: runs a side that are there, whether they are judged in blocks, and what its rows need; the headline first.

    `gains` holds what 0 to `MORE` further runs a side give in the headline's row: alone, and with its family.
    """

    path: str
    items: tuple[str, ...]
    there: int
    in_blocks: bool
    family_size: int
    rows: tuple[RowNeed, ...]
    gains: tuple[tuple[Bought, Bought], ...]

    @property
    def missing(self) -> int | None:
        """Runs a side that are missing for 80 % power in the headline's row with its family; None where too many are."""
        wanted = self.rows[0].family[0].runs
        return None if wanted is None else max(wanted - self.there, 0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProtocolNeed:
    """All reports of one protocol. `source` says where the scatter is from; `blocks` is how many the sheet holds."""

    protocol: Protocol
    cells: tuple[Pair, ...]
    source: str
    known: KnownRuns
    reports: tuple[ReportNeed, ...]
    blocks: int
    too_many: bool
    costs: Costs


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EpisodePlan:
    """What `plan_episode` gives. `sheet` is empty where nothing is missing or too much is."""

    season: Season
    episode: str
    resolve: float
    protocols: tuple[ProtocolNeed, ...]
    sheet: tuple[SheetRow, ...]
    seed: int
    permission: str
    remarks: tuple[str, ...]


def plan_episode(
    season: Season,
    episode: str,
    resolve: float,
    *,
    protocol: str | None = None,
    repeatability: float | None = None,
    blocks: int | None = None,
    seed: int = 1,
    logger: str = "",
    interval_s: float | None = None,
    permission: str = "",
) -> EpisodePlan:
    """Plan the runs that show a percent difference.

    Parameters
    ----------
    season, episode
        What `open_season` returned, and the id of one of its episodes.
    resolve
        The difference to show, as a share of the baseline's level: 0.03 for 3 %.
    protocol
        One protocol of the episode; None plans all.
    repeatability
        Relative standard deviation of a single run, used instead of the season's own.
    blocks
        Blocks on the sheet of every protocol; None takes what is missing for 80 % power with the family.
    seed
        Of the order within blocks.
    logger
        Id, where several could be meant.
    interval_s
        Time from one start to the next [s]; None takes it from the times of the season's runs.
    permission
        Citation of the maker's permission to run a tool above its rated pressure.

    Returns
    -------
    EpisodePlan
        Per protocol and report: runs needed with their range, gains, costs; and the sheet.

    Raises
    ------
    UsageError
        Nothing says how runs scatter; a planned pressure is above a rating; the episode compares nothing.
    """
    plans = season.plans(episode, protocol=protocol)
    if not plans:
        raise UsageError(Fault("compares nothing under " + (protocol or "any protocol"), key=f"episode {episode}"))
    grouped: dict[str, list[ReportPlan]] = {}
    for plan in plans:
        grouped.setdefault(plan.protocol, []).append(plan)
    known = {id: find_known(season, season.settings.protocols[id], _cells(mine)) for id, mine in grouped.items()}
    _refuse(season, grouped, known, permission)
    stated = {id: _stated(found, repeatability) for id, found in known.items()}
    faults = [_nothing_known(known[id]) for id, (source, _) in stated.items() if not source]
    if faults:
        raise UsageError(faults)
    needs = [_protocol_need(season, grouped[id], known[id], resolve, *stated[id], blocks, interval_s) for id in grouped]
    wanted = [Wanted(protocol=need.protocol, cells=need.cells, blocks=need.blocks) for need in needs if need.blocks]
    sheet = make_sheet(season, episode, wanted, seed=seed, logger=logger)
    needs = [replace(need, costs=find_costs(season, need.known, sheet, interval_s)) for need in needs]
    return EpisodePlan(
        season=season,
        episode=episode,
        resolve=resolve,
        protocols=tuple(needs),
        sheet=sheet,
        seed=seed,
        permission=permission,
        remarks=_remarks(season, needs),
    )


def _cells(plans: Sequence[ReportPlan]) -> tuple[Pair, ...]:
    return tuple(dict.fromkeys((cell.tool, cell.setup) for plan in plans for cell in plan.cells))


def _refuse(season: Season, grouped: dict[str, list[ReportPlan]], known: dict[str, KnownRuns], permission: str) -> None:
    faults: list[Fault] = []
    for id, plans in grouped.items():
        recorded = {
            pair: max(pressures)
            for pair, runs in known[id].cells.items()
            if (pressures := [p for run in runs if (p := run.conditions.rest_pressure) is not None])
        }
        faults += pressure_faults(
            season.settings, season.settings.protocols[id], _cells(plans), recorded, permission=permission
        )
    if faults:
        raise UsageError(list(dict.fromkeys(faults)))


def _stated(known: KnownRuns, repeatability: float | None) -> tuple[str, Scatter | None]:
    """Where the scatter is from, and its value where it is stated; ("", None) where nothing says it."""
    if repeatability is not None:
        return "stated on the command line", Scatter(sd=repeatability, degrees_of_freedom=math.inf)
    own = known.scatter(known.rows[0], within_blocks=False) if known.runs else None
    if own is not None and own.sd > 0:
        return "the season's own repeats", None
    assumed = known.protocol.repeatability
    if assumed is not None and assumed.value > 0:
        return f"assumed: {assumed.source}", Scatter(sd=assumed.value, degrees_of_freedom=math.inf)
    return "", None


def _nothing_known(known: KnownRuns) -> Fault:
    if known.has_repeats:
        why = "its repeats read exactly alike, so how runs scatter is not known"
    else:
        why = "nothing says how runs scatter: no tool was run twice on one setup, and no repeatability is stated"
    return Fault(
        why,
        key=f"protocol {known.protocol.id}",
        mend='state one run\'s relative standard deviation, for example --repeatability "2 %", or make two runs of one cell',
    )


def _protocol_need(
    season: Season,
    plans: Sequence[ReportPlan],
    known: KnownRuns,
    resolve: float,
    source: str,
    stated: Scatter | None,
    blocks: int | None,
    interval_s: float | None,
) -> ProtocolNeed:
    correlation = known.correlation()
    reports = tuple(_report_need(season, plan, known, correlation, stated, resolve) for plan in plans)
    missing = [report.missing for report in reports]
    too_many = any(count is None for count in missing)
    fewest = max((known.protocol.min_runs - report.there for report in reports), default=0)
    if blocks is None:
        blocks = 0 if too_many else max(*(count or 0 for count in missing), fewest, 0)
    return ProtocolNeed(
        protocol=known.protocol,
        cells=_cells(plans),
        source=source,
        known=known,
        reports=reports,
        blocks=blocks,
        too_many=too_many,
        costs=Costs(),
    )


def _report_need(
    season: Season,
    plan: ReportPlan,
    known: KnownRuns,
    correlation: tuple[tuple[float, ...], ...],
    stated: Scatter | None,
    resolve: float,
) -> ReportNeed:
    items = [_item(cell, known) for cell in plan.cells]
    in_blocks = is_balanced([[run.entry.block for run in known.cells.get((i.tool, i.setup), ())] for i in items])
    ids = [item.id for item in items]
    pairs = compared_pairs(ids, season.settings.episodes[plan.episode].compare)
    confidence = known.protocol.confidence
    family = PlannedFamily(
        pairs=tuple((ids.index(a), ids.index(b)) for a, b in pairs),
        correlation=correlation,
        in_blocks=in_blocks,
        confidence=confidence,
    )
    fixed = _fixed_parts(season, items, known, pairs)
    sides = [
        Side(
            in_blocks=in_blocks,
            fixed=u,
            fixed_degrees_of_freedom=dof,
            shared=known.block_scatter(row) if in_blocks else 0.0,
        )
        for row, (u, dof) in zip(known.rows, fixed, strict=True)
    ]
    rows = tuple(
        _row_need(row, scatter, side, resolve, family)
        for row, side in zip(known.rows, sides, strict=True)
        if (scatter := stated or known.scatter(row, within_blocks=in_blocks)) is not None
    )
    there = min(len(item.runs) for item in items)
    sd = rows[0].scatter.sd
    gains = tuple(
        (bought(sd, runs, sides[0], 1.0 - confidence), bought(sd, runs, sides[0], family.level(runs)))
        for runs in range(there, there + MORE + 1)
    )
    return ReportNeed(
        path=plan.path,
        items=tuple(ids),
        there=there,
        in_blocks=in_blocks,
        family_size=family.size,
        rows=rows,
        gains=gains,
    )


def _item(cell: Cell, known: KnownRuns) -> Item:
    runs = known.cells.get((cell.tool, cell.setup), ())
    return Item(id=cell.id, label=cell.label, tool=cell.tool, setup=cell.setup, runs=tuple(run.id for run in runs))


def is_balanced(blocks: Sequence[Sequence[str]]) -> bool:
    """Whether further complete blocks leave a report in complete blocks: each item once in each block there is, or no runs."""
    first = sorted(blocks[0])
    return "" not in first and len(set(first)) == len(first) and all(sorted(mine) == first for mine in blocks)


def _fixed_parts(
    season: Season, items: Sequence[Item], known: KnownRuns, pairs: Sequence[tuple[str, str]]
) -> list[tuple[float, float]]:
    """Per row: the largest relative uncertainty of a difference that repeats do not shrink, and its degrees of freedom."""
    runs = {run.id: run for run in known.runs}
    made = [item for item in items if item.runs]
    names = {item.id for item in made}
    there = [pair for pair in pairs if set(pair) <= names]
    if not there:
        return [(0.0, math.inf)] * len(known.rows)
    samples = [sample_of(season, item, runs, known.rows) for item in made]
    found = compare_items(samples, known.rows, there, draws=1).differences
    return [
        max(_fixed_of(one) for one in found if (one.response, one.metric, one.at) == (row.response, row.metric, row.at))
        for row in known.rows
    ]


def _fixed_of(one: Difference) -> tuple[float, float]:
    parts = [c for c in one.percent.components if c.evaluation == "B" and not c.contained]
    size = math.hypot(*(c.contribution for c in parts)) / 100.0
    if not size > 0:
        return 0.0, math.inf
    return size, welch_satterthwaite([c.contribution for c in parts], [c.degrees_of_freedom for c in parts])


def _row_need(row: Row, scatter: Scatter, side: Side, resolve: float, family: PlannedFamily) -> RowNeed:
    ends = scatter.interval(family.confidence)

    def needed(power: float, level: Level) -> Needed:
        middle, low, high = (
            needed_runs(resolve, sd, side, power, level) for sd in (scatter.sd, ends.lower, ends.upper)
        )
        return Needed(power=power, runs=middle, fewest=low, most=high)

    return RowNeed(
        row=row,
        scatter=scatter,
        fixed=side.fixed,
        alone=tuple(needed(power, one_row(family.confidence)) for power in POWERS),
        family=tuple(needed(power, family.level) for power in POWERS),
    )


def _remarks(season: Season, needs: Sequence[ProtocolNeed]) -> tuple[str, ...]:
    """What a person planning must hear beside the numbers."""
    said: list[str] = []
    tools = dict.fromkeys(tool for need in needs for tool, _ in need.cells)
    for tool in (season.settings.tools[id] for id in tools):
        if tool.status in ("retired", "superseded", "withdrawn"):
            said.append(f"Tool {tool.id} is {tool.status}.")
        if tool.returned and tool.returned.casefold() != "no":
            said.append(f"Tool {tool.id} was returned ({tool.returned}).")
    if any(report.there for need in needs for report in need.reports):
        said.append(
            "Runs are there already: decide on how many more before looking at the difference; adding runs until it shows"
            " makes false differences likelier than the report says."
        )
    for need in needs:
        if need.known.left_out:
            runs = ", ".join(entry.run for entry, _ in need.known.left_out)
            said.append(f"Not analysed and so not counted under {need.protocol.id}: {runs}.")
        if need.too_many and not need.blocks:
            said.append(
                f"More than {MOST_RUNS} runs a side are needed under {need.protocol.id}, so no sheet is made for it: ask for a"
                " larger difference, or find what makes runs scatter."
            )
    return tuple(said)
