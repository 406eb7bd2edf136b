"""What `inspect` tells about a file: every fact for a program, and the table for bench.toml to paste."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any

import numpy as np

from toolbench.logs.log import Log
from toolbench.logs.names import TIME_UNITS, split_unit
from toolbench.quantities.units import QuantityError, unit_factor

# Words in a column's name that tell one channel from another of the same kind, most telling first.
_WORDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("torque", ("torque", "drehmoment", "couple", "moment", "koppel", "coppia")),
    ("trigger", ("trigger", "switch", "taster")),
    (
        "supply_pressure",
        ("supply", "wall", "receiver", "tank", "regulator", "upstream", "versorg", "kessel", "regler", "amont"),
    ),
    ("inlet_pressure", ("inlet", "tool", "flowing", "pressure", "druck", "pression")),
    ("air_flow", ("flow", "durchfluss", "debit", "débit")),
    ("speed", ("speed", "rpm", "drehzahl", "vitesse")),
    ("voltage", ("voltage", "volt", "spannung", "tension")),
    ("current", ("current", "amp", "strom", "courant")),
    ("temperature", ("temp", "temperature", "temperatur", "température")),
    ("force", ("force", "load", "kraft")),
)
_QUANTITY = {
    "torque": "torque",
    "force": "force",
    "pressure": "inlet_pressure",
    "absolute_pressure": "inlet_pressure",
    "air_flow": "air_flow",
    "speed": "speed",
    "voltage": "voltage",
    "current": "current",
    "temperature": "temperature",
}
_NEEDS = {"inlet_pressure": "pressure", "supply_pressure": "pressure"}


def describe(log: Log) -> dict[str, Any]:
    """Every fact about a recording as JSON values: None where something is not known.

    Returns
    -------
    dict
        `source`, `digest`, `rows`, `duration_s`, `dialect`, `time`, `columns` (each with its guessed channel) and `findings`.
    """
    guessed = {column: channel for channel, column in guess_channels(log).items()}
    columns = []
    for name in log.data.columns:
        values = log.data[name].to_numpy()
        number = values.dtype.kind in "iuf"
        finite = values[np.isfinite(values)] if number else values[:0]
        columns.append(
            {
                "name": name,
                "written": log.names[name],
                "unit": log.units[name],
                "kind": "number" if number else "text",
                "channel": guessed.get(name),
                "lowest": float(finite.min()) if len(finite) else None,
                "highest": float(finite.max()) if len(finite) else None,
                "missing": int(len(values) - len(finite)) if number else 0,
            }
            | _of_rows(log, name)
        )
    dialect = _dialect(log) | {"extra": dict(log.dialect.extra), "container": log.dialect.container}
    return {
        "source": log.source,
        "digest": log.digest,
        "rows": log.thinned.rows if log.thinned else len(log.data),
        "duration_s": log.thinned.last_s if log.thinned else float(log.data.index[-1]) if len(log.data) else None,
        "dialect": _plain(dialect),
        "time": _plain(asdict(log.time)),
        "columns": columns,
        "findings": [_plain(asdict(finding)) for finding in log.findings],
    }


def _of_rows(log: Log, name: str) -> dict[str, Any]:
    """What a column of an averaged recording holds row by row."""
    if log.thinned is None or name not in log.thinned.low:
        return {}
    low, high = float(log.thinned.low[name].min()), float(log.thinned.high[name].max())
    known = math.isfinite(low)
    return {
        "lowest": low if known else None,
        "highest": high if known else None,
        "missing": log.thinned.missing[name],
    }


def _dialect(log: Log) -> dict[str, Any]:
    names = ("encoding", "delimiter", "decimal", "header_line", "unit_line", "first_data_line", "columns", "preamble")
    return {name: getattr(log.dialect, name) for name in names}


def _plain(value: Any) -> Any:
    """JSON has no nan and no tuple."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value


