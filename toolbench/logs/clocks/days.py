"""Which number of a date is the day and which the month: decided on the whole column, or called ambiguous."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from toolbench.logs.clocks.stamp_grammar import DAY_OF_YEAR, DOTTED, NO_DATE, SHORT_YEAR, YEAR_LAST
from toolbench.logs.clocks.stamps import Fields, Integers, Mask

DAY_S = 86_400
_LENGTHS = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=np.int64)
# Order of the three numbers as (year, month, day), each the role that holds it.
# The reader of fields gives a short last year its century; a short first one gets it here.
_ORDERS: dict[str, tuple[str, str, str]] = {
    "day.month.year": ("c", "b", "a"),
    "month/day/year": ("c", "a", "b"),
    "year/month/day": ("a", "b", "c"),
}


@dataclass(frozen=True, slots=True)
class Dates:
    """Days since 1970 of every stamp, which of them exist in the calendar, and how day and month were told apart."""

    days: Integers
    good: Mask
    order: str = ""
    decided: str = ""
    """What told day from month, "" where there was nothing to decide."""
    rival: str = ""
    """The other order, where both give the same seconds."""
    clash: tuple[int, int] | None = None
    """Two rows that no one order fits."""
    open: tuple[str, ...] = ()
    """Orders that all fit and give different seconds."""
    readings: dict[str, Integers] = field(default_factory=dict)


def find_dates(fields: Fields, seconds: Integers, stated: str | None) -> Dates:
    """Days since 1970 of every stamp.

    Parameters
    ----------
    fields : Fields
        Numbers of the stamps.
    seconds : array of int, shape (rows,)
        Seconds of the day [s], which tell which order rises.
    stated : str or None
        The stated format; the order of its codes is then the order.
    """
    days = np.zeros(fields.rows, dtype=np.int64)
    good = fields.good.copy()
    sure = ~np.isin(fields.date, (YEAR_LAST, SHORT_YEAR, DOTTED))
    if sure.any():
        rows = sure & (fields.date != NO_DATE)
        of_year = fields.date == DAY_OF_YEAR
        month = np.where(of_year, 1, fields["M"])
        days[rows] = civil_days(fields["Y"], month, np.where(of_year, 1, fields["D"]))[rows]
        days[of_year] += fields["D"][of_year] - 1
        good[rows] &= (of_year | exists(fields["Y"], month, fields["D"]))[rows]
    unsure = ~sure & fields.good
    if not unsure.any():
        return Dates(days, good)
    return _decide(fields, days, good, unsure, seconds)


def _decide(fields: Fields, days: Integers, good: Mask, unsure: Mask, seconds: Integers) -> Dates:
    short = bool((fields.date[unsure] == SHORT_YEAR).any())
    readings = {name: _read(fields, roles) for name, roles in _ORDERS.items() if short or name != "year/month/day"}
    possible = np.logical_or.reduce([fits for _, fits in readings.values()])
    good = good & (~unsure | possible)
    unsure = unsure & possible
    if not unsure.any():
        return Dates(days, good)
    fitting = [name for name, (_, fits) in readings.items() if fits[unsure].all()]
    if not fitting:
        return Dates(days, good, clash=_clash(readings, unsure))

    def result(name: str, **more: object) -> Dates:
        whole = days.copy()
        whole[unsure] = readings[name][0][unsure]
        return Dates(whole, good, name, **more)  # type: ignore[arg-type]

    if len(fitting) == 1:
        return result(fitting[0])
    times = {name: readings[name][0][unsure] * DAY_S + seconds[unsure] for name in fitting}
    first, *others = fitting
    if all(np.array_equal(times[first], times[name]) for name in others):
        return result(first)
    dotted = bool((fields.date[unsure] == DOTTED).all())
    if all(_same(times[first], times[name]) for name in others):
        return result(first, rival=others[0], decided="dots" if dotted else "ambiguous")
    best = _most_even(times)
    if dotted and first == "day.month.year":
        return result(first) if best == first else result(first, rival=others[0], decided="dots")
    if best:
        return result(best, decided="the only one that rises evenly", rival=next(n for n in fitting if n != best))
    return Dates(days, good, open=tuple(fitting))


def _read(fields: Fields, roles: tuple[str, str, str]) -> tuple[Integers, Mask]:
    year, month, day = (fields[role] for role in roles)
    fits = np.ones(fields.rows, dtype=np.bool_)
    if roles[0] == "a":
        fits = fields.date == SHORT_YEAR
        year, day = year + np.where(year < 70, 2000, 1900), day % 100
    return civil_days(year, month, day), fits & exists(year, month, day)


def _same(one: Integers, other: Integers) -> bool:
    return bool(np.array_equal(one - one[0], other - other[0]))


def _clash(readings: dict[str, tuple[Integers, Mask]], unsure: Mask) -> tuple[int, int]:
    """The first row that the day-first order does not fit and the first that the month-first order does not."""
    rows = [int(np.flatnonzero(unsure & ~fits)[0]) for name, (_, fits) in readings.items() if name != "year/month/day"]
    return rows[0], rows[1]


def _most_even(times: dict[str, Integers]) -> str:
    """The one reading that never steps back, or else the one whose longest step is like the others; "" where none stands out."""
    rising = [name for name, values in times.items() if len(values) < 2 or (np.diff(values) >= 0).all()]
    if len(rising) == 1:
        return rising[0]
    longest = {}
    for name in rising:
        steps = np.diff(times[name])
        usual = float(np.median(steps[steps > 0])) if (steps > 0).sum() >= 3 else 0.0
        longest[name] = float(steps.max()) / usual if usual else 0.0
    ranked = sorted(longest, key=lambda name: longest[name])
    if len(ranked) > 1 and 0 < longest[ranked[0]] <= 3 and longest[ranked[1]] > 20 * longest[ranked[0]]:
        return ranked[0]
    return ""


def civil_days(year: Integers, month: Integers, day: Integers) -> Integers:
    """Days since 1970-01-01 in the Gregorian calendar (Howard Hinnant, "chrono-Compatible Low-Level Date Algorithms")."""
    shifted = year - (month <= 2)
    era = shifted // 400
    of_era = shifted - era * 400
    of_year = (153 * (month + np.where(month > 2, -3, 9)) + 2) // 5 + day - 1
    days: npt.NDArray[np.int64] = era * 146_097 + of_era * 365 + of_era // 4 - of_era // 100 + of_year - 719_468
    return days


def exists(year: Integers, month: Integers, day: Integers) -> Mask:
    """Whether the calendar holds the date."""
    inside = (month >= 1) & (month <= 12) & (day >= 1)
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    length = _LENGTHS[np.where(inside, month, 0)] + (leap & (month == 2))
    result: Mask = inside & (day <= length)
    return result


def orders_text(names: tuple[str, ...] | list[str]) -> Iterator[str]:
    """Codes of strptime for every order."""
    codes = {"day.month.year": "%d{0}%m{0}{1}", "month/day/year": "%m{0}%d{0}{1}", "year/month/day": "{1}{0}%m{0}%d"}
    return (codes[name] for name in names)
