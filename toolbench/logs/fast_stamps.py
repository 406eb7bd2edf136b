"""ISO 8601 stamps of one width as nanoseconds, many thousands at a time.

The text of the column lies in memory end to end. Every stamp is compared with the first: what is no digit must be the same, what is
a digit must stay one, and the digits of the clock are weighed all at once. Where any stamp deviates the answer is None, and the
column is read field by field.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from toolbench.logs.days import civil_days, exists
from toolbench.logs.stamps import Integers

Bytes = npt.NDArray[np.uint8]

# Four decimals are left out: they may be a count of milliseconds, which only the whole column tells.
_STAMP = re.compile(rb"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:[.,](?:\d{1,3}|\d{5,9}))?Z?")
_DAY_NS = 86_400_000_000_000
_BLOCK = 8_192


@dataclass(frozen=True, slots=True)
class _Form:
    """The first stamp with its digits as zeros, the bits of every byte that must not differ, and what the digits weigh [ns]."""

    template: Bytes
    fixed: Bytes
    six: Bytes
    weights: npt.NDArray[np.float64]


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
    for begin in range(0, len(rows), _BLOCK):
        part = _weigh(rows[begin : begin + _BLOCK], form)
        if part is None:
            return None
        result[begin : begin + _BLOCK] = part
    return result


def laid_out(cells: Any) -> tuple[Bytes, int] | None:
    """The bytes of a column of text end to end and the width of a cell; None where widths differ or a cell is missing."""
    array = pa.array(cells)
    if isinstance(array, pa.ChunkedArray):
        array = array.combine_chunks()
    if not len(array) or array.null_count or array.type not in (pa.string(), pa.large_string()):
        return None
    kind = np.int64 if array.type == pa.large_string() else np.int32
    _, offsets, data = array.buffers()
    edges = np.frombuffer(offsets, dtype=kind)[array.offset : array.offset + len(array) + 1]
    width = int(edges[1] - edges[0])
    if width == 0 or int(edges[-1] - edges[0]) != width * len(array) or not (np.diff(edges) == width).all():
        return None
    return np.frombuffer(data, dtype=np.uint8)[edges[0] : edges[-1]], width


def _form(stamp: bytes) -> _Form | None:
    if _STAMP.fullmatch(stamp) is None:
        return None
    digit = np.array([48 <= byte <= 57 for byte in stamp])
    template = np.where(digit, 48, np.frombuffer(stamp, dtype=np.uint8)).astype(np.uint8)
    weights = np.zeros(len(stamp))
    for place, seconds in ((11, 36_000), (12, 3_600), (14, 600), (15, 60), (17, 10), (18, 1)):
        weights[place] = seconds * 1e9
    for place in range(20, len(stamp)):
        weights[place] = 10.0 ** (28 - place) if digit[place] else 0.0
    return _Form(
        template, np.where(digit, 0xF0, 0xFF).astype(np.uint8), np.where(digit, 6, 0).astype(np.uint8), weights[11:]
    )


def _weigh(rows: Bytes, form: _Form) -> Integers | None:
    """Nanoseconds of some stamps, None where one deviates. The sum stays below 2**53, so that it is exact."""
    digits = rows ^ form.template
    if ((digits | (digits + form.six)) & form.fixed).any():
        return None
    if (digits[:, 14] > 5).any() or (digits[:, 17] > 5).any() or (digits[:, 11] * 10 + digits[:, 12] > 23).any():
        return None
    of_day = (digits[:, 11:].astype(np.float64) @ form.weights).astype(np.int64)
    same = bool((digits[:, :10] == digits[0, :10]).all())
    days = _days(digits[:1] if same else digits)
    return None if days is None else of_day + days * _DAY_NS


def _days(digits: Bytes) -> Integers | None:
    wide = digits[:, :10].astype(np.int64)
    year = wide[:, 0] * 1000 + wide[:, 1] * 100 + wide[:, 2] * 10 + wide[:, 3]
    month, day = wide[:, 5] * 10 + wide[:, 6], wide[:, 8] * 10 + wide[:, 9]
    if not exists(year, month, day).all() or int(year.min()) < 1680 or int(year.max()) > 2260:
        return None
    return civil_days(year, month, day)
