"""Links between the epochs of a rig: what a check standard run on both sides of a change says of it.

The check standard is compared with itself on one rig and filter, on one setup, under one protocol whose measurand and direction
are those of the report. A link is proportional: the change is taken to act on every tool as the same share of its sustained level.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from toolbench.metrology import judge_blocks, mean_and_sd
from toolbench.metrology.links import SideLevel, side_level
from toolbench.records.runs import Link, LinkPart, Metric, Run, Trace
from toolbench.records.settings import Protocol
from toolbench.season.calibrating import day_of
from toolbench.season.epochs import Epochs
from toolbench.season.opening import Season
from toolbench.season.standards import check_standards, in_time

LINKED = ("at_mark", "sustained", "slope")
"""Metrics that a link multiplies."""

NOT_LINKED = ("peak", "time_to")
"""Metrics that no ratio of sustained levels carries over: a peak depends on how the rig rings, a time on where its level lies."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """The check standard in one epoch, on one setup and under one protocol, in one response."""

    label: str
    source: str
    epoch: int
    words: str
    level: SideLevel
    runs: int
    out_of_control: bool
    last: Run


Steps = tuple[tuple[Side, Side], ...]
"""From the base's epoch outwards: the near and the far side of every link on the way."""


def find_steps(
    season: Season, protocol: Protocol, runs: Mapping[str, Run], standards: Iterable[Run], epochs: Epochs, base: int
) -> dict[str, dict[int, Steps]]:
    """For every response of the protocol, the epochs that check standard runs outside the report join to epoch `base`."""
    one, tools = next(iter(runs.values())), check_standards(season)
    others = [run for run in in_time(standards) if run.entry.tool in tools and run.id not in runs]
    warming = {name: season.conditioning(name) for name in {run.entry.protocol for run in others}}
    usable = [
        run
        for run in others
        if not run.entry.excluded
        and run.id not in warming[run.entry.protocol]
        and _is_like(season.settings.protocols[run.entry.protocol], run, protocol, one)
    ]
    return {response: _reach(_sides(season, usable, response, epochs), base) for response in protocol.response}


def _is_like(theirs: Protocol, run: Run, protocol: Protocol, one: Run) -> bool:
    """Whether a run of a check standard can speak for the report's runs, of which `one` is an example."""
    same_rig = (run.rig, run.filter) == (one.rig, one.filter)
    return same_rig and (theirs.measurand, theirs.direction) == (protocol.measurand, protocol.direction)


def _sides(season: Season, runs: Sequence[Run], response: str, epochs: Epochs) -> list[dict[int, Side]]:
    """By tool, setup and protocol of the check standard: its sides by epoch."""
    groups: dict[tuple[str, str, str], dict[int, list[Run]]] = defaultdict(lambda: defaultdict(list))
    for run in runs:
        epoch = epochs.of(run.entry)
        if epoch is not None and math.isfinite(_sustained(run, response)):
            groups[(run.entry.tool, run.entry.setup, run.entry.protocol)][epoch].append(run)
    made = [
        {epoch: _side(season, mine, response, epochs, epoch) for epoch, mine in group.items()}
        for group in groups.values()
    ]
    return [{epoch: side for epoch, side in group.items() if side is not None} for group in made]


def _side(season: Season, runs: Sequence[Run], response: str, epochs: Epochs, epoch: int) -> Side | None:
    units: dict[str, list[float]] = defaultdict(list)
    for run in runs:
        units[run.entry.block or run.id].append(_sustained(run, response))
    means = [mean_and_sd(unit)[0] for unit in units.values()]
    level = side_level(means)
    if level is None:
        return None
    entry, since = runs[0].entry, epochs.bounds(epoch)[0]
    return Side(
        label=f"{season.settings.tools[entry.tool].name} on {entry.setup} under {entry.protocol}",
        source=f"epoch/{since or 'first'}/{entry.tool}/{entry.setup}/{entry.protocol}/{response}",
        epoch=epoch,
        words=epochs.words(epoch),
        level=level,
        runs=len(runs),
        out_of_control=bool(judge_blocks(means).out),
        last=runs[-1],
    )


def _sustained(run: Run, response: str) -> float:
    found = run.metric(response, "sustained")
    return math.nan if found is None else found.value


def _reach(groups: Sequence[Mapping[int, Side]], base: int) -> dict[int, Steps]:
    """Every epoch that can be reached from the base's, by the fewest links; each through the check standard run most there."""
    reached: dict[int, Steps] = {base: ()}
    known = sorted({epoch for group in groups for epoch in group})
    queue = [base]
    for near in queue:
        for far in known:
            both = [(group[near], group[far]) for group in groups if near in group and far in group]
            both = [pair for pair in both if pair[0].level.mean * pair[1].level.mean > 0]
            if far not in reached and both:
                step = max(both, key=lambda pair: min(side.level.units for side in pair))
                reached[far] = (*reached[near], step)
                queue.append(far)
    return reached


def link_of(steps: Steps, response: str) -> Link:
    """The link that brings values of the farthest epoch to the base's."""
    first = steps[0][0].last
    return Link(
        factor=math.prod(near.level.mean / far.level.mean for near, far in steps),
        parts=tuple(_part(side, sign) for step in steps for side, sign in zip(step, (1.0, -1.0), strict=True)),
        sensor=first.sensors.get(response, ""),
        day=day_of(first.entry),
    )


def _part(side: Side, sign: float) -> LinkPart:
    return LinkPart(
        source=side.source,
        label=f"link of the rig's epochs, check standard {side.words}",
        relative=sign * side.level.relative_uncertainty,
        degrees_of_freedom=side.level.degrees_of_freedom,
    )


def bring_over(run: Run, links: Mapping[str, Link]) -> Run:
    """A run as it would have been in the base's epoch: what is linear in the response times the link.

    Times from the onset that no level enters (`rise_time`) and the supply's conditions stay; what is not linked goes.
    """

    def metric(one: Metric) -> Metric:
        if one.response not in links or one.metric not in LINKED:
            return one
        factor = links[one.response].factor
        return replace(
            one,
            value=one.value * factor,
            onset_uncertainty=one.onset_uncertainty * factor,
            window_uncertainty=one.window_uncertainty * factor,
        )

    kept = [one for one in run.metrics if one.response not in links or one.metric not in NOT_LINKED]
    traces = {
        name: _scaled(trace, links[name].factor) if name in links else trace for name, trace in run.traces.items()
    }
    return replace(run, metrics=tuple(map(metric, kept)), traces=traces, links=links)


def _scaled(trace: Trace, factor: float) -> Trace:
    low, high = (None if end is None else end * factor for end in (trace.low, trace.high))
    return replace(trace, mean=trace.mean * factor, low=low, high=high)
