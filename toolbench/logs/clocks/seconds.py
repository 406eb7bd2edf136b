"""Cells of the time column as seconds from the first sample, and what is odd about them: gaps, repeats, steps back."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from toolbench.logs.clocks.above import complete_start
from toolbench.logs.clocks.one_clock import read_clock, spread_evenly
from toolbench.logs.clocks.standstill import Standstill, find_standstills, of_standstills
from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.clocks.witness import choose_best
from toolbench.logs.columns.tables import Table
from toolbench.logs.source import refusal
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, TimeBase

GAP = 1.5


@dataclass(frozen=True, slots=True)
class Timing:
    """Seconds from the first sample, and what was settled on the way.

    `first` is the first value as written in the file's unit, `start` the first stamp as ISO 8601.
    """

    seconds: Floats
    first: str
    start: str
    source: TimeSource
    findings: tuple[Finding, ...] = ()


def to_seconds(source: TimeSource, table: Table, *, file: str) -> Timing:
    """Seconds from the first sample, by the best of the clocks that the file holds.

    Rows without a readable time leave the table; their lines are entered in `table.dropped`.

    Raises
    ------
    RecordingError
        No row has a readable time, two readings of it differ, or nothing settles its unit.
    """
    if not source.columns:
        return Timing(np.arange(table.rows, dtype=np.float64) / source.rate_hz, "", "", source)
    chosen = source
    found: tuple[Finding, ...] = ()
    if source.others:
        chosen, found = choose_best(source, table, file=file)
    read = read_clock(chosen, table, file=file)
    if not read.good.all():
        table.keep(read.good)
    seconds = read.seconds
    if len(seconds) == 0:
        raise refusal(file, f"no row has a readable time in {chosen.label!r}", key="time")
    findings = (*found, *read.findings)
    start = read.start
    if chosen.kind == "stamp" and not read.dated and read.first_ns is not None and not chosen.zone:
        start, completed = complete_start(source.above, chosen.label, read.first_ns)
        findings = (*findings, *completed)
    if chosen.spread:
        stills = find_standstills(seconds, table, chosen)
        seconds, spread = spread_evenly(seconds, table, chosen.label, except_from=[still.first for still in stills])
        findings = (*findings, *spread)
    return Timing(seconds, read.first, start, chosen, findings)


def judge_time(
    time_s: Floats, table: Table, source: TimeSource, *, start: str, file: str
) -> tuple[TimeBase, tuple[Finding, ...]]:
    """Interval, rate, gaps, repeats and steps back, each with the line of the file it is seen in.

    Parameters
    ----------
    time_s : array, shape (rows,)
        Seconds from the first sample [s].
    table : Table
        Gives the line of a row.
    source : TimeSource
        Gives the name and unit of the time base.
    start : str
        First stamp as ISO 8601, or "".
    file : str
        Name that the findings carry.

    Returns
    -------
    TimeBase, tuple of Finding
    """
    steps = np.diff(time_s)
    if len(steps) == 0:
        return _base(source, start, np.nan, np.nan), ()
    interval = _interval(time_s, steps)
    gaps: tuple[tuple[int, float], ...] = ()
    repeats: tuple[int, ...] = ()
    back: tuple[int, ...] = ()
    smallest, largest = float(steps.min()), float(steps.max())
    if largest > GAP * interval > 0:
        gaps = tuple((table.line(row + 1), float(steps[row])) for row in np.flatnonzero(steps > GAP * interval))
    if smallest <= 0:
        repeats = tuple(table.line(row + 1) for row in np.flatnonzero(steps == 0))
        back = tuple(table.line(row + 1) for row in np.flatnonzero(steps < 0))
    span = float(time_s[-1])
    rate = 1 / interval if interval > 0 else (len(steps) / span if span > 0 else float("nan"))
    base = replace(_base(source, start, interval, rate), gaps=gaps, repeats=repeats, steps_back=back)
    stills = find_standstills(time_s, table, source) if repeats else ()
    told = replace(base, repeats=_outside(repeats, stills, table)) if stills else base
    return base, (*of_steps(told, steps, file), *of_standstills(stills, table, file))


def _outside(lines: tuple[int, ...], stills: tuple[Standstill, ...], table: Table) -> tuple[int, ...]:
    """Lines that lie in no standstill: those are told of on their own."""
    spans = [(table.line(still.first), table.line(still.last)) for still in stills]
    return tuple(line for line in lines if not any(first < line <= last for first, last in spans))


def _base(source: TimeSource, start: str, interval_s: float, rate_hz: float) -> TimeBase:
    return TimeBase(
        source=source.label,
        unit=source.unit,
        median_interval_s=interval_s,
        rate_hz=rate_hz,
        start=start,
        columns=tuple(column.written or column.name for column in source.columns),
        format=source.format or "",
        zone=source.zone or "",
        spread=source.spread,
    )


def _interval(time_s: Floats, steps: Floats) -> float:
    """Median step. Where all steps agree within 2 % the mean is the same and keeps more digits."""
    smallest, largest = float(steps.min()), float(steps.max())
    if smallest > 0 and largest - smallest <= 0.02 * smallest:
        return float(time_s[-1] - time_s[0]) / len(steps)
    return float(np.median(steps))


def of_steps(base: TimeBase, steps: npt.NDArray[np.float64], file: str) -> tuple[Finding, ...]:
    """Gaps, repeats and steps back of the time; of `steps` [s] only the smallest is looked at."""
    found = []
    if base.gaps:
        line, longest = max(base.gaps, key=lambda gap: gap[1])
        total = sum(length for _, length in base.gaps)
        found.append(
            Finding(
                code="time-gaps",
                severity="doubtful",
                kind="data",
                message=f"{count_text(len(base.gaps), 'gap')} of more than {GAP:g} intervals in the time, {total:.6g} s in all, "
                f"the longest {longest:.6g} s before line {line}",
                mend="look for a logger that could not keep up; nothing is filled in",
                file=file,
                line=base.gaps[0][0],
            )
        )
    if base.repeats:
        found.append(
            Finding(
                code="time-repeats",
                severity="doubtful",
                kind="data",
                message=f"{count_text(len(base.repeats), 'row')} with the time of the row before: {lines_text(base.repeats)}",
                mend="the analysis needs a time that rises; export with more digits, or "
                + ("state `spread = true` in `time`" if base.unit == "stamps" else "drop the repeated rows"),
                file=file,
                line=base.repeats[0],
            )
        )
    if base.steps_back:
        furthest = -float(steps.min())
        found.append(
            Finding(
                code="time-steps-back",
                severity="wrong",
                kind="data",
                message=f"the time steps back {count_text(len(base.steps_back), 'time')}, by up to {furthest:.6g} s: "
                f"{lines_text(base.steps_back)}",
                mend="the logger restarted or rows were moved: record the run again, or cut the file at that line"
                + ("; or its clock was put back for winter: state the `zone`" if 3500 < furthest < 3600.5 else ""),
                file=file,
                line=base.steps_back[0],
            )
        )
    return tuple(found)


def count_text(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def lines_text(lines: tuple[int, ...] | list[int]) -> str:
    """ "line 7", or "lines 3, 9 and 12", or the first eight and how many more."""
    if len(lines) == 1:
        return f"line {lines[0]}"
    if len(lines) > 8:
        return "lines " + ", ".join(map(str, lines[:8])) + f" and {len(lines) - 8} more"
    return "lines " + ", ".join(map(str, lines[:-1])) + f" and {lines[-1]}"
