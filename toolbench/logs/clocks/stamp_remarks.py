"""What is said about stamps: how they are called, the formats that a person can state, and what was noticed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbench.logs.clocks.counts import Fractions
from toolbench.logs.clocks.days import DAY_S, Dates, orders_text
from toolbench.logs.clocks.dial import Dial
from toolbench.logs.clocks.stamps import Fields, Integers
from toolbench.logs.clocks.turns import HOUR_S, Turned
from toolbench.records.findings import Finding


@dataclass(frozen=True, slots=True)
class Stamped:
    """What the stamps are called and what is stated about them, for decisions and for messages.

    `line` gives the line of a row, `written` the row's stamp as in the file.
    """

    label: str
    file: str
    line: Callable[[int], int]
    written: Callable[[int], str]
    format: str | None = None
    zone: str | None = None
    column: str | None = None

    @property
    def key(self) -> str:
        """The column as it stands in the `time` key."""
        return self.column or json.dumps(self.label, ensure_ascii=False)


def times_text(number: int) -> str:
    """ "once,", or "3 times, first": how often something happened, before the first time is told."""
    return "once," if number == 1 else f"{number} times, first"


def two_first(cell: str) -> tuple[str, str]:
    numbers = re.findall(r"\d+", cell)
    return numbers[0], numbers[1]


def formats(orders: tuple[str, ...], cell: str) -> list[str]:
    """Formats that a person can state, for a cell whose date may be read in these orders."""
    match = re.search(r"(\d{1,2})([-/.\s])\s?(\d{1,2})\2\s?(\d{4}|\d\d)", cell)
    if not match:
        return list(orders_text(orders))
    ahead, behind = cell[: match.start()], cell[match.end() :]
    year = "%Y" if len(match[4]) == 4 else "%y"
    return [clock_codes(ahead) + code.format(match[2], year) + clock_codes(behind) for code in orders_text(orders)]


def clock_codes(text: str) -> str:
    """A clock in codes of strptime: "10:15:03.25 PM" becomes "%I:%M:%S.%f %p"."""
    half = re.search(r"[AaPp]\s?\.?\s?[Mm]\b\.?|午前|午後|上午|下午|오전|오후", text)
    text = text[: half.start()] + "%p" + text[half.end() :] if half else text
    codes = iter(["%I" if half else "%H", "%M", "%S", "%f", "%z"])
    return re.sub(r"\d+", lambda found: next(codes, found[0]), text)


def note(code: str, message: str, stamped: Stamped, row: int, *, mend: str = "", severity: Any = "note") -> Finding:
    return Finding(
        code=code,
        severity=severity,
        kind="data",
        message=message,
        mend=mend,
        line=stamped.line(row),
    )


def of_turns(turned: Turned, rows: Integers, stamped: Stamped) -> Iterator[Finding]:
    """Midnight, noon on a dial, or the full hour: said, with the line."""
    if turned.dial:
        yield note(
            "twelve-hour-dial",
            f"the clock in {stamped.label!r} goes on with 1 behind 12 and carries no mark of the half day; "
            "twelve hours are added where it begins anew",
            stamped,
            int(rows[0]),
            severity="doubtful",
        )
    if not turned.rows:
        return
    lines = ", ".join(str(stamped.line(int(rows[row]))) for row in turned.rows[:8])
    more = f" and {len(turned.rows) - 8} more" if len(turned.rows) > 8 else ""
    what = {DAY_S: "one day", HOUR_S: "one hour"}.get(turned.period_s, "twelve hours")
    code = "midnight-crossed" if turned.period_s == DAY_S else "clock-began-anew"
    yield note(
        code,
        f"the clock in {stamped.label!r} begins anew at line {lines}{more}; {what} is added each time",
        stamped,
        int(rows[turned.rows[0]]),
    )


def of_dial(dial: Dial | None, rows: Integers, stamped: Stamped) -> Iterator[Finding]:
    """A dated clock that goes round a dial of twelve hours."""
    if dial is None:
        return
    row = int(rows[dial.row])
    before, after = stamped.written(int(rows[dial.row - 1])), stamped.written(row)
    half = "" if dial.known else "; whether it is before or after noon is not known, so the start is left open"
    yield note(
        "twelve-hour-dial",
        f"the hours in {stamped.label!r} go round a dial of twelve without a mark of the half day: {before!r} is followed by "
        f"{after!r}; twelve hours are added after noon{half}",
        stamped,
        row,
    )


def of_dates(dates: Dates, rows: Integers, stamped: Stamped) -> Iterator[Finding]:
    if not dates.rival:
        return
    forms = formats((dates.order, dates.rival), stamped.written(int(rows[0])))
    if dates.decided == "ambiguous":
        message = (
            f"day and month of {stamped.label!r} are ambiguous ({forms[0]!r} or {forms[1]!r}); "
            "the seconds are the same either way, the date of the start is left open"
        )
        code = "date-ambiguous"
    elif dates.decided == "dots":
        message = (
            f"{stamped.label!r} is read as {forms[0]!r}, since a date with dots is written with the day first; "
            f"{forms[1]!r} would fit the numbers too"
        )
        code = "date-order-inferred"
    else:
        message = f"{stamped.label!r} is read as {forms[0]!r}: {dates.decided}; {forms[1]!r} would fit the numbers too"
        code = "date-order-inferred"
    yield note(
        code,
        message,
        stamped,
        int(rows[0]),
        mend=f"state the `format`: time = {{ column = {stamped.key}, format = {json.dumps(forms[0])} }}",
    )


def of_fractions(fractions: Fractions, rows: Integers, stamped: Stamped) -> Iterator[Finding]:
    if fractions.reading != "decimals" and not stamped.format:
        yield note(
            "fraction-is-count",
            f"the digits behind the seconds in {stamped.label!r} ({stamped.written(int(rows[0]))!r}) are a count of "
            f"{fractions.reading}, not decimals: only so does the time rise evenly",
            stamped,
            int(rows[0]),
        )


def of_shapes(fields: Fields, rows: Integers, stamped: Stamped) -> Iterator[Finding]:
    """A format that changes on the way, and letters of a zone that are no offset."""
    known = [number for number in np.unique(fields.shape) if number >= 0 and fields.shapes[number] is not None]
    manners = {number: fields.shapes[number].manner for number in known}
    if len(set(manners.values())) > 1:
        kinds = {manner: place for place, manner in enumerate(dict.fromkeys(manners.values()))}
        lookup = np.zeros(len(fields.shapes) + 1, dtype=np.int64)
        for number, manner in manners.items():
            lookup[number] = kinds[manner]
        turns = np.flatnonzero(np.diff(lookup[fields.shape])) + 1
        first = int(rows[int(turns[0])])
        yield note(
            "time-format-changes",
            f"the stamps in {stamped.label!r} change their format {times_text(len(turns))} from "
            f"{stamped.written(int(rows[int(turns[0]) - 1]))!r} to {stamped.written(first)!r}; each is read by its own",
            stamped,
            first,
            mend="files may have been joined: look at the time around that line",
            severity="doubtful",
        )
    names = sorted({s.zone for number in known if (s := fields.shapes[number]) and s.zone and s.zone != "UTC"})
    if names and not stamped.zone:
        yield note(
            "zone-as-written",
            f"the stamps in {stamped.label!r} carry {names[0]!r}, letters that name no offset for sure; the start is given without one",
            stamped,
            int(rows[0]),
            mend=f'state `time = {{ column = {stamped.key}, zone = "Europe/Berlin" }}`, with the true zone',
        )
