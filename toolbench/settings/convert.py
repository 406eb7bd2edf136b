"""The validated tables of bench.toml -> records in SI. What depends on another key (a channel's unit) is read here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from toolbench.quantities.glossary import CHANNELS, channel_quantity
from toolbench.quantities.units import KINDS, STANDARD_ATMOSPHERE_PA, QuantityError, to_si, unit_factor
from toolbench.records.settings import (
    Arm,
    AssumedRepeatability,
    Certificate,
    Channel,
    Correction,
    DialectOverrides,
    Display,
    Episode,
    Hold,
    Logger,
    OnsetRule,
    Protocol,
    Sensor,
    TimeColumn,
)
from toolbench.settings import models
from toolbench.settings.faults import Faults, did_you_mean

Path = tuple[str | int, ...]

_DELIMITERS = {"tab": "\t", "comma": ",", "semicolon": ";", "space": " ", "pipe": "|"}
DIFFERENCES = {"pressure": "pressure_difference", "temperature": "temperature_difference"}


class Reader:
    """Reads quantities whose kind another key decides; notes a fault and gives nan where it cannot."""

    def __init__(self, faults: Faults, ambient_pressure_pa: float = STANDARD_ATMOSPHERE_PA) -> None:
        self.faults = faults
        self.ambient_pressure_pa = ambient_pressure_pa

    def si(self, path: Path, written: str, quantity: str) -> float:
        """A quantity as SI. An empty `quantity` takes any unit, and a plain number as it stands."""
        try:
            if quantity:
                return to_si(written, quantity, ambient_pressure_pa=self.ambient_pressure_pa)
            number, _, unit = written.strip().partition(" ")
            factor = unit_factor(unit) if unit.strip() else None
            return float(number) * factor.scale + factor.offset if factor else float(number)
        except QuantityError as error:
            self.faults.bench(path, str(error))
        except ValueError:
            self.faults.bench(path, f'"{written}" is not a number with a unit')
        return math.nan


def frozen(values: Mapping[str, Any]) -> Mapping[str, Any]:
    return MappingProxyType(dict(values))


def to_logger(id: str, model: models.LoggerModel, sensors: Iterable[str], faults: Faults) -> Logger:
    path: Path = ("loggers", id)
    channels = {name: _channel(name, m, (*path, "channels", name), faults) for name, m in model.channels.items()}
    known = tuple(sensors)
    for name, channel in channels.items():
        if channel.sensor is not None and channel.sensor not in known:
            mend = did_you_mean(channel.sensor, known, none=f"add a table [sensors.{channel.sensor}]")
            faults.bench((*path, "channels", name, "sensor"), f'sensor "{channel.sensor}" is not known', mend)
    return Logger(
        id=id,
        time=_time(model.time, (*path, "time"), faults),
        channels=frozen(channels),
        rig=model.rig,
        filter=model.filter,
        bandwidth_hz=model.bandwidth,
        dialect=_dialect(model, path, faults),
    )


def _dialect(model: models.LoggerModel, path: Path, faults: Faults) -> DialectOverrides:
    delimiter = _DELIMITERS.get(model.delimiter or "", model.delimiter)
    if delimiter is not None and (len(delimiter) != 1 or delimiter in '\r\n".'):
        faults.bench(
            (*path, "delimiter"),
            f"{delimiter!r} is not one sign that can part cells",
            'write ",", ";", "tab" or "space"',
        )
    if model.encoding is not None:
        try:
            b"t".decode(model.encoding, errors="replace")
        except (LookupError, ValueError):  # a ValueError: a codec for something else than texts, such as "idna"
            faults.bench(
                (*path, "encoding"), f'"{model.encoding}" is no encoding', 'write "utf-8", "cp1252" or "utf-16"'
            )
    return DialectOverrides(
        encoding=model.encoding,
        delimiter=delimiter,
        decimal=model.decimal,
        header_line=model.header_line,
        unit_line=model.unit_line,
        skip_lines=tuple(model.skip_lines),
        missing=None if model.missing is None else tuple(str(spelling) for spelling in model.missing),
        group=model.group,
    )


def _channel(name: str, model: models.ChannelModel, path: Path, faults: Faults) -> Channel:
    quantity = channel_quantity(name)
    if model.unit is not None and quantity:
        try:
            unit_factor(model.unit, quantity)
        except QuantityError as error:
            faults.bench((*path, "unit"), str(error))
    arm = None
    if model.arm is not None:
        if name != "force":
            faults.bench((*path, "arm"), f'an arm turns "force" into torque, it has no place on "{name}"')
        arm = Arm(length_m=model.arm.length, standard_uncertainty_m=model.arm.expanded / model.arm.k)
    return Channel(name=name, column=model.column, unit=model.unit, sensor=model.sensor, arm=arm, invert=model.invert)


def _time(model: models.TimeModel, path: Path, faults: Faults) -> TimeColumn:
    if model.column is not None and model.rate is not None:
        faults.bench(path, 'the time has both "column" and "rate"', "keep one of the two")
    if model.unit is not None:
        try:
            unit_factor(model.unit, "time")
        except QuantityError as error:
            faults.bench((*path, "unit"), str(error))
    if model.zone is not None and not _is_zone(model.zone):
        faults.bench((*path, "zone"), f'"{model.zone}" is no time zone', 'write for example "Europe/Berlin" or "UTC"')
    if model.spread and model.rate is not None:
        faults.bench((*path, "spread"), "rows at a rate are spread already", "leave it out")
    column: str | tuple[str, ...] | None = None
    if isinstance(model.column, list):
        if not model.column:
            faults.bench((*path, "column"), "the list of columns is empty", 'write for example ["Date", "Time"]')
        column = model.column[0] if len(model.column) == 1 else tuple(model.column) or None
    else:
        column = model.column
    return TimeColumn(
        column=column,
        unit=model.unit,
        format=model.format,
        zone=model.zone,
        rate_hz=model.rate,
        spread=model.spread,
    )


def _is_zone(name: str) -> bool:
    if name in ("UTC", "Z"):
        return True
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return False
    return True


def to_sensor(id: str, model: models.SensorModel, measures: str, reader: Reader) -> Sensor:
    """A sensor with its certificates. `measures` is the quantity of the channels that name it, empty where none does."""
    path: Path = ("sensors", id)
    quantity = _sensor_quantity(model, measures, path, reader.faults)
    span = tuple(reader.si((*path, "range", i), text, quantity) for i, text in enumerate(model.range or ()))
    if len(span) == 2 and span[0] >= span[1]:
        reader.faults.bench((*path, "range"), "the range ends where it begins or below", "write the lowest value first")
    own = _certificate(id, model, None, quantity, path, reader)
    certificates = [own] if own is not None else []
    days = [each.valid_from for each in model.certificates]
    for i, day in enumerate(days):
        if day in days[:i]:
            reader.faults.bench((*path, "certificates", i, "from"), f"a certificate from {day} stands already")
    for i, each in enumerate(sorted(model.certificates, key=lambda c: c.valid_from)):
        found = _certificate(f"{id}@{each.valid_from}", each, own, quantity, (*path, "certificates", i), reader)
        if found is not None:
            certificates.append(found)
    if any(c.linearity_limit is not None for c in certificates) and len(span) != 2:
        reader.faults.bench(
            (*path, "linearity"), "linearity is a share of the range, and no range is stated", "add range"
        )
    return Sensor(
        id=id, quantity=quantity, range=(span[0], span[1]) if len(span) == 2 else None, certificates=tuple(certificates)
    )


def _sensor_quantity(model: models.SensorModel, measures: str, path: Path, faults: Faults) -> str:
    if model.quantity is not None:
        quantity = channel_quantity(model.quantity) or model.quantity
        if quantity not in KINDS:
            mend = did_you_mean(quantity, ("torque", "force", "pressure", "air_flow", "speed", "voltage", "current"))
            faults.bench((*path, "quantity"), f'"{model.quantity}" is not a quantity', mend)
            return ""
        if measures and KINDS[measures].table != KINDS[quantity].table:
            faults.bench(
                (*path, "quantity"), f"the sensor measures {quantity}, but a channel of {measures} names it",
            )  # fmt: skip
        return quantity
    if measures:
        return measures
    try:
        return unit_factor(model.range[0].strip().partition(" ")[2]).quantity if model.range else ""
    except QuantityError:
        return ""


def _certificate(
    id: str, model: models.CalibrationModel, own: Certificate | None, quantity: str, path: Path, reader: Reader
) -> Certificate | None:
    """One calibration; what it does not state again is taken from the sensor's own keys. None where nothing is stated."""
    stated = (model.scale, model.zero, model.linearity, model.resolution, model.calibrated, model.due, model.points)
    valid_from = model.valid_from if isinstance(model, models.CertificateModel) else None
    if valid_from is None and all(value is None for value in stated):
        return None
    if model.calibrated and model.due and model.due < model.calibrated:
        reader.faults.bench((*path, "due"), f"due {model.due} lies before calibrated {model.calibrated}")
    spread = DIFFERENCES.get(quantity, quantity)
    zero = own.zero if own else None
    if model.zero is not None:
        zero = reader.si((*path, "zero", "expanded"), model.zero.expanded, spread) / model.zero.k
        if zero < 0:
            reader.faults.bench((*path, "zero", "expanded"), f'"{model.zero.expanded}": an uncertainty is not negative')
    resolution = own.resolution if own else None
    if model.resolution is not None:
        resolution = reader.si((*path, "resolution"), model.resolution, spread)
        if resolution < 0:
            reader.faults.bench((*path, "resolution"), f'"{model.resolution}": a resolution is not negative')
    return Certificate(
        id=id,
        valid_from=valid_from,
        calibrated=model.calibrated,
        due=model.due,
        scale=model.scale.expanded / model.scale.k if model.scale else (own.scale if own else None),
        zero=zero,
        zero_per=model.zero.per if model.zero else (own.zero_per if own else "run"),
        linearity_limit=model.linearity.limit if model.linearity else (own.linearity_limit if own else None),
        resolution=resolution,
        points=model.points,
        adjusted=isinstance(model, models.CertificateModel) and model.adjusted,
    )


