"""MDF 3 and 4: channel groups, each with the master channel that is its time."""

from __future__ import annotations

import gc
import sys
import traceback
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from toolbench.logs.doors.columnar import unreadable
from toolbench.logs.doors.heard import heard
from toolbench.logs.doors.recorded import Part, Recorded, RecordedColumn
from toolbench.logs.source import refusal


def mdf_parts(path: Path) -> tuple[Part, ...]:
    """The channel groups of an MDF file that hold rows.

    Raises
    ------
    RecordingError
        asammdf is not installed, or the file is damaged.
    """
    file = str(path)
    try:
        from asammdf import MDF
    except ImportError:
        raise refusal(
            file, "is an MDF file; reading it needs asammdf", mend='pip install "toolbench-reports[mdf]"'
        ) from None
    try:
        with heard("asammdf") as said, MDF(path) as opened:
            _refuse_overreach(opened)
            loaded = [(label, _load(opened, at)) for at, label in _labels(opened).items()]
    except Exception as error:  # noqa: BLE001  (asammdf raises what its parsing meets)
        refused = unreadable(file, "MDF", error)
        _let_go(error)
        raise refused from None
    loaded = [(label, replace(found, doubts=tuple(said))) for label, found in loaded]
    return tuple(
        Part(label=label, names=tuple(column.name for column in found.columns), load=lambda found=found: found)  # type: ignore[misc]
        for label, found in loaded
    )


def _refuse_overreach(opened: Any) -> None:
    """Raises ValueError where a channel's bits lie outside its record: unpacking them would read beyond the memory."""
    for group in opened.groups:
        size = group.channel_group.samples_byte_nr + getattr(group.channel_group, "invalidation_bytes_nr", 0)
        for channel in group.channels:
            first = 8 * channel.byte_offset + channel.bit_offset if opened.version >= "4" else channel.start_offset
            if size and first + channel.bit_count > 8 * size:
                raise ValueError(f"the channel {channel.name!r} reaches beyond its record")


def _let_go(error: BaseException) -> None:
    """Free what a failed opening left behind; its own clean-up fails on a half-opened file, and would print a traceback."""
    told = sys.unraisablehook
    sys.unraisablehook = lambda _: None
    try:
        traceback.clear_frames(error.__traceback__)
        gc.collect()
    finally:
        sys.unraisablehook = told


def _labels(opened: Any) -> dict[int, str]:
    """Group number to the name it is called by; groups without rows are passed over."""
    found: dict[int, str] = {}
    for at, group in enumerate(opened.groups):
        if not group.channel_group.cycles_nr:
            continue
        name = (getattr(group.channel_group, "acq_name", "") or f"group {at + 1}").strip()
        found[at] = name if name not in found.values() else f"{name} (group {at + 1})"
    return found


def _load(opened: Any, at: int) -> Recorded:
    group, master = opened.groups[at], opened.masters_db.get(at)
    columns: list[RecordedColumn] = []
    clock = None
    for number, channel in enumerate(group.channels):
        if number == master:
            clock = len(columns)
            unit = str(channel.unit or "").strip() or "s"
            columns.append(RecordedColumn(name=channel.name, values=opened.get_master(at), unit=unit))
            continue
        signal = opened.get(group=at, index=number, ignore_invalidation_bits=False)
        columns.append(RecordedColumn(name=channel.name, values=_values(signal), unit=str(signal.unit or "").strip()))
    return Recorded(container=f"MDF {opened.version}", columns=tuple(columns), clock=clock, start=_start(opened))


def _values(signal: Any) -> Any:
    """The samples; those that the file calls invalid are missing."""
    samples, invalid = signal.samples, signal.invalidation_bits
    if invalid is None or not np.any(invalid) or samples.dtype.kind not in "iuf":
        return samples
    if samples.dtype.kind != "f":
        return np.array(
            [None if bad else int(value) for value, bad in zip(samples, invalid, strict=True)], dtype=object
        )
    return np.where(invalid, np.nan, samples)


def _start(opened: Any) -> str:
    start = getattr(opened.header, "start_time", None)
    return start.isoformat() if start is not None and start.year > 1980 else ""
