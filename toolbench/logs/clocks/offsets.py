"""By how much two clocks of one file are apart: universal time beside local time, twelve hours beside twenty-four."""

from __future__ import annotations

from toolbench.logs.clocks.counts import SECOND_NS
from toolbench.logs.clocks.days import DAY_S
from toolbench.logs.clocks.one_clock import Clock

_DAY_NS = DAY_S * SECOND_NS
_LEAST_NS = 60 * SECOND_NS


def offset_ns(one: Clock, other: Clock, resolution_s: float) -> int | None:
    """Nanoseconds that the other clock is ahead in the first row; None where they agree, or one of them tells no time of day.

    Where one has no date, by the time of day: within half a day.
    """
    if one.first_ns is None or other.first_ns is None or not (one.good.all() and other.good.all()):
        return None
    apart = other.first_ns - one.first_ns
    if not (one.dated and other.dated):
        if any(not clock.dated and clock.first_ns is not None and clock.first_ns < _LEAST_NS for clock in (one, other)):
            return None  # it may count from the start of the recording
        apart %= _DAY_NS
        if apart > _DAY_NS // 2:
            apart -= _DAY_NS
    return apart if abs(apart) > max(SECOND_NS, 2 * min(resolution_s, DAY_S) * SECOND_NS) else None


def offset_text(label: str, apart_ns: int, *, of_day: bool) -> str:
    """ "'epoch' is 1 h behind it"; half a day apart is neither behind nor ahead where a date is missing."""
    if of_day and abs(apart_ns) == _DAY_NS // 2:
        return f"{label!r} is 12 h apart from it"
    return f"{label!r} is {duration_text(abs(apart_ns))} {'ahead of' if apart_ns > 0 else 'behind'} it"


def duration_text(ns: int) -> str:
    """A length of time in its largest units: "1 h 30 min", "2 d", "12.5 s"."""
    parts = []
    for unit, size in (("d", DAY_S), ("h", 3600), ("min", 60)):
        whole, ns = divmod(ns, size * SECOND_NS)
        if whole:
            parts.append(f"{whole} {unit}")
    if ns:
        parts.append(f"{ns / SECOND_NS:.9f}".rstrip("0").rstrip(".") + " s")
    return " ".join(parts) or "0 s"
