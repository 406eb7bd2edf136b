"""ISO 8601 stamps of one width as nanoseconds, many thousands at a time.

The text of the column lies in memory end to end. Every stamp is compared with the first: what is no digit must be the same, what is
a digit must stay one, and the digits of the clock are weighed all at once. Where any stamp deviates the answer is None, and the
column is read field by field.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from toolbench.logs.clocks.days import civil_days, exists
from toolbench.logs.clocks.stamps import Bytes, Integers, laid_out
from toolbench.logs.columns.threads import in_threads, processors

# Four decimals are left out: they may be a count of milliseconds, which only the whole column tells.
_STAMP = re.compile(rb"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:[.,](?:\d{1,3}|\d{5,9}))?Z?")
_DAY_NS = 86_400_000_000_000
_BLOCK = 8_192


@dataclass(frozen=True)
class _Form:
    """What a stamp of the column is held against.

    A stamp less `template` is 0 where it must be the same; a digit of it stays below 16 when its entry of `room` is added.
    """

    template: Bytes
    fixed: Bytes
    room: Bytes
    decimals: int
    days: int | None = None
    """Days since 1970 where the date is part of the template."""

    @cached_property
    def tiled(self) -> tuple[Bytes, Bytes, Bytes]:
        """Template, room and fixed bits for a whole block, end to end: one long run is three times as fast as many short ones."""
        template, room, fixed = (np.tile(part, _BLOCK) for part in (self.template, self.room, self.fixed))
        return template, room, fixed


def iso_nanoseconds(cells: Any) -> Integers | None:
    """Nanoseconds since 1970 of a column of text, None where it is not ISO 8601 of one width throughout.

    Parameters
    ----------
    cells : Series of str
        Stamps as written, all with the mark Z or all without a zone.
    """
    laid = laid_out(cells)
    if laid is None:
        return None
    data, width = laid
    form = _form(data[:width].tobytes())
    if form is None:
        return None
    rows = data.reshape(-1, width)
    result = np.empty(len(rows), dtype=np.int64)
    share = -(-len(rows) // processors()) if len(rows) > 8 * _BLOCK else len(rows)
    shares = [(rows[begin : begin + share], result[begin : begin + share]) for begin in range(0, len(rows), share)]
    return result if all(in_threads(lambda part: _fill(*part, form), shares)) else None


def _fill(rows: Bytes, result: Integers, form: _Form) -> bool:
    """Enter the nanoseconds of some stamps in `result`; False where one deviates."""
    today = _of_day(form, rows[0])
    for begin in range(0, len(rows), _BLOCK):
        block = rows[begin : begin + _BLOCK]
        part = _weigh(block, today)
        if part is None:  # another day than before, or midnight inside
            today = _of_day(form, block[0])
            part = _weigh(block, today)
        if part is None:
            part = _weigh(block, form)
        if part is None:
            return False
        result[begin : begin + _BLOCK] = part
    return True


def _form(stamp: bytes) -> _Form | None:
    if _STAMP.fullmatch(stamp) is None:
        return None
    digit = np.array([48 <= byte <= 57 for byte in stamp])
    template = np.where(digit, 48, np.frombuffer(stamp, dtype=np.uint8)).astype(np.uint8)
    room = np.where(digit, 6, 0).astype(np.uint8)
    room[11], room[14], room[17] = 13, 10, 10  # tens up to 2 for hours, up to 5 for minutes and seconds
    return _Form(template, np.where(digit, 0xF0, 0xFF).astype(np.uint8), room, int(digit[20:].sum()))


def _of_day(form: _Form, row: Bytes) -> _Form:
    """The form of stamps of the same day as this one."""
    days = _days((row ^ form.template)[None, :])
    template, fixed, room = form.template.copy(), form.fixed.copy(), form.room.copy()
    template[:10], fixed[:10], room[:10] = row[:10], 0xFF, 0
    return replace(form, template=template, fixed=fixed, room=room, days=None if days is None else int(days[0]))


def _weigh(rows: Bytes, form: _Form) -> Integers | None:
    """Nanoseconds of some stamps, None where one deviates."""
    flat = np.bitwise_xor(rows.reshape(-1), form.tiled[0][: rows.size])
    wider = flat + form.tiled[1][: rows.size]
    wider |= flat
    wider &= form.tiled[2][: rows.size]
    if wider.any():
        return None
    digits = flat.reshape(rows.shape)
    clock = np.ascontiguousarray(digits[:, 11:].T)
    hours = _number(clock[0:2])
    if int(hours.max()) > 23:
        return None
    of_day = hours * 3600
    of_day += _number(clock[3:5]) * 60
    of_day += _number(clock[6:8])
    of_day *= 1_000_000_000
    for begin in range(0, form.decimals, 3):
        group = clock[9 + begin : 9 + min(begin + 3, form.decimals)]
        of_day += _number(group) * 10 ** (9 - begin - len(group))
    days: Any = form.days if form.days is not None else _days(digits)
    if days is None:
        return None
    of_day += days * _DAY_NS
    return of_day


def _number(digits: Bytes) -> Integers:
    """Up to three digits, one row of the array each, as numbers."""
    result = digits[0].astype(np.uint16)
    for digit in digits[1:]:
        result *= 10
        result += digit
    wide: Integers = result.astype(np.int64)
    return wide


def _days(digits: Bytes) -> Integers | None:
    wide = digits[:, :10].astype(np.int64)
    year = wide[:, 0] * 1000 + wide[:, 1] * 100 + wide[:, 2] * 10 + wide[:, 3]
    month, day = wide[:, 5] * 10 + wide[:, 6], wide[:, 8] * 10 + wide[:, 9]
    if not exists(year, month, day).all() or int(year.min()) < 1680 or int(year.max()) > 2260:
        return None
    return civil_days(year, month, day)
