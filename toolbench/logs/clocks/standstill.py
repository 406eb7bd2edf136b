"""A logger that hung: its clock stands still for a long stretch while the values go on, unlike a coarse clock, whose equal stamps
come in even groups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.columns.tables import Table
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats

LEAST_ROWS = 10
TIMES_USUAL = 10
"""A stretch of equal stamps is no group of a coarse clock when it is so many times as long as the usual group."""


@dataclass(frozen=True, slots=True)
class Standstill:
    """Rows from `first` to `last` that all have the time of the first of them."""

    first: int
    last: int
    to_the_end: bool


def find_standstills(time_s: Floats, table: Table, source: TimeSource) -> tuple[Standstill, ...]:
    """Stretches in which the clock stands still while any value changes.

    Parameters
    ----------
    time_s : array, shape (rows,)
        Seconds from the first sample [s].
    table : Table
        The values; repeated rows, in which nothing changes, are no standstill.
    source : TimeSource
        The clock, whose columns hold no values.
    """
    starts = np.concatenate(([0], np.flatnonzero(np.diff(time_s)) + 1))
    counts = np.diff(np.concatenate((starts, [len(time_s)])))
    longest = int(counts.max(initial=0))
    if longest < LEAST_ROWS or len(counts) < 3:
        return ()
    usual = float(np.median(counts[counts < longest])) if (counts < longest).any() else float(longest)
    found = []
    for group in np.flatnonzero((counts >= LEAST_ROWS) & (counts > TIMES_USUAL * usual)):
        first, last = int(starts[group]), int(starts[group] + counts[group] - 1)
        if _changes(table, source, first, last):
            found.append(Standstill(first, last, last == len(time_s) - 1))
    return tuple(found)


def _changes(table: Table, source: TimeSource, first: int, last: int) -> bool:
    """Whether any number that is not part of a clock changes between the rows."""
    clocks = {column.index for column in source.needed}
    for index, values in table.columns.items():
        if index in clocks or not isinstance(values, np.ndarray) or len(values) <= last:
            continue
        part = values[first : last + 1]
        known = part[~np.isnan(part)] if part.dtype.kind == "f" else part
        if len(known) and bool((known != known[0]).any()):
            return True
    return False


def of_standstills(stills: tuple[Standstill, ...], table: Table, file: str) -> tuple[Finding, ...]:
    """Each standstill with its lines."""
    found = []
    for still in stills:
        first, last = table.line(still.first + 1), table.line(still.last)
        end = ", the end of the recording," if still.to_the_end else ""
        found.append(
            Finding(
                code="clock-stands-still",
                severity="doubtful",
                kind="data",
                message=f"the clock stands still for {still.last - still.first} rows while the values change: "
                f"lines {first} to {last}{end} have the time of line {table.line(still.first)}",
                mend="the logger hung or lost its clock, and when these rows were taken is not known: record the run again, "
                "or cut them away",
                file=file,
                line=first,
            )
        )
    return tuple(found)
