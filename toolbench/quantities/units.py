"""The one door for units: text with a unit in, SI out.

Everyday units are in a table of our own, so the units library is imported only for the others (its import costs
a third of a second). Pressures are gauge unless the unit says `abs`; flow is free air in the reference state that
the unit names, ANR where it names none.

References
----------
NIST SP 811 (2008), appendix B: conversion factors. ISO 8778: reference state ANR (100 kPa, 20 °C, 65 % RH).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any

from toolbench.quantities.tables import (
    DISPLAY_SI,
    DISPLAY_US,
    KINDS,
    NAMED_FLOWS,
    OFFSETS,
    REFERENCE_STATES,
    REFUSED,
    STANDARD_ATMOSPHERE_PA,
    TABLE,
)

__all__ = [
    "DISPLAY_SI",
    "DISPLAY_US",
    "KINDS",
    "STANDARD_ATMOSPHERE_PA",
    "QuantityError",
    "UnitFactor",
    "exact_number",
    "from_si",
    "is_unit",
    "to_si",
    "unit_factor",
]


MOST_EXPONENT = 400
"""Powers of ten beyond this are refused: a float ends at 308."""


class QuantityError(ValueError):
    """A text is not a number with a unit of the wanted kind; the message says what would be right."""


@dataclass(frozen=True, slots=True)
class UnitFactor:
    """SI value = value * scale + offset."""

    scale: float
    offset: float
    si_unit: str
    quantity: str


_ABSOLUTE = re.compile(r"^(?P<unit>.+?)[\s_]*(?:\(?\s*abs(?:olute)?\.?\s*\)?|\(a\))$", re.IGNORECASE)
_GAUGE = re.compile(r"^(?P<unit>.+?)[\s_]*(?:\(?\s*gauge\s*\)?|\(g\)|\s+g)$", re.IGNORECASE)
_FUSED = {"psia": ("psi", True), "psig": ("psi", False), "bara": ("bar", True), "barg": ("bar", False),
          "kpaa": ("kPa", True), "kpag": ("kPa", False)}  # fmt: skip
_REPLACE = str.maketrans(
    {"·": "*", "・": "*", "･": "*", "⋅": "*", "∙": "*", "×": "*", "•": "*", "²": "2", "³": "3", "µ": "u", "μ": "u", "\u03a9": "ohm",
     "\u2126": "ohm", "℃": "degC", "℉": "degF", "″": '"', "”": '"', "′": "'", "’": "'", "−": "-", "\u00a0": " ", "\u2009": " ",
     "\u202f": " ", "ℓ": "L", "ﾟ": "°", "゜": "°", "º": "°", "˚": "°"}
)  # fmt: skip
_NUMBER = re.compile(
    r"^\s*(?P<number>[+-]?(?:\d+\s+\d+/\d+|\d+/\d+|(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?))\s*(?P<unit>\D.*)?$", re.DOTALL
)


def _plain(unit: str) -> str:
    text = unit.strip().translate(_REPLACE)
    text = re.sub(r"°\s*", "deg", text)
    text = re.sub(r"^deg(?:rees?|\.)?[\s_]*(?=(?:[CFK]|[Cc]elsius|[Ff]ahrenheit)$)", "deg", text, flags=re.IGNORECASE)
    text = re.sub(r"^deg(celsius|fahrenheit)$", r"\1", text, flags=re.IGNORECASE)
    text = re.sub(r"^(L|N?m3|ft3|kg)_(h|min|s|hr)$", r"\1/\2", text, flags=re.IGNORECASE)
    text = re.sub(r"\^|\*\*", "", text)
    return re.sub(r"\s+", " ", text)


def _spellings(text: str) -> tuple[str, ...]:
    """The ways one unit may be looked up: as written, with starred products, and with litres in capitals."""
    star = re.sub(r"\s*/\s*", "/", text)
    star = re.sub(r"(?<=[A-Za-z0-9)])[ .\-*]+(?=[A-Za-z(])", "*", star)
    litres = re.sub(r"(?<![A-Za-z])(m?)l(?=$|[/*) ])", r"\1L", star)
    return tuple(dict.fromkeys((text, star, litres)))


@lru_cache(maxsize=1)
def _folded() -> dict[str, dict[str, str]]:
    """Per quantity, spellings in any case; single letters and units whose prefix hangs on the case are left out."""
    result: dict[str, dict[str, str]] = {}
    for quantity, units in TABLE.items():
        result[quantity] = {
            unit.casefold(): unit for unit in units if len(unit) > 1 and unit.casefold() not in {"mpa", "mohm"}
        }
    return result


def _find_in_table(text: str, table: str) -> str | None:
    for spelling in _spellings(text):
        if spelling in TABLE[table]:
            return spelling
    for spelling in _spellings(text):
        found = _folded()[table].get(spelling.casefold())
        if found is not None:
            return found
    return None


def _tables(quantity: str | None) -> tuple[str, ...]:
    return (KINDS[quantity].table,) if quantity else tuple(t for t in TABLE if t != "temperature_difference")


def _flow(text: str) -> UnitFactor | None:
    """A flow unit with its reference state."""
    for spelling in _spellings(text):
        for name, (scale, state) in NAMED_FLOWS.items():
            if spelling == name or (name.startswith("scf") and spelling.casefold() == name):
                return UnitFactor(scale * REFERENCE_STATES[state], 0.0, "m3/s", "air_flow")
    match = re.fullmatch(r"(?P<unit>.+?)[\s_]*\(?(?P<state>ANR|ISA)\)?", text, re.IGNORECASE)
    if match and (unit := _find_in_table(match["unit"].strip(), "air_flow")):
        return UnitFactor(TABLE["air_flow"][unit] * REFERENCE_STATES[match["state"].upper()], 0.0, "m3/s", "air_flow")
    return None


def _pressure(text: str, quantity: str | None, ambient_pressure_pa: float) -> UnitFactor | None:
    """A pressure unit that says absolute or gauge."""
    wanted = quantity or "pressure"
    if text.casefold() in _FUSED:
        unit, absolute = _FUSED[text.casefold()]
    elif match := _ABSOLUTE.match(text):
        unit, absolute = match["unit"], True
    elif match := _GAUGE.match(text):
        unit, absolute = match["unit"], False
    else:
        return None
    found = _find_in_table(unit.strip(), "pressure")
    if found is None:
        return None
    if wanted == "pressure_difference" and absolute:
        raise QuantityError(f'"{text}": a difference of pressures is neither absolute nor gauge: leave out "abs"')
    if wanted == "absolute_pressure" and not absolute:
        raise QuantityError(
            f'"{text}" is gauge, the air pressure of the room is absolute: write for example "1013 hPa"'
        )
    offset = -ambient_pressure_pa if wanted == "pressure" and absolute else 0.0
    return UnitFactor(TABLE["pressure"][found], offset, "Pa", wanted)


def _own(text: str, quantity: str | None, ambient_pressure_pa: float) -> UnitFactor | None:
    """The everyday units, without the units library."""
    if quantity in (None, "air_flow") and (flow := _flow(text)):
        return flow
    if (quantity is None or KINDS[quantity].table == "pressure") and (
        pressure := _pressure(text, quantity, ambient_pressure_pa)
    ):
        return pressure
    for table in _tables(quantity):
        if (unit := _find_in_table(text, table)) is not None:
            name = quantity or table
            offset = OFFSETS.get(unit, 0.0) if table == "temperature" else 0.0
            return UnitFactor(TABLE[table][unit], offset, KINDS[name].si_unit, name)
    return None


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


_PINT_SI = {"degC": "kelvin", "Cv": "", "1": "dimensionless", "m3/s": "m**3/s", "Pa*s/m3": "Pa*s/m**3", "m3": "m**3",
            "m2": "m**2", "m3/(s*Pa)": "m**3/s/Pa", "m/s2": "m/s**2"}  # fmt: skip
_EXPONENT = re.compile(r"(?<=[A-Za-z])(\d)")


def _by_library(text: str, quantity: str | None) -> UnitFactor | None:
    """Any other unit of the right dimension. Never a name that the everyday table gives another meaning."""
    if not re.fullmatch(r"[A-Za-z0-9_*/().^ \-]{1,40}", text) or re.fullmatch(r"[\d. ]+", text):
        return None
    registry = _registry()
    try:
        unit = registry.parse_units(_EXPONENT.sub(r"**\1", _spellings(text)[-1]))
    except Exception:  # noqa: BLE001 - the library raises unlike errors for what is no unit
        return None
    for name in [quantity] if quantity else list(KINDS):
        si = KINDS[name].si_unit
        target = _PINT_SI.get(si, si)
        if not target or name == "fraction":
            continue
        base = registry.parse_units(target)
        if unit.dimensionality == base.dimensionality:
            try:
                scale = float((1 * unit).to(base).magnitude)
            except Exception:  # noqa: BLE001 - units with an offset have no factor
                return None
            return UnitFactor(scale, -273.15 if name == "temperature" else 0.0, si, name)
    return None


@lru_cache(maxsize=2048)
def unit_factor(
    unit: str, quantity: str | None = None, ambient_pressure_pa: float = STANDARD_ATMOSPHERE_PA
) -> UnitFactor:
    """How a unit becomes the SI unit of its quantity.

    Parameters
    ----------
    unit : str
        As people and loggers write it: ``"N·m"``, ``"lb-ft"``, ``"bar abs"``, ``"L/s ANR"``, ``"scfm"``.
    quantity : str, optional
        A key of `KINDS`, such as ``"torque"`` or ``"pressure"``; None takes the first that fits.
    ambient_pressure_pa : float
        Air pressure of the room [Pa, absolute], taken off a unit that says ``abs``.

    Returns
    -------
    UnitFactor
        ``SI value = value * scale + offset``.

    Raises
    ------
    QuantityError
        The unit is unknown, is of another quantity, or names a flow without a fixed reference state.

    References
    ----------
    NIST SP 811 (2008), appendix B.8 and B.9.
    """
    text = _plain(unit)
    if quantity is not None and quantity not in KINDS:
        raise QuantityError(f'"{quantity}" is not a quantity; known are {", ".join(sorted(KINDS))}')
    example = (
        f"write for example {KINDS[quantity].example!r}".replace("'", '"')
        if quantity
        else "write a unit such as N*m or bar"
    )
    if not text:
        raise QuantityError(f"the unit is missing: {example}")
    if text.casefold() in REFUSED:
        raise QuantityError(f'"{unit}": {REFUSED[text.casefold()]}')
    found = _own(text, quantity, ambient_pressure_pa)
    if found is not None:
        return found
    if quantity is not None and (other := _own(text, None, ambient_pressure_pa)) is not None:
        raise QuantityError(
            f'"{unit}" is a unit of {_words(other.quantity)}, but {_words(quantity)} is wanted: {example}'
        )
    found = _by_library(text, quantity)
    if found is not None:
        return found
    wanted = f" of {_words(quantity)}" if quantity else ""
    raise QuantityError(f'"{unit}" is not a unit{wanted}: {example}')


def _words(quantity: str) -> str:
    return quantity.replace("_", " ")


def is_unit(text: str) -> bool:
    """Whether a text is an everyday unit, or a product or quotient of units; other plain words are not looked up."""
    plain = _plain(text)
    if not plain or len(plain) > 24:
        return False
    try:
        if _own(plain, None, STANDARD_ATMOSPHERE_PA) is not None:
            return True
        return any(sign in plain for sign in "/*") and _by_library(plain, None) is not None
    except QuantityError:
        return False


def exact_number(text: str) -> Fraction:
    """A plain number or vulgar fraction with every digit. Raises OverflowError far beyond the range of a float."""
    whole, _, fraction = text.strip().rpartition(" ")
    exponent = fraction.casefold().partition("e")[2]
    if exponent and abs(int(exponent[:9])) > MOST_EXPONENT:
        # A fraction holds every digit: a power of ten written out that long stops the program, and is no number of a bench.
        raise OverflowError(text)
    try:
        return Fraction(fraction) + (int(whole) if whole else 0)
    except ZeroDivisionError:
        raise QuantityError(f'"{text}" divides by zero') from None
    except ValueError:
        if len(text) < 1000:
            raise
        raise OverflowError(text) from None  # more digits than Python converts


def _scaled(number: Fraction, scale: float) -> float:
    """The product rounded once, so that 57 % is 0.57 and not its neighbour."""
    return float(number * Fraction(repr(float(scale))))


def to_si(text: str, quantity: str, *, ambient_pressure_pa: float = STANDARD_ATMOSPHERE_PA) -> float:
    """A number with its unit, as SI.

    Parameters
    ----------
    text : str
        ``"6.2 bar"``, ``"0.6 %"``, ``"40 ft"``, ``'3/4"'``. A lead's section may be a gauge: ``"14 AWG"``.
    quantity : str
        A key of `KINDS`.
    ambient_pressure_pa : float
        Air pressure of the room [Pa, absolute], taken off an ``abs`` pressure: inside, pressures are gauge.

    Returns
    -------
    float
        In the SI unit of the quantity.

    Raises
    ------
    QuantityError
        With a sentence that names what would be right.

    Examples
    --------
    >>> to_si("6.2 bar", "pressure")
    620000.0
    >>> to_si("7 bar abs", "pressure")
    598675.0
    """
    match = _NUMBER.match(text.translate(_REPLACE) if isinstance(text, str) else str(text))
    example = KINDS[quantity].example if quantity in KINDS else "6.2 bar"
    if match is None:
        comma = re.match(r"\s*[+-]?\d+,\d+", text)
        hint = " with a decimal point" if comma else ""
        raise QuantityError(f'"{text}" is not a number with a unit: write it{hint}, for example "{example}"')
    unit = (match["unit"] or "").strip()
    if quantity == "area" and re.fullmatch(r"awg", unit, re.IGNORECASE):
        # ASTM B258: diameter 0.127 mm at gauge 36, a factor of 92 over 39 gauges
        gauge = float(exact_number(match["number"]))
        return math.pi / 4 * float(0.127e-3 * 92 ** ((36 - gauge) / 39)) ** 2
    if not unit:
        if quantity in ("fraction", "flow_coefficient"):
            return float(exact_number(match["number"]))
        raise QuantityError(f'"{text}" has no unit: write for example "{example}"')
    if unit.startswith(","):
        raise QuantityError(f'"{text}": write the number with a decimal point, for example "{example}"')
    factor = unit_factor(unit, quantity, ambient_pressure_pa)
    try:
        value = _scaled(exact_number(match["number"]), factor.scale) + factor.offset
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise QuantityError(f'"{text}" is not a finite number: write for example "{example}"')
    return value


def from_si(value: float, unit: str, quantity: str | None = None) -> float:
    """An SI value in another unit. Raises QuantityError for a unit that is not known."""
    factor = unit_factor(unit, quantity)
    return (value - factor.offset) / factor.scale
