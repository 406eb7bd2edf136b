"""Supply setups -> records, with every stated fact listed so that two setups can be told apart part by part."""

from __future__ import annotations

from typing import Any, Literal

from toolbench.records.settings import LinePart, Setup
from toolbench.settings import models
from toolbench.settings.convert import Path, frozen
from toolbench.settings.faults import Faults

Supply = Literal["air", "battery", "mains", ""]

_KEYS: dict[Supply, tuple[str, ...]] = {
    "air": ("regulator", "receiver", "line"),
    "battery": (
        "nominal_voltage", "cells_in_series", "strings", "capacity", "cell_resistance", "temperature", "state_of_charge",
    ),
    "mains": ("voltage", "lead"),
}  # fmt: skip
_PART_KEYS = {
    "hose": ("bore", "length", "roughness", "coil_diameter", "material", "rated_pressure"),
    "coupler": ("sonic_conductance", "critical_pressure_ratio", "rated_pressure"),
    "fitting": ("flow_coefficient", "rated_pressure"),
}
_UNITS = {
    "regulator.set": "Pa", "regulator.droop": "Pa*s/m3", "receiver.volume": "m3", "receiver.free_air": "m3/s",
    "receiver.cut_in": "Pa", "receiver.cut_out": "Pa", "nominal_voltage": "V", "capacity": "A*s", "cell_resistance": "ohm",
    "temperature": "degC", "state_of_charge": "1", "voltage": "V", "lead.length": "m", "lead.section": "m2", "bore": "m",
    "length": "m", "roughness": "m", "coil_diameter": "m", "rated_pressure": "Pa", "sonic_conductance": "m3/(s*Pa)",
    "critical_pressure_ratio": "1", "flow_coefficient": "Cv", "cells_in_series": "1", "strings": "1",
}  # fmt: skip


def to_setup(id: str, model: models.SetupModel, faults: Faults) -> Setup:
    """One setup; its kind of supply follows from its keys where it is not stated."""
    path: Path = ("setups", id)
    supply = _supply(model, path, faults)
    for i, part in enumerate(model.line):
        _check_part(part, (*path, "line", i), faults)
    receiver = model.receiver
    if (
        receiver
        and receiver.cut_in is not None
        and receiver.cut_out is not None
        and receiver.cut_in >= receiver.cut_out
    ):
        faults.bench((*path, "receiver", "cut_in"), "the compressor starts at cut_in, which must lie below cut_out")
    return Setup(
        id=id,
        label=model.label or id,
        supply=supply,
        line=tuple(_line_part(part) for part in model.line),
        facts=frozen(_facts(model, supply)),
        price=model.price[0] if model.price else None,
        price_currency=model.price[1] if model.price else "",
    )


def _supply(model: models.SetupModel, path: Path, faults: Faults) -> Supply:
    stated: dict[Supply, list[str]] = {
        kind: [key for key in keys if getattr(model, key) not in (None, [])] for kind, keys in _KEYS.items()
    }
    kinds = [kind for kind, keys in stated.items() if keys]
    supply: Supply = model.supply or (kinds[0] if len(kinds) == 1 else "")
    if model.supply is None and len(kinds) > 1:
        faults.bench(path, f"holds keys of {' and '.join(kinds)}", 'add supply = "air", "battery" or "mains"')
    for kind in kinds:
        for key in stated[kind] if supply and kind != supply else ():
            faults.bench((*path, key), f'"{key}" belongs to a supply of {kind}, but this one is {supply}')
    return supply


def _check_part(part: models.LinePartModel, path: Path, faults: Faults) -> None:
    for key in sorted(part.model_fields_set - {"part", "name"} - set(_PART_KEYS[part.part])):
        mend = f"a {part.part} has {', '.join(_PART_KEYS[part.part])}"
        faults.bench((*path, key), f'"{key}" has no place on a {part.part}', mend)
    if part.part == "hose" and part.length is not None and not part.length > 0:
        faults.bench(
            (*path, "length"), "a hose is longer than 0", 'write its length, for example "12 m", or leave it out'
        )
    if part.bore is not None:
        _check_bore(part, part.bore, path, faults)


def _check_bore(part: models.LinePartModel, bore_m: float, path: Path, faults: Faults) -> None:
    """What cannot be with that bore: a wall rougher than half of it, a coil no wider than the hose."""
    said = f"does not go with a bore of {bore_m * 1000:g} mm"
    if part.roughness is not None and 2.0 * part.roughness >= bore_m:
        faults.bench((*path, "roughness"), f"{part.roughness * 1000:g} mm {said}", "it lies below half the bore")
    if part.coil_diameter is not None and part.coil_diameter <= bore_m:
        faults.bench((*path, "coil_diameter"), f"{part.coil_diameter * 1000:g} mm {said}", "it lies above the bore")


def _line_part(part: models.LinePartModel) -> LinePart:
    return LinePart(
        part=part.part,
        name=part.name,
        bore_m=part.bore,
        length_m=part.length,
        roughness_m=part.roughness,
        coil_diameter_m=part.coil_diameter,
        material=part.material,
        rated_pressure_pa=part.rated_pressure,
        sonic_conductance=part.sonic_conductance,
        critical_pressure_ratio=part.critical_pressure_ratio,
        flow_coefficient=part.flow_coefficient,
    )


def _facts(model: models.SetupModel, supply: Supply) -> dict[str, tuple[float | str, str]]:
    """Every stated fact as dotted key -> (SI value or text, SI unit); parts of the line are numbered from 1."""
    facts: dict[str, tuple[float | str, str]] = {"supply": (supply, "")} if supply else {}
    for key in (key for keys in _KEYS.values() for key in keys if key != "line"):
        _add(facts, key, getattr(model, key))
    for i, part in enumerate(model.line, start=1):
        for key in ("part", "name", *dict.fromkeys(key for keys in _PART_KEYS.values() for key in keys)):
            value = getattr(part, key)
            if value not in (None, ""):
                facts[f"line.{i}.{key}"] = (value, _UNITS.get(key, ""))
    return facts


def _add(facts: dict[str, tuple[float | str, str]], key: str, value: Any) -> None:
    if isinstance(value, models.Model):
        for inner in type(value).model_fields:
            _add(facts, f"{key}.{inner}", getattr(value, inner))
    elif value is not None:
        facts[key] = (value if isinstance(value, str) else float(value), _UNITS.get(key, ""))
