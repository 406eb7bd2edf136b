"""The demo bench's loggers: each writes the same kind of run in a way of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from bench_model import Recording
from bench_parts import Floats

PSI, SCFM, POUND_FOOT = 6894.757, 0.4782e-3, 1.3558179483

Column = tuple[str, str, float, int]
"""Channel, head as in the file, SI value of one unit, decimals."""


@dataclass(frozen=True)
class Dialect:
    """How one logger writes. `write` gets the run's id, the start, the rows as text and returns the file's text."""

    suffix: str
    encoding: str
    rate_hz: float
    columns: tuple[Column, ...]
    write: Callable[[str, datetime, float, Sequence[str], Sequence[Sequence[str]]], str]


def encode(dialect: Dialect, run: str, started: datetime, recording: Recording) -> bytes:
    """The bytes of the recording as this logger would have written them."""
    columns = [_numbers(recording.channels, *column) for column in dialect.columns]
    heads = [head for _, head, _, _ in dialect.columns]
    text = dialect.write(run, started, dialect.rate_hz, heads, list(zip(*columns, strict=True)))
    return text.encode(dialect.encoding)


def _numbers(channels: Mapping[str, Floats], name: str, head: str, unit: float, decimals: int) -> list[str]:
    return [f"{value:.{decimals}f}" for value in (channels[name] / unit).tolist()]


def _wall(run: str, started: datetime, rate: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Comma, five lines before the head, milliseconds."""
    top = ["Wheel bay wall logger", "Serial,WB-04", f"Run,{run}", f"Rate [Hz],{rate:g}", ""]
    body = [",".join(("t [ms]", *heads))]
    body += [f"{index * 1000 / rate:g}," + ",".join(row) for index, row in enumerate(rows)]
    return "\r\n".join(top + body) + "\r\n"


def _cart(run: str, started: datetime, rate: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Semicolon, decimal comma, a row of units, and degree signs in cp1252."""
    names = [head.split("|") for head in heads]
    top = [
        f"Cart logger; run {run}; sensors at rest for 1 h at 19 °C",
        ";".join(["Time", *(name for name, _ in names)]),
        ";".join(["s", *(unit for _, unit in names)]),
    ]
    body = [";".join((f"{index / rate:.3f}", *row)).replace(".", ",") for index, row in enumerate(rows)]
    return "\r\n".join(top + body) + "\r\n"


def _pack(run: str, started: datetime, rate: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Tab, ISO stamps with their offset."""
    lines = ["\t".join(("Stamp", *heads))]
    for index, row in enumerate(rows):
        stamp = started + timedelta(milliseconds=round(index * 1000 / rate))
        lines.append("\t".join((stamp.isoformat(timespec="milliseconds"), *row)))
    return "\n".join(lines) + "\n"


def _lead(run: str, started: datetime, rate: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """UTF-16 with its mark, tab, the time's unit in the name."""
    lines = ["\t".join(("t_s", *heads))]
    lines += ["\t".join((f"{index / rate:.3f}", *row)) for index, row in enumerate(rows)]
    return "\ufeff" + "\r\n".join(lines) + "\r\n"


def _tank(run: str, started: datetime, rate: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Comma, no time column at all."""
    return "\n".join([",".join(heads), *(",".join(row) for row in rows)]) + "\n"


def _tablet(run: str, started: datetime, rate: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """UTF-8 with its mark, comma, seconds."""
    lines = [",".join(("Time (s)", *heads))]
    lines += [",".join((f"{index / rate:.3f}", *row)) for index, row in enumerate(rows)]
    return "\n".join(lines) + "\n"


def _desk(run: str, started: datetime, rate: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Comma, comments with a hash, microseconds from a suffix, blanks after the delimiter."""
    lines = [f"# arrival run {run}", f"# {started:%Y-%m-%d}", ", ".join(("t_us", *heads))]
    lines += [", ".join((f"{index * 1e6 / rate:.0f}", *row)) for index, row in enumerate(rows)]
    return "\n".join(lines) + "\n"


DIALECTS: dict[str, Dialect] = {
    "wall": Dialect(
        ".csv",
        "utf-8",
        250.0,
        (
            ("torque", "Torque [N*m]", 1.0, 1),
            ("inlet_pressure", "Inlet pressure [bar]", 1e5, 3),
            ("supply_pressure", "Supply pressure [bar]", 1e5, 3),
            ("air_flow", "Air flow [L/s]", 1e-3, 2),
        ),
        _wall,
    ),
    "tablet": Dialect(
        ".csv",
        "utf-8-sig",
        200.0,
        (
            ("torque", "Torque (N m)", 1.0, 1),
            ("inlet_pressure", "Inlet pressure (kPa)", 1e3, 1),
            ("supply_pressure", "Supply pressure (kPa)", 1e3, 1),
            ("air_flow", "Air flow (L/min)", 1e-3 / 60, 0),
        ),
        _tablet,
    ),
    "cart": Dialect(
        ".csv",
        "cp1252",
        200.0,
        (
            ("torque", "Torque|N·m", 1.0, 1),
            ("inlet_pressure", "Inlet pressure|bar", 1e5, 3),
            ("supply_pressure", "Supply pressure|bar", 1e5, 3),
            ("air_flow", "Air flow|L/s", 1e-3, 2),
            ("temperature", "Air temperature|°C", 1.0, 1),
        ),
        _cart,
    ),
    "tank": Dialect(
        ".csv",
        "utf-8",
        200.0,
        (
            ("torque", "Torque", 1.0, 1),
            ("inlet_pressure", "Inlet", PSI, 2),
            ("supply_pressure", "Regulator", PSI, 2),
            ("air_flow", "Flow", SCFM, 2),
        ),
        _tank,
    ),
    "pack": Dialect(
        ".tsv",
        "utf-8",
        250.0,
        (
            ("torque", "Torque (N*m)", 1.0, 1),
            ("voltage", "Pack voltage (V)", 1.0, 2),
            ("current", "Current (A)", 1.0, 1),
            ("temperature", "Pack temperature (°C)", 1.0, 1),
        ),
        _pack,
    ),
    "lead": Dialect(
        ".txt",
        "utf-16-le",
        200.0,
        (
            ("torque", "Torque [N*m]", 1.0, 1),
            ("voltage", "Voltage at the tool [V]", 1.0, 1),
            ("current", "Current [A]", 1.0, 2),
        ),
        _lead,
    ),
    "desk": Dialect(
        ".csv",
        "utf-8",
        1000.0,
        (("torque", "Torque [N*m]", 1.0, 1), ("inlet_pressure", "Inlet pressure [psi]", PSI, 2)),
        _desk,
    ),
}
