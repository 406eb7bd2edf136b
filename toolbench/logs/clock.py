"""Time of a recording: which column or rate it is, in which unit, and as seconds from the first sample."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from toolbench.errors import RecordingError
from toolbench.logs.names import SHORT_UNITS, TIME_UNITS, Column, find_column, is_time_unit
from toolbench.logs.source import refusal
from toolbench.records.findings import Finding
from toolbench.records.settings import TimeColumn

Ratio = tuple[int, int]

_TIME_NAMES = frozenset(
    [
        "t",
        "time",
        "zeit",
        "temps",
        "tempo",
        "tiempo",
        "tid",
        "tijd",
        "czas",
        "elapsed",
        "timestamp",
        "zeitstempel",
        "datetime",
        "date",
        "clock",
        "seconds",
        "millis",
        "sekunden",
        "stamp",
        "epoch",
        "uptime",
        "時間",
        "日時",
        "时间",
    ]
)
_INDEX_NAMES = frozenset(
    ["index", "sample", "samples", "n", "no", "nr", "#", "scan", "scans", "row", "point", "record"]
)
_PREAMBLE_RATE = re.compile(
    r"(?P<name>(?:sampl|scan|acquisition|abtast|messrate)\w*[\s_]*(?:rate|frequency|freq|interval|period|time)?)"
    r"[^0-9+-]{0,20}?(?P<value>\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)[\s\"\],;]*(?P<unit>[kM]?Hz|S/s|kS/s|ms|us|µs|s)\b",
    re.IGNORECASE,
)
_HERTZ = {"hz": 1.0, "s/s": 1.0, "khz": 1e3, "ks/s": 1e3, "mhz": 1e6}
_ISO_MICRO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|[+-]\d\d:?\d\d)?\Z")
_ISO_LIKE = re.compile(r"\d{4}-?\d\d-?\d\d(?:[T ]|\Z)")


@dataclass(frozen=True, slots=True)
class TimeSource:
    """Where the time of a recording comes from. `ratio` is seconds in one unit, as a fraction."""

    kind: Literal["number", "epoch", "stamp", "index", "rate"]
    label: str
    unit: str
    column: Column | None = None
    ratio: Ratio = (1, 1)
    rate_hz: float = 0.0
    format: str | None = None
    zone: str | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def iso(self) -> tuple[int, ...]:
        """Position of the column when the parser itself can read its stamps: ISO 8601 with a point and at most microseconds."""
        if self.kind != "stamp" or self.format or self.column is None:
            return ()
        plain = all(_ISO_MICRO.match(cell) for cell in self.column.sample if cell)
        return (self.column.index,) if plain else ()


def choose_time(columns: Sequence[Column], stated: TimeColumn, preamble: Sequence[str], *, file: str) -> TimeSource:
    """The time base that the user states, or else the one that the file shows beyond doubt.

    Raises
    ------
    RecordingError
        No column can be it, or its unit is nowhere; the message names the key that settles it.
    """
    if stated.rate_hz is not None:
        return _of_rate(columns, stated.rate_hz)
    if stated.column is not None:
        return _settle(find_column(columns, stated.column, file=file, key="time"), stated, file)
    timed = [column for column in columns if column.kind == "number" and is_time_unit(column.unit)]
    named = [column for column in timed if _is_time_name(column.name)]
    rising = [column for column in timed if column in named or _rises(column)]
    stamps = [column for column in columns if column.kind == "stamp"]
    unsettled = [
        column for column in columns if column.kind == "number" and _is_time_name(column.name) and not column.unit
    ]
    clocks = [*named, *(column for column in rising if column not in named), *stamps, *unsettled]
    if clocks:
        source = _settle(clocks[0], stated, file)
        return _note_others(source, clocks[1:])
    return _of_preamble(columns, preamble, file)


def _of_rate(columns: Sequence[Column], rate_hz: float) -> TimeSource:
    """A stated rate; a column that counts samples then tells where samples are missing."""
    for column in columns:
        if column.kind == "number" and not column.unit and column.name.casefold() in _INDEX_NAMES:
            return TimeSource("index", f"{column.written} at {rate_hz:g} Hz", "samples", column, rate_hz=rate_hz)
    return TimeSource("rate", f"rows at {rate_hz:g} Hz", "samples", rate_hz=rate_hz)


def _of_preamble(columns: Sequence[Column], preamble: Sequence[str], file: str) -> TimeSource:
    """A rate or an interval that the lines above the names state; refused where there is none or more than one."""
    rates: dict[float, tuple[int, str]] = {}
    for number, line in enumerate(preamble, 1):
        match = _PREAMBLE_RATE.search(line)
        if match:
            value = float(match["value"].replace(",", "."))
            unit = match["unit"]
            per_second = _HERTZ.get(unit.casefold())
            if value > 0 and per_second:
                rates.setdefault(value * per_second, (number, line.strip()))
            elif value > 0:
                num, den = TIME_UNITS[unit.lower()]
                rates.setdefault(den / (value * num), (number, line.strip()))
    if len(rates) == 1:
        rate, (number, line) = next(iter(rates.items()))
        found = Finding(
            code="rate-from-preamble",
            severity="note",
            kind="data",
            message=f"no column holds the time; the rate of {rate:g} Hz is taken from {line!r}",
            line=number,
            mend=f'state it: time = {{ rate = "{rate:g} Hz" }}',
        )
        return replace(_of_rate(columns, rate), findings=(found,))
    listed = ", ".join(repr(column.written or column.name) for column in columns[:8])
    seen = f"the lines above the rows state {len(rates)} rates that differ" if rates else f"the columns are {listed}"
    raise refusal(
        file,
        f"no column can be told to be the time: {seen}",
        key="time",
        mend='state `time = { column = "...", unit = "s" }`, or `time = { rate = "1 kHz" }` where rows are evenly spaced',
    )


def _settle(column: Column, stated: TimeColumn, file: str) -> TimeSource:
    """How the cells of the time column are to be read."""
    label = column.written or column.name
    if column.kind == "stamp" or stated.format:
        _check_stamps(column, stated, file)
        return TimeSource("stamp", label, "stamps", column, format=stated.format, zone=stated.zone)
    if column.kind != "number":
        seen = column.sample[0] if column.sample else ""
        raise refusal(file, f"the time column {label!r} holds no numbers and no stamps, but {seen!r}", key="time")
    unit = stated.unit or column.unit
    if unit:
        ratio = TIME_UNITS.get(unit.strip().lower())
        if ratio is None:
            raise refusal(
                file,
                f"the time column {label!r} is in {unit!r}, which is no unit of time",
                key="time",
                mend=_key(label),
            )
        kind: Literal["number", "epoch"] = "epoch" if _epoch_ratio(column) == ratio else "number"
        return TimeSource(kind, label, SHORT_UNITS[ratio], column, ratio)
    epoch = _epoch_ratio(column)
    if epoch is not None:
        found = Finding(
            code="epoch-inferred",
            severity="note",
            kind="data",
            message=f"{label!r} has no unit; its values ({column.sample[0]}) are read as {SHORT_UNITS[epoch]} since 1970",
            mend=_key(label, SHORT_UNITS[epoch]),
        )
        return TimeSource("epoch", label, SHORT_UNITS[epoch], column, epoch, findings=(found,))
    first = _numbers(column)
    step = f"{first[1] - first[0]:g}" if len(first) > 1 else "?"
    raise refusal(
        file,
        f"the unit of the time column {label!r} is nowhere: its rows are {step} apart, in seconds, milliseconds or else",
        key="time",
        mend=_key(label),
    )


def _key(label: str, unit: str = "ms") -> str:
    return f'state `time = {{ column = {json.dumps(label, ensure_ascii=False)}, unit = "{unit}" }}`, with its true unit'


def _numbers(column: Column) -> list[float]:
    values = []
    for cell in column.sample:
        try:
            values.append(float(cell.strip('"').replace(",", ".")))
        except ValueError:
            continue
    return values


def _rises(column: Column) -> bool:
    values = np.asarray(_numbers(column))
    return len(values) < 2 or bool(values[-1] > values[0] and (np.diff(values) >= 0).mean() > 0.9)


def _is_time_name(name: str) -> bool:
    words = re.split(r"[\s_.\-/]+", name.casefold())
    return bool(_TIME_NAMES.intersection(words))


def _epoch_ratio(column: Column) -> Ratio | None:
    """The unit in which the first values lie between 1990 and 2100 when counted from 1970."""
    values = _numbers(column)
    if not values:
        return None
    for ratio in ((1, 1), (1, 1000), (1, 1_000_000), (1, 1_000_000_000)):
        if 6.3e8 <= values[0] / ratio[1] <= 4.1e9:
            return ratio
    return None


def _note_others(source: TimeSource, others: Sequence[Column]) -> TimeSource:
    """Say which other columns could have been the clock."""
    if not others:
        return source
    listed = ", ".join(repr(column.written or column.name) for column in others)
    found = Finding(
        code="several-clocks",
        severity="note",
        kind="data",
        message=f"{source.label!r} is taken as the time; {listed} could be it too",
        mend=f"state it: time = {json.dumps(source.label, ensure_ascii=False)}",
    )
    return replace(source, findings=(*source.findings, found))


def _check_stamps(column: Column, stated: TimeColumn, file: str) -> None:
    """Refuse stamps that are not ISO 8601 unless their format is stated: day and month would be a guess."""
    if stated.format:
        return
    for cell in column.sample:
        if cell and not _ISO_LIKE.match(cell.strip('"')):
            raise _not_iso(column, cell, file)


def _not_iso(column: Column, cell: str, file: str) -> RecordingError:
    label = json.dumps(column.written or column.name, ensure_ascii=False)
    match = re.match(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d\d)", cell)
    if not match:
        message, example = f"the stamp {cell!r} is not ISO 8601", "%H:%M:%S.%f"
    else:
        mark, year = match[2], "%Y" if len(match[4]) == 4 else "%y"
        day_first, month_first = f"%d{mark}%m{mark}{year} %H:%M:%S", f"%m{mark}%d{mark}{year} %H:%M:%S"
        message = (
            f"the stamp {cell!r} is not ISO 8601: day {match[1]} of month {match[3]}, "
            f"or day {match[3]} of month {match[1]} ({day_first!r} or {month_first!r})"
        )
        example = day_first
    return refusal(file, message, key="time", mend=f'state `time = {{ column = {label}, format = "{example}" }}`')