def to_protocol(id: str, model: models.ProtocolModel, channels: Iterable[str], reader: Reader) -> Protocol:
    path: Path = ("protocols", id)
    known = tuple(dict.fromkeys((*(c for c in CHANNELS if c != "trigger"), *channels)))
    for i, name in enumerate(model.response):
        if name not in known:
            reader.faults.bench((*path, "response", i), f'channel "{name}" is not known', did_you_mean(name, known))
    if not model.response:
        reader.faults.bench((*path, "response"), "names no channel", 'write for example response = "torque"')
    quantity = channel_quantity(model.response[0]) if model.response else ""
    reach = tuple(reader.si((*path, "reach", i), text, quantity) for i, text in enumerate(model.reach))
    return Protocol(
        id=id,
        label=model.label or titled(id),
        response=tuple(model.response),
        measurand=model.measurand,
        duration_s=model.duration,
        marks_s=tuple(model.marks) if model.marks is not None else None,
        window_s=(model.window[0], model.window[1]) if model.window else None,
        reach=reach,
        hold=_hold(model.hold, (*path, "hold"), known, reader),
        rest=_hold(model.rest, (*path, "rest"), known, reader),
        onset=OnsetRule(rule=model.onset.rule, level=model.onset.level),
        envelope=bool(model.envelope),
        blow_s=_blow(model, path, reader.faults),
        direction=model.direction,
        conditioning=model.conditioning,
        min_runs=model.min_runs,
        repeatability=AssumedRepeatability(value=model.repeatability.value, source=model.repeatability.source)
        if model.repeatability
        else None,
        confidence=model.confidence,
    )


