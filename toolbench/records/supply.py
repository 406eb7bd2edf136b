"""What the supply explains of a comparison: measured and modelled pressure or voltage at the tool, and what is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from toolbench.records.comparison import Estimate, Interval

Drive = Literal["inlet_pressure", "voltage"]
"""What drives the tool: flowing gauge pressure at its inlet [Pa], or voltage at it under load [V]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyFigure:
    """A value with its interval. `modelled` figures come from the model; the others were measured."""

    estimate: Estimate
    interval: Interval
    modelled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLoss:
    """One part of a modelled line: gauge pressure behind it, what it takes [Pa], and its share of the whole loss."""

    label: str
    pressure: float
    loss: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SagTold:
    """A fall of the inlet pressure [Pa] between two times after the onset [s], what can be behind it, and why the rest cannot."""

    begins_s: float
    ends_s: float
    drop: float
    verdict: str
    excluded: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemSupply:
    """The supply of one item while its tool runs; None for what was neither recorded nor can be worked out.

    `taken_modelled` is the flow [m3/s ANR] or, recorded only, the current [A]. `needed` is the flowing
    pressure behind the regulator that the flowing inlet pressure asked for, where the protocol holds it. `remark` says why a figure is missing.
    """

    item: str
    measured: SupplyFigure | None = None
    modelled: SupplyFigure | None = None
    taken: SupplyFigure | None = None
    taken_modelled: SupplyFigure | None = None
    needed: SupplyFigure | None = None
    needed_modelled: SupplyFigure | None = None
    losses: tuple[PartLoss, ...] = ()
    limiting: str = ""
    sags: tuple[SagTold, ...] = ()
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplainedDifference:
    """How much of a difference [%] the drive at the tool explains, and what it leaves.

    `by` is the drive that was compared: as measured, else as modelled. `family_interval` is that of `left` which holds for all
    explained differences of the report at once; it leaves zero where the drive does not explain all.
    """

    item: str
    baseline: str
    measured: SupplyFigure
    explained: SupplyFigure
    left: SupplyFigure
    family_interval: Interval
    by: Literal["measured", "modelled"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedFigure:
    """A figure of a tool, or of an item's line, and where it is from: learned from runs, a prior, or stated.

    `stated` is what the parts of the line as stated give for it, where there is such a figure.
    """

    tool: str
    name: Literal["exponent", "demand", "conductance"]
    estimate: Estimate
    source: Literal["learned", "prior", "stated"]
    runs: int
    note: str = ""
    item: str = ""
    stated: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UntestedItem:
    """An item that a report asks for and that nobody ran: what the model gives for it against an item that was run.

    `percent` of the base's level and `drive` at the tool are modelled; None with a `remark` that says why.
    """

    item: str
    label: str
    baseline: str
    percent: SupplyFigure | None = None
    drive: SupplyFigure | None = None
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyExplained:
    """The supply section of a report. `assumed` lists what the model had to assume of the stated lines."""

    drive: Drive
    items: tuple[ItemSupply, ...]
    differences: tuple[ExplainedDifference, ...] = ()
    untested: tuple[UntestedItem, ...] = ()
    learned: tuple[LearnedFigure, ...] = ()
    assumed: tuple[str, ...] = ()
    confidence: float = 0.95
