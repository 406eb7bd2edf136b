"""Names and units of columns: the unit stands in the last bracket, in a row of its own, or behind an underscore."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from typing import Literal

from toolbench.logs.source import refusal
from toolbench.quantities.units import is_unit

Kind = Literal["number", "stamp", "text", "empty"]

_BRACKET = re.compile(
    r"^(?P<name>.*?)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*(?:\([^()]*\)[^()]*)*)\))\s*$", re.S
)
# "Temp, °C (LGR S/N: 1234, SEN S/N: 5678)": the unit stands behind the comma, what is in brackets is no unit.
_COMMA = re.compile(r"^(?P<name>[^,]+),\s*(?P<unit>[^\s,()\[\]][^,()\[\]]*?)\s*(?:\(.*\)|\[.*\])?\s*$", re.S)
# "Druck in bar" and, as the standards write it, "p / bar".
_WORDED = re.compile(r"^(?P<name>.+?)(?: in | / )\s*(?P<unit>[^\s,()\[\]]+)$")
# Behind an underscore only these count: "p_in" is not inches and "valve_a" is not amperes.
_SUFFIXES = frozenset(
    [
        "Nm",
        "kNm",
        "mm",
        "kW",
        "degF",
        "bar",
        "mbar",
        "kPa",
        "MPa",
        "Pa",
        "psi",
        "kN",
        "lbf",
        "rpm",
        "degC",
        "mV",
        "mA",
        "Hz",
        "lpm",
    ]
)

_LETTERS = frozenset("VANWC")
# Units of channels that are carried along and that no analysis converts.
_OTHERS = frozenset(
    ["m/s", "mm/s", "mm/min", "in/s", "in/min", "km/h", "kmh", "mph", "kph", "deg", "°", "db", "dba", "counts", "count", "cnt",
     "strain", "με", "ue", "ustrain", "microstrain", "um/m", "mm/mm", "in/in", "%rh", "rh", "wh", "mwh", "kwh", "j", "kj", "g",
     "lx", "lux", "mv/v", "v/v", "raw", "bit", "bits", "adc", "lsb", "digit", "digits", "dps", "ut", "gauss", "us/cm",
     "ms/cm", "ph", "ntu", "mg/l", "dbar", "va", "var", "kvar", "lambda", "afr", "kg/h", "g/s", "l/100km", "nl", "uf",
     "nf", "pf", "uh", "mh", "dbm", "mmh2o", "inh2o", "cmh2o", "lb/h", "rpm/s", "slpm", "sccm", "slm", "kgf*cm"]
)  # fmt: skip
# What stands in a row of units where a column has none: a dash, or the words for a stamp, a count and an index.
_NO_UNITS = frozenset(
    ["", "no.", "nr.", "-", "–", "—", "1", "none", "n/a", "na", "ts", "rn", "[]", "()", "--", "unitless", "nan"]
)

# What stands in a row that says how the values were made; "min" there is no minute.
_PROCESSING = frozenset(["avg", "smp", "max", "std", "tot", "mean", "average", "rms", "peak", "sample", "raw value"])

# Seconds in one unit of time, by every spelling seen in loggers. Exact as ratios: value * num / den.
TIME_UNITS: dict[str, tuple[int, int]] = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek", "sekunden"), (1, 1)),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds", "millis"), (1, 1000)),
    **dict.fromkeys(("us", "µs", "μs", "usec", "microsecond", "microseconds", "micros"), (1, 1_000_000)),
    **dict.fromkeys(("ns", "nsec", "nanosecond", "nanoseconds"), (1, 1_000_000_000)),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), (60, 1)),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), (3600, 1)),
}
SHORT_UNITS: dict[tuple[int, int], str] = {
    (1, 1): "s",
    (1, 1000): "ms",
    (1, 1_000_000): "us",
    (1, 1_000_000_000): "ns",
    (60, 1): "min",
    (3600, 1): "h",
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: position from 0, unique name without the unit, name as written, unit text or "", and what its cells are."""

    index: int
    name: str
    written: str
    unit: str
    kind: Kind
    sample: tuple[str, ...] = ()


def is_time_unit(text: str) -> bool:
    """Whether the text is a unit of time in a spelling that loggers use."""
    return text.strip().lower() in TIME_UNITS


def split_unit(written: str) -> tuple[str, str]:
    """Name and unit of a column as written; the unit is "" unless the last bracket holds one.

    >>> split_unit("Torque (rear) [N*m]")
    ('Torque (rear)', 'N*m')
    >>> split_unit("Ch[0]")
    ('Ch[0]', '')
    """
    text = written.strip()
    match = _BRACKET.match(text)
    if match:
        unit = (match["square"] if match["square"] is not None else match["round"]).strip()
        if looks_like_unit(unit):
            return match["name"].strip(), unit
    if "," in text and (match := _COMMA.match(text)) and looks_like_unit(match["unit"].strip()):
        return match["name"].strip(), match["unit"].strip()
    if " " in text and (match := _WORDED.match(text)) and looks_like_unit(match["unit"]):
        return match["name"].strip(), match["unit"]
    return text, ""


@lru_cache(maxsize=4096)
def looks_like_unit(text: str) -> bool:
    """Whether a text is a unit in a spelling that loggers use, also one that no analysis converts."""
    if not text or text[0].isdigit() or len(text) > 24:
        return False
    folded = text.replace("µ", "u").replace("μ", "u").replace("²", "2").replace("^", "").casefold()
    return is_time_unit(text) or folded in _OTHERS or is_unit(text)


