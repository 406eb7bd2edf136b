"""What the lines above the rows say about time: a sample rate or interval, a duration, stamps of the start and the end."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from toolbench.logs.clocks.stamp_grammar import understand
from toolbench.logs.names import TIME_UNITS, Column

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?"
_SAMPLING = r"sampl\w*|acquisition|acq|scan\w*|daq|record\w*|logg?\w*|abtast\w*|mess\w*|erfassungs\w*|[ée]chantillonn\w*|muestreo|campionament\w*|サンプリング|サンプル|収集|記録|測定|采样|horizontal|data|d['’]"
_RATE = re.compile(
    rf"^(?:(?:{_SAMPLING}|of|per|de|di|del)[\s_.\-]*)*(?:rate|raten?|frequency|frequenz|freq|fr[ée]quence|frecuencia|frequenza|周波数|频率|速度|レート)\b"
    r"|^(?:abtast|mess|sampling|sample|scan|samp)[\s_-]*(?:rate|frequenz|frequency|freq)\w*|^f[s_]+\b|^fs$|^(?:fr[ée]quence|frecuencia)\b.*(?:chantillon|muestreo)"
    r"|^rate$|^サンプリング(?:周波数|レート)|^sps$|^samples?[\s_]*(?:per|/)[\s_]*s(?:ec(?:ond)?)?$",
    re.IGNORECASE,
)
_INTERVAL = re.compile(
    rf"^(?:(?:{_SAMPLING}|time|zeit|x|t)[\s_.\-]*)*(?:interval\w*|intervall\w*|period\w*|periode|increment|incr?|inkrement|delta|schritt\w*|間隔|周期|间隔|step)\b"
    r"|^(?:sampling|sample|scan)[\s_-]*(?:interval|period|time)$|^abtast(?:zeit|intervall|periode)|^(?:messintervall|messtakt|takt)$"
    r"|^x[\s_-]?inc\w*|^(?:\w+[:.])?xinc?\w*|^[dΔδ][\s_]?[txTX]$|^delta[\s_-]?[tx]$|^(?:x[\s_-]?)?delta$|^サンプリング(?:間隔|周期)|^h[\s_-]?resolution$|^ts$",
    re.IGNORECASE,
)
_START = re.compile(
    r"^(?:(?:time|date|datum|zeit|recording|measurement|test|log)?[\s_/&-]*(?:start\w*|begin\w*|anfang|beginn|first|trigger|d[ée]but|inicio|inizio|開始\w*))",
    re.IGNORECASE,
)
_END = re.compile(
    r"^(?:(?:time|date|datum|zeit|recording|measurement|test|log)?[\s_/&-]*(?:end\w*|stop\w*|ende|finish\w*|last|fin|fine|終了\w*))",
    re.IGNORECASE,
)
_DURATION = re.compile(
    r"^(?:(?:record\w*|measurement|test|total|log|mess|aufnahme|scan)[\s_-]*)?(?:duration|dauer|length of time|elapsed|dur[ée]e|duraci[óo]n|durata|時間)\b",
    re.IGNORECASE,
)
_UNIT = re.compile(
    r"(?<![^\W\d_])(?:time|zeit|temps|tiempo|x|horizontal|h)[\s_-]*(?:axis|achsen?|base)?[\s_-]*(?:units?|einheit|unité|unidad)[\s\"]*[:=,;\t]?[\s\"]*"
    r"(?P<unit>[^\W\d_]+)\b",
    re.IGNORECASE,
)
_HERTZ = {
    **dict.fromkeys(("hz", "s/s", "sa/s", "1/s", "/s", "sps", "samples/s", "samples/sec", "samples/second", "sample/s", "s/sec"), 1.0),
    **dict.fromkeys(("khz", "ks/s", "ksa/s", "ksps"), 1e3),
    **dict.fromkeys(("mhz", "ms/s", "msa/s", "msps"), 1e6),
    **dict.fromkeys(("ghz", "gs/s", "gsa/s"), 1e9),
    **dict.fromkeys(("1/min", "samples/min", "/min"), 1 / 60),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stated:
    """A rate that a file states [Hz]: where, and whether its unit stands there too."""

    rate_hz: float
    line: int | None
    text: str
    by_convention: bool = False
    rounding: float = 0.0
    """Largest share by which rounding of a decimal number can have moved it."""


def stated_rates(preamble: Sequence[str], columns: Sequence[Column] = ()) -> list[Stated]:
    """Every sample rate or interval that the lines above the rows state, in their order."""
    found = []
    for number, key, value, unit, text in _pairs(preamble, columns):
        rate = _to_rate(key, value, unit)
        if rate is not None:
            hertz, by_convention = rate
            found.append(Stated(hertz, number, text.strip(), by_convention, _rounding(value)))
    return found


def differing(rates: Sequence[Stated]) -> list[Stated]:
    """One of each that the others do not agree with: of rates equal within rounding the least rounded stays."""
    kept: list[Stated] = []
    for rate in sorted(rates, key=lambda stated: stated.rounding):
        if not any(
            abs(rate.rate_hz - other.rate_hz) <= (rate.rounding + other.rounding + 1e-9) * other.rate_hz
            for other in kept
        ):
            kept.append(rate)
    return kept


def _to_rate(key: str, value: str, unit: str) -> tuple[float, bool] | None:
    """Rate [Hz] of one pair, and whether its unit was taken by convention."""
    number = float(value.replace(",", "."))
    if not 0 < number < float("inf"):
        return None
    lowered = unit.casefold()
    per_second = _HERTZ.get(lowered)
    if lowered == "ms/s" and unit.startswith("m"):
        per_second = None
    ratio = TIME_UNITS.get(lowered)
    is_rate, is_interval = bool(_RATE.search(key)), bool(_INTERVAL.search(key))
    if not is_rate and not is_interval:
        return None
    if per_second:
        return number * per_second, False
    if ratio:
        return (ratio[1] / (number * ratio[0]), False) if number else None
    if unit:
        return None
    if is_rate:
        return number, True
    return 1 / number, True


def _rounding(value: str) -> float:
    """Half of the last printed place, as a share; whole numbers are exact."""
    mantissa = re.split("[eE]", value)[0].replace(",", ".")
    places = len(mantissa.partition(".")[2])
    return 0.5 * 10.0**-places / abs(float(mantissa)) if places and float(mantissa) else 0.0


def _pairs(preamble: Sequence[str], columns: Sequence[Column]) -> Iterator[tuple[int | None, str, str, str, str]]:
    """Key, number and unit of everything that is written as a pair: on one line, or a name over its number."""
    for number, line in enumerate(preamble, 1):
        for key, rest in pairs_of_line(line):
            match = re.match(rf"({_NUMBER})\s*[\"',;|\t\[(]*\s*([^\s\"\[\](),;|\t]*)", rest)
            if match:
                unit = match[2].strip(".")
                inside = re.search(r"[\[(]\s*([^\[\]()]+?)\s*[\])]\s*$", key)
                known = unit.casefold() in _HERTZ or unit.lower() in TIME_UNITS
                if inside and not known:
                    unit = inside[1]
                elif not known and re.fullmatch(_NUMBER, unit):
                    unit = ""  # the same again for the next channel
                yield number, re.sub(r"[\[(].*$", "", key).strip(), match[1], unit, line
    for first, (above, below) in enumerate(pairwise(preamble), 1):
        yield from _stacked(first + 1, above, below)
    for column in columns:
        if re.fullmatch(_NUMBER, column.unit) or (column.kind == "empty" and re.fullmatch(_NUMBER, column.name)):
            yield None, column.name, column.unit, "", f"{column.name},{column.unit}"
    for one, other in pairwise(columns):
        if re.fullmatch(_NUMBER, other.written):
            yield None, one.written, other.written, "", f"{one.written},{other.written}"


def _stacked(number: int, above: str, below: str) -> Iterator[tuple[int | None, str, str, str, str]]:
    """Names in one line, their numbers in the line below, at the same place."""
    for delimiter in (",", ";", "\t", "|"):
        keys, values = above.split(delimiter), below.split(delimiter)
        if len(keys) < 2 or len(values) < 2:
            continue
        for key, value in zip(keys, values, strict=False):
            bare = value.strip(' "')
            if re.fullmatch(_NUMBER, bare):
                name = key.strip(' "')
                inside = re.search(r"[\[(]\s*([^\[\]()]+?)\s*[\])]\s*$", name)
                yield number, re.sub(r"[\[(].*$", "", name).strip(), bare, inside[1] if inside else "", f"{name} {bare}"


def pairs_of_line(line: str) -> Iterator[tuple[str, str]]:
    """Every way to part a line into a key and what follows it."""
    text = line.strip().lstrip("#%;/*! \"'").strip()
    for match in re.finditer(r"[:=,;|\t]+|\s(?=[+-]?[\d.])", text):
        key = re.split(r"[,;|\t]", text[: match.start()])[-1].strip(" \"'")
        rest = text[match.end() :].lstrip(" \"',;|\t=:")
        if key and rest:
            yield key, rest


def stated_unit(preamble: Sequence[str]) -> tuple[str, int, str] | None:
    """The unit of time that a line above the rows states ("Time unit: ms"), with its line; None where none or several do."""
    found: dict[str, tuple[str, int, str]] = {}
    for number, line in enumerate(preamble, 1):
        for match in _UNIT.finditer(line):
            unit = match["unit"].lower()
            if unit in TIME_UNITS:
                found.setdefault(unit, (unit, number, line.strip()))
    return next(iter(found.values())) if len(found) == 1 else None


def stated_span(preamble: Sequence[str]) -> tuple[float, str] | None:
    """Seconds between the stamps of start and end, or the duration, with the line that says so; None where neither stands there."""
    stamps: dict[str, tuple[str, str]] = {}
    for line in preamble:
        for key, rest in pairs_of_line(line):
            for name, pattern in (("start", _START), ("end", _END)):
                if pattern.search(key) and name not in stamps and (cell := stamp_in(rest)):
                    stamps[name] = (cell, line.strip())
            if _DURATION.search(key):
                match = re.match(rf"({_NUMBER})\s*[\"',;|\t\[(]*\s*([^\s\"\[\](),;|\t]*)", rest)
                ratio = TIME_UNITS.get(match[2].lower()) if match else None
                if match and ratio:
                    return float(match[1].replace(",", ".")) * ratio[0] / ratio[1], line.strip()
    if len(stamps) == 2:
        seconds = _between(stamps["start"][0], stamps["end"][0])
        if seconds:
            return seconds, f"{stamps['start'][1]} ... {stamps['end'][1]}"
    return None


def stamp_in(text: str) -> str:
    """The stamp at the start of a text, as long as it can be."""
    bare = text.strip(' "\t')
    for cut in (bare, *(re.split(pattern, bare)[0] for pattern in (r'"', r"\t", ";", r",(?=\D|$)", ","))):
        cell = cut.strip(" \"',;")
        shape = understand(cell) if cell else None
        if shape is not None:
            return cell
    joined = re.sub(r'[",;\t ]+', " ", bare).strip()
    return joined if understand(joined) is not None else ""


def _between(start: str, end: str) -> float:
    """Seconds from one stamp to another written alike, 0 where that is not known."""
    from toolbench.errors import RecordingError
    from toolbench.logs.clocks.instants import find_instants
    from toolbench.logs.clocks.stamp_remarks import Stamped
    from toolbench.logs.clocks.stamps import read_fields

    cells = [start, end]
    try:
        found = find_instants(read_fields(cells), Stamped("", "", lambda row: row + 1, lambda row: cells[row]))
    except RecordingError:
        return 0.0
    return float(found.ns[1] - found.ns[0]) / 1e9 if len(found.ns) == 2 else 0.0
