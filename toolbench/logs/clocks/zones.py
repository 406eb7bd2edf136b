"""Local time in a stated zone as universal time, also in the hour that a clock change skips or repeats."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from toolbench.logs.clocks.stamps import Integers

_IN_NAME = re.compile(r"(?:GMT|UTC)\s?([+-−])\s?(\d{1,2})(?::?(\d\d))?")


@dataclass(frozen=True, slots=True)
class Placed:
    """Nanoseconds since 1970 UTC; a row whose local time does not exist; rows of a repeated hour that nothing settles."""

    utc_ns: Integers
    missing: int | None = None
    unsettled: int | None = None
    settled: tuple[int, ...] = ()
    """First row of every stretch in a repeated hour."""
    whole_file: bool = False
    """All rows lie in one repeated hour: the seconds are the same either way."""


def find_zone(name: str) -> tzinfo:
    """The zone of that name. Raises ValueError where there is none."""
    if name in ("UTC", "Z"):
        return UTC
    try:
        return ZoneInfo(name)
    except Exception as error:  # each platform has its own way of saying that a zone is unknown
        raise ValueError(f"no time zone is called {name!r}") from error


def zone_in_name(label: str) -> timezone | None:
    """The offset that a column's name states: "Time, GMT+01:00"."""
    match = _IN_NAME.search(label)
    if not match:
        return None
    minutes = int(match[2]) * 60 + int(match[3] or 0)
    return timezone(timedelta(minutes=minutes if match[1] == "+" else -minutes)) if minutes < 1440 else None


def to_universal(local_ns: Integers, zone: str) -> Placed:
    """Place local stamps in a zone.

    In the repeated hour the clock steps back once: rows before that step lie before the change. A stretch without such a step
    lies on the side to which it connects; where it connects to neither, nothing settles it.
    """
    find_zone(zone)
    local = pd.DatetimeIndex(local_ns)
    first = local.tz_localize(zone, ambiguous=np.ones(len(local), dtype=bool), nonexistent="NaT")
    if first.hasnans:
        return Placed(local_ns, missing=int(np.flatnonzero(first.isna())[0]))
    second = local.tz_localize(zone, ambiguous=np.zeros(len(local), dtype=bool), nonexistent="NaT")
    early, late = (index.as_unit("ns").asi8 for index in (first, second))
    twice = early != late
    result: Integers = early.copy()
    if not twice.any():
        return Placed(result)
    if twice.all() and (np.diff(local_ns) >= 0).all():
        return Placed(result, settled=(0,), whole_file=True)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], twice, [False])).astype(np.int8)))
    settled = []
    for begin, end in edges.reshape(-1, 2):
        part = _settle(result, early, late, int(begin), int(end))
        if part is None:
            return Placed(result, unsettled=int(begin))
        result[begin:end] = part
        settled.append(int(begin))
    return Placed(result, settled=tuple(settled))


def _settle(known: Integers, early: Integers, late: Integers, begin: int, end: int) -> Integers | None:
    """One stretch of rows in a repeated hour: before the change up to the step back, after it from there on."""
    back = np.flatnonzero(np.diff(early[begin:end]) < 0)
    if len(back) > 1:
        return None
    if len(back) == 1:
        turn = begin + int(back[0]) + 1
        return np.concatenate((early[begin:turn], late[turn:end]))
    gap_before = early[begin] - known[begin - 1] if begin else None
    gap_after = early[end] - late[end - 1] if end < len(early) else None
    shift = late[begin] - early[begin]
    joins_before = gap_before is not None and 0 <= gap_before < shift // 2
    joins_after = gap_after is not None and 0 <= gap_after < shift // 2
    if joins_before == joins_after:
        return None
    return early[begin:end] if joins_before else late[begin:end]
