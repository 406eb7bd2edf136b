"""The outcome of a comparison: estimates with their components, rows of levels and differences, bands, spans."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, Run
from toolbench.records.settings import EMPTY, Episode, Protocol

if TYPE_CHECKING:
    from toolbench.records.supply import SupplyExplained

Verdict = Literal["higher", "lower", "not resolved", "not assessed"]
Axis = Literal["setups", "tools", "pairs"]

POOLED = "repeatability pooled from the bench's other runs"
"""Label of the component that judges a single run by repeats elsewhere."""

TOLD = ("at_mark", "sustained", "peak")
"""Rows of the response that are told as one story hold together; all other rows hold together among themselves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One source of uncertainty in one value.

    `contribution` is sensitivity times standard uncertainty, signed, in the value's unit: the same `source` in two values is
    the same error, so contributions of one source add with their signs. `contained` rows are information: the scatter of
    repeats already holds them, so they are not added again.

    `value` and `standard_uncertainty` are those of the input quantity, in `unit` ("1" for a ratio, "" for the unit of the
    value that it contributes to); nan where the input is known by its contribution alone.
    """

    source: str
    label: str
    contribution: float
    degrees_of_freedom: float = math.inf
    evaluation: Literal["A", "B"] = "B"
    distribution: str = "normal"
    contained: bool = False
    value: float = math.nan
    standard_uncertainty: float = math.nan
    unit: str = ""

    @property
    def sensitivity(self) -> float:
        """What the value changes by per unit of the input (GUM 5.1.3); zero where a shared error cancels."""
        u = self.standard_uncertainty
        if not math.isfinite(u) or u == 0:
            return math.nan
        return self.contribution / u


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value with the components of its uncertainty (GUM 5.1). Combine estimates only through metrology.propagation."""

    value: float
    unit: str
    components: tuple[Component, ...] = ()
    degrees_of_freedom_override: float | None = None

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty [unit]; nan where nothing is known to judge by."""
        used = [c.contribution for c in self.components if not c.contained]
        return math.hypot(*used) if used else math.nan

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom by Welch-Satterthwaite (GUM G.4), inf where every component is known exactly."""
        if self.degrees_of_freedom_override is not None:
            return self.degrees_of_freedom_override
        u = self.standard_uncertainty
        # As shares of the whole: a fourth power of the values themselves can pass what a float holds.
        share = sum(
            (c.contribution / u) ** 4 / c.degrees_of_freedom
            for c in self.components
            if u > 0 and not c.contained and math.isfinite(c.degrees_of_freedom)
        )
        return 1.0 / share if share > 0 else math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    lower: float
    upper: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One row of levels.csv."""

    item: str
    response: str
    metric: str
    at: float | None
    estimate: Estimate
    expanded_uncertainty: float
    coverage_factor: float
    n: int
    repeatability: float
    sittings: int = 0
    """How many sittings the uncertainty of the mean rests on; 0 where it rests on runs or complete blocks."""
    intermediate_precision: float = math.nan
    """One standard deviation of a run in a sitting of its own, where sittings differ; `repeatability` is then within one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One row of differences.csv: `item` against `baseline`. Percent of the baseline's level; `difference` in the level's unit."""

    item: str
    baseline: str
    response: str
    metric: str
    at: float | None
    percent: Estimate
    expanded_uncertainty: float
    coverage_factor: float
    interval: Interval
    verdict: Verdict
    family_interval: Interval
    family_verdict: Verdict
    at_least: float | None
    n: int
    n_baseline: int
    within_limit: Literal["yes", "no", "undecided", ""]
    smallest_resolvable: float
    difference: Estimate
    difference_interval: Interval
    blocks: int = 0
    """Number of blocks the comparison was made in; 0 where runs were compared as independent."""
    within: tuple[Estimate, Estimate] | None = None
    """Item and base over these blocks alone, where the blocks do not hold every run of the report in equal numbers."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """Mean curve of one item on the grid, with bands in the response's unit, and its percent difference from the baseline (None for the baseline)."""

    item: str
    response: str
    unit: str
    time_s: Floats
    n: int
    mean: Floats
    pointwise: tuple[Floats, Floats]
    simultaneous: tuple[Floats, Floats]
    percent: Floats | None = None
    percent_pointwise: tuple[Floats, Floats] | None = None
    percent_simultaneous: tuple[Floats, Floats] | None = None
    baseline: str = ""
    correlation_s: float = math.nan
    """Correlation length of the scatter that judges the percent difference: the lag at which it falls to exp(-1/2)."""
    scatter_ratio: float = math.nan
    """Larger standard deviation of one run over the smaller, item and base on one scale; nan within blocks."""
    coverage: float | None = None
    """Outside what simultaneous bands were chosen for: how often, at nominal 95 %, simulation of the like found them to hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of time in which the simultaneous band of a percent difference leaves zero, and how large it was there.

    Pieces of one direction with gaps shorter than the correlation length of the scatter are one stretch: `share` is how
    much of it the band leaves zero in. The difference has its direction at `from_s` and `to_s`; where it begins and ends
    is known less well: no farther out than `outer_from_s` and `outer_to_s`, where the band begins to allow it, and by the
    means alone at `mean_from_s` and `mean_to_s`; infinite where what is judged begins or ends before that.
    """

    item: str
    baseline: str
    response: str
    from_s: float
    to_s: float
    smallest_percent: float
    largest_percent: float
    share: float = 1.0
    mean_from_s: float = math.nan
    mean_to_s: float = math.nan
    outer_from_s: float = math.nan
    outer_to_s: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedRow:
    """A percent difference by Monte Carlo beside the linear one [%]; `t_symmetric` only where it was asked for.

    `linear_half_width` is for normal inputs, as they are drawn; `printed` is the interval of the ratio with its degrees of
    freedom, nan where the base is not well away from zero: the draws then have no mean to settle at, only quantiles.
    """

    item: str
    baseline: str
    response: str
    metric: str
    at: float | None
    linear_percent: float
    linear_half_width: float
    printed: Interval
    mean: float
    standard_deviation: float
    symmetric: Interval
    shortest: Interval
    t_symmetric: Interval | None = None

    @property
    def half_width(self) -> float:
        """Half of the probabilistically symmetric interval [%]."""
        return 0.5 * (self.symmetric.upper - self.symmetric.lower)

    @property
    def excess(self) -> float:
        """By which share the Monte Carlo half width exceeds the linear one; negative where it is narrower."""
        return self.half_width / self.linear_half_width - 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MonteCarlo:
    """The Monte Carlo check of a report (JCGM 101): its rows, and how they were drawn."""

    rows: tuple[CheckedRow, ...]
    draws: int
    seed: int
    confidence: float
    notable: float
    """A row is told of where its half width differs from the linear one by more than this share."""

    @property
    def differing(self) -> tuple[CheckedRow, ...]:
        """The rows whose half width differs from the linear one by more than the notable share."""
        return tuple(row for row in self.rows if abs(row.excess) > self.notable)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExcludedRun:
    """A run of `item` excluded by hand for a `reason`; `failure` says why it could not be put back, empty where it was."""

    item: str
    run: str
    reason: str
    failure: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AllRuns:
    """The rows told of the response with the runs in that were excluded by hand: a family of their own.

    `differences` is empty where none of the runs could be put back.
    """

    excluded: tuple[ExcludedRun, ...]
    differences: tuple[Difference, ...]

    @property
    def put_back(self) -> tuple[ExcludedRun, ...]:
        """The excluded runs that take part."""
        return tuple(one for one in self.excluded if not one.failure)

    def beside(self, used: Iterable[Difference]) -> list[tuple[Difference, Difference]]:
        """Each row with all runs beside the same row with the runs used, in the order of the rows used."""
        known = {(one.item, one.baseline, one.response, one.metric, one.at): one for one in self.differences}
        both = [(known.get((row.item, row.baseline, row.response, row.metric, row.at)), row) for row in used]
        return [(whole, row) for whole, row in both if whole is not None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing compared: a setup, a tool, or a pair `tool/setup`. `runs` used, `excluded` left out with reasons."""

    id: str
    label: str
    tool: str
    setup: str
    runs: tuple[str, ...]
    excluded: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ComparisonRecord:
    """Everything one report is made from. The baseline is `baseline`, the first of `items`."""

    axis: Axis
    subject: str
    episode: Episode
    protocol: Protocol
    items: tuple[Item, ...]
    baseline: str
    runs: tuple[Run, ...]
    levels: tuple[Level, ...]
    differences: tuple[Difference, ...]
    bands: tuple[Band, ...]
    spans: tuple[Span, ...]
    findings: tuple[Finding, ...]
    duration_s: float
    marks_s: tuple[float, ...]
    window_s: tuple[float, float]
    confidence: float
    family_size: int
    family_level: float
    """Per-row two-sided error probability that holds the family at 1 - confidence."""
    supporting_size: int = 0
    """Rows that explain the response (times, slope, supply): a family of their own."""
    supporting_level: float = math.nan
    digests: Mapping[str, str] = field(default_factory=lambda: EMPTY)
    compensated: bool = False
    """The protocol holds the flowing inlet pressure, so the line's steady loss is compensated."""
    monte_carlo: MonteCarlo | None = None
    """The Monte Carlo check, where it was asked for."""
    all_runs: AllRuns | None = None
    """The result with the runs excluded by hand put back, where there are any."""
    supply: SupplyExplained | None = None
    """What the supply explains of it, where a supply was recorded or stated."""

    def is_told(self, row: Level | Difference) -> bool:
        """Whether a row belongs to the family of the response, else to that of the supporting rows."""
        return row.metric in TOLD and row.response in self.protocol.response

    @property
    def name(self) -> str:
        """Folder name below the episode."""
        kind = {"setups": f"tool-{self.subject}", "tools": f"setup-{self.subject}", "pairs": "pairs"}[self.axis]
        return f"{kind}--{self.protocol.id}"

    @property
    def path(self) -> str:
        """Path below OUT."""
        return f"{self.episode.id}/{self.name}"
