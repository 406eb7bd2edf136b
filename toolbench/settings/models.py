"""What may stand in bench.toml, key by key. Quantities are SI as soon as a model holds them; unknown keys are refused."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from toolbench.quantities.units import KINDS, STANDARD_ATMOSPHERE_PA, QuantityError, to_si, unit_factor
from toolbench.records.scorecard import ANY_SUPPLY

SHORTEST_ENVELOPE_S = 0.03
"""Two periods of blows twice as fast as those of a small tool."""

ABSOLUTE_ZERO_DEGC = -273.15
BELOW_ZERO_K = "lies below absolute zero, \u2212273.15 °C"

_BARE = ("fraction", "flow_coefficient")


def _written(quantity: str) -> BeforeValidator:
    """A number with its unit, in quotes; becomes SI."""

    def read(value: Any, info: ValidationInfo) -> float:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise ValueError(f'a quantity is written with its unit, in quotes: "{KINDS[quantity].example}"')
        ambient = (info.context or {}).get("ambient_pressure_pa", STANDARD_ATMOSPHERE_PA)
        return to_si(str(value), quantity, ambient_pressure_pa=ambient)

    return BeforeValidator(read, json_schema_input_type=str | float if quantity in _BARE else str)


def _check(test: Callable[[Any], bool], sentence: str) -> AfterValidator:
    def check(value: Any) -> Any:
        if not test(value):
            raise ValueError(sentence)
        return value

    return AfterValidator(check)


def _short(key: str, model: Any) -> BeforeValidator:
    """A plain text where a table may stand: the table with only this key."""
    return BeforeValidator(
        lambda value: {key: value} if isinstance(value, str) else value, json_schema_input_type=str | model
    )


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


def _day(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError:
            raise ValueError("is no date: write it as 2026-05-31") from None
    return value


def _envelope(value: Any) -> Any:
    """True, false, "off", or the time that the envelope spans."""
    if value == "off":
        return False
    if isinstance(value, bool):
        return value
    span = to_si(str(value), "time")
    if span < SHORTEST_ENVELOPE_S:
        raise ValueError("an envelope spans at least two blow periods: 70 to 130 ms at 30 to 15 blows a second")
    return span


def _unit(value: str) -> str:
    unit_factor(value)
    return value


def _price(value: Any) -> tuple[float, str]:
    """An amount with its currency, such as "89 EUR"."""
    amount, _, currency = str(value).strip().partition(" ")
    try:
        number = float(amount)
    except ValueError:
        number = math.nan
    if not (0 <= number < math.inf and re.fullmatch("[A-Za-z]{3}", currency.strip())):
        raise ValueError('a price is an amount and a currency of three letters, in quotes: "89 EUR"')
    return number, currency.strip().upper()


_positive = _check(lambda v: v > 0, "must be greater than zero")
_not_negative = _check(lambda v: v >= 0, "must not be negative")
_uncertainty = _check(lambda v: v >= 0, "an uncertainty is not negative")
_inside_unit = _check(lambda v: 0 < v < 1, 'must lie between 0 and 100 %, for example "95 %"')

Seconds = Annotated[float, _written("time")]
Length = Annotated[float, _written("length"), _not_negative]
Bore = Annotated[float, _written("length"), _positive]
Pressure = Annotated[float, _written("pressure")]
PositivePressure = Annotated[Pressure, _positive]
Temperature = Annotated[
    float,
    _written("temperature"),
    _check(lambda v: v >= ABSOLUTE_ZERO_DEGC, BELOW_ZERO_K),
]
Fraction = Annotated[float, _written("fraction")]
Share = Annotated[float, _written("fraction"), _inside_unit]
PositiveFraction = Annotated[float, _written("fraction"), _positive]
Charge = Annotated[float, _written("fraction"), _check(lambda v: 0 <= v <= 1, "must lie in 0 to 100 %")]
Factor = Annotated[float, _check(lambda v: 0 < v < math.inf, "a coverage factor is positive")]
Count = Annotated[int, _check(lambda v: v >= 1, "must be 1 or more")]
Line = Annotated[int, _check(lambda v: v >= 1, "lines are counted from 1")]
Day = Annotated[date, BeforeValidator(_day)]
Price = Annotated[tuple[float, str], BeforeValidator(_price, json_schema_input_type=str)]
BySupply = Annotated[
    dict[str, str],
    BeforeValidator(
        lambda value: {ANY_SUPPLY: value} if isinstance(value, str) else value,
        json_schema_input_type=str | dict[str, str],
    ),
]
Texts = Annotated[list[str], BeforeValidator(_listed, json_schema_input_type=str | list[str])]


class Model(BaseModel):
    """Base: nothing but the named keys, no silent conversion."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class BenchModel(Model):
    name: str = ""
    location: str = ""
    ambient_temperature: Temperature | None = None
    ambient_pressure: Annotated[float, _written("absolute_pressure"), _positive] | None = None
    log: str | None = None
    in_control_until: Day | None = None


