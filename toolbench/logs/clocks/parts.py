"""Date and clock in columns of their own: which belong together, and their numbers put together."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from toolbench.logs.clocks.stamp_grammar import NO_DATE, YEAR_FIRST, Shape, understand, words
from toolbench.logs.clocks.stamps import Fields, Integers, empty_fields, laid_out, read_fields
from toolbench.logs.clocks.timesource import numbers_of
from toolbench.logs.names import Column

_PART_NAMES: dict[str, frozenset[str]] = {
    "Y": words("y year yyyy jahr année annee año ano anno 年 yr"),
    "M": words("m month mm mon monat mois mes mese 月 mo"),
    "D": words("d day dd tag jour dia día giorno 日 date"),
    "h": words("h hour hours hh hr hrs std stunde stunden heure hora ora 時 时"),
    "mi": words("min minute minutes mm mi mn minuten minuto minuti m n 分"),
    "s": words("s sec second seconds ss sek sekunde sekunden seconde segundo secondi 秒"),
}
_LIMITS = {"Y": (1970, 2100), "M": (1, 12), "D": (1, 31), "h": (0, 24), "mi": (0, 59), "s": (0, 61)}
_BELOW_SECOND = {
    **dict.fromkeys(words("ms msec msecs milli millis millisec millisecond milliseconds millisekunden millisekunde ミリ秒 毫秒"), 1_000_000),
    **dict.fromkeys(words("us µs μs usec micro micros microsec microsecond microseconds mikrosekunden"), 1_000),
    **dict.fromkeys(words("ns nsec nano nanos nanosecond nanoseconds"), 1),
}  # fmt: skip
_HALF = re.compile(r"(?:[AaPp]\.?[Mm]\.?|午前|午後|上午|下午)\Z")
_PACKED_DATE = re.compile(r"(?:19[7-9]|20\d)\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])\Z")
_PACKED_CLOCK = re.compile(r"(?:(?:(?:[01]?\d|2[0-3])?[0-5])?\d?[0-5])?\d(?:[.,]\d+)?\Z")


def unit_below_second(column: Column) -> int:
    """Nanoseconds in one count of a column that holds the part of a second, 0 where it is none."""
    for text in (column.unit, column.name, *re.split(r"[\s_.\-]+", column.name)):
        found = _BELOW_SECOND.get(text.strip("[]()").casefold(), 0)
        if found:
            return found
    return 0


def _is_below_second(column: Column) -> bool:
    """Whether a column counts parts of a second: whole numbers below one second, named so."""
    unit = unit_below_second(column)
    values = numbers_of(column)
    return bool(unit and values) and all(
        0 <= v < 1_000_000_000 // unit and v == int(v) for v in values if np.isfinite(v)
    )


def _counts_within(group: Sequence[Column], column: Column) -> bool:
    """Whether a column without a telling name counts milliseconds: it rises among equal stamps and falls where they change."""
    values = numbers_of(column)
    cells = list(zip(*(member.sample for member in group), strict=False))
    if column.unit or len(values) != len(column.sample) or len(cells) != len(values):
        return False
    if not all(0 <= value < 1000 and value == int(value) for value in values):
        return False
    pairs = [
        (one == other, after - before)
        for (one, other), (before, after) in zip(pairwise(cells), pairwise(values), strict=True)
    ]
    rises = [step > 0 for same, step in pairs if same]
    falls = [step < 0 for same, step in pairs if not same]
    return len(rises) >= 1 and all(rises) and len(falls) >= 1 and all(falls)


def group_stamps(columns: Sequence[Column]) -> Iterator[tuple[tuple[Column, ...], tuple[str, ...]]]:
    """Clocks of one to six columns, as columns and their roles, in file order."""
    taken: set[int] = set()
    shapes = {column.index: _shape(column) for column in columns}
    placed = {column.index: column for column in columns}
    for column in columns:
        shape = shapes[column.index]
        if column.index in taken or shape is None:
            continue
        has_date, has_clock = shape.date != NO_DATE, "h" in shape.spans or "mi" in shape.spans
        group = [column]
        roles = ["stamp"]
        if has_date != has_clock:
            partner = _partner(placed, column, shapes, taken, wants_date=has_clock)
            if partner is not None:
                group, roles = ([column, partner] if has_date else [partner, column]), ["stamp", "stamp"]
        last = max(member.index for member in group)
        following = placed.get(last + 1)
        if following is not None and following.kind == "text" and _all_halves(following):
            group.append(following)
            roles.append("stamp")
            following = placed.get(last + 2)
        no_fraction = all((s := shapes.get(member.index)) is None or "f" not in s.spans for member in group)
        if (
            following is not None
            and following.kind == "number"
            and no_fraction
            and (_is_below_second(following) or _counts_within(group, following))
        ):
            group.append(following)
            roles.append("below")
        taken.update(member.index for member in group)
        yield tuple(group), tuple(roles)
    yield from _numbers(columns)


def _shape(column: Column) -> Shape | None:
    if column.kind not in ("stamp", "text"):
        return None
    cells = [cell.strip('"') for cell in column.sample if cell.strip('" ')]
    if not cells:
        return None
    found = [understand(cell) for cell in cells[:20]]
    known = [shape for shape in found if shape is not None]
    return known[0] if 2 * len(known) > len(found) else None


def _partner(
    placed: Mapping[int, Column],
    column: Column,
    shapes: Mapping[int, Shape | None],
    taken: set[int],
    *,
    wants_date: bool,
) -> Column | None:
    """The nearest column that holds the other half of the stamp."""
    halves = []
    for place in range(column.index - 3, column.index + 4):
        other, shape = placed.get(place), shapes.get(place)
        if other is None or shape is None or place in taken or place == column.index:
            continue
        dated, clocked = shape.date != NO_DATE, "h" in shape.spans or "mi" in shape.spans
        if dated != clocked and dated == wants_date:
            halves.append(other)
    return min(halves, key=lambda other: (abs(other.index - column.index), other.index < column.index), default=None)


def _all_halves(column: Column) -> bool:
    cells = [cell.strip('" ') for cell in column.sample if cell.strip('" ')]
    return bool(cells) and all(_HALF.match(cell) for cell in cells)


def _numbers(columns: Sequence[Column]) -> Iterator[tuple[tuple[Column, ...], tuple[str, ...]]]:
    """Year to second in columns of numbers, or a date and a clock packed into one number each."""
    roles = ("Y", "M", "D", "h", "mi", "s")
    for start in range(len(columns) - 4):
        row = columns[start : start + 6]
        if any(column.kind != "number" for column in row[:5]):
            continue
        # All five, or none of it: in a table of thousands of columns most fall at the first.
        if not all(_fits(column, role) for role, column in zip(roles[:5], row, strict=False)):
            continue
        fitting = [*roles[:5]] + [role for role, column in zip(roles[5:], row[5:], strict=False) if _fits(column, role)]
        named = [role for role, column in zip(roles, row, strict=False) if _named(column, role)]
        if len(fitting) == 6 or len(named) >= 5:
            count = len(fitting)
            if not named and count < 6:
                continue
            group, parts = list(row[:count]), list(roles[:count])
            following = next((c for c in columns if c.index == row[count - 1].index + 1), None)
            if following is not None and following.kind == "number" and _is_below_second(following):
                group.append(following)
                parts.append("below")
            yield tuple(group), tuple(parts)
            return
    for one, other in pairwise(columns):
        if one.kind == other.kind == "number" and _packed(one, _PACKED_DATE) and _packed(other, _PACKED_CLOCK):
            words = {word for name in (one.name, other.name) for word in re.split(r"[\s_.\-/]+", name.casefold())}
            if words & {"date", "datum", "time", "zeit", "uhrzeit", "heure", "hora", "日付", "時刻"}:
                yield (one, other), ("date8", "clock6")


def _fits(column: Column, role: str) -> bool:
    if column.kind != "number":
        return False
    low, high = _LIMITS[role]
    values = numbers_of(column)
    whole = role == "s" or all(value == int(value) for value in values if np.isfinite(value))
    return bool(values) and whole and all(low <= value <= high for value in values if np.isfinite(value))


def _named(column: Column, role: str) -> bool:
    words = [word for word in re.split(r"[\s_.\-/()\[\]]+", column.written.casefold()) if word]
    return bool(_PART_NAMES[role].intersection(words))


def _packed(column: Column, pattern: re.Pattern[str]) -> bool:
    cells = [cell.strip('" ') for cell in column.sample if cell.strip('" ')]
    return bool(cells) and all(pattern.match(cell) for cell in cells)


def fields_of(columns: Sequence[Column], roles: Sequence[str], values: Mapping[int, Any], stated: str | None) -> Fields:
    """The fields of a clock of one column or several."""
    stamps = [values[c.index] for c, role in zip(columns, roles, strict=True) if role == "stamp"]
    if stamps:
        fields = read_fields(_joined(stamps), stated)
    else:
        fields = empty_fields(len(values[columns[0].index]))
        fields.date[:] = YEAR_FIRST
    for column, role in zip(columns, roles, strict=True):
        if role != "stamp":
            _enter(fields, role, values[column.index], column)
    return fields


def _joined(columns: Sequence[Any]) -> Any:
    if len(columns) == 1 and laid_out(columns[0]) is not None:
        return columns[0]
    texts = [pd.Series(column).astype("str").fillna("").str.strip().tolist() for column in columns]
    return texts[0] if len(texts) == 1 else [" ".join(cells) for cells in zip(*texts, strict=True)]


def _enter(fields: Fields, role: str, numbers: Any, column: Column) -> None:
    numbers = np.asarray(numbers)
    if numbers.dtype.kind == "f":
        finite = np.isfinite(numbers)
        fields.good &= finite
        numbers = np.where(finite, numbers, 0.0)
    whole: Integers = np.floor(numbers).astype(np.int64)
    if role == "s":
        _enter_fraction(fields, np.rint((numbers - whole) * 1e9).astype(np.int64))
        fields.values["s"] = whole
    elif role == "below":
        unit = unit_below_second(column) or _unit_by_size(whole)
        _enter_fraction(fields, whole * unit)
    elif role == "date8":
        fields.values |= {"Y": whole // 10_000, "M": whole // 100 % 100, "D": whole % 100}
    elif role == "packed":
        _enter_packed(fields, numbers, whole)
    elif role == "clock6":
        _enter_fraction(fields, np.rint((numbers - whole) * 1e9).astype(np.int64))
        fields.values |= {"h": whole // 10_000, "mi": whole // 100 % 100, "s": whole % 100}
    else:
        fields.values[role] = whole
        if role == "Y":
            fields.values[role] = np.where(whole < 100, whole + 2000, whole)


def _enter_packed(fields: Fields, numbers: Any, whole: Integers) -> None:
    """Year to second, or to minute or millisecond, in one number."""
    digits = len(str(int(whole.max(initial=0))))
    fraction = np.rint((numbers - whole) * 1e9).astype(np.int64)
    below = 10 ** max(0, digits - 14)
    fraction += whole % below * (1_000_000_000 // below)
    whole = whole // below * (100 if digits == 12 else 1)
    _enter_fraction(fields, fraction)
    for role, size, places in (
        ("Y", 10**10, 10_000),
        ("M", 10**8, 100),
        ("D", 10**6, 100),
        ("h", 10**4, 100),
        ("mi", 100, 100),
    ):
        fields.values[role] = whole // size % places
    fields.values["s"] = whole % 100


def _enter_fraction(fields: Fields, ns: Integers) -> None:
    fields.values["f"] = ns
    fields.digits[:] = 9


def _unit_by_size(counts: Integers) -> int:
    most = int(counts.max(initial=0))
    return 1_000_000 if most < 1000 else 1000 if most < 1_000_000 else 1
