"""Days since the end of 1899 with a fraction, as a spreadsheet writes a date and a clock into one number: 44634.4272."""

from __future__ import annotations

import json
import re

import numpy as np

from toolbench.logs.clocks.timesource import TimeSource, label_of, numbers_of
from toolbench.logs.names import Column
from toolbench.records.findings import Finding

DAY_S = 86_400
ORIGIN_S = -25_569 * DAY_S
"""1899-12-30 in seconds from 1970: day 25,569 is 1970-01-01."""
_FIRST, _LAST = 32_874, 73_051  # 1990-01-01 and 2100-01-01
_DATED = re.compile(r"date|datum|fecha|timestamp|zeitstempel|horodatage|日時|日付|日期", re.IGNORECASE)
UNITS = frozenset(["d", "day", "days"])


def is_plausible(column: Column) -> bool:
    """Whether the first cells lie between 1990 and 2100 as serial days."""
    values = numbers_of(column)
    return bool(values) and all(_FIRST <= value < _LAST for value in values)


def find_serial_days(column: Column) -> TimeSource | None:
    """Serial days beyond doubt: a name of date and time, the years 1990 to 2100, and steps that are a clock's.

    Where the name says "time" but not "date", numbers of this size can be seconds of half a day too: then the usual step must be a
    whole number of seconds, or of milliseconds below one, as days, and no round decimal number.
    """
    values = np.asarray(numbers_of(column))
    if len(values) < 3 or not is_plausible(column) or (values == np.rint(values)).all():
        return None
    steps = np.diff(values)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    if (steps < 0).any() or not 0 < usual < 1:
        return None
    places = max(len(cell.strip('"').replace(",", ".").partition(".")[2]) for cell in column.sample)
    if not _DATED.search(column.written or column.name) and not _of_a_clock(usual, 10.0**-places):
        return None
    return serial_source(column, note=True)


def serial_source(column: Column, *, note: bool) -> TimeSource:
    """The column as serial days; with a note where that is inferred."""
    label = label_of([column])
    found = Finding(
        code="serial-days-inferred",
        severity="note",
        kind="data",
        message=f"{label!r} has no unit; its values ({column.sample[0]}) are read as the days since the end of 1899 that "
        "spreadsheets count",
        mend=f'state it: time = {{ column = {json.dumps(label, ensure_ascii=False)}, unit = "d" }}',
    )
    return TimeSource(
        "epoch", label, "d", (column,), ratio=(DAY_S, 1), origin_s=ORIGIN_S, findings=(found,) if note else ()
    )


def _of_a_clock(step: float, place: float) -> bool:
    """Whether a step in days is a round length of time as far as its digits tell, and no round decimal number itself."""
    seconds, doubt = step * DAY_S, place * DAY_S
    unit = 1.0 if seconds >= 0.9 else 0.001
    near = abs(seconds / unit - round(seconds / unit)) * unit <= doubt
    leading = step / 10.0 ** np.floor(np.log10(step))
    round_decimal = abs(leading - round(leading, 1)) < 1e-6
    return doubt < 0.2 * unit and near and not round_decimal
