"""Stated values that physics allows and no bench has: a unit forgotten, a comma slipped. Doubted by `check`, refused nowhere.

The limits are choices, a few times wider than what tools, lines and packs of the trade have (from memory), so that a value
beyond one is more likely a slip than a bench.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from toolbench.quantities import format_number, from_si
from toolbench.records.findings import Finding
from toolbench.records.settings import SeasonSettings


@dataclass(frozen=True, slots=True)
class Span:
    """What is taken as plausible [SI], and how it is printed: in `unit` of `quantity`."""

    low: float
    high: float
    quantity: str
    unit: str

    def words(self, value: float) -> str:
        return format_number(from_si(value, self.unit, self.quantity), 3, unit=self.unit)


_WEATHER = Span(-40.0, 60.0, "temperature", "degC")
_AIR = Span(5e4, 1.1e5, "absolute_pressure", "bar abs")
_SETTING = Span(5e4, 2e6, "pressure", "bar")
_TOOL = {
    "drive_m": Span(0.003, 0.1, "length", "mm"),
    "length_m": Span(0.02, 3.0, "length", "mm"),
    "mass_kg": Span(0.1, 100.0, "mass", "kg"),
    "claimed_torque": Span(0.5, 50_000.0, "torque", "N*m"),
    "rated_pressure_pa": _SETTING,
    "air_consumption_m3_s": Span(0.0, 0.2, "air_flow", "L/s"),
}
_FACT = {
    "regulator.set": _SETTING,
    "receiver.volume": Span(1e-3, 20.0, "volume", "L"),
    "receiver.cut_in": _SETTING,
    "receiver.cut_out": _SETTING,
    "nominal_voltage": Span(1.0, 150.0, "voltage", "V"),
    "capacity": Span(360.0, 720_000.0, "charge", "A*h"),
    "cell_resistance": Span(0.0, 1.0, "resistance", "mohm"),
    "temperature": _WEATHER,
    "voltage": Span(10.0, 1000.0, "voltage", "V"),
    "lead.length": Span(0.0, 500.0, "length", "m"),
    "bore": Span(0.001, 0.1, "length", "mm"),
    "length": Span(0.0, 1000.0, "length", "m"),
    "rated_pressure": _SETTING,
}
_COLUMN = {"drive_m": "drive", "length_m": "length", "mass_kg": "mass", "claimed_torque": "claimed_torque",
           "rated_pressure_pa": "rated_pressure", "air_consumption_m3_s": "air_consumption"}  # fmt: skip
_MOST_SCALE = 0.1
"""A calibration worse than 10 % (one standard uncertainty) is more likely a slip."""


def plausible_findings(settings: SeasonSettings) -> list[Finding]:
    """A finding for every stated value that is hardly meant, with file, line, key and value."""
    found = [*_of_bench(settings), *_of_sensors(settings), *_of_setups(settings), *_of_tools(settings)]
    return [*found, *_of_runs(settings)]


def _of_bench(settings: SeasonSettings) -> Iterator[Finding]:
    line = settings.lines.get
    for key, value, span in (
        ("bench.ambient_temperature", settings.ambient_temperature_degc, _WEATHER),
        ("bench.ambient_pressure", settings.ambient_pressure_pa_abs, _AIR),
    ):
        yield from _doubt(key, value, span, "bench.toml", line(key))


def _of_sensors(settings: SeasonSettings) -> Iterator[Finding]:
    for sensor in settings.sensors.values():
        key = f"sensors.{sensor.id}.scale"
        for certificate in sensor.certificates:
            if certificate.scale is not None and certificate.scale > _MOST_SCALE:
                size = format_number(100 * certificate.scale, 3, unit="%")
                said = f"{key}: a standard uncertainty of {size} of every reading is hardly that of a sensor."
                yield _finding(said, "bench.toml", settings.lines.get(key), "look for a slip of the pen", (sensor.id,))


def _of_setups(settings: SeasonSettings) -> Iterator[Finding]:
    for setup in settings.setups.values():
        for fact, (value, _) in setup.facts.items():
            first, _, rest = fact.partition(".")
            part, _, name = rest.partition(".")
            span = _FACT.get(name if first == "line" else fact)
            if span is None or isinstance(value, str):
                continue
            key = f"setups.{setup.id}." + (f"line[{part}].{name}" if first == "line" else fact)
            lines = settings.lines
            at = lines.get(key) or lines.get(key.rpartition(".")[0]) or lines.get(f"setups.{setup.id}")
            yield from _doubt(key, value, span, "bench.toml", at, (setup.id,))


def _of_tools(settings: SeasonSettings) -> Iterator[Finding]:
    for tool in settings.tools.values():
        for name, span in _TOOL.items():
            yield from _doubt(f"{tool.id}: {_COLUMN[name]}", getattr(tool, name), span, "tools.csv", None, (tool.id,))


def _of_runs(settings: SeasonSettings) -> Iterator[Finding]:
    for run in settings.runs:
        warm = run.ambient_temperature_degc
        yield from _doubt("ambient_temperature", warm, _WEATHER, "runs.csv", run.line, (run.run,))


def _doubt(
    key: str, value: float | None, span: Span, file: str, line: int | None, subjects: tuple[str, ...] = ()
) -> Iterator[Finding]:
    if value is None or span.low <= value <= span.high:
        return
    expected = f"{span.words(span.low)} to {span.words(span.high)}"
    said = f"{key}: {span.words(value)} is hardly meant; {expected} would be usual."
    yield _finding(said, file, line, "look for a slip of the pen or a wrong unit", subjects)


def _finding(message: str, file: str, line: int | None, mend: str, subjects: tuple[str, ...]) -> Finding:
    return Finding(
        code="implausible-value",
        severity="doubtful",
        kind="condition",
        message=message,
        mend=mend,
        subjects=subjects,
        file=file,
        line=line,
    )
