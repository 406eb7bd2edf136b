"""A DataFrame in memory as a recording: its columns, and its index where that is more than a count of rows."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from toolbench.logs.doors.columnar import is_clock
from toolbench.logs.doors.recorded import Part, Recorded, RecordedColumn
from toolbench.logs.names import Column, is_unit_row
from toolbench.logs.source import refusal

NAME = "DataFrame"


def frame_parts(frame: pd.DataFrame) -> tuple[Part, ...]:
    """The frame as the one table of a recording; it is copied, never changed.

    An index of stamps, of durations or of floats is the time; floats without a name are seconds. Any other index with a
    name is a column like the others. `frame.attrs["units"]` may map names to units.

    Raises
    ------
    RecordingError
        The frame has several levels of index or of names that are no units, or holds no row.
    """
    if isinstance(frame.index, pd.MultiIndex):
        raise refusal(NAME, f"its index has {frame.index.nlevels} levels", mend="use frame.reset_index() first")
    if isinstance(frame.index, pd.PeriodIndex):
        raise refusal(NAME, "its index holds periods, not points in time", mend="use frame.to_timestamp() first")
    if frame.shape[0] == 0 or frame.shape[1] == 0:
        raise refusal(NAME, f"holds {frame.shape[0]} rows of {frame.shape[1]} columns")
    names, units = _names(frame)
    columns = [
        RecordedColumn(name=name, values=frame.iloc[:, at], unit=unit)
        for at, (name, unit) in enumerate(zip(names, units, strict=True))
    ]
    index, remark = _index(frame.index)
    clock = 0 if index is not None and is_clock(index) else None
    every = (*([index] if index is not None else []), *columns)
    found = Recorded(container=NAME, columns=every, clock=clock, remarks=(remark,) if remark else ())
    return (Part(label="", names=tuple(column.name for column in every), load=lambda: found),)


def _names(frame: pd.DataFrame) -> tuple[list[str], list[str]]:
    """Names and units of the columns; a second level of names that holds units is taken as such."""
    stated = frame.attrs.get("units")
    if isinstance(frame.columns, pd.MultiIndex):
        pairs = [tuple(map(_label, pair)) for pair in frame.columns]
        under = [pair[-1] for pair in pairs]
        if frame.columns.nlevels != 2 or not is_unit_row(under):
            raise refusal(
                NAME,
                f"its columns have names of {frame.columns.nlevels} levels, such as {pairs[0]!r}",
                mend="give every column one name; a second level may hold the units only",
            )
        return [pair[0] for pair in pairs], under
    names = [_label(name) for name in frame.columns]
    units = stated if isinstance(stated, dict) else {}
    return names, [str(units.get(name) or "") for name in names]


def _label(name: Any) -> str:
    text = "" if name is None or (isinstance(name, float) and np.isnan(name)) else str(name)
    return "" if text.startswith("Unnamed: ") else text


def _index(index: Any) -> tuple[RecordedColumn | None, str]:
    """The index as a column, and a remark where something had to be decided about it."""
    name = "" if index.name is None else str(index.name)
    counts = index.dtype.kind in "iu" if isinstance(index.dtype, np.dtype) else False
    if not name and counts:
        plain_count = isinstance(index, pd.RangeIndex)
        return None, "" if plain_count else "the index holds whole numbers without a name and is not taken as time"
    unit, remark = "", ""
    if not name and getattr(index.dtype, "kind", "") == "f":
        unit, remark = "s", "the index has no name; its numbers are taken as seconds"
    return RecordedColumn(name=name or "index", values=index.to_series().reset_index(drop=True), unit=unit), remark


def content_digest(columns: Sequence[Column], values: Sequence[Any]) -> str:
    """sha256 over names, units and values: the same for the same numbers in the same columns, whatever their types were."""
    found = hashlib.sha256(b"toolbench frame 1\n")
    for column, cells in zip(columns, values, strict=True):
        found.update(f"{column.written}\t{column.unit}\t{column.kind}\t{len(cells)}\n".encode())
        if isinstance(cells, np.ndarray):
            doubles = cells.dtype.kind == "f"
            found.update(np.ascontiguousarray(cells, dtype="<f8" if doubles else "<i8").tobytes())
        elif cells.dtype.kind == "M":
            found.update(str(cells.dtype).encode())
            found.update(cells.dt.as_unit("ns").astype("int64").to_numpy().astype("<i8").tobytes())
        else:
            found.update("\0".join(map(str, cells)).encode())
    return found.hexdigest()
