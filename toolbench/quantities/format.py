"""The one formatter: every number that a person reads is rounded here.

The rule of rounding. An uncertainty keeps two significant digits, to the nearest; where that would make it smaller
by more than 1 %, it is rounded up. The value is rounded to the same place. GUM 7.2.6 asks for at most two digits and
gives two examples: 10.47 might be rounded up to 11, and 28.05 is to be rounded down to 28; this rule satisfies both.

References
----------
JCGM 100:2008 (GUM), 7.2.6.
"""

from __future__ import annotations

import math
import re
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from toolbench.quantities.units import from_si, unit_factor

MINUS = "\u2212"
THIN = "\u2009"
NONE = "\u2013"
NOT_ASSESSED = "not assessed"
_LOSS_ALLOWED = 0.01

_LABELS = {
    "1": "",
    "degC": "°C",
    "degF": "°F",
    "m3/s": "m³/s ANR",
    "L/s": "L/s ANR",
    "L/min": "L/min ANR",
    "scfm": "scfm (14.7 psia, 68 °F)",
    "ohm": "Ω",
    "mohm": "mΩ",
    "rpm": "1/min",
}


def unit_label(unit: str) -> str:
    """A unit as it is printed: ``"N*m"`` gives ``"N·m"``, ``"m3/s"`` gives ``"m³/s ANR"``: a flow names its state."""
    if unit in _LABELS:
        return _LABELS[unit]
    text = unit.replace("*", "·")
    text = re.sub(r"(?<=[A-Za-z])2(?![0-9])", "²", text)
    text = re.sub(r"(?<=[A-Za-z])3(?![0-9])", "³", text)
    return re.sub(r"^u(?=[A-Z]|s$|m$)", "µ", text)


def _with_unit(number: str, unit: str) -> str:
    label = unit_label(unit)
    return f"{number}{THIN}{label}" if label else number


MOST_ZEROS = 15
"""Numbers with more places than this before or behind the decimal point are written as powers of ten."""


def _decimal(value: float) -> Decimal:
    return Decimal(repr(float(value)))


