"""Dated stamps on a dial of twelve hours without a mark of the half day: 12:59 is followed by 1:00 on the same date."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from toolbench.logs.clocks.stamps import Fields, Integers

DAY_S = 86_400
HALF_S = 43_200
_LONGEST = 3.0
"""Most usual steps that may lie between two rows where the dial begins anew, or the date changes."""


@dataclass(frozen=True, slots=True)
class Dial:
    """Seconds of the day on a clock of 24 hours, the first row at which one followed twelve, and whether the half day is known."""

    seconds: Integers
    row: int
    known: bool


def find_dial(fields: Fields, days: Integers) -> Dial | None:
    """The hours of a clock of 24 hours, where the file proves that its own go round a dial of twelve; None where it does not.

    The proof: no hour is 0 or above 12, none carries a mark; every step back is one from twelve to one on the same date that falls
    by twelve hours less a usual step; and at every midnight the dial goes on where it was.

    Parameters
    ----------
    fields : Fields
        Numbers of the stamps.
    days : array of int, shape (rows,)
        Days since 1970.
    """
    hours = fields["h"]
    if fields.rows < 3 or (fields.half >= 0).any() or int(hours.min()) < 1 or int(hours.max()) != 12:
        return None
    below = fields["mi"] * 60 + fields["s"]
    raw, dial = days * DAY_S + hours * 3600 + below, hours % 12 * 3600 + below
    falls = np.flatnonzero(np.diff(raw) < 0)
    if not len(falls) or (np.diff(days) < 0).any():
        return None
    steps = np.diff(raw)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    across = steps[falls] + HALF_S
    from_twelve = (hours[falls] == 12) & (hours[falls + 1] == 1) & (days[falls] == days[falls + 1])
    if not from_twelve.all() or not ((across > 0) & (across <= _LONGEST * usual)).all():
        return None
    halves = _halves(days, dial, _LONGEST * usual)
    if halves is None:
        return None
    half, known = halves
    return Dial(dial + half * HALF_S, int(falls[0]) + 1, known)


def _halves(days: Integers, dial: Integers, longest: float) -> tuple[Integers, bool] | None:
    """0 before noon and 1 after it for every row, and whether that is known; None where the rows contradict a dial."""
    half = np.zeros(len(days), dtype=np.int64)
    edges = np.concatenate(([0], np.flatnonzero(np.diff(days)) + 1, [len(days)]))
    known = len(edges) > 2
    for begin, end in pairwise(edges.tolist()):
        noon = np.flatnonzero(np.diff(dial[begin:end]) < 0)
        if len(noon) > 1:
            return None
        if len(noon) == 1:
            half[begin + int(noon[0]) + 1 : end] = 1
            known = True
        elif begin == 0 and end < len(days):
            half[begin:end] = 1  # it goes on at midnight, which is told below
    whole = days * DAY_S + half * HALF_S + dial
    turns = np.concatenate((edges[1:-1] - 1, np.flatnonzero(np.diff(half) > 0)))
    across = np.diff(whole)[turns]
    return (half, known) if ((across > 0) & (across <= longest)).all() else None
