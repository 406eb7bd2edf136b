"""Stated values that physics allows and no bench has: a unit forgotten, a comma slipped.

The limits are choices, a few times wider than what tools, lines and packs of the trade have (from memory), so that a value
beyond one is more likely a slip than a bench. `check` and whatever models a supply doubt it; a hundred times beyond, where the
model's arithmetic has no meaning left, the model refuses it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from toolbench.errors import Fault
from toolbench.quantities import format_number, from_si
from toolbench.records.findings import Finding
from toolbench.records.settings import SeasonSettings, Setup


@dataclass(frozen=True, slots=True)
class Span:
    """What is taken as plausible [SI], and how it is printed: in `unit` of `quantity`."""

    low: float
    high: float
    quantity: str
    unit: str

    def words(self, value: float) -> str:
        shown = from_si(value, self.unit, self.quantity) if self.unit else value
        return format_number(shown, 3, unit=self.unit)

    @property
    def modelled(self) -> Span:
        """What a model works with: a hundred times further, a temperature by a hundred degrees."""
        if self.quantity == "temperature":
            return replace(self, low=self.low - BEYOND, high=self.high + BEYOND)
        return replace(self, low=self.low / BEYOND, high=self.high * BEYOND)


class _Stated(NamedTuple):
    """A stated value [SI] with its key, what is plausible, and the line it stands on."""

    key: str
    value: float
    span: Span
    line: int | None


BEYOND = 100.0
"""How many times beyond what is plausible a model still works; degrees for a temperature."""

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
    "regulator.droop": Span(0.0, 5e7, "droop_rate", "bar/(L/s)"),
    "receiver.free_air": Span(1e-5, 1.0, "air_flow", "L/s"),
    "receiver.volume": Span(1e-3, 20.0, "volume", "L"),
    "receiver.cut_in": _SETTING,
    "receiver.cut_out": _SETTING,
    "nominal_voltage": Span(1.0, 150.0, "voltage", "V"),
    "cells_in_series": Span(1.0, 40.0, "count", ""),
    "strings": Span(1.0, 20.0, "count", ""),
    "capacity": Span(360.0, 720_000.0, "charge", "A*h"),
    "cell_resistance": Span(0.0, 1.0, "resistance", "mohm"),
    "temperature": _WEATHER,
    "voltage": Span(10.0, 1000.0, "voltage", "V"),
    "lead.length": Span(0.0, 500.0, "length", "m"),
    "lead.section": Span(1e-7, 1e-4, "area", "mm^2"),
    "bore": Span(0.001, 0.1, "length", "mm"),
    "length": Span(0.01, 1000.0, "length", "m"),
    "roughness": Span(0.0, 0.002, "length", "mm"),
    "coil_diameter": Span(0.01, 5.0, "length", "mm"),
    "sonic_conductance": Span(1e-10, 1e-6, "sonic_conductance", "L/(s*bar)"),
    "critical_pressure_ratio": Span(0.0, 0.8, "count", ""),
    "flow_coefficient": Span(0.01, 100.0, "flow_coefficient", "Cv"),
    "rated_pressure": _SETTING,
}
_COLUMN = {"drive_m": "drive", "length_m": "length", "mass_kg": "mass", "claimed_torque": "claimed_torque",
           "rated_pressure_pa": "rated_pressure", "air_consumption_m3_s": "air_consumption"}  # fmt: skip
_MOST_SCALE = 0.1
"""A calibration worse than 10 % (one standard uncertainty) is more likely a slip."""
_MOST_CORRECTION = 0.2
"""A sensor whose indication is corrected by more than a fifth is more likely read in another unit."""


def plausible_findings(settings: SeasonSettings) -> list[Finding]:
    """A finding for every stated value that is hardly meant, with file, line, key and value."""
    found = [*_of_bench(settings), *_of_sensors(settings), *_of_setups(settings), *_of_tools(settings)]
    return [*found, *_of_runs(settings)]


def _of_bench(settings: SeasonSettings) -> Iterator[Finding]:
    for key, value, span, line in _air_around(settings):
        yield from _doubt(key, value, span, "bench.toml", line)


def _air_around(settings: SeasonSettings) -> Iterator[_Stated]:
    for key, value, span in (
        ("bench.ambient_temperature", settings.ambient_temperature_degc, _WEATHER),
        ("bench.ambient_pressure", settings.ambient_pressure_pa_abs, _AIR),
    ):
        if value is not None:
            yield _Stated(key, value, span, settings.lines.get(key))


def _of_sensors(settings: SeasonSettings) -> Iterator[Finding]:
    for sensor in settings.sensors.values():
        key = f"sensors.{sensor.id}.scale"
        for certificate in sensor.certificates:
            if certificate.scale is not None and certificate.scale > _MOST_SCALE:
                size = format_number(100 * certificate.scale, 3, unit="%")
                said = f"{key}: a standard uncertainty of {size} of every reading is hardly that of a sensor."
                yield _finding(said, "bench.toml", settings.lines.get(key), "look for a slip of the pen", (sensor.id,))
            if certificate.line is not None and abs(certificate.line.slope) > _MOST_CORRECTION:
                size = format_number(100 * certificate.line.slope, 3, unit="%", signed=True)
                said = f"{certificate.points}: its points correct every reading of {sensor.id} by {size}, which is hardly meant."
                mend = "look for columns in another unit, or swapped"
                yield _finding(said, certificate.points or "bench.toml", None, mend, (sensor.id,))


def _of_setups(settings: SeasonSettings) -> Iterator[Finding]:
    for setup in settings.setups.values():
        for key, value, span, at in _facts(settings, setup):
            yield from _doubt(key, value, span, "bench.toml", at, (setup.id,))


def _facts(settings: SeasonSettings, setup: Setup) -> Iterator[_Stated]:
    """Every stated number of a setup that has a plausible span."""
    for fact, (value, _) in setup.facts.items():
        first, _, rest = fact.partition(".")
        part, _, name = rest.partition(".")
        span = _FACT.get(name if first == "line" else fact)
        if span is None or isinstance(value, str):
            continue
        key = f"setups.{setup.id}." + (f"line[{part}].{name}" if first == "line" else fact)
        lines = settings.lines
        at = lines.get(key) or lines.get(key.rpartition(".")[0]) or lines.get(f"setups.{setup.id}")
        yield _Stated(key, value, span, at)


def supply_doubts(settings: SeasonSettings, setups: Iterable[str], tools: Iterable[str]) -> list[Finding]:
    """The implausible values that what is modelled of some setups and tools rests on, the bench's own among them."""
    concerned = {*setups, *tools}
    found = [*_of_bench(settings), *_of_setups(settings), *_of_tools(settings)]
    return [one for one in found if not one.subjects or concerned.intersection(one.subjects)]


def beyond_model(settings: SeasonSettings, setup: Setup) -> list[Fault]:
    """A fault for every stated value of a setup, and of the air around it, that no model of a supply works with."""
    found = []
    for key, value, span, line in (*_air_around(settings), *_facts(settings, setup)):
        if fault := _outside(key, value, span.modelled):
            found.append(replace(fault, file="bench.toml", line=line))
    return found


def _outside(key: str, value: float, reach: Span) -> Fault | None:
    """A fault where a value [SI] lies outside what a model works with, under its key."""
    if reach.low <= value <= reach.high:
        return None
    return Fault(
        f"{reach.words(value)} is nothing that can be modelled",
        key=key,
        mend=f"the model works from {reach.words(reach.low)} to {reach.words(reach.high)}",
    )


def asked_beyond_model(asked: Mapping[str, float | None]) -> list[Fault]:
    """Faults of lengths, bores and pressures that are asked for [SI], by the names of their arguments."""
    spans = {"length": _FACT["length"], "bore": _FACT["bore"], "pressure": _SETTING, "want": _SETTING}
    found = (_outside(key, value, spans[key].modelled) for key, value in asked.items() if value is not None)
    return [fault for fault in found if fault is not None]


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
