"""A date that stands above the rows completes the start of a clock that has none."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from toolbench.logs.clocks.counts import SECOND_NS
from toolbench.logs.clocks.days import DAY_S, find_dates
from toolbench.logs.clocks.rates import pairs_of_line, stamp_in
from toolbench.logs.clocks.stamp_grammar import NO_DATE, understand
from toolbench.logs.clocks.stamps import read_fields
from toolbench.logs.clocks.turns import find_seconds
from toolbench.records.findings import Finding

_OTHER_DATES = re.compile(
    r"calib|kalib|étalon|calibra|校正|\bdue\b|fällig|valid|gültig|version|firmware|software|serial|serien|build|built|birth|print|export"
    r"|manufactur|herstell|certif|zertif|install|purchas|service|last|letzte|modified|geändert|copyright|©|licen[cs]e",
    re.IGNORECASE,
)
_ELAPSED = re.compile(
    r"elapsed|laufzeit|test[\s_]?time|relativ|duration|dauer|run[\s_]?time|step[\s_]?time|écoulé|経過", re.IGNORECASE
)
_DATE_KEY = re.compile(r"date|datum|fecha|data\b|日付|日期|start|begin|beginn|début|inicio", re.IGNORECASE)
_HALF_DAY_NS = DAY_S * SECOND_NS // 2
_LEAST_NS = 60 * SECOND_NS
"""A clock that begins within its first minute may count from the start of the recording instead."""


@dataclass(frozen=True, slots=True)
class Above:
    """A date above the rows: its day, its clock where it has one, and where it stands."""

    day: int
    of_day_ns: int | None
    line: int
    text: str


def complete_start(above: Sequence[str], label: str, of_day_ns: int) -> tuple[str, tuple[Finding, ...]]:
    """The start as ISO 8601, and a note that says where its date is from; "" where the lines above hold no one date.

    Parameters
    ----------
    above : sequence of str
        Lines above the names.
    label : str
        Name of the clock: one that says "elapsed" is no time of day.
    of_day_ns : int
        First stamp [ns] since midnight.
    """
    if _ELAPSED.search(label) or not _LEAST_NS <= of_day_ns < DAY_S * SECOND_NS:
        return "", ()
    dates = list(_dates(above))
    if None in dates or len({date.day for date in dates if date}) != 1:
        return "", ()
    for date in dates:
        if date and date.of_day_ns is not None and abs(date.of_day_ns - of_day_ns) > _HALF_DAY_NS:
            return "", ()  # midnight lies between, or the two clocks have nothing to do with each other
    date = dates[0]
    assert date is not None
    start = pd.Timestamp(date.day * DAY_S * SECOND_NS + of_day_ns, unit="ns").isoformat()
    found = Finding(
        code="date-from-preamble",
        severity="note",
        kind="data",
        message=f"the stamps in {label!r} have no date; that of the start, {start[:10]}, is taken from {date.text!r}",
        line=date.line,
    )
    return start, (found,)


def _dates(above: Sequence[str]) -> Iterator[Above | None]:
    """Every date that may be that of the recording; None where day and month of one can change places."""
    for number, line in enumerate(above, 1):
        for key, rest in (("", line.lstrip("#%;/*! \"'")), *pairs_of_line(line)):
            cell = stamp_in(rest)
            shape = understand(cell) if cell else None
            if shape is None or shape.date == NO_DATE:
                continue
            if not _OTHER_DATES.search(key or line) and not (cell.isdigit() and not _DATE_KEY.search(key)):
                yield from _date(cell, number, line.strip())
            break


def _date(cell: str, line: int, text: str) -> Iterator[Above | None]:
    fields = read_fields([cell])
    seconds = find_seconds(fields, None).seconds
    dates = find_dates(fields, seconds, None)
    if dates.open or dates.clash or dates.decided == "ambiguous":
        yield None
    elif dates.good.all() and 7_305 <= int(dates.days[0]) <= 47_482:  # 1990 to 2099
        clocked = fields.has("h") and not fields.zoned.any()
        yield Above(int(dates.days[0]), int(seconds[0]) * SECOND_NS if clocked else None, line, text)
