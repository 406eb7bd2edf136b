"""TDMS: groups of channels with properties; a waveform's increment is the time base where no channel holds the time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from toolbench.logs.doors.columnar import unreadable
from toolbench.logs.doors.heard import heard
from toolbench.logs.doors.recorded import Part, Recorded, RecordedColumn
from toolbench.logs.source import refusal

_UNITS = ("unit_string", "NI_UnitDescription", "unit", "units")
_QUIET = ("name", "NI_")

LEAST_STEP_S, MOST_STEP_S = 1e-12, 1e9
"""Between a step faster than any digitizer's and one of thirty years; anything else in `wf_increment` is no step."""


def tdms_parts(path: Path) -> tuple[Part, ...]:
    """The tables of a TDMS file: the channels of a group that share their length and their increment.

    Raises
    ------
    RecordingError
        npTDMS is not installed, or the file is damaged.
    """
    file = str(path)
    try:
        from nptdms import TdmsFile
    except ImportError:
        raise refusal(
            file, "is a TDMS file; reading it needs npTDMS", mend='pip install "toolbench-reports[tdms]"'
        ) from None
    try:
        # A stream, for by a path npTDMS believes the index beside the file (.tdms_index), which may be another recording's.
        with heard("nptdms") as said, path.open("rb") as stream:
            opened = TdmsFile.read(stream)
    except Exception as error:  # noqa: BLE001  (npTDMS raises what its parsing meets)
        raise unreadable(file, "TDMS", error) from None
    groups = [(group, _alike(group.channels())) for group in opened.groups()]
    return tuple(
        _part(opened, group, channels, tuple(said), several=len(sets) > 1)
        for group, sets in groups
        for channels in sets
    )


def _alike(channels: Sequence[Any]) -> list[list[Any]]:
    """Channels that can stand in one table; a channel without an increment goes with the first set of its length."""
    found: dict[tuple[int, Any], list[Any]] = {}
    plain = [channel for channel in channels if len(channel) and "wf_increment" not in channel.properties]
    for channel in channels:
        if len(channel) and channel not in plain:
            found.setdefault((len(channel), _increment(channel)), []).append(channel)
    for channel in plain:
        same = [key for key in found if key[0] == len(channel)]
        found.setdefault(same[0] if same else (len(channel), None), []).append(channel)
    order = [channel.name for channel in channels]
    return [sorted(members, key=lambda channel: order.index(channel.name)) for members in found.values()]


def _increment(channel: Any) -> float | None:
    """The waveform's step [s]; None where it is none that anybody samples with."""
    value = _number(channel.properties.get("wf_increment"))
    return value if LEAST_STEP_S <= value <= MOST_STEP_S else None


def _number(said: Any) -> float:
    """A property as a number, 0 where it is none: a file may say anything there."""
    try:
        value = float(said)
    except (TypeError, ValueError, OverflowError):
        return 0.0
    return value if math.isfinite(value) else 0.0


def _part(opened: Any, group: Any, channels: list[Any], said: tuple[str, ...], *, several: bool) -> Part:
    increment = next((found for channel in channels if (found := _increment(channel))), None)
    rate = 1 / increment if increment else None
    label = f"{group.name} ({f'{rate:g} Hz, ' if rate else ''}{len(channels[0])} rows)" if several else group.name

    def load() -> Recorded:
        columns = tuple(
            RecordedColumn(name=channel.name, values=channel[:], unit=_unit(channel)) for channel in channels
        )
        return Recorded(
            container="TDMS",
            columns=columns,
            rate_hz=rate,
            start=_start(channels),
            metadata=_metadata(opened.properties, group.properties),
            doubts=said,
        )

    return Part(label=label, names=tuple(channel.name for channel in channels), load=load)


def _unit(channel: Any) -> str:
    return next((str(channel.properties[key]).strip() for key in _UNITS if channel.properties.get(key)), "")


def _start(channels: Sequence[Any]) -> str:
    """When the first sample was taken, in UTC as TDMS keeps it. A year before 1980 is a clock that was never set."""
    for channel in channels:
        start = channel.properties.get("wf_start_time")
        if isinstance(start, np.datetime64) and start > np.datetime64("1980-01-01"):
            offset = _number(channel.properties.get("wf_start_offset"))
            if start > np.datetime64("2200-01-01") or abs(offset) > MOST_STEP_S:
                continue  # neither a clock nor a delay that a logger has; nanoseconds could not count it
            moved = start.astype("datetime64[ns]") + np.timedelta64(round(offset * 1e9), "ns")
            text = np.datetime_as_string(moved, unit="ns").rstrip("0").rstrip(".")
            return f"{text}+00:00"
    return ""


def _metadata(*properties: Any) -> tuple[str, ...]:
    return tuple(
        f"{key}: {value}" for one in properties for key, value in one.items() if not str(key).startswith(_QUIET)
    )
