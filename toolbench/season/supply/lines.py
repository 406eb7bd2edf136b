"""A setup as it is stated in bench.toml -> an air line, a pack or a lead that the model can work with.

What is not stated and has a usual value is assumed, and said to be; what has none is a fault with setup and part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from toolbench.errors import AnalysisError, Fault
from toolbench.quantities import format_stated, from_si
from toolbench.records.settings import LinePart, SeasonSettings, Setup
from toolbench.season.plausible import beyond_model
from toolbench.supply.air import ATMOSPHERE_PA_ABS, T_ANR
from toolbench.supply.electric import Lead, Pack
from toolbench.supply.elements import Element, Regulator, Restriction, from_flow_coefficient
from toolbench.supply.hose import Hose
from toolbench.supply.line import Line
from toolbench.supply.receiver import Receiver

ZERO_C = 273.15
DROOP_PA_S_M3 = 3e6
"""0.03 bar per L/s ANR: the middle of what regulators show (common practice, no source)."""
SMOOTH_M = 5e-6
"""Roughness of a rubber or plastic hose (common practice, no source)."""
CRITICAL_RATIO = 0.3
"""Critical pressure ratio of a mated pair (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedLine:
    """The air line of a setup, with what was assumed because nobody stated it. Place i of the line is part i of the setup."""

    setup: Setup
    line: Line
    receiver: Receiver | None = None
    assumed: tuple[str, ...] = ()


def line_of(settings: SeasonSettings, setup: Setup) -> StatedLine:
    """The air line of a setup.

    Raises
    ------
    AnalysisError
        With every fault at once: no regulator pressure, a hose without bore or length, a coupler without its conductance, a
        fitting without its flow coefficient, a value that cannot be modelled.
    """
    _check_modelled(settings, setup)
    faults: list[Fault] = []
    assumed: list[str] = []
    ambient = settings.ambient_pressure_pa_abs or ATMOSPHERE_PA_ABS
    regulator = _regulator(settings, setup, ambient, faults, assumed)
    names = part_names(setup.line)
    elements = [
        element
        for number, (part, name) in enumerate(zip(setup.line, names, strict=True), start=1)
        if (element := _element(settings, setup, number, part, name, ambient, faults, assumed)) is not None
    ]
    if faults or regulator is None:
        raise AnalysisError(faults)
    warm = settings.ambient_temperature_degc
    line = Line(
        regulator=regulator,
        elements=tuple(elements),
        temperature_k=T_ANR if warm is None else warm + ZERO_C,
        ambient_pa_abs=ambient,
    )
    return StatedLine(setup=setup, line=line, receiver=_receiver(setup, ambient), assumed=tuple(dict.fromkeys(assumed)))


def _check_modelled(settings: SeasonSettings, setup: Setup) -> None:
    if faults := beyond_model(settings, setup):
        raise AnalysisError(faults)


def is_modelled_air(setup: Setup) -> bool:
    """Whether enough is stated of a setup's air to try: a regulator's pressure and at least one part of the line."""
    return setup.supply in ("air", "") and bool(setup.line) and number_of(setup, "regulator.set") is not None


def number_of(setup: Setup, key: str) -> float | None:
    """A stated number of a setup by its dotted key, in SI; None where it is not stated."""
    found = setup.facts.get(key)
    return float(found[0]) if found is not None and not isinstance(found[0], str) else None


def place_of(settings: SeasonSettings, setup: Setup, number: int | None = None) -> tuple[str, int | None, str]:
    """File, line and key of a setup, or of one of its parts, for a fault."""
    key = f"setups.{setup.id}" + (f".line[{number}]" if number is not None else "")
    return "bench.toml", settings.lines.get(key) or settings.lines.get(f"setups.{setup.id}"), f"setups.{setup.id}"


def part_names(parts: Sequence[LinePart]) -> list[str]:
    """Parts as they are called in tables: by name, a hose by bore and length; numbered in the line where two are called alike."""
    plain = [_plain_name(part) for part in parts]
    return [f"{name} ({k})" if plain.count(name) > 1 else name for k, name in enumerate(plain, start=1)]


def _plain_name(part: LinePart) -> str:
    if part.name:
        return part.name
    if part.part == "hose" and part.bore_m and part.length_m:
        return f"hose {_length(part.bore_m, 'mm')} × {_length(part.length_m, 'm')}"
    return part.part


def _length(metres: float, unit: str) -> str:
    return format_stated(from_si(metres, unit, "length"), unit)


def _fault(settings: SeasonSettings, setup: Setup, number: int | None, message: str, mend: str) -> Fault:
    file, line, key = place_of(settings, setup, number)
    return Fault(message, file=file, line=line, key=key, mend=mend)


def _regulator(
    settings: SeasonSettings, setup: Setup, ambient: float, faults: list[Fault], assumed: list[str]
) -> Regulator | None:
    pressure = number_of(setup, "regulator.set")
    if pressure is None:
        message = "states no pressure of the regulator, so nothing can be worked out for its line"
        faults.append(_fault(settings, setup, None, message, 'add regulator = "6.9 bar"'))
        return None
    droop = number_of(setup, "regulator.droop")
    if droop is None:
        droop = DROOP_PA_S_M3
        assumed.append("regulator's droop 0.03 bar per L/s of free air")
    return Regulator(set_pa_abs=pressure + ambient, droop_pa_s_m3=droop)


def _element(
    settings: SeasonSettings,
    setup: Setup,
    number: int,
    part: LinePart,
    label: str,
    ambient: float,
    faults: list[Fault],
    assumed: list[str],
) -> Element | None:
    missing = [key for key, value in _needed(part) if value is None]
    if missing:
        example = {
            "bore": "13 mm",
            "length": "12 m",
            "sonic_conductance": "4.5 L/(s*bar)",
            "flow_coefficient": "1.2 Cv",
        }
        wanted = ", ".join(f'{key} = "{example[key]}"' for key in missing)
        message = f"part {number} ({part.name or part.part}) states no {' and no '.join(missing)}".replace("_", " ")
        faults.append(_fault(settings, setup, number, message, f"add {wanted} to it"))
        return None
    rated = None if part.rated_pressure_pa is None else part.rated_pressure_pa + ambient
    try:
        return _made(part, rated, label, assumed)
    except ValueError as error:
        faults.append(
            _fault(settings, setup, number, f"part {number} ({part.name or part.part}): {error}", "mend its numbers")
        )
        return None


def _needed(part: LinePart) -> Sequence[tuple[str, float | None]]:
    if part.part == "hose":
        return (("bore", part.bore_m), ("length", part.length_m))
    if part.part == "coupler":
        return (("sonic_conductance", part.sonic_conductance),)
    return (("flow_coefficient", part.flow_coefficient),)


def _made(part: LinePart, rated: float | None, label: str, assumed: list[str]) -> Element:
    if part.part == "hose":
        if part.roughness_m is None:
            assumed.append("hoses as smooth as rubber, 0.005 mm")
        return Hose(
            bore_m=part.bore_m or 0.0,
            length_m=part.length_m or 0.0,
            roughness_m=SMOOTH_M if part.roughness_m is None else part.roughness_m,
            coil_diameter_m=part.coil_diameter_m,
            rated_pa_abs=rated,
            label=label,
        )
    if part.part == "fitting":
        assumed.append("fittings choke at a pressure drop of 0.7 of their inlet pressure")
        return from_flow_coefficient(part.flow_coefficient or 0.0, rated_pa_abs=rated, label=label)
    if part.critical_pressure_ratio is None:
        assumed.append(f"couplers with a critical pressure ratio of {CRITICAL_RATIO}")
    return Restriction(
        sonic_conductance=part.sonic_conductance or 0.0,
        critical_pressure_ratio=CRITICAL_RATIO
        if part.critical_pressure_ratio is None
        else part.critical_pressure_ratio,
        rated_pa_abs=rated,
        label=label,
    )


def _receiver(setup: Setup, ambient: float) -> Receiver | None:
    """None where no receiver, or not enough of it, is stated."""
    volume, free_air, cut_in, cut_out = (
        number_of(setup, f"receiver.{key}") for key in ("volume", "free_air", "cut_in", "cut_out")
    )
    if volume is None or free_air is None or cut_in is None or cut_out is None:
        return None
    return Receiver(
        volume_m3=volume, free_air_m3_s=free_air, cut_in_pa_abs=cut_in + ambient, cut_out_pa_abs=cut_out + ambient
    )


def pack_of(
    settings: SeasonSettings, setup: Setup, *, rest_voltage_v: float | None = None, rest_u: float = 0.0
) -> Pack:
    """The battery of a setup; `rest_voltage_v` [V] as recorded before the onset, where it was.

    Raises
    ------
    AnalysisError
        The setup does not say how many cells in series, how many strings, and which resistance a cell has, or states what cannot
        be modelled.
    """
    _check_modelled(settings, setup)
    keys = ("cells_in_series", "strings", "cell_resistance")
    values = [number_of(setup, key) for key in keys]
    series, strings, resistance = values
    if series is None or strings is None or resistance is None:
        missing = [key for key, value in zip(keys, values, strict=True) if value is None]
        message = f"states no {' and no '.join(missing)}, so nothing can be worked out for its pack".replace("_", " ")
        example = {
            "cells_in_series": "cells_in_series = 5",
            "strings": "strings = 2",
            "cell_resistance": 'cell_resistance = "22 mohm"',
        }
        raise AnalysisError(_fault(settings, setup, None, message, "add " + ", ".join(example[key] for key in missing)))
    temperature = number_of(setup, "temperature")
    charge = number_of(setup, "state_of_charge")
    return Pack(
        cells_in_series=round(series),
        strings=round(strings),
        cell_resistance_ohm=resistance,
        temperature_c=20.0 if temperature is None else temperature,
        state_of_charge=1.0 if charge is None else charge,
        rest_voltage_v=rest_voltage_v,
        rest_voltage_u=rest_u,
        label=setup.id,
    )


def lead_of(
    settings: SeasonSettings, setup: Setup, *, rest_voltage_v: float | None = None, rest_u: float = 0.0
) -> Lead:
    """The mains outlet and lead of a setup; `rest_voltage_v` [V] as recorded before the onset, where it was.

    Raises
    ------
    AnalysisError
        The setup does not state its lead, or no voltage is stated or recorded, or it states what cannot be modelled.
    """
    _check_modelled(settings, setup)
    length, section = number_of(setup, "lead.length"), number_of(setup, "lead.section")
    voltage = rest_voltage_v if rest_voltage_v is not None else number_of(setup, "voltage")
    if length is None or section is None or voltage is None:
        message = "states no voltage or no lead (length and section), so nothing can be worked out for it"
        mend = 'add voltage = "230 V" and lead = { length = "10 m", section = "1.5 mm^2" }'
        raise AnalysisError(_fault(settings, setup, None, message, mend))
    return Lead(
        voltage_v=voltage,
        length_m=length,
        section_m2=section,
        voltage_u=rest_u,
        label=setup.id,
    )
