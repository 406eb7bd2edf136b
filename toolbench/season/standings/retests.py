"""Tests of one tool: runs made within days of each other are one test, a longer pause begins a re-test."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from toolbench.records.runs import Run
from toolbench.season.calibrating import day_of

PAUSE_DAYS = 14
"""A tool run again after a pause of more than so many days was tested again (choice: the blocks of one plan are run within days,
a tool that comes back comes back weeks later)."""


def split_tests(runs: Sequence[Run]) -> list[tuple[Run, ...]]:
    """The tests that some runs make, oldest first.

    Runs of one block are of one test, whatever their days. Runs without a date belong to the first test: nothing says that
    they are newer than anything.
    """
    by_day: dict[date, list[Run]] = {}
    undated: list[Run] = []
    first_day = _first_days(runs)
    for run in runs:
        day = first_day.get(run.entry.block) if run.entry.block else day_of(run.entry)
        if day is None:
            undated.append(run)
        else:
            by_day.setdefault(day, []).append(run)
    tests: list[list[Run]] = []
    before: date | None = None
    for day in sorted(by_day):
        if before is None or (day - before).days > PAUSE_DAYS:
            tests.append([])
        tests[-1] += by_day[day]
        before = day
    if undated:
        tests = [[*undated, *tests[0]], *tests[1:]] if tests else [undated]
    return [tuple(test) for test in tests]


def _first_days(runs: Sequence[Run]) -> dict[str, date]:
    """The first day of every block."""
    found: dict[str, date] = {}
    for run in runs:
        day = day_of(run.entry)
        if run.entry.block and day is not None:
            found[run.entry.block] = min(day, found.get(run.entry.block, day))
    return found
