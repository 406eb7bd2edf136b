"""Names and units as loggers write them, with the unit that must be found."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

PLAIN = ("Torque", "Inlet pressure", "Force", "Speed", "Temp", "Voltage", "Current", "Travel", "CH1", "Flow rear", "P2")
GERMAN = ("Drehmoment", "Druck für Zulauf", "Kraft größer", "Prüfstrom", "Köhlung")
FRENCH = ("Effort mesuré", "Température", "Débit")
JAPANESE = ("トルク", "圧力", "流量", "回転数", "温度")

ASCII_UNITS = (
    "N*m",
    "Nm",
    "bar",
    "kPa",
    "psi",
    "Bar",
    "kpa",
    "N",
    "lbf",
    "kN",
    "rpm",
    "V",
    "Volt",
    "A",
    "degC",
    "Deg C",
    "mm",
    "L/s",
    "%",
)
WIDE_UNITS = ("N·m", "°C", "m³/h")
SUFFIXES = ("Nm", "bar", "kPa", "psi", "kN", "mm", "rpm")
"""Units that may stand behind an underscore; one letter alone could be the end of a word: valve_a."""


@dataclass(frozen=True, slots=True)
class Name:
    """Header cell, the unit in it, and the names the column may go by."""

    header: str
    unit: str
    keys: tuple[str, ...]
    bare: str


def bases(encoding: str) -> tuple[str, ...]:
    """Names that the encoding can write and that show when it was taken for another."""
    if encoding == "ascii":
        return PLAIN
    if encoding == "cp932":
        return (*JAPANESE, *PLAIN[:2])
    if encoding in ("latin-1", "cp1252"):
        return (*GERMAN, *FRENCH, *PLAIN[:3])
    return (*GERMAN, *FRENCH, *JAPANESE, *PLAIN[:3])


def units(encoding: str) -> tuple[str, ...]:
    if encoding == "ascii":
        return ASCII_UNITS
    if encoding == "cp932":
        return (*ASCII_UNITS, "ﾟC")
    return (*ASCII_UNITS, *WIDE_UNITS)


STYLES = {
    "square": 30,
    "round": 20,
    "none": 10,
    "comma": 4,
    "suffix": 8,
    "kind and unit": 4,
    "serial and unit": 4,
    "serial only": 4,
    "index": 4,
    "leading blank": 4,
}


def named(random: Random, style: str, base: str, encoding: str) -> Name:
    """One header cell of that style."""
    unit = random.choice(units(encoding))
    if style == "suffix":
        unit = random.choice(SUFFIXES)
        stem = base.replace(" ", "_")
        return Name(f"{stem}_{unit}", unit, (stem, f"{stem}_{unit}"), stem)
    made = {
        "square": (f"{base} [{unit}]", unit, base),
        "round": (f"{base} ({unit})", unit, base),
        "none": (base, "", base),
        "comma": (f"{base}, {unit}", unit, base),
        "kind and unit": (f"{base}(peak)({unit})", unit, f"{base}(peak)"),
        "serial and unit": (f"{base} (SN 4711) [{unit}]", unit, f"{base} (SN 4711)"),
        "serial only": (f"{base} (SN 4711)", "", f"{base} (SN 4711)"),
        "index": (f"{base}[0]", "", f"{base}[0]"),
        "leading blank": (f" {base} [{unit}]", unit, base),
    }
    header, found, key = made[style]
    return Name(header, found, (key,), base)
