"""One run, read and reduced: everything a comparison needs, small enough to keep hundreds of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

from toolbench.records.findings import Finding
from toolbench.records.settings import EMPTY, RunEntry

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawRun:
    """A recording in SI units, before reduction.

    `time_s` [s] counts from the first sample and rises strictly; `channels` maps a channel name to values of the same
    length [SI unit of `units`]. Samples that the file lacks are nan, never filled.
    """

    entry: RunEntry
    time_s: Floats
    channels: Mapping[str, Floats]
    units: Mapping[str, str]
    sensors: Mapping[str, str]
    digest: str
    findings: tuple[Finding, ...] = ()
    start: str = ""
    """First stamp as ISO 8601 where the file has absolute time."""
    every: int = 1
    """How many neighbouring samples of a recording too long to be held are averaged to one of these."""
    extremes: Mapping[str, tuple[Floats, Floats]] = field(default_factory=lambda: EMPTY)
    """Where they are averaged: channel to the lowest and the highest sample of each average."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """Where a run starts, in seconds of the recording's own time, with its standard uncertainty and the rule that found it."""

    time_s: float
    standard_uncertainty_s: float
    rule: str
    rest: float
    """Level of the response before the onset [SI]."""
    rest_scatter: float
    """Standard deviation of the response before the onset [SI]."""
    rest_length_s: float
    highest: float
    """Highest value of the response, spikes aside [SI]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """One channel of one run on the common grid. Each array has one value per bucket; `low` and `high` keep the peaks."""

    channel: str
    unit: str
    mean: Floats
    low: Floats | None = None
    high: Floats | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Metric:
    """One number of one run. `at` is seconds for `at_mark`, the level in SI for `time_to`, None elsewhere.

    `onset_uncertainty` is what the onset's standard uncertainty does to this value [unit], `reading` the sensor reading
    [unit] that scale and linearity errors act on (equal to `value` for levels). `value` is nan where the run does not reach it.
    """

    response: str
    metric: str
    at: float | None
    value: float
    unit: str
    onset_uncertainty: float = 0.0
    window_uncertainty: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Supply conditions of one run: at rest, flowing, droop, and whether `hold` and `rest` were met (None: not recorded or not asked)."""

    rest_pressure: float | None = None
    flowing_pressure: float | None = None
    droop: float | None = None
    supply_pressure: float | None = None
    air_flow: float | None = None
    voltage_rest: float | None = None
    voltage_flowing: float | None = None
    hold_met: bool | None = None
    hold_value: float | None = None
    rest_met: bool | None = None
    rest_value: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkPart:
    """A mean of the check standard that a link rests on, and the share `relative` of a linked value that its standard uncertainty moves, signed."""

    source: str
    label: str
    relative: float
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """What brought the response of a run from its epoch of the rig to another: it was multiplied by `factor`.

    Linked values carry the scale of that other epoch, so the sensor that the check standard was read with there and the day
    of its last run are kept: `sensor` is empty where none is stated.
    """

    factor: float
    parts: tuple[LinkPart, ...]
    sensor: str = ""
    day: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """A reduced run: its metrics, its traces on the grid `grid_s` (bucket centres after the onset [s]) and what was noticed."""

    entry: RunEntry
    digest: str
    onset: Onset
    sample_interval_s: float
    available_s: float
    """Seconds recorded after the onset."""
    grid_s: Floats
    traces: Mapping[str, Trace]
    metrics: tuple[Metric, ...]
    conditions: Conditions = Conditions()
    sensors: Mapping[str, str] = field(default_factory=lambda: EMPTY)
    rig: str = ""
    filter: str = ""
    findings: tuple[Finding, ...] = ()
    links: Mapping[str, Link] = field(default_factory=lambda: EMPTY)
    """Response to the link that was applied to it, where the run was made in another epoch of the rig."""

    @property
    def id(self) -> str:
        return self.entry.run

    def metric(self, response: str, metric: str, at: float | None = None) -> Metric | None:
        """The one metric of that name, or None where this run has none."""
        for found in self.metrics:
            if (found.response, found.metric, found.at) == (response, metric, at):
                return found
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeBase:
    """What was found about a file's time: source column or rate, unit, interval [s], gaps, repeats and steps back (with lines)."""

    source: str
    unit: str
    median_interval_s: float
    rate_hz: float
    gaps: tuple[tuple[int, float], ...] = ()
    """(line, length in s) of every gap of more than 1.5 intervals."""
    repeats: tuple[int, ...] = ()
    steps_back: tuple[int, ...] = ()
    start: str = ""
    """First stamp as ISO 8601 where the file has absolute time."""
    columns: tuple[str, ...] = ()
    """Names of the columns that hold the time, as written; empty where rows are counted."""
    format: str = ""
    zone: str = ""
    spread: bool = False
    """Whether rows with equal stamps were spread evenly, as asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How a logger file is written. Lines count from 1."""

    encoding: str
    delimiter: str
    decimal: str
    header_line: int | None
    unit_line: int | None
    first_data_line: int
    columns: tuple[str, ...]
    """Names as in the file."""
    preamble: tuple[str, ...] = ()
    extra: Mapping[str, Any] = field(default_factory=lambda: EMPTY)
    container: str = ""
    """What a file is that is no text: "Parquet", "TDMS". It has no encoding, delimiter and decimal mark; its rows count from 1."""
