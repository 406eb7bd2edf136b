"""What a person wrote in bench.toml, tools.csv and runs.csv, converted to SI once.

Units: torque N*m, force N, pressure Pa (gauge unless a name says `abs`), flow m3/s of ANR free air, length m, mass kg,
time s, temperature K (differences) or degC (absolute, as written in `*_degc` fields), voltage V, current A.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal

from toolbench.errors import Fault
from toolbench.records.calibration import CalibrationLine

if TYPE_CHECKING:
    from toolbench.records.scorecard import Scorecard

EMPTY: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Arm:
    """Lever arm that turns a force channel into torque."""

    length_m: float
    standard_uncertainty_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One column of a logger file and what it measures."""

    name: str
    column: str
    unit: str | None = None
    sensor: str | None = None
    arm: Arm | None = None
    invert: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeColumn:
    """How the time base of a logger file is written; exactly one of `column` and `rate_hz` is set, or neither (find it).

    A clock in several columns names them in the order date, clock, part of a second, or year, month, day, hour, minute, second.
    With `spread`, rows with equal stamps of a coarse clock are spread evenly up to the next stamp.
    """

    column: str | tuple[str, ...] | None = None
    unit: str | None = None
    format: str | None = None
    zone: str | None = None
    rate_hz: float | None = None
    spread: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DialectOverrides:
    """What the user states about a file's dialect; `None` means: find it. Lines count from 1."""

    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    header_line: int | None = None
    unit_line: int | None = None
    skip_lines: tuple[int, ...] = ()
    missing: tuple[str, ...] | None = None
    """Cells that mean "no value"; None finds the known spellings, an empty tuple takes every number as a value."""
    group: str | None = None
    """The group that is meant in a file that holds several."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Logger:
    """One data logger: time base, channels, rig and filter (runs that differ in rig or filter are not compared)."""

    id: str
    time: TimeColumn
    channels: Mapping[str, Channel] = field(default_factory=lambda: EMPTY)
    rig: str = ""
    filter: str = ""
    bandwidth_hz: float | None = None
    dialect: DialectOverrides = DialectOverrides()


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """One calibration of a sensor, in force from `valid_from` (None: from the beginning).

    `scale` is a relative standard uncertainty, `zero` a standard uncertainty in the sensor's SI unit,
    `linearity_limit` a fraction of the range (rectangular half-width), `resolution` in the SI unit.
    """

    id: str
    valid_from: date | None = None
    calibrated: date | None = None
    due: date | None = None
    scale: float | None = None
    zero: float | None = None
    zero_per: Literal["run", "season"] = "run"
    linearity_limit: float | None = None
    resolution: float | None = None
    points: str | None = None
    line: CalibrationLine | None = None
    """The line through the points: readings are corrected by it."""
    adjusted: bool = False
    """The sensor was adjusted at this calibration, so its drift since the one before is not known from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A sensor with its range (SI) and its certificates, oldest first."""

    id: str
    quantity: str
    range: tuple[float, float] | None = None
    certificates: tuple[Certificate, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A channel that is to stay within `within` of `at` (SI)."""

    channel: str
    at: float
    within: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OnsetRule:
    """How the onset is found. `level` is a share of the highest value over rest, extrapolated back to rest."""

    rule: Literal["level", "scatter", "extrapolate", "trigger"] = "level"
    level: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class AssumedRepeatability:
    """A relative standard deviation stated for single runs, and where it comes from."""

    value: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Protocol:
    """How a test is run and what is taken from it. Times in s after the onset; `None` means the documented default."""

    id: str
    label: str
    response: tuple[str, ...] = ("torque",)
    measurand: str = ""
    duration_s: float | None = None
    marks_s: tuple[float, ...] | None = None
    window_s: tuple[float, float] | None = None
    reach: tuple[float, ...] = ()
    hold: Hold | None = None
    rest: Hold | None = None
    onset: OnsetRule = OnsetRule()
    envelope: bool = False
    blow_s: float | None = None
    direction: Literal["tightening", "loosening"] = "tightening"
    conditioning: int = 0
    min_runs: int = 3
    repeatability: AssumedRepeatability | None = None
    confidence: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePart:
    """One part of an air line, from regulator to tool. Hose: bore, length, ...; coupler: C, b; fitting: flow coefficient."""

    part: Literal["hose", "coupler", "fitting"]
    name: str = ""
    bore_m: float | None = None
    length_m: float | None = None
    roughness_m: float | None = None
    coil_diameter_m: float | None = None
    material: str = ""
    rated_pressure_pa: float | None = None
    sonic_conductance: float | None = None
    """m3/(s*Pa) ANR"""
    critical_pressure_ratio: float | None = None
    flow_coefficient: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """A supply setup. `facts` holds every stated fact as {dotted key: (SI value or text, SI unit or "")}, for comparison part by part."""

    id: str
    label: str
    supply: Literal["air", "battery", "mains", ""] = ""
    line: tuple[LinePart, ...] = ()
    facts: Mapping[str, tuple[float | str, str]] = field(default_factory=lambda: EMPTY)
    price: float | None = None
    """What the setup costs, in `price_currency`; it is no fact that setups are told apart by."""
    price_currency: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """A question put to the bench: which tools, on which setups, under which protocols."""

    id: str
    title: str
    question: str = ""
    expected: str = ""
    tools: tuple[str, ...] = ()
    setups: tuple[str, ...] = ()
    protocols: tuple[str, ...] = ()
    baseline: str | None = None
    baseline_tool: str | None = None
    compare: Literal["baseline", "neighbours", "all"] = "baseline"
    pairs: tuple[tuple[str, str], ...] = ()
    factor: str = ""
    equivalent_within: float | None = None
    disclosure: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """One tool under test (one row of tools.csv); columns we do not know are carried in `extra` as written."""

    id: str
    name: str
    family: str = ""
    introduced: str = ""
    supply: str = ""
    drive_m: float | None = None
    length_m: float | None = None
    mass_kg: float | None = None
    price: float | None = None
    price_currency: str = ""
    price_date: str = ""
    price_source: str = ""
    claimed_torque: float | None = None
    claim_kind: str = ""
    claim_source: str = ""
    claim_pressure_pa: float | None = None
    """Flowing inlet pressure that the claim is made for, gauge; None where the claim names none."""
    specimen: str = ""
    rated_pressure_pa: float | None = None
    air_consumption_m3_s: float | None = None
    obtained: str = ""
    obtained_from: str = ""
    returned: str = ""
    modified: str = ""
    role: str = ""
    status: str = ""
    note: str = ""
    extra: Mapping[str, str] = field(default_factory=lambda: EMPTY)
    line: int | None = field(default=None, compare=False)
    """Its line in tools.csv."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEntry:
    """One recording: which file, which tool on which setup under which protocol. `line` is its line in runs.csv, None if found by pattern."""

    run: str
    file: str
    tool: str
    setup: str
    protocol: str
    logger: str
    block: str = ""
    order: float | None = None
    started: datetime | None = None
    ambient_temperature_degc: float | None = None
    charge: float | None = None
    operator: str = ""
    excluded: bool = False
    reason: str = ""
    note: str = ""
    line: int | None = None
    extra: Mapping[str, str] = field(default_factory=lambda: EMPTY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """The reason a correction notice gives."""

    date: date
    note: str
    runs: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LogbookEntry:
    """One line of the bench's log: a change starts a new epoch of the rig."""

    date: date
    changed: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """Unit to print per quantity (`torque`, `pressure`, `length`, ...), and a second unit system beside it."""

    units: Mapping[str, str] = field(default_factory=lambda: EMPTY)
    also: Literal["US", "SI", ""] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonSettings:
    """Everything the three hand-written files of a season say, in SI, cross-checked.

    `folder` is where the season lies; it never enters a result. `digests` are sha256 of the settings files, keyed by relative path.
    """

    folder: Path
    name: str = ""
    location: str = ""
    ambient_temperature_degc: float | None = None
    ambient_pressure_pa_abs: float | None = None
    in_control_until: date | None = None
    """Day until which the check standard was judged in control: its later blocks are judged by those up to then."""
    display: Display = Display()
    loggers: Mapping[str, Logger] = field(default_factory=lambda: EMPTY)
    sensors: Mapping[str, Sensor] = field(default_factory=lambda: EMPTY)
    protocols: Mapping[str, Protocol] = field(default_factory=lambda: EMPTY)
    setups: Mapping[str, Setup] = field(default_factory=lambda: EMPTY)
    episodes: Mapping[str, Episode] = field(default_factory=lambda: EMPTY)
    tools: Mapping[str, Tool] = field(default_factory=lambda: EMPTY)
    runs: tuple[RunEntry, ...] = ()
    corrections: tuple[Correction, ...] = ()
    logbook: tuple[LogbookEntry, ...] = ()
    scorecard: Scorecard | None = None
    digests: Mapping[str, str] = field(default_factory=lambda: EMPTY)
    set_aside: tuple[Fault, ...] = ()
    """Faults of other episodes than the one asked for; those episodes are left out."""
    lines: Mapping[str, int] = field(default_factory=lambda: EMPTY)
    """Line in bench.toml of every dotted key, e.g. "episodes.far-end.setups"; lets a later check say where."""