class TimeModel(Model):
    column: str | list[str] | None = None
    unit: str | None = None
    format: str | None = None
    zone: str | None = None
    rate: Annotated[float, _written("frequency"), _positive] | None = None
    spread: bool = False


class ArmModel(Model):
    length: Bore
    expanded: Annotated[float, _written("length"), _uncertainty] = 0.0
    k: Factor = 2.0


class ChannelModel(Model):
    column: str
    unit: Annotated[str, AfterValidator(_unit)] | None = None
    sensor: str | None = None
    arm: ArmModel | None = None
    invert: bool = False


class LoggerModel(Model):
    time: Annotated[TimeModel, _short("column", TimeModel)] = TimeModel()
    channels: dict[str, Annotated[ChannelModel, _short("column", ChannelModel)]] = Field(default_factory=dict)
    rig: str = ""
    filter: str = ""
    bandwidth: Annotated[float, _written("frequency"), _positive] | None = None
    encoding: str | None = None
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    header_line: Line | None = None
    unit_line: Line | None = None
    skip_lines: list[Line] = Field(default_factory=list)
    missing: list[str | int | float] | None = None
    group: str | None = None


class ScaleModel(Model):
    expanded: Annotated[float, _written("fraction"), _uncertainty]
    k: Factor


class ZeroModel(Model):
    expanded: str
    k: Factor
    per: Literal["run", "season"] = "run"


class LinearityModel(Model):
    limit: Annotated[float, _written("fraction"), _uncertainty]


class CalibrationModel(Model):
    """The keys that one calibration of a sensor has."""

    scale: ScaleModel | None = None
    zero: ZeroModel | None = None
    linearity: LinearityModel | None = None
    resolution: str | None = None
    calibrated: Day | None = None
    due: Day | None = None
    points: str | None = None


class CertificateModel(CalibrationModel):
    valid_from: Day = Field(alias="from")
    adjusted: bool = False


class SensorModel(CalibrationModel):
    quantity: str | None = None
    range: Annotated[list[str], _check(lambda v: len(v) == 2, "is two values, the lowest and the highest")] | None = (
        None
    )
    certificates: list[CertificateModel] = Field(default_factory=list)


class HoldModel(Model):
    channel: str
    at: str
    within: str


class OnsetModel(Model):
    rule: Literal["level", "scatter", "extrapolate", "trigger"] = "level"
    level: Share = 0.1


class RepeatabilityModel(Model):
    value: PositiveFraction
    source: str


class ProtocolModel(Model):
    label: str | None = None
    response: Texts = Field(default_factory=lambda: ["torque"])
    measurand: str = ""
    duration: Annotated[Seconds, _positive] | None = None
    marks: list[Seconds] | None = None
    window: Annotated[list[Seconds], _check(lambda v: len(v) == 2, "is two times, from and to")] | None = None
    reach: Texts = Field(default_factory=list)
    hold: HoldModel | None = None
    rest: HoldModel | None = None
    onset: OnsetModel = OnsetModel()
    envelope: Annotated[bool | float, BeforeValidator(_envelope, json_schema_input_type=bool | str)] = False
    blow: Annotated[Seconds, _positive] | None = None
    direction: Literal["tightening", "loosening"] = "tightening"
    conditioning: Annotated[int, _not_negative] = 0
    min_runs: Count = 3
    repeatability: RepeatabilityModel | None = None
    confidence: Share = 0.95