def guess_channels(log: Log) -> dict[str, str]:
    """Channel name to column, by the words of a column's name and by its unit; a channel is given away once.

    A guess for a person to look at, never used to analyse without being shown.
    """
    found: dict[str, str] = {}
    numbers = [name for name in log.data.columns if log.data[name].dtype.kind in "iuf"]
    for channel, words in _WORDS:
        for name in numbers:
            if name in found.values() or channel in found:
                continue
            if any(word in name.casefold() for word in words) and _fits(channel, log.units[name]):
                found[channel] = name
    for name in numbers:
        by_unit = _QUANTITY.get(_quantity(log.units[name]), "")
        if by_unit and by_unit not in found and name not in found.values():
            found[by_unit] = name
    order = [name for name in log.data.columns if name in found.values()]
    return dict(sorted(found.items(), key=lambda item: order.index(item[1])))


def find_response(log: Log) -> tuple[str | None, tuple[str, ...]]:
    """The column that looks like the response, and all that could be it as well, the first included.

    Returns
    -------
    column : str or None
        The column of torque, else of force, else the only column of numbers; None where several could be it alike.
    candidates : tuple of str
        Columns of the same quantity, or every column of numbers where no quantity tells.
    """
    numbers = [name for name in log.data.columns if log.data[name].dtype.kind in "iuf"]
    guessed = guess_channels(log)
    for channel in ("torque", "force"):
        column = guessed.get(channel)
        if column is not None:
            alike = [name for name in numbers if name == column or _quantity(log.units[name]) == channel]
            return column, tuple(alike)
    return (numbers[0] if len(numbers) == 1 else None), tuple(numbers)


def _quantity(unit: str) -> str:
    try:
        return unit_factor(unit).quantity if unit else ""
    except QuantityError:
        return ""


def _fits(channel: str, unit: str) -> bool:
    """Whether a unit can be the channel's; without a unit the name alone decides."""
    if not unit or channel == "trigger":
        return True
    try:
        unit_factor(unit, _NEEDS.get(channel, channel))
    except QuantityError:
        return False
    return True


def suggest_table(log: Log, logger: str = "rig") -> str:
    """The `[loggers.ID]` table of bench.toml for this file. Columns that no channel was guessed for stand as comments."""
    lines = [f"[loggers.{logger}]", f"time = {_time(log)}"]
    if any(finding.code == "encoding-inferred" for finding in log.findings):
        lines.append(
            f"encoding = {_quote(log.dialect.encoding)}   # found by what the text says; the file has no mark of it"
        )
    if any(finding.code == "group-chosen" for finding in log.findings):
        lines.append(f"group = {_quote(str(log.dialect.extra['group']))}")
    guessed = guess_channels(log)
    for channel, name in guessed.items():
        written = _unique(log, name)
        if log.units[name]:
            own = split_unit(written)[1] == log.units[name]
            unit = "" if own else f", unit = {_quote(log.units[name])}"
            value = f"{{ column = {_quote(written)}{unit} }}" if unit else _quote(written)
            lines.append(f"channels.{channel} = {value}")
        else:
            lines.append(
                f'# channels.{channel} = {{ column = {_quote(written)}, unit = "..." }}   # its unit is not in the file'
            )
    others = [name for name in log.data.columns if name not in guessed.values()]
    lines += [f"# channels.NAME = {_quote(_unique(log, name))}" for name in others]
    return "\n".join(lines) + "\n"


def _unique(log: Log, name: str) -> str:
    """The name as in the file where that is one column's alone, else the numbered one."""
    written = log.names[name]
    return written if written and list(log.names.values()).count(written) == 1 else name


def _time(log: Log) -> str:
    """The `time` key that reads this file again as it was read."""
    base = log.time
    if base.unit == "samples":
        rate = f"{base.rate_hz:.12g}"
        return f'{{ rate = "{rate if float(rate) == base.rate_hz else repr(base.rate_hz)} Hz" }}'
    names = [_quote(name) for name in base.columns or (base.source,)]
    keys = {"column": names[0] if len(names) == 1 else f"[{', '.join(names)}]"}
    if (
        base.unit != "stamps"
        and split_unit(base.columns[0] if base.columns else base.source)[1].lower() not in TIME_UNITS
    ):
        keys["unit"] = _quote(base.unit)
    for key, value in (("format", base.format), ("zone", base.zone)):
        if value:
            keys[key] = _quote(value)
    if base.spread:
        keys["spread"] = "true"
    if list(keys) == ["column"] and len(names) == 1:
        return names[0]
    return "{ " + ", ".join(f"{key} = {value}" for key, value in keys.items()) + " }"


def _quote(text: str) -> str:
    """A basic string of TOML: JSON's, but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
