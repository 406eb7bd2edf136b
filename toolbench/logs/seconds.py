"""Cells of the time column as seconds from the first sample, and what is odd about them: gaps, repeats, steps back."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from toolbench.logs.clock import TimeSource
from toolbench.logs.source import refusal
from toolbench.logs.table import Table
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, TimeBase

GAP = 1.5
_SECOND_NS = 1_000_000_000


def to_seconds(source: TimeSource, table: Table, *, file: str) -> tuple[Floats, str, str]:
    """Seconds from the first sample, the first value as written in the file's unit, and the first stamp as ISO 8601.

    Rows without a readable time leave the table; their lines are entered in `table.dropped`.

    Raises
    ------
    RecordingError
        No row has a readable time.
    """
    if source.column is None:
        return np.arange(table.rows, dtype=np.float64) / source.rate_hz, "", ""
    if source.kind == "stamp":
        return _of_stamps(source, table, file)
    values = table.columns[source.column.index]
    if values.dtype.kind == "f":
        finite = np.isfinite(values)
        if not finite.all():
            table.keep(finite)
            values = table.columns[source.column.index]
    _refuse_nothing(len(values), source, file)
    first = values[0]
    start = ""
    if source.kind == "epoch":
        nanoseconds = int(first) * _SECOND_NS // source.ratio[1] + round(
            float(first % 1) * _SECOND_NS / source.ratio[1]
        )
        start = pd.Timestamp(nanoseconds, unit="ns", tz="UTC").isoformat()
    seconds = (values - first).astype(np.float64, copy=False)
    num, den = source.ratio
    if num != 1:
        seconds *= num
    if den != 1:
        seconds /= den
    if source.kind == "index":
        seconds /= source.rate_hz
    return seconds, str(first), start


def _refuse_nothing(rows: int, source: TimeSource, file: str) -> None:
    if rows == 0:
        raise refusal(file, f"no row has a readable time in {source.label!r}", key="time")


def _of_stamps(source: TimeSource, table: Table, file: str) -> tuple[Floats, str, str]:
    assert source.column is not None
    text = pd.Series(table.columns[source.column.index])
    stamps = _parse(text, source, file)
    good = stamps.notna().to_numpy()
    if not good.all():
        table.keep(good)
        stamps, text = stamps[good], text[good]
    _refuse_nothing(len(stamps), source, file)
    if source.zone and stamps.dt.tz is None:
        try:
            stamps = stamps.dt.tz_localize(source.zone)
        except Exception as error:  # noqa: BLE001  (unknown zone, or an hour that a clock change skips or repeats)
            raise refusal(
                file, f"the stamps cannot be placed in zone {source.zone!r}: {error}", key="time", mend="record in UTC"
            ) from None
    elif source.zone:
        stamps = stamps.dt.tz_convert(source.zone)
    try:
        counts = stamps.dt.as_unit("ns").astype("int64").to_numpy()
    except pd.errors.OutOfBoundsDatetime as error:
        raise refusal(
            file, f"a stamp in {source.label!r} lies outside the years 1678 to 2261: {error}", key="time"
        ) from None
    written = text.iloc[0]
    first = written if isinstance(written, str) else written.isoformat()
    return (counts - counts[0]) / _SECOND_NS, first, stamps.iloc[0].isoformat()


def _parse(text: Any, source: TimeSource, file: str) -> Any:
    """Stamps; what is none becomes NaT. A comma in front of the fraction is ISO 8601 too."""
    if text.dtype.kind == "M":
        return text
    if "," in str(text.iloc[0]) and not source.format:
        text = text.str.replace(",", ".", regex=False)
    form = source.format or "ISO8601"
    text = text.astype("str")
    try:
        return pd.to_datetime(text, format=form, errors="coerce")
    except ValueError as error:
        zoned = text.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True)
        if zoned.all():
            return pd.to_datetime(text, format=form, errors="coerce", utc=True)
        if zoned.any():
            raise refusal(
                file,
                f"some stamps in {source.label!r} carry a zone and some do not",
                line=None,
                key="time",
                mend="export the recording with one kind of stamp",
            ) from None
        raise refusal(
            file, f"the format {form!r} does not fit {text.iloc[0]!r}: {error}", key="time", mend="see strptime's codes"
        ) from None


def judge_time(
    time_s: Floats, table: Table, source: TimeSource, *, start: str, file: str
) -> tuple[TimeBase, tuple[Finding, ...]]:
    """Interval, rate, gaps, repeats and steps back, each with the line of the file it is seen in.

    Parameters
    ----------
    time_s : array, shape (rows,)
        Seconds from the first sample [s].
    table : Table
        Gives the line of a row.
    source : TimeSource
        Gives the name and unit of the time base.
    start : str
        First stamp as ISO 8601, or "".
    file : str
        Name that the findings carry.

    Returns
    -------
    TimeBase, tuple of Finding
    """
    steps = np.diff(time_s)
    if len(steps) == 0:
        return TimeBase(
            source=source.label, unit=source.unit, median_interval_s=np.nan, rate_hz=np.nan, start=start
        ), ()
    interval = _interval(time_s, steps)
    gaps: tuple[tuple[int, float], ...] = ()
    repeats: tuple[int, ...] = ()
    back: tuple[int, ...] = ()
    smallest, largest = float(steps.min()), float(steps.max())
    if largest > GAP * interval > 0:
        gaps = tuple((table.line(row + 1), float(steps[row])) for row in np.flatnonzero(steps > GAP * interval))
    if smallest <= 0:
        repeats = tuple(table.line(row + 1) for row in np.flatnonzero(steps == 0))
        back = tuple(table.line(row + 1) for row in np.flatnonzero(steps < 0))
    span = float(time_s[-1])
    rate = 1 / interval if interval > 0 else (len(steps) / span if span > 0 else float("nan"))
    base = TimeBase(
        source=source.label,
        unit=source.unit,
        median_interval_s=interval,
        rate_hz=rate,
        gaps=gaps,
        repeats=repeats,
        steps_back=back,
        start=start,
    )
    return base, _findings(base, steps, file)


def _interval(time_s: Floats, steps: Floats) -> float:
    """Median step. Where all steps agree within 2 % the mean is the same and keeps more digits."""
    smallest, largest = float(steps.min()), float(steps.max())
    if smallest > 0 and largest - smallest <= 0.02 * smallest:
        return float(time_s[-1] - time_s[0]) / len(steps)
    return float(np.median(steps))


def _findings(base: TimeBase, steps: npt.NDArray[np.float64], file: str) -> tuple[Finding, ...]:
    found = []
    if base.gaps:
        line, longest = max(base.gaps, key=lambda gap: gap[1])
        total = sum(length for _, length in base.gaps)
        found.append(
            Finding(
                code="time-gaps",
                severity="doubtful",
                kind="data",
                message=f"{count_text(len(base.gaps), 'gap')} of more than {GAP:g} intervals in the time, {total:.6g} s in all, "
                f"the longest {longest:.6g} s before line {line}",
                mend="look for a logger that could not keep up; nothing is filled in",
                file=file,
                line=base.gaps[0][0],
            )
        )
    if base.repeats:
        found.append(
            Finding(
                code="time-repeats",
                severity="doubtful",
                kind="data",
                message=f"{count_text(len(base.repeats), 'row')} with the time of the row before: {lines_text(base.repeats)}",
                mend="the analysis needs a time that rises; export with more digits, or drop the repeated rows",
                file=file,
                line=base.repeats[0],
            )
        )
    if base.steps_back:
        furthest = -float(steps.min())
        found.append(
            Finding(
                code="time-steps-back",
                severity="wrong",
                kind="data",
                message=f"the time steps back {count_text(len(base.steps_back), 'time')}, by up to {furthest:.6g} s: "
                f"{lines_text(base.steps_back)}",
                mend="the logger restarted or rows were moved: record the run again, or cut the file at that line",
                file=file,
                line=base.steps_back[0],
            )
        )
    return tuple(found)


def count_text(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def lines_text(lines: tuple[int, ...] | list[int]) -> str:
    """ "line 7", or "lines 3, 9 and 12", or the first eight and how many more."""
    if len(lines) == 1:
        return f"line {lines[0]}"
    if len(lines) > 8:
        return "lines " + ", ".join(map(str, lines[:8])) + f" and {len(lines) - 8} more"
    return "lines " + ", ".join(map(str, lines[:-1])) + f" and {lines[-1]}"
