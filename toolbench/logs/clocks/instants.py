"""The stamps of a column as nanoseconds: fields put together, day and month, fraction, midnight and zone decided on all rows."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import timedelta, timezone, tzinfo
from typing import Any

import numpy as np
import pandas as pd

from toolbench.logs.clocks.counts import SECOND_NS, Fractions, find_fractions
from toolbench.logs.clocks.days import DAY_S, Dates, find_dates
from toolbench.logs.clocks.dial import find_dial
from toolbench.logs.clocks.stamp_grammar import NO_DATE
from toolbench.logs.clocks.stamp_remarks import (
    Stamped,
    clock_codes,
    formats,
    note,
    of_dates,
    of_dial,
    of_fractions,
    of_shapes,
    of_turns,
    two_first,
)
from toolbench.logs.clocks.stamps import Fields, Integers, Mask
from toolbench.logs.clocks.turns import find_seconds
from toolbench.logs.clocks.zones import find_zone, to_universal, zone_in_name
from toolbench.logs.source import refusal
from toolbench.records.findings import Finding

_LIMIT_S = 9_223_372_036


@dataclass(frozen=True, slots=True)
class Instants:
    """Nanoseconds of the rows in `good`, the first as ISO 8601 ("" where day and month, or the date, are unknown)."""

    ns: Integers
    good: Mask
    start: str
    findings: tuple[Finding, ...] = ()
    dated: bool = True


def find_instants(fields: Fields, stamped: Stamped) -> Instants:
    """Nanoseconds of every stamp that can be read.

    Raises
    ------
    RecordingError
        Two readings fit and give different seconds, or the stamps contradict each other.
    """
    good = _in_range(fields)
    if not good.any():
        return Instants(np.empty(0, dtype=np.int64), good, "")
    rows = np.flatnonzero(good)
    whole = bool(good.all())
    sure = fields if whole else fields.keep(good)
    _refuse_mixed(sure, rows, stamped)
    turned = find_seconds(sure, stamped.format, stamped.label)
    if turned.rival:
        raise _two_numbers(stamped, int(rows[0]))
    dates = find_dates(sure, turned.seconds, stamped.format)
    _refuse_dates(dates, rows, stamped)
    if not dates.good.all():
        good = good.copy()
        good[rows[~dates.good]] = False
        if not good.any():
            return Instants(np.empty(0, dtype=np.int64), good, "")
        return find_instants(_only(fields, good), stamped)
    dial = find_dial(sure, dates.days) if not stamped.format and (sure.date != NO_DATE).all() else None
    if dial:
        turned = replace(turned, seconds=dial.seconds)
    fractions = find_fractions(sure, dates.days * DAY_S + turned.seconds, stamped.format)
    if fractions.rival:
        raise _decimals_or_counts(fractions, stamped, int(rows[0]))
    local_s = dates.days * DAY_S + turned.seconds - sure.offset
    if int(local_s.max()) > _LIMIT_S or int(local_s.min()) < -_LIMIT_S:
        row = int(rows[int(np.argmax(np.abs(local_s)))])
        raise refusal(
            stamped.file,
            f"the stamp {stamped.written(row)!r} in {stamped.label!r} lies outside the years 1678 to 2261",
            line=stamped.line(row),
            key="time",
        )
    ns = local_s * SECOND_NS + fractions.ns
    dated = bool((sure.date != NO_DATE).all())
    ns, zone, placed = _place(ns, sure, rows, stamped, dated)
    start = _start(int(ns[0]), zone, dated and dates.decided != "ambiguous" and not placed and (not dial or dial.known))
    found = (
        *of_turns(turned, rows, stamped),
        *of_dial(dial, rows, stamped),
        *of_dates(dates, rows, stamped),
        *of_fractions(fractions, rows, stamped),
        *of_shapes(sure, rows, stamped),
        *placed,
    )
    return Instants(ns, good, start, found, dated)


def _only(fields: Fields, good: Mask) -> Fields:
    fields.good = good
    return fields


def _in_range(fields: Fields) -> Mask:
    """Which stamps a clock can show; 24:00:00 is the end of a day, 60 a leap second."""
    good = fields.good & (fields["mi"] <= 59) & (fields["s"] <= 60)
    late = (fields["h"] > 23) & (fields.date != NO_DATE)
    if late.any():
        good = good & (~late | ((fields["h"] == 24) & (fields["mi"] == 0) & (fields["s"] == 0)))
    result: Mask = good
    return result


def _refuse_mixed(fields: Fields, rows: Integers, stamped: Stamped) -> None:
    """Refuse stamps of which some carry a zone or a date and some do not."""
    zoned = fields.zoned
    if zoned.any() and not zoned.all():
        row = int(rows[int(np.flatnonzero(zoned != zoned[0])[0])])
        raise refusal(
            stamped.file,
            f"some stamps in {stamped.label!r} carry a zone and some do not: {stamped.written(int(rows[0]))!r}, "
            f"then {stamped.written(row)!r}",
            line=stamped.line(row),
            key="time",
            mend="export the recording with one kind of stamp",
        )
    dated = fields.date != NO_DATE
    if dated.any() and not dated.all():
        row = int(rows[int(np.flatnonzero(dated != dated[0])[0])])
        raise refusal(
            stamped.file,
            f"some stamps in {stamped.label!r} carry a date and some do not: {stamped.written(int(rows[0]))!r}, "
            f"then {stamped.written(row)!r}",
            line=stamped.line(row),
            key="time",
            mend="export the recording with one kind of stamp, or name another column as the time",
        )
    names = {s.zone for number in np.unique(fields.shape) if number >= 0 and (s := fields.shapes[number]) and s.zone}
    if len(names - {"UTC"}) > 1 and not stamped.zone:
        listed = " and ".join(sorted(names))
        raise refusal(
            stamped.file,
            f"the zone written in {stamped.label!r} changes ({listed}), and these letters do not say by how much",
            key="time",
            mend=f'state `time = {{ column = {stamped.key}, zone = "Europe/Berlin" }}`, with the true zone',
        )


def _refuse_dates(dates: Dates, rows: Integers, stamped: Stamped) -> None:
    if dates.clash:
        one, other = sorted(int(rows[row]) for row in dates.clash)
        raise refusal(
            stamped.file,
            f"day and month change places in {stamped.label!r}: {stamped.written(one)!r} in line {stamped.line(one)}, "
            f"{stamped.written(other)!r} in line {stamped.line(other)}",
            line=stamped.line(other),
            key="time",
            mend="a spreadsheet may have turned some of them: export the recording from the logger again",
        )
    if dates.open:
        row = int(rows[0])
        first, second = formats(dates.open, stamped.written(row))[:2]
        a, b = two_first(stamped.written(row))
        raise refusal(
            stamped.file,
            f"the stamp {stamped.written(row)!r} can be day {a} of month {b}, or day {b} of month {a} "
            f"({first!r} or {second!r}), and all stamps of {stamped.label!r} fit both",
            line=stamped.line(row),
            key="time",
            mend=f"state `time = {{ column = {stamped.key}, format = {json.dumps(first)} }}`",
        )


def _two_numbers(stamped: Stamped, row: int) -> Exception:
    return refusal(
        stamped.file,
        f"the clock {stamped.written(row)!r} in {stamped.label!r} can be hours and minutes, or minutes and seconds",
        line=stamped.line(row),
        key="time",
        mend=f'state `time = {{ column = {stamped.key}, format = "%H:%M" }}`, or "%M:%S"',
    )


def _decimals_or_counts(fractions: Fractions, stamped: Stamped, row: int) -> Exception:
    form = clock_codes(stamped.written(row))
    return refusal(
        stamped.file,
        f"the digits behind the seconds in {stamped.label!r} ({stamped.written(row)!r}) can be decimals, "
        f"or a count of {fractions.rival}",
        line=stamped.line(row),
        key="time",
        mend=f"state the `format` in `time = {{ column = {stamped.key}, format = ... }}`: "
        f"{json.dumps(form)} for decimals, with %L in place of %f for a count of milliseconds",
    )


def _place(
    ns: Integers, fields: Fields, rows: Integers, stamped: Stamped, dated: bool
) -> tuple[Integers, tzinfo | None, list[Finding]]:
    """Universal time where the zone is known, and the zone in which the start is written."""
    if bool(fields.zoned.all()):
        if stamped.zone:
            return ns, find_zone(stamped.zone), []
        return ns, timezone(timedelta(seconds=int(fields.offset[0]))), []
    if not stamped.zone or not dated:
        named = None if stamped.zone else zone_in_name(stamped.label)
        ahead = int(named.utcoffset(None).total_seconds()) if named else 0
        return ns - ahead * SECOND_NS, named, []
    try:
        placed = to_universal(ns, stamped.zone)
    except ValueError as error:
        raise refusal(
            stamped.file, f"the stamps cannot be placed in zone {stamped.zone!r}: {error}", key="time"
        ) from None
    odd, why = placed.missing, "the clock change skips that hour"
    if odd is None:
        odd, why = placed.unsettled, "that hour comes twice, and the rows around it do not tell which one it is"
    if odd is not None:
        row = int(rows[odd])
        raise refusal(
            stamped.file,
            f"the stamps cannot be placed in zone {stamped.zone!r}: {stamped.written(row)!r}, {why}",
            line=stamped.line(row),
            key="time",
            mend="state the `zone` that the logger's clock ran in, or record in UTC",
        )
    found = []
    if placed.whole_file:
        found.append(
            note(
                "hour-comes-twice",
                f"all stamps lie in an hour that comes twice in zone {stamped.zone!r}: the seconds are the same, the start is not known",
                stamped,
                int(rows[0]),
            )
        )
    return placed.utc_ns, find_zone(stamped.zone), found


def _start(first_ns: int, zone: tzinfo | None, known: bool) -> str:
    if not known:
        return ""
    stamp = pd.Timestamp(first_ns, unit="ns")
    if zone is not None:
        named: Any = zone
        if isinstance(zone, timezone) and zone.utcoffset(None) == timedelta(0):
            named = "UTC"
        stamp = stamp.tz_localize("UTC").tz_convert(named)
    return stamp.isoformat()
