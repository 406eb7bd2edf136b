"""Which column or rate is the time of a recording: what is stated, or else what the file shows beyond doubt."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from toolbench.errors import RecordingError
from toolbench.logs.clocks import serial_days
from toolbench.logs.clocks.parts import group_stamps
from toolbench.logs.clocks.rates import differing, stated_rates, stated_span, stated_unit
from toolbench.logs.clocks.serial_days import find_serial_days
from toolbench.logs.clocks.stamp_grammar import understand, words
from toolbench.logs.clocks.timenames import TIME_NAMES, is_time_name
from toolbench.logs.clocks.timesource import Kind, Ratio, TimeSource, label_of, numbers_of
from toolbench.logs.names import SHORT_UNITS, TIME_UNITS, Column, find_column, is_time_unit
from toolbench.logs.source import refusal
from toolbench.records.findings import Finding
from toolbench.records.settings import TimeColumn

_INDEX_NAMES = words(
    "index sample samples n no nr # scan scans row point record no. nr. x sequence seq count counter sample_no samplenumber id "
    "pkt packet frame messung punkt probe idx i 番号 no# data_point datapoint"
)
_COUNTS = frozenset(["", "sequence", "sample", "samples", "count", "counts", "points", "pts", "#", "rn"])
_FROM_1904_S = -2_082_844_800  # 1904-01-01 in seconds from 1970


def choose_time(columns: Sequence[Column], stated: TimeColumn, preamble: Sequence[str], *, file: str) -> TimeSource:
    """The time base that the user states, or else the one that the file shows beyond doubt.

    Raises
    ------
    RecordingError
        No column can be it, or its unit is nowhere; the message names the key that settles it.
    """
    return replace(_choose(columns, stated, preamble, file=file), above=tuple(preamble))


def _choose(columns: Sequence[Column], stated: TimeColumn, preamble: Sequence[str], *, file: str) -> TimeSource:
    """What `choose_time` gives, without the lines above."""
    if stated.rate_hz is not None:
        return _of_rate(columns, stated.rate_hz)
    sources = list(_candidates(columns))
    if stated.column is not None:
        chosen = _stated(columns, stated, file)
        mine = {column.index for column in chosen.columns}
        others = tuple(s for s in sources if s.kind != "unsettled" and not mine & {c.index for c in s.columns})
        if chosen.kind == "unsettled":
            return _with_rate(replace(chosen, others=others), preamble, columns, file)
        return replace(chosen, others=() if stated.unit else others)
    if sources:
        chosen, *rest = sources
        if stated.zone or stated.spread or stated.format:
            chosen = replace(chosen, zone=stated.zone, spread=stated.spread, format=stated.format or chosen.format)
        chosen = replace(chosen, others=tuple(rest))
        return _with_rate(chosen, preamble, columns, file) if chosen.kind == "unsettled" else chosen
    _refuse_glued(columns, file)
    return _of_preamble(columns, preamble, file)


def _candidates(columns: Sequence[Column]) -> Iterator[TimeSource]:
    """Every clock that the file may hold, the likeliest first."""
    columns = [replace(c, unit=_unit_in_name(c)) if c.kind == "number" and not c.unit else c for c in columns]
    timed = [column for column in columns if column.kind == "number" and is_time_unit(column.unit)]
    groups = list(group_stamps(columns))
    parts = {column.index for group, _ in groups for column in group}
    timed = [column for column in timed if column.index not in parts]
    named = [column for column in timed if is_time_name(column.name)]
    for column in named:
        yield replace(_of_number(column, column.unit), named=True)
    for column in timed:
        if not is_time_name(column.name) and _rises(column):
            yield replace(_of_number(column, column.unit), named=False)
    for group, roles in groups:
        yield TimeSource("stamp", label_of(group), "stamps", group, roles)
    for column in columns:
        if column.kind == "number" and not column.unit and column.index not in parts:
            epoch = _epoch(column)
            if epoch and (is_time_name(column.name) or _rises_slowly(column)):
                yield _of_epoch(column, *epoch)
            elif is_time_name(column.name) and len(numbers_of(column)):
                packed = _packed(column) or find_serial_days(column)
                yield packed or TimeSource("unsettled", label_of([column]), "", (column,))


def _unit_in_name(column: Column) -> str:
    """The unit that a name ends in: "Elapsed seconds", "timeMs", "millis()"; a single letter only behind a name of time."""
    name = re.sub(r"\(\s*\)", "", column.name).strip()
    spread = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    parts = [word for word in re.split(r"[\s_.\-/]+", spread.casefold()) if word]
    if not parts or parts[-1] not in TIME_UNITS or not _rises(column):
        return ""
    timely = bool(TIME_NAMES.intersection(parts[:-1]))
    alone = len(parts) == 1 and len(parts[0]) > 1
    return parts[-1] if timely or alone else ""


def _of_rate(columns: Sequence[Column], rate_hz: float) -> TimeSource:
    """A stated rate; a column that counts samples then tells where samples are missing."""
    for column in columns:
        if column.kind == "number" and column.unit.casefold() in _COUNTS and _counts_samples(column):
            return TimeSource("index", f"{column.written} at {rate_hz:g} Hz", "samples", (column,), rate_hz=rate_hz)
    return TimeSource("rate", f"rows at {rate_hz:g} Hz", "samples", rate_hz=rate_hz)


def _counts_samples(column: Column) -> bool:
    if column.name.casefold().strip() not in _INDEX_NAMES:
        return False
    values = np.asarray(numbers_of(column))
    return len(values) < 2 or bool((np.diff(values) > 0).mean() > 0.9 and (values == np.rint(values)).all())


def _of_preamble(columns: Sequence[Column], preamble: Sequence[str], file: str) -> TimeSource:
    """A rate or an interval that the lines above the names state; refused where there is none or more than one."""
    rates = differing(stated_rates(preamble, columns))
    if len(rates) == 1:
        rate = rates[0]
        abscissa = _abscissa(columns, rate.rate_hz)
        if abscissa is not None:
            return _with_rate(abscissa, preamble, columns, file)
        assumed = " (a number without a unit: hertz for a rate, seconds for an interval)" if rate.by_convention else ""
        found = Finding(
            code="rate-from-preamble",
            severity="note",
            kind="data",
            message=f"no column holds the time; the rate of {rate.rate_hz:g} Hz is taken from {rate.text!r}{assumed}",
            line=rate.line,
            mend=f'state it: time = {{ rate = "{rate.rate_hz:g} Hz" }}',
        )
        return replace(_of_rate(columns, rate.rate_hz), findings=(found,))
    listed = ", ".join(repr(column.written or column.name) for column in columns[:8])
    seen = f"the columns are {listed}"
    if rates:
        texts = " and ".join(f"{rate.rate_hz:g} Hz in {rate.text!r}" for rate in rates[:3])
        seen = f"the lines above the rows state {len(rates)} rates that differ ({texts})"
    raise refusal(
        file,
        f"no column can be told to be the time: {seen}",
        key="time",
        mend='state `time = { column = "...", unit = "s" }`, or `time = { rate = "1 kHz" }` where rows are evenly spaced',
    )


def _abscissa(columns: Sequence[Column], rate_hz: float) -> TimeSource | None:
    """The column of x values whose step is the stated interval in some unit of time, though its name does not say time."""
    for column in [c for c in columns if c.kind != "empty"][:2]:
        values = np.asarray(numbers_of(column))
        if column.kind != "number" or column.unit or len(values) < 3 or _counts_samples(column):
            continue
        if not (column.name.casefold().startswith("x") or not column.written):
            continue
        steps = np.diff(values)
        usual = float(np.median(steps))
        if (
            usual > 0
            and (np.abs(steps - usual) <= 0.1 * usual).mean() > 0.7
            and any(abs(usual * num / den * rate_hz - 1) <= 0.02 for num, den in SHORT_UNITS)
        ):
            return TimeSource("unsettled", label_of([column]), "", (column,))
    return None


def _with_rate(source: TimeSource, preamble: Sequence[str], columns: Sequence[Column], file: str) -> TimeSource:
    """Add the rate of the preamble as a witness of the unit; refuse where there is no witness at all."""
    said = stated_unit(preamble)
    if said is not None:
        ratio = TIME_UNITS[said[0]]
        found = Finding(
            code="unit-from-preamble",
            severity="note",
            kind="data",
            message=f"the unit of {source.label!r} is taken from {said[2]!r}",
            line=said[1],
            mend=key_text(source.label, SHORT_UNITS[ratio]),
        )
        return replace(source, kind="number", unit=SHORT_UNITS[ratio], ratio=ratio, findings=(*source.findings, found))
    rates = differing(stated_rates(preamble, columns))
    span = stated_span(preamble)
    witnesses = list(source.others)
    if len(rates) == 1:
        witnesses.append(TimeSource("rate", rates[0].text, "samples", rate_hz=rates[0].rate_hz))
    if span is not None and span[0] > 0:
        witnesses.append(TimeSource("rate", span[1], "span", rate_hz=-span[0]))
    if not any(w.kind != "unsettled" for w in witnesses):
        raise no_unit(source, file)
    return replace(source, others=tuple(witnesses))


def no_unit(source: TimeSource, file: str, seen: str = "") -> RecordingError:
    """The refusal of a time column whose unit nothing settles."""
    assert source.column is not None
    first = numbers_of(source.column)
    step = f"{first[1] - first[0]:g}" if len(first) > 1 else "?"
    return refusal(
        file,
        f"the unit of the time column {source.label!r} is nowhere: its rows are {step} apart, in seconds, milliseconds or else"
        + seen,
        key="time",
        mend=key_text(source.label),
    )


def key_text(label: str, unit: str = "ms") -> str:
    """What to state so that the unit is settled."""
    return f'state `time = {{ column = {json.dumps(label, ensure_ascii=False)}, unit = "{unit}" }}`, with its true unit'


def _stated(columns: Sequence[Column], stated: TimeColumn, file: str) -> TimeSource:
    """The columns that are stated, and how their cells are to be read."""
    asked = (stated.column,) if isinstance(stated.column, str) else stated.column or ()
    group = tuple(find_column(columns, name, file=file, key="time") for name in asked)
    label = label_of(group)
    column = group[0]
    if len(group) > 1:
        return TimeSource(
            "stamp", label, "stamps", group, _roles(group), format=stated.format, zone=stated.zone, spread=stated.spread, stated=True
        )  # fmt: skip
    if column.kind == "stamp" or stated.format or _is_stamp_text(column):
        if not stated.format:
            _refuse_glued(group, file)
        return TimeSource(
            "stamp", label, "stamps", group, ("stamp",), format=stated.format, zone=stated.zone, spread=stated.spread, stated=True
        )  # fmt: skip
    if column.kind != "number":
        seen = column.sample[0] if column.sample else ""
        raise refusal(file, f"the time column {label!r} holds no numbers and no stamps, but {seen!r}", key="time")
    unit = stated.unit or column.unit or _unit_in_name(column)
    if unit:
        if unit.strip().lower() in serial_days.UNITS:
            return replace(_of_days(column), spread=stated.spread, stated=True)
        if unit.strip().lower() not in TIME_UNITS:
            raise refusal(
                file,
                f"the time column {label!r} is in {unit!r}, which is no unit of time",
                key="time",
                mend=key_text(label),
            )
        return replace(_of_number(column, unit), spread=stated.spread, stated=True)
    epoch = _epoch(column)
    found = _of_epoch(column, *epoch) if epoch else _packed(column) or find_serial_days(column)
    return replace(found or TimeSource("unsettled", label, "", group), spread=stated.spread, stated=True)


def _roles(group: Sequence[Column]) -> tuple[str, ...]:
    """What the columns of a stated clock hold."""
    for known, roles in group_stamps([replace(column, index=place) for place, column in enumerate(group)]):
        if [column.index for column in known] == list(range(len(group))):
            return roles
    numeric = [column for column in group if column.kind == "number"]
    if len(numeric) == len(group) >= 5:
        return (("Y", "M", "D", "h", "mi", "s", "below"))[: len(group)]
    return tuple("below" if column.kind == "number" else "stamp" for column in group)


def _is_stamp_text(column: Column) -> bool:
    cells = [cell for cell in column.sample if cell]
    return column.kind == "text" and bool(cells) and all(understand(cell) for cell in cells[:10])


def _of_days(column: Column) -> TimeSource:
    """Days as a spreadsheet counts them, or as elapsed time where no date is near."""
    if serial_days.is_plausible(column):
        return serial_days.serial_source(column, note=False)
    return TimeSource("number", label_of([column]), "d", (column,), ratio=(serial_days.DAY_S, 1))


def _of_number(column: Column, unit: str) -> TimeSource:
    ratio = TIME_UNITS[unit.strip().lower()]
    epoch = _epoch(column)
    kind: Kind = "epoch" if epoch and epoch[0] == ratio else "number"
    return TimeSource(
        kind, label_of([column]), SHORT_UNITS[ratio], (column,), ratio=ratio, origin_s=epoch[1] if epoch else 0
    )


def _of_epoch(column: Column, ratio: Ratio, origin_s: int) -> TimeSource:
    label, unit = label_of([column]), SHORT_UNITS[ratio]
    since = {0: "1970", _FROM_1904_S: "1904"}[origin_s]
    found = Finding(
        code="epoch-inferred",
        severity="note",
        kind="data",
        message=f"{label!r} has no unit; its values ({column.sample[0]}) are read as {unit} since {since}",
        mend=key_text(label, unit),
    )
    return TimeSource("epoch", label, unit, (column,), ratio=ratio, origin_s=origin_s, findings=(found,))


def _packed(column: Column) -> TimeSource | None:
    """Stamps that are written as one number: 20260301101503."""
    cells = [cell for cell in column.sample if cell]
    packed = all(
        re.match(r"(?:19|20)\d{10}(?:\d\d)?\d{0,3}(?:[.,]\d+)?\Z", cell) and understand(cell) for cell in cells
    )
    return TimeSource("stamp", label_of([column]), "stamps", (column,), ("packed",)) if cells and packed else None


def _rises(column: Column) -> bool:
    values = np.asarray(numbers_of(column))
    return len(values) < 2 or bool(values[-1] > values[0] and (np.diff(values) >= 0).mean() > 0.9)


def _rises_slowly(column: Column) -> bool:
    """Whether values never fall and move by less than a thousandth: an epoch does, a channel in so large numbers hardly."""
    values = np.asarray(numbers_of(column))
    if len(values) < 2 or not np.isfinite(values).all():
        return False
    return bool((np.diff(values) >= 0).all() and 0 < values[-1] - values[0] < 1e-3 * values[0])


def _epoch(column: Column) -> tuple[Ratio, int] | None:
    """Unit and zero of an epoch: the first values lie between 1990 and 2060 from 1970, or 2000 and 2034 from 1904."""
    values = numbers_of(column)
    if not values:
        return None
    for ratio in ((1, 1), (1, 1000), (1, 1_000_000), (1, 1_000_000_000)):
        seconds = values[0] / ratio[1]
        if 6.3e8 <= seconds <= 2.84e9:
            return ratio, 0
        if 3.03e9 <= seconds <= 4.11e9 and ratio == (1, 1):
            return ratio, _FROM_1904_S
    return None


def _refuse_glued(columns: Sequence[Column], file: str) -> None:
    """Refuse cells that hold a clock and a value, parted by a blank: half a column would be lost."""
    for column in columns:
        for cell in column.sample[:1]:
            stamp, blank, rest = cell.strip().rpartition(" ")
            if column.kind == "stamp" and blank and understand(cell) is None and understand(stamp):
                raise refusal(
                    file,
                    f"the cell {cell!r} of {label_of([column])!r} holds a clock and {rest!r}, parted by a blank only",
                    key="delimiter",
                    mend="export the recording again with one delimiter between all columns",
                )