class RegulatorModel(Model):
    set: PositivePressure
    droop: Annotated[float, _written("droop_rate"), _not_negative] | None = None


class ReceiverModel(Model):
    volume: Annotated[float, _written("volume"), _positive] | None = None
    free_air: Annotated[float, _written("air_flow"), _positive] | None = None
    cut_in: PositivePressure | None = None
    cut_out: PositivePressure | None = None


class LinePartModel(Model):
    part: Literal["hose", "coupler", "fitting"]
    name: str = ""
    bore: Bore | None = None
    length: Length | None = None
    roughness: Length | None = None
    coil_diameter: Bore | None = None
    material: str = ""
    rated_pressure: PositivePressure | None = None
    sonic_conductance: Annotated[float, _written("sonic_conductance"), _positive] | None = None
    critical_pressure_ratio: (
        Annotated[float, _written("fraction"), _check(lambda v: 0 <= v < 1, "must lie in 0 to 1")] | None
    ) = None
    flow_coefficient: Annotated[float, _written("flow_coefficient"), _positive] | None = None


class LeadModel(Model):
    length: Length
    section: Annotated[float, _written("area"), _positive] | None = None


class SetupModel(Model):
    label: str | None = None
    supply: Literal["air", "battery", "mains"] | None = None
    regulator: Annotated[RegulatorModel, _short("set", RegulatorModel)] | None = None
    receiver: ReceiverModel | None = None
    line: list[LinePartModel] = Field(default_factory=list)
    nominal_voltage: Annotated[float, _written("voltage"), _positive] | None = None
    cells_in_series: Count | None = None
    strings: Count | None = None
    capacity: Annotated[float, _written("charge"), _positive] | None = None
    cell_resistance: Annotated[float, _written("resistance"), _not_negative] | None = None
    temperature: Temperature | None = None
    state_of_charge: Charge | None = None
    price: Price | None = None
    voltage: Annotated[float, _written("voltage"), _positive] | None = None
    lead: LeadModel | None = None


class EpisodeModel(Model):
    id: str
    title: str | None = None
    question: str = ""
    expected: str = ""
    tools: Texts = Field(default_factory=list)
    setups: Texts = Field(default_factory=list)
    protocols: Texts = Field(default_factory=list)
    baseline: str | None = None
    baseline_tool: str | None = None
    compare: Literal["baseline", "neighbours", "all"] = "baseline"
    pairs: list[Annotated[list[str], _check(lambda v: len(v) == 2, 'is a pair: ["tool", "setup"]')]] = Field(
        default_factory=list
    )
    factor: str = ""
    equivalent_within: PositiveFraction | None = None
    disclosure: str = ""
    notes: str = ""


class CorrectionModel(Model):
    date: Day
    note: str
    runs: Texts = Field(default_factory=list)
    tools: Texts = Field(default_factory=list)


class CriterionModel(Model):
    id: str
    label: str | None = None
    weight: PositiveFraction
    protocol: BySupply
    metric: str
    at: str | None = None
    per: str | None = None
    worst_at: str | float
    best_at: str | float


class ScorecardModel(Model):
    title: str = ""
    setups: dict[str, str] = Field(default_factory=dict)
    show: Count | None = None
    retest: Literal["replace", "pool"] = "replace"
    criteria: list[CriterionModel] = Field(default_factory=list)


class DocumentModel(Model):
    """The whole of bench.toml."""

    format: int = 1
    recordings: str | None = None
    bench: BenchModel = BenchModel()
    display: dict[str, str] = Field(default_factory=dict)
    loggers: dict[str, LoggerModel] = Field(default_factory=dict)
    sensors: dict[str, SensorModel] = Field(default_factory=dict)
    protocols: dict[str, ProtocolModel] = Field(default_factory=dict)
    setups: dict[str, SetupModel] = Field(default_factory=dict)
    episodes: list[EpisodeModel] = Field(default_factory=list)
    corrections: list[CorrectionModel] = Field(default_factory=list)
    scorecard: ScorecardModel | None = None


__all__ = ["DocumentModel", "Model", "QuantityError"]