def _known(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def round_uncertainty(u: float) -> Decimal:
    """An uncertainty at two significant digits by the rule of this module. `u` is positive and finite."""
    exact = _decimal(u)
    step = Decimal(1).scaleb(exact.adjusted() - 1)
    nearest = exact.quantize(step, rounding=ROUND_HALF_EVEN)
    if exact - nearest > exact * _decimal(_LOSS_ALLOWED):
        nearest = exact.quantize(step, rounding=ROUND_CEILING)
    if nearest.adjusted() > exact.adjusted():  # 0.0996 became 0.100: two digits are 0.10
        nearest = nearest.quantize(step.scaleb(1))
    return nearest


def _place(rounded: Decimal) -> Decimal:
    return Decimal(1).scaleb(rounded.adjusted() - 1)


def _text(value: Decimal, *, signed: bool = False) -> str:
    """A decimal with a true minus; a rounded zero carries no sign."""
    text = format(abs(value), "f")
    if value == 0:
        return text
    return f"{MINUS}{text}" if value < 0 else f"+{text}" if signed else text


def _at_place(value: float, place: Decimal) -> Decimal:
    rounded = _decimal(value).quantize(place, rounding=ROUND_HALF_EVEN)
    return rounded.quantize(Decimal(1)) if place > 1 else rounded


def format_number(
    value: float | None, digits: int = 4, *, unit: str = "", signed: bool = False, place: float | None = None
) -> str:
    """A number without uncertainty.

    Parameters
    ----------
    value : float or None
        None and nan give an en dash.
    digits : int
        Significant digits.
    unit : str
        Printed after a thin space [the value is in this unit].
    signed : bool
        Whether a positive number carries a plus.
    place : float, optional
        A power of ten to round to instead of `digits`.
    """
    if value is None or math.isnan(value):
        return NONE
    if math.isinf(value):
        return _with_unit("∞" if value > 0 else f"{MINUS}∞", unit)
    exact = _decimal(value)
    if place is not None:
        step = Decimal(1).scaleb(_decimal(place).adjusted())
    elif exact == 0:
        return _with_unit("0", unit)
    elif abs(exact.adjusted()) > MOST_ZEROS:
        return _with_unit(_power(value, digits), unit)
    else:
        step = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    return _with_unit(_text(_at_place(value, step), signed=signed), unit)


def _power(value: float, digits: int) -> str:
    """A number that nobody measured, as a wrong unit or a broken cell gives: short, where its zeros would fill a page."""
    mantissa, _, exponent = f"{value:.{digits - 1}e}".partition("e")
    return f"{mantissa} × 10^{int(exponent)}".replace("-", MINUS)


def _shortest(value: float, digits: int = 6) -> str:
    if value != 0 and abs(_decimal(value).adjusted()) > MOST_ZEROS:
        return _power(value, digits)
    text = format(_decimal(float(f"{value:.{digits}g}")), "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace("-", MINUS) if text not in ("-0", "") else "0"


def format_seconds(value: float | None) -> str:
    """A time as short as it is exact: ``2.0`` gives ``"2 s"``, ``0.35`` gives ``"0.35 s"``."""
    return NONE if not _known(value) or value is None else _with_unit(_shortest(value), "s")


def format_stated(value: float, unit: str) -> str:
    """A number that somebody stated, as short as it is exact: ``13.0`` mm gives ``"13 mm"``."""
    return _with_unit(_shortest(value), unit)


def format_value(
    value: float | None, u: float | None, unit: str, *, display: str | None = None, signed: bool = False
) -> str:
    """A value with its (expanded) uncertainty: ``"412.3 ± 4.1 N·m"``.

    Parameters
    ----------
    value, u : float or None
        In `unit`. A value that is None or nan gives an en dash; an uncertainty that is None, nan or infinite is said
        to be not assessed.
    unit : str
        Unit of both.
    display : str, optional
        Another unit of the same quantity to print in.
    signed : bool
        Whether a positive value carries a plus (differences do).
    """
    if not _known(value) or value is None:
        return NONE
    if display is not None and display != unit:
        quantity = unit_factor(unit).quantity
        value_si = value * unit_factor(unit).scale + unit_factor(unit).offset
        if u is not None:
            u = u * unit_factor(unit).scale / unit_factor(display, quantity).scale
        value, unit = from_si(value_si, display, quantity), display
    if not _known(u) or u is None:
        return f"{format_number(value, unit=unit, signed=signed)}, uncertainty {NOT_ASSESSED}"
    if u <= 0:
        return format_number(value, 6, unit=unit, signed=signed)
    rounded = round_uncertainty(u)
    number = _text(_at_place(value, _place(rounded)), signed=signed)
    if unit == "%":
        return f"{_with_unit(number, '%')} ± {_with_unit(_text(_trim(rounded)), '%')}"
    return _with_unit(f"{number} ± {_text(_trim(rounded))}", unit)


def _trim(value: Decimal) -> Decimal:
    """Without an exponent for uncertainties of 100 and more."""
    return value.quantize(Decimal(1)) if value.adjusted() > 1 else value


def format_percent(value: float | None, u: float | None = None, *, signed: bool = True, digits: int = 2) -> str:
    """A percentage, with its uncertainty where given: ``"−3.4 % ± 1.2 %"``. `value` and `u` are in percent.

    Without `u` (None) the number stands alone, at `digits` significant digits; nan says that it is not assessed.
    """
    if u is None:
        return format_number(value, digits, unit="%", signed=signed)
    return format_value(value, u, "%", signed=signed)


def format_at_least(value: float, digits: int = 2, *, u: float | None = None) -> str:
    """The size of a one-sided bound in percent, cut towards zero, since "at least" must not promise more than it has.

    It keeps `digits` significant digits, and more where the (expanded) uncertainty `u` [percent] reaches further down.
    """
    exact = abs(_decimal(value))
    if exact == 0:
        return _with_unit("0", "%")
    step = Decimal(1).scaleb(max(exact.adjusted() - digits + 1, -12))
    if u is not None and _known(u) and u > 0:
        step = min(step, _place(round_uncertainty(u)))
    cut = exact.quantize(step, rounding=ROUND_FLOOR)
    return _with_unit(_text(cut.quantize(Decimal(1)) if step > 1 else cut), "%")


def _bounds(lower: float, upper: float, place: Decimal) -> tuple[Decimal, Decimal]:
    """Both bounds at one place, finer where a bound that is not zero would be printed as zero."""
    for _ in range(4):
        low, high = _at_place(lower, place), _at_place(upper, place)
        if all((exact == 0) == (shown == 0) for exact, shown in ((lower, low), (upper, high))):
            break
        place = place.scaleb(-1)
    return low, high


def format_interval(lower: float | None, upper: float | None, unit: str, *, signed: bool = False) -> str:
    """An interval: ``"−4.6 % to −2.2 %"``. Its half width keeps two significant digits; both bounds share the place.

    A bound that is not zero is never printed as zero, so the printed interval leaves zero where the interval does.
    None or nan in a bound says ``"not assessed"``; an infinite one is printed as such.
    """
    if lower is None or upper is None or math.isnan(lower) or math.isnan(upper):
        return NOT_ASSESSED
    if math.isinf(lower) or math.isinf(upper):
        return f"{format_number(lower, unit=unit, signed=signed)} to {format_number(upper, unit=unit, signed=signed)}"
    half = abs(upper - lower) / 2
    place = _place(round_uncertainty(half)) if half > 0 else Decimal(1).scaleb(_decimal(lower or 1.0).adjusted() - 3)
    low, high = _bounds(lower, upper, place)
    first = _text(low, signed=signed)
    first = _with_unit(first, unit) if unit == "%" else first
    return f"{first} to {_with_unit(_text(high, signed=signed), unit)}"


def format_asymmetric(
    value: float | None, lower: float | None, upper: float | None, unit: str, *, signed: bool = False
) -> str:
    """A value with an interval that need not be symmetric.

    ``"−3.4 % ± 1.2 %"`` where both sides round to the same number, ``"−3.4 % (−4.8 % to −2.2 %)"`` elsewhere.
    """
    if not _known(value) or value is None:
        return NONE
    if not _known(lower) or not _known(upper) or lower is None or upper is None:
        return format_value(value, math.nan, unit, signed=signed)
    below, above = value - lower, upper - value
    if below > 0 and above > 0:
        sides = round_uncertainty(below), round_uncertainty(above)
        wider = max(sides)
        crosses = lower < 0 < upper
        shown = _decimal(value).quantize(_place(wider))
        if sides[0] == sides[1] and (shown - wider < 0 < shown + wider) == crosses:
            return format_value(value, float(wider), unit, signed=signed)
    half = (upper - lower) / 2
    place = float(_place(round_uncertainty(half))) if half > 0 else None
    number = format_number(value, unit=unit, signed=signed, place=place)
    return f"{number} ({format_interval(lower, upper, unit, signed=signed)})"
