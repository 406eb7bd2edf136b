"""One clock of a file as seconds from its first sample, exact to what a float of 64 bits can carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd

from toolbench.logs.clocks.counts import SECOND_NS
from toolbench.logs.clocks.days import DAY_S
from toolbench.logs.clocks.fast_stamps import iso_nanoseconds
from toolbench.logs.clocks.instants import find_instants
from toolbench.logs.clocks.parts import fields_of
from toolbench.logs.clocks.stamp_remarks import Stamped
from toolbench.logs.clocks.stamps import Mask
from toolbench.logs.clocks.timesource import TimeSource
from toolbench.logs.clocks.zones import find_zone, to_universal, zone_in_name
from toolbench.logs.columns.tables import Table
from toolbench.logs.names import Column
from toolbench.logs.source import refusal
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats


@dataclass(frozen=True, slots=True)
class Clock:
    """Seconds of the rows in `good`, the first value as written, the first stamp as ISO 8601, and what was noticed."""

    seconds: Floats
    good: Mask
    first: str = ""
    start: str = ""
    findings: tuple[Finding, ...] = ()
    first_ns: int | None = None
    """The first stamp [ns]: since 1970 where it is dated, else since midnight; None where it tells no time of day."""
    dated: bool = False


def read_clock(source: TimeSource, table: Table, *, file: str) -> Clock:
    """Read one clock.

    Raises
    ------
    RecordingError
        Its cells can be read in two ways that differ.
    """
    assert source.column is not None
    if source.kind == "stamp" and table.columns[source.column.index].dtype.kind == "M":
        return _of_instants(table.columns[source.column.index], source, file)
    if source.kind == "stamp":
        return _of_stamps(source, table, file)
    values = table.columns[source.column.index]
    if not isinstance(values, np.ndarray) or values.dtype.kind not in "iuf":
        return Clock(np.empty(0), np.zeros(table.rows, dtype=np.bool_))
    good = np.isfinite(values) if values.dtype.kind == "f" else np.ones(table.rows, dtype=np.bool_)
    if not good.all():
        values = table.whole.get(source.column.index, values)[good]
    if not len(values):
        return Clock(np.empty(0), good)
    first = values[0]
    seconds = _from_first(values, source.column)
    num, den = source.ratio
    if num != 1:
        seconds *= num
    if den != 1:
        seconds /= den
    if source.kind == "index":
        seconds /= source.rate_hz
    start = _start_of_epoch(first, source) if source.kind == "epoch" else ""
    instant = int(pd.Timestamp(start).value) if start else None
    return Clock(seconds, good, str(first), start, _digits_lost(values, source), instant, bool(start))


def _from_first(values: Any, column: Column) -> Floats:
    """Values less the first one. Decimals are subtracted as whole numbers of their last place, which leaves no rounding."""
    first = values[0]
    if values.dtype.kind == "f" and first != 0:
        places = _places(column)
        size = float(np.abs(values).max())
        if 0 < places <= 12 and np.spacing(size) * 10.0**places < 0.25:
            scaled = values * 10.0**places
            whole = np.rint(scaled)
            if float(np.abs(scaled - whole).max()) <= 0.25:
                exact: Floats = (whole - whole[0]) / 10.0**places
                return exact
    plain: Floats = (values - first).astype(np.float64, copy=False)
    return plain


def _places(column: Column) -> int:
    """Decimals with which the first cells are written, 0 where one of them has an exponent."""
    cells = [cell.strip('"').replace(",", ".") for cell in column.sample]
    if any("e" in cell.lower() for cell in cells):
        return 0
    return max((len(cell.partition(".")[2]) for cell in cells), default=0)


def _start_of_epoch(first: Any, source: TimeSource) -> str:
    assert source.column is not None
    num, den = source.ratio
    # Only the digits that the file has: a float of this size carries noise behind them.
    places = min(_places(source.column), 15)
    fraction = Fraction(round(float(first % 1) * 10**places), 10**places) if places else Fraction(float(first % 1))
    nanoseconds = int(first) * SECOND_NS * num // den + round(fraction * SECOND_NS * num / den)
    if num > 1:
        nanoseconds = _roundest(nanoseconds, num * SECOND_NS / 10**places / 2)
    stamp = pd.Timestamp(nanoseconds + source.origin_s * SECOND_NS, unit="ns")
    # Counters from 1904 are common in local time: no zone is claimed for them.
    return (stamp if source.origin_s else stamp.tz_localize("UTC")).isoformat()


def _roundest(nanoseconds: int, doubt: float) -> int:
    """The whole second, millisecond or microsecond that the digits allow: those of a day are no round part of a second."""
    for size in (SECOND_NS, 1_000_000, 1_000):
        near = round(nanoseconds / size) * size
        if abs(near - nanoseconds) <= doubt:
            return near
    return nanoseconds


def _digits_lost(values: Any, source: TimeSource) -> tuple[Finding, ...]:
    """Say where a decimal time has more digits than a float of 64 bits keeps."""
    assert source.column is not None
    if values.dtype.kind != "f":
        return ()
    places = _places(source.column)
    keeps = float(np.spacing(np.abs(values).max()))
    if places == 0 or keeps <= 10.0**-places or float(np.abs(values[0])) < 1e6:
        return ()
    num, den = source.ratio
    found = Finding(
        code="time-digits-lost",
        severity="note",
        kind="data",
        message=f"{source.label!r} is written with {places} decimals; numbers of this size are kept to {keeps * num / den:.2g} s",
        mend="export whole milliseconds or microseconds, which are kept exactly",
    )
    return (found,)


def _of_instants(values: Any, source: TimeSource, file: str) -> Clock:
    """A column that holds instants already: a file that is no text."""
    stamps = pd.Series(values).reset_index(drop=True)
    good = stamps.notna().to_numpy()
    stamps = stamps[good]
    if not len(stamps):
        return Clock(np.empty(0), good)
    if source.zone:
        zone = find_zone(source.zone)
        if stamps.dt.tz is not None:
            stamps = stamps.dt.tz_convert(zone)
        else:
            local = stamps.dt.as_unit("ns").to_numpy().astype(np.int64)
            placed = to_universal(local, source.zone)
            if placed.missing is not None or placed.unsettled is not None:
                raise refusal(
                    file, f"the stamps in {source.label!r} cannot be placed in zone {source.zone!r}", key="time"
                )
            stamps = pd.Series(pd.DatetimeIndex(placed.utc_ns).tz_localize("UTC").tz_convert(zone))
    try:
        counts = stamps.dt.as_unit("ns").astype("int64").to_numpy()
    except pd.errors.OutOfBoundsDatetime as error:
        raise refusal(
            file, f"a stamp in {source.label!r} lies outside the years 1678 to 2261: {error}", key="time"
        ) from None
    start = stamps.iloc[0].isoformat()
    return Clock((counts - counts[0]) / SECOND_NS, good, start, start)


def _of_stamps(source: TimeSource, table: Table, file: str) -> Clock:
    first_column = table.columns[source.columns[0].index]
    if source.iso and not source.zone and zone_in_name(source.label) is None:
        ns = iso_nanoseconds(first_column)
        if ns is not None:
            first = str(_cell(first_column, 0))
            start = pd.Timestamp(int(ns[0]), unit="ns", tz="UTC" if first.endswith("Z") else None)
            good = np.ones(len(ns), dtype=np.bool_)
            return Clock((ns - ns[0]) / SECOND_NS, good, first, start.isoformat(), first_ns=int(ns[0]), dated=True)
    fields = _fields(source, table, file)
    cells = [table.columns[column.index] for column in source.columns]

    def written(row: int) -> str:
        return " ".join(str(_cell(column, row)) for column in cells)

    stamped = Stamped(
        source.label,
        file,
        table.line,
        written,
        source.format,
        source.zone,
        None if len(source.columns) == 1 else columns_text(source),
    )
    found = find_instants(fields, stamped)
    if not len(found.ns):
        return Clock(np.empty(0), found.good)
    row = int(np.flatnonzero(found.good)[0])
    first = str(_cell(first_column, row)) if len(cells) == 1 else written(row)
    seconds = (found.ns - found.ns[0]) / SECOND_NS
    of_day = 0 <= int(found.ns[0]) < DAY_S * SECOND_NS and not fields.has("days") and not fields.negative.any()
    known = bool(found.start) if found.dated else of_day
    return Clock(
        seconds, found.good, first, found.start, found.findings, int(found.ns[0]) if known else None, found.dated
    )


def _fields(source: TimeSource, table: Table, file: str) -> Any:
    try:
        return fields_of(source.columns, source.roles, table.columns, source.format)
    except ValueError as error:
        raise refusal(
            file, f"the format {source.format!r} cannot be used: {error}", key="time", mend="see strptime's codes"
        ) from None


def _cell(column: Any, row: int) -> Any:
    return column.iloc[row] if hasattr(column, "iloc") else column[row]


def columns_text(source: TimeSource) -> str:
    """The columns as they stand in the `time` key."""
    import json

    names = [json.dumps(column.written or column.name, ensure_ascii=False) for column in source.columns]
    return names[0] if len(names) == 1 else "[" + ", ".join(names) + "]"


def spread_evenly(
    seconds: Floats, table: Table, label: str, *, except_from: Sequence[int] = ()
) -> tuple[Floats, tuple[Finding, ...]]:
    """Rows with equal stamps of a coarse clock, spread evenly up to the next stamp; the last ones as densely as those before.

    Only where this is asked for. The first stretch begins and the last one ends inside a tick of the clock: both are spread with
    the step of their neighbour, counted from the change. A stretch that begins at a row of `except_from` stays as it is: there the
    clock stood still.
    """
    starts = np.concatenate(([0], np.flatnonzero(np.diff(seconds)) + 1))
    if len(starts) == len(seconds):
        return seconds, ()
    counts = np.diff(np.concatenate((starts, [len(seconds)])))
    levels = seconds[starts]
    widths = np.diff(levels)
    if len(widths) == 0 or (widths < 0).any():
        return seconds, ()
    result = seconds.copy()
    steps = np.append(widths / counts[:-1], np.nan)
    inner = steps[1:-1] if len(steps) > 2 else steps[:-1]
    usual = float(np.median(inner))
    steps[-1] = min(usual, (widths[-1] if len(widths) else usual) / max(counts[-1], 1)) if counts[-1] > 1 else usual
    steps[np.isin(starts, np.asarray(except_from, dtype=np.int64))] = 0.0
    offsets = np.arange(len(seconds)) - np.repeat(starts, counts)
    result += offsets * np.repeat(steps, counts)
    if len(steps) > 2 and 0 not in except_from and counts[0] * usual < widths[0]:
        ahead = slice(0, counts[0])
        result[ahead] = levels[1] - (counts[0] - np.arange(counts[0])) * usual
        result -= result[0]
    found = Finding(
        code="time-spread",
        severity="note",
        kind="data",
        message=f"rows with equal stamps in {label!r} are spread evenly between the changes, as asked: "
        f"{len(seconds)} rows on {len(starts)} stamps",
        line=table.line(0),
    )
    return result, (found,)