def _suffix_unit(name: str, lettered: Collection[str] = ()) -> str:
    """The unit behind the last underscore; the name keeps it.

    A capital alone is a unit only where the name is none of the lettered ones, see `_lettered`.
    """
    stem, mark, suffix = name.rpartition("_")
    if not mark or not stem:
        return ""
    if suffix in _SUFFIXES or suffix in ("s", "ms", "us", "min", "h"):
        flow = re.search(r"_((?:N?m3|N?[lL]|ft3|kg)_(?:h|min|s))$", name)
        return flow[1] if flow else suffix
    return suffix if suffix in _LETTERS and stem not in lettered else ""


def _lettered(names: Sequence[str]) -> frozenset[str]:
    """Names that letters behind an underscore tell apart, of which one is no unit: valves A and B."""
    parted = (name.strip().rpartition("_") for name in names)
    return frozenset(stem for stem, mark, letter in parted if mark and len(letter) == 1 and letter not in _LETTERS)


def is_unit_row(cells: Sequence[str]) -> bool:
    """Whether a row under the names holds units: at least one is, and of the others no more than a third is an unknown word."""
    filled = [bare_unit(cell) for cell in cells if cell.strip()]
    if any(cell.casefold() in _PROCESSING for cell in filled):
        return False
    units = sum(looks_like_unit(cell) for cell in filled)
    unknown = sum(not looks_like_unit(cell) and cell.casefold() not in _NO_UNITS for cell in filled)
    return units > 0 and 2 * unknown <= units


def is_processing_row(cells: Sequence[str]) -> bool:
    """Whether a row says how values were made ("Smp", "Avg") or where they come from: most cells are such words, or repeat."""
    filled = [cell.strip().casefold() for cell in cells if cell.strip()]
    known = sum(cell in _PROCESSING or cell in ("min", "minimum", "maximum", "raw", "filtered") for cell in filled)
    return bool(filled) and (2 * known > len(filled) or 2 * len(set(filled)) <= len(filled))


def bare_unit(cell: str) -> str:
    """A cell of a row of units without its brackets; "" where it says that there is none."""
    text = cell.strip()
    if len(text) > 1 and text[0] + text[-1] in ("[]", "()"):
        text = text[1:-1].strip()
    return "" if text.casefold() in _NO_UNITS else text


def name_columns(
    written: Sequence[str],
    unit_row: Sequence[str],
    kinds: Sequence[Kind],
    samples: Sequence[tuple[str, ...]],
    glued: Sequence[str] = (),
) -> tuple[Column, ...]:
    """Columns with unique names, in file order. An empty name becomes "column 3", a second "p" becomes "p (2)"."""
    taken: dict[str, int] = {}
    columns = []
    parted = [split_unit(text) for text in written]
    lettered = _lettered([name for name, _ in parted])
    for index, kind in enumerate(kinds):
        text = written[index].strip() if index < len(written) else ""
        name, unit = parted[index] if index < len(written) else ("", "")
        row_unit = unit_row[index].strip() if index < len(unit_row) else ""
        if row_unit:
            unit = bare_unit(row_unit)
        unit = (glued[index] if glued else "") or unit or _suffix_unit(name, lettered)
        name = name or f"column {index + 1}"
        taken[name] = taken.get(name, 0) + 1
        if taken[name] > 1:
            stem, number = name, taken[name]
            while f"{stem} ({number})" in taken:
                number += 1
            name = f"{stem} ({number})"
            taken[stem] = number  # the next one of that name need not count from 2 again
            taken[name] = 1
        columns.append(Column(index, name, text, unit, kind, samples[index]))
    return tuple(columns)


def find_column(columns: Sequence[Column], asked: str, *, file: str, key: str | None = None) -> Column:
    """The column that a person calls `asked`: as in the file, or without its bracketed unit.

    Raises
    ------
    RecordingError
        No column, or more than one, answers to that name.
    """
    text = asked.strip()
    for answers in (
        [column for column in columns if column.written == text],
        [column for column in columns if column.name == text],
        [
            column
            for column in columns
            if split_unit(column.written)[0] == split_unit(text)[0] and _same_unit(column, text)
        ],
    ):
        if len(answers) == 1:
            return answers[0]
        if answers:
            places = ", ".join(str(column.index + 1) for column in answers)
            raise refusal(
                file,
                f"{len(answers)} columns are called {asked!r} (columns {places})",
                key=key,
                mend=f"call the one meant {answers[0].name!r} or {answers[-1].name!r}",
            )
    known = {column.written or column.name: None for column in columns} | {column.name: None for column in columns}
    near = get_close_matches(text, known, n=1, cutoff=0.5)
    if not near:
        folded = {name.casefold(): name for name in known}
        near = [folded[name] for name in get_close_matches(text.casefold(), folded, n=1, cutoff=0.5)]
    listed = ", ".join(repr(column.written or column.name) for column in columns[:12])
    more = f" and {len(columns) - 12} more" if len(columns) > 12 else ""
    mend = f"did you mean {near[0]!r}?" if near else f"the file has {listed}{more}"
    raise refusal(file, f"no column is called {asked!r}", key=key, mend=mend)


def _same_unit(column: Column, asked: str) -> bool:
    unit = split_unit(asked)[1]
    return not unit or not column.unit or unit == column.unit