def _blow(model: models.ProtocolModel, path: Path, faults: Faults) -> float | None:
    """How long a blow lasts, or, where the envelope's span is stated, the period of the blows: half of the span."""
    if isinstance(model.envelope, bool):
        return model.blow
    if model.blow is not None:
        faults.bench((*path, "envelope"), 'the span of the envelope and "blow" are both stated', "envelope = true")
    return model.envelope / 2


def _hold(model: models.HoldModel | None, path: Path, known: tuple[str, ...], reader: Reader) -> Hold | None:
    if model is None:
        return None
    if model.channel not in known:
        mend = did_you_mean(model.channel, known)
        reader.faults.bench((*path, "channel"), f'channel "{model.channel}" is not known', mend)
        return None
    quantity = channel_quantity(model.channel)
    at = reader.si((*path, "at"), model.at, quantity)
    if model.within.strip().endswith("%"):
        within = reader.si((*path, "within"), model.within, "fraction") * abs(at)
    else:
        within = reader.si((*path, "within"), model.within, DIFFERENCES.get(quantity, quantity))
    if within <= 0:
        reader.faults.bench((*path, "within"), f'"{model.within}": must be greater than zero')
    return Hold(channel=model.channel, at=at, within=within)


def titled(id: str) -> str:
    """An id as a label: ``held-inlet`` gives ``Held inlet``."""
    text = id.replace("-", " ").replace("_", " ")
    return text[:1].upper() + text[1:]


def to_episode(model: models.EpisodeModel, protocols: tuple[str, ...]) -> Episode:
    """An episode; it runs under the only protocol where it names none."""
    named = tuple(model.protocols) or (protocols if len(protocols) == 1 else ())
    return Episode(
        id=model.id,
        title=model.title or model.id,
        question=model.question,
        expected=model.expected,
        tools=tuple(model.tools),
        setups=tuple(model.setups),
        protocols=named,
        baseline=model.baseline,
        baseline_tool=model.baseline_tool,
        compare=model.compare,
        pairs=tuple((pair[0], pair[1]) for pair in model.pairs),
        factor=model.factor,
        equivalent_within=model.equivalent_within,
        disclosure=model.disclosure,
        notes=model.notes,
    )


def to_correction(model: models.CorrectionModel) -> Correction:
    return Correction(date=model.date, note=model.note, runs=tuple(model.runs), tools=tuple(model.tools))


def to_display(written: Mapping[str, str], faults: Faults) -> Display:
    units: dict[str, str] = {}
    for name, unit in written.items():
        if name == "also":
            if unit not in ("US", "SI"):
                faults.bench(("display", "also"), f'"{unit}" is not known here', 'write "US" or "SI"')
            continue
        if name not in KINDS:
            faults.bench(("display", name), f'unknown key "{name}"', did_you_mean(name, (*KINDS, "also")))
            continue
        try:
            unit_factor(unit, name)
            units[name] = unit
        except QuantityError as error:
            faults.bench(("display", name), str(error))
    also = written.get("also", "")
    return Display(units=frozen(units), also="US" if also == "US" else "SI" if also == "SI" else "")
