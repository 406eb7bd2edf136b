"""Digits behind the seconds: a decimal fraction ("03.25"), or a count of milliseconds ("03.0250", "03:250", "03.7" before "03.12")."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from toolbench.logs.clocks.stamps import Fields, Integers

SECOND_NS = 1_000_000_000
_UNITS = {"milliseconds": 1_000_000, "microseconds": 1_000, "nanoseconds": 1}


@dataclass(frozen=True, slots=True)
class Fractions:
    """Nanoseconds behind the whole second, and how the digits were understood; `rival` is a reading that fits as well."""

    ns: Integers
    reading: str = "decimals"
    rival: str = ""


def find_fractions(fields: Fields, whole_s: Integers, stated: str | None) -> Fractions:
    """The fraction of every stamp.

    Parameters
    ----------
    fields : Fields
        Numbers of the stamps, those that were understood only.
    whole_s : array of int, shape (rows,)
        Whole seconds of every stamp [s], rising over midnight.
    stated : str or None
        The stated format: `%f` is a decimal fraction, `%L` a count of milliseconds.
    """
    decimals = _decimals(fields)
    if not fields.has("f"):
        return Fractions(decimals)
    if stated:
        return Fractions(_counts(fields, "milliseconds"), "milliseconds") if "%L" in stated else Fractions(decimals)
    widths = np.unique(fields.digits[fields.digits > 0])
    values, widest = fields["f"], int(widths.max(initial=0))
    unit = next(
        name for name, most in (("milliseconds", 4), ("microseconds", 6), ("nanoseconds", 99)) if widest <= most
    )
    if len(widths) == 1 and (widest != 4 or int(values.max()) > 999):
        return Fractions(decimals)
    if len(widths) > 1:
        padded = bool(((fields.digits > 1) & (values < 10 ** np.maximum(fields.digits - 1, 0))).any())
        trailing = bool(((fields.digits > 1) & (values % 10 == 0)).any())
        marks = {shape.mark for shape in fields.shapes if shape is not None and shape.mark}
        if padded or (widest == 4 and int(values.max()) > 999):
            return Fractions(decimals)
        if trailing or marks <= {":", ";"}:
            return Fractions(_counts(fields, unit), unit)
    counts = _counts(fields, unit)
    return _more_even(fields, whole_s, decimals, counts, unit)


def _decimals(fields: Fields) -> Integers:
    digits = fields.digits
    up = 10 ** np.maximum(9 - digits, 0)
    down = 10 ** np.maximum(digits - 9, 0)
    result: Integers = fields["f"] * up // down * fields.sign
    return result


def _counts(fields: Fields, unit: str) -> Integers:
    result: Integers = fields["f"] * _UNITS[unit] * fields.sign
    return result


def _more_even(fields: Fields, whole_s: Integers, decimals: Integers, counts: Integers, unit: str) -> Fractions:
    """The reading under which time rises, and rises evenly; both where nothing tells them apart."""
    one, other = whole_s * SECOND_NS + decimals, whole_s * SECOND_NS + counts
    if len(one) < 2 or np.array_equal(one - one[0], other - other[0]):
        return Fractions(decimals)
    back = [int((np.diff(times) < 0).sum()) for times in (one, other)]
    if back[0] != back[1]:
        return Fractions(counts, unit) if back[1] < back[0] else Fractions(decimals)
    rough = [_roughness(times) for times in (one, other)]
    if rough[1] * 3 <= rough[0]:
        return Fractions(counts, unit)
    if rough[0] * 3 <= rough[1]:
        return Fractions(decimals)
    seen = np.unique(fields["f"][fields.digits > 0])
    spread = len(seen) >= 8 and int(seen.max()) > 500 and len(np.unique(whole_s)) >= 3
    if spread and (fields.digits[fields.digits > 0] == 4).all():
        return Fractions(counts, unit)  # decimals would all lie in the first tenth of a second
    return Fractions(decimals, rival=unit)


def _roughness(times: Integers) -> float:
    """Longest step in usual steps."""
    steps = np.diff(times)
    positive = steps[steps > 0]
    return float(positive.max() / np.median(positive)) if len(positive) else 1.0
