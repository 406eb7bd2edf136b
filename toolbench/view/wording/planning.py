"""A plan in words: how many runs it takes and how sure that is, what more would buy, what it costs."""

from __future__ import annotations

import math
from collections.abc import Sequence

from toolbench.metrology import Row
from toolbench.metrology.power import MOST_RUNS, Bought, Scatter
from toolbench.quantities import format_number, format_percent, format_seconds
from toolbench.quantities.format import NONE, THIN
from toolbench.season.plan.costs import Costs
from toolbench.season.plan.planning import EpisodePlan, Needed, ProtocolNeed, ReportNeed
from toolbench.season.plan.sheet import SheetRow
from toolbench.view.wording.printed import list_words, response_words

Cells = list[list[str]]


def count_words(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def row_words(row: Row) -> str:
    """A row of a report: "sustained torque", "torque at 3 s"."""
    name = response_words(row.response)
    if row.metric != "at_mark":
        return f"{row.metric} {name}"
    return (
        f"{name} at {format_seconds(row.at)}" if row.at is not None and math.isfinite(row.at) else f"{name} at a mark"
    )


def runs_words(needed: Needed) -> str:
    """Runs a side with their range where the scatter is not known exactly: "9 (6 to 18)"."""
    middle = _runs(needed.runs)
    if needed.fewest == needed.most:
        return middle
    return f"{middle} ({_runs(needed.fewest)} to {_runs(needed.most)})"


def _runs(runs: int | None) -> str:
    return f"over {MOST_RUNS}" if runs is None else str(runs)


def scatter_words(scatter: Scatter, confidence: float) -> str:
    """ "1.9 % (1.4 % to 2.9 %)": one standard deviation of a single run with its interval."""
    share = format_percent(100.0 * scatter.sd, signed=False)
    if math.isinf(scatter.degrees_of_freedom):
        return share
    ends = scatter.interval(confidence)
    low, high = (format_percent(100.0 * end, signed=False) for end in (ends.lower, ends.upper))
    return f"{share} ({low} to {high})"


def like_reports(need: ProtocolNeed) -> list[tuple[tuple[str, ...], ReportNeed]]:
    """Reports of one design under one heading: their names, and of them the one that needs most."""
    found: dict[object, list[ReportNeed]] = {}
    for report in need.reports:
        found.setdefault((report.there, report.in_blocks, report.family_size), []).append(report)
    return [
        (tuple(report.path.partition("/")[2] for report in same), max(same, key=_demand)) for same in found.values()
    ]


def _demand(report: ReportNeed) -> tuple[float, ...]:
    wanted = report.rows[0].family + report.rows[0].alone
    return tuple(math.inf if runs is None else runs for one in wanted for runs in (one.runs, one.most))


def scatter_sentence(need: ProtocolNeed, report: ReportNeed) -> str:
    """How runs scatter in the headline's row, how that is known, and what of the uncertainty repeats do not shrink."""
    headline = report.rows[0]
    dof = headline.scatter.degrees_of_freedom
    text = (
        f"One run scatters by {format_percent(100.0 * headline.scatter.sd, signed=False)} in {row_words(headline.row)}"
    )
    if math.isinf(dof):
        return f"{text} ({need.source}; taken as known, so no range is given). {fixed_sentence(report)}".rstrip()
    kind = " within blocks" if report.in_blocks else ""
    ends = headline.scatter.interval(need.protocol.confidence)
    low, high = (format_percent(100.0 * end, signed=False) for end in (ends.lower, ends.upper))
    return (
        f"{text}{kind}: one standard deviation from {need.source}, known from {dof:g} degrees of freedom only,"
        f" so it may be {low} to {high} ({_confidence(need)}); hence the ranges. {fixed_sentence(report)}"
    ).rstrip()


def _confidence(need: ProtocolNeed) -> str:
    return f"{100.0 * need.protocol.confidence:g}{THIN}%"


def answer_sentence(plan: EpisodePlan, need: ProtocolNeed, report: ReportNeed) -> str:
    """The runs a side that the headline needs, with its family and alone; those that are there, and those missing."""
    headline = report.rows[0]
    (first, second), alone = headline.family, headline.alone
    side = "complete blocks" if report.in_blocks else "runs a side"
    text = (
        f"To show {100.0 * plan.resolve:g}{THIN}% in {row_words(headline.row)} takes, in {side},"
        f" {runs_words(first)} for 80{THIN}% power and {runs_words(second)} for 90{THIN}%"
    )
    if report.family_size > 1:
        text += (
            f" with all {report.family_size} rows of the report holding together; for this row alone"
            f" {runs_words(alone[0])} and {runs_words(alone[1])}"
        )
    if report.missing is None:
        return f"{text}."
    have = f"{report.there} {'is' if report.there == 1 else 'are'} there" if report.there else "None is there"
    return f"{text}. {have}; missing for 80{THIN}%: {report.missing or 'none'}."


def fixed_sentence(report: ReportNeed) -> str:
    """What repeats do not shrink, where it is a tenth or more of the headline's uncertainty; empty elsewhere."""
    headline = report.rows[0]
    if headline.fixed < 0.05 * headline.scatter.sd:
        return ""
    size = format_percent(100.0 * headline.fixed, signed=False)
    return f"A standard uncertainty of {size} is shared by all runs; more of them do not shrink it, and it is counted."


def assumed_sentence(plan: EpisodePlan, report: ReportNeed) -> str:
    """What the numbers of runs take for granted."""
    text = (
        f"Assumed: the item reads {100.0 * plan.resolve:g}{THIN}% more than its base (as much less takes fewer runs where it"
        " makes a difference), each scatters in proportion to its level, and runs yet to be made scatter as above."
    )
    if report.family_size > 1:
        text += f" What it costs that all {report.family_size} rows hold together is simulated for items alike, and known to some 5{THIN}%."
    return text


def needs_table(need: ProtocolNeed, report: ReportNeed) -> Cells:
    """A row per row of the report: scatter, and runs a side alone and with the family."""
    head = ["row", "scatter of one run", "80 %, alone", "80 %, together", "90 %, alone", "90 %, together"]
    confidence = need.protocol.confidence
    return [
        head,
        *(
            [row_words(one.row), scatter_words(one.scatter, confidence)]
            + [runs_words(needed) for power in (0, 1) for needed in (one.alone[power], one.family[power])]
            for one in report.rows
        ),
    ]


def gains_note(need: ProtocolNeed) -> str:
    """What the columns of `gains_table` mean."""
    return (
        f"Resolves: the difference that shows with 80{THIN}% power. Half width: of the {_confidence(need)} interval,"
        " expected at the scatter above."
    )


def gains_table(report: ReportNeed) -> Cells:
    """What 0 to 10 further runs a side give in the headline's row."""
    head = ["runs a side", "resolves, alone", "resolves, together", "half width, alone", "half width, together"]
    rows = []
    for more, (alone, family) in enumerate(report.gains):
        name = f"{alone.runs}" + (f" (+{more})" if more else " (now)")
        rows.append([name, *(_percent(one.resolvable) for one in (alone, family)), *_widths(alone, family)])
    return [head, *rows]


def _widths(*ones: Bought) -> list[str]:
    return [f"± {text}" if (text := _percent(one.half_width)) != NONE else text for one in ones]


def _percent(share: float) -> str:
    return NONE if math.isnan(share) else format_percent(100.0 * share, signed=False)


def costs_sentence(need: ProtocolNeed) -> str:
    """Starts, time and air of the blocks on the sheet; empty where there are none."""
    costs = need.costs
    if not costs.starts:
        return ""
    parts = [f"{count_words(need.blocks, 'block')}, {count_words(costs.starts, 'start')}{_extras(costs)}"]
    if costs.run_s is not None and costs.running_s is not None:
        parts.append(f"{format_number(costs.run_s, 2)}{THIN}s each, {duration_words(costs.running_s)} of running")
    if costs.total_s is not None and costs.interval_s is not None:
        parts.append(
            f"about {duration_words(costs.total_s)} on the bench at {duration_words(costs.interval_s)} from start to start"
            f" ({costs.interval_source})"
        )
    else:
        parts.append("time on the bench not known: state the time from start to start with --interval")
    if costs.air_m3 is not None:
        text = f"{format_number(costs.air_m3, 2)}{THIN}m³ of free air (ANR; {costs.air_source})"
        parts.append(text + (f" without {list_words(costs.air_unknown)}" if costs.air_unknown else ""))
    elif costs.air_unknown:
        parts.append(f"air not known: no flow was recorded or stated for {list_words(costs.air_unknown)}")
    return "; ".join(parts) + "."


def _extras(costs: Costs) -> str:
    extras = [
        text
        for number, text in (
            (costs.checks, f"{costs.checks} of the check standard"),
            (costs.conditioning, f"{costs.conditioning} to condition"),
        )
        if number
    ]
    return f" (of these {' and '.join(extras)})" if extras else ""


def duration_words(seconds: float) -> str:
    """A length of time as a person says it: "45 s", "12 min", "5.6 h"."""
    for size, unit in ((3600.0, "h"), (60.0, "min")):
        if seconds >= 1.5 * size:
            return f"{format_number(seconds / size, 2)}{THIN}{unit}"
    return f"{format_number(seconds, 2)}{THIN}s"


def blocks_of(sheet: Sequence[SheetRow]) -> list[tuple[str, list[SheetRow]]]:
    """The rows of a sheet by block, in the order to be made."""
    found: dict[str, list[SheetRow]] = {}
    for row in sheet:
        found.setdefault(row.block, []).append(row)
    return list(found.items())
