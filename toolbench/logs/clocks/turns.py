"""Clocks without a date that begin anew: at midnight, at noon on a dial of twelve hours, at the full hour where none is written."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from toolbench.logs.clocks.stamp_grammar import NO_DATE
from toolbench.logs.clocks.stamps import Fields, Integers

DAY_S = 86_400
HOUR_S = 3_600


@dataclass(frozen=True, slots=True)
class Turned:
    """Seconds that go on rising where the clock began anew, and the rows at which it did."""

    seconds: Integers
    rows: tuple[int, ...] = ()
    period_s: int = 0
    minutes_first: bool = False
    """The first of two numbers is the minute ("59:30.5")."""
    dial: bool = False
    """Hours run from 1 to 12 without a mark of the half day."""
    rival: bool = False
    """Two numbers that may be hours and minutes or minutes and seconds, and nothing tells."""


def find_seconds(fields: Fields, stated: str | None, hint: str = "") -> Turned:
    """Whole seconds of the day, or of the elapsed time, for every stamp.

    Parameters
    ----------
    fields : Fields
        Numbers of the stamps, those that were understood only.
    stated : str or None
        The stated format.
    hint : str
        The column's name: it may say "mm:ss".
    """
    hours = _hours(fields)
    seconds = fields["days"] * DAY_S + hours * HOUR_S + fields["mi"] * 60 + fields["s"]
    if fields.negative.any():
        return Turned(_elapsed(fields, seconds, stated))
    if not fields.rows or (fields.date != NO_DATE).any() or not fields.has("h") or fields.has("days"):
        if stated and fields.has("mi") and not fields.has("h"):
            return _turn(fields["mi"] * 60 + fields["s"], HOUR_S, minutes_first=True)
        return Turned(seconds)
    if not fields.has("s") and not stated:
        return _of_two_numbers(fields, seconds, hint)
    if int(seconds.max()) > DAY_S:
        return Turned(seconds)  # an elapsed time of more than a day
    if _is_dial(fields, seconds):
        dial = (fields["h"] % 12) * HOUR_S + fields["mi"] * 60 + fields["s"]
        return replace(_turn(dial, DAY_S // 2), dial=True)
    return _turn(seconds, DAY_S)


def _elapsed(fields: Fields, seconds: Integers, stated: str | None) -> Integers:
    """Seconds of an elapsed time that begins below zero; two numbers are then minutes and seconds if they have a fraction."""
    if not fields.has("s") and fields.has("f") and not stated:
        seconds = seconds // 60
    result: Integers = seconds * fields.sign
    return result


def _hours(fields: Fields) -> Integers:
    """Hours of the day. A mark of the half day counts on hours up to twelve; "15:03 PM" stays what it is."""
    hours, half = fields["h"], fields.half
    marked = (half >= 0) & (hours <= 12)
    result: Integers = np.where(marked, hours % 12 + 12 * (half == 1), hours)
    return result


def _of_two_numbers(fields: Fields, seconds: Integers, hint: str) -> Turned:
    as_minutes = _turn(seconds // 60, HOUR_S, minutes_first=True)
    as_hours = _turn(seconds, DAY_S)
    text = hint.casefold()
    if fields.has("f") or int(fields["h"].max()) > 24 or "mm:ss" in text or "m:s" in text:
        return as_minutes
    if "h:m" in text or "hh:mm" in text or (fields.half >= 0).any():
        return as_hours
    falls = [bool((np.diff(turned.seconds) < 0).any()) for turned in (as_minutes, as_hours)]
    if falls[0] != falls[1]:
        return as_hours if falls[0] else as_minutes
    same = (seconds == seconds[0]).all()
    return Turned(as_hours.seconds, as_hours.rows, DAY_S, rival=not same)


def _is_dial(fields: Fields, seconds: Integers) -> bool:
    """Whether hours run from 1 to 12 without a mark, and begin anew after 12:59."""
    hours = fields["h"]
    if (fields.half >= 0).any() or int(hours.max()) != 12 or int(hours.min()) < 1:
        return False
    steps = np.diff(seconds)
    back = steps[steps < -HOUR_S]
    return len(back) > 0 and bool((back > -12 * HOUR_S).all() and (back < -10 * HOUR_S).all())


def _turn(seconds: Integers, period: int, *, minutes_first: bool = False) -> Turned:
    """Add one period at every step back of more than half of it: a smaller one is no turn of the clock."""
    rows = np.flatnonzero(np.diff(seconds) < -(period // 2)) + 1
    if not len(rows) or int(seconds.max()) > period:
        return Turned(seconds, (), period, minutes_first)
    added = np.zeros(len(seconds), dtype=np.int64)
    added[rows] = period
    return Turned(seconds + np.cumsum(added), tuple(int(row) for row in rows), period, minutes_first)
