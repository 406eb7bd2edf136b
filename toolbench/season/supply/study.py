"""What is known of one tool on one supply, and what another supply would give: the value behind the question.

SI; pressures are gauge, but for the model's own values (`point`, `advice`), which are absolute as everywhere in that room.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from toolbench.errors import Fault
from toolbench.records.runs import Floats
from toolbench.records.settings import SeasonSettings, Setup, Tool
from toolbench.records.supply import Drive, LearnedFigure, PartLoss, SupplyFigure
from toolbench.supply.advice import Advice
from toolbench.supply.line import OperatingPoint
from toolbench.supply.longest import LongestHose


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked for; None where it stays as it is. `want` and `loss_percent` ask for advice, the others for another supply."""

    length_m: float | None = None
    bore_m: float | None = None
    pressure_pa: float | None = None
    want_pa: float | None = None
    loss_percent: float | None = None

    @property
    def is_other(self) -> bool:
        """Whether another supply than the tested one is asked for."""
        return any(value is not None for value in (self.length_m, self.bore_m, self.pressure_pa))


@dataclass(frozen=True, slots=True, kw_only=True)
class TestedSetup:
    """One setup that the tool was run on, as measured: means over the window of the sustained mean.

    `held` says that its protocol holds the inlet pressure by the regulator, so that the stated setting was not the one used.
    """

    setup: str
    label: str
    protocol: str
    runs: tuple[str, ...]
    held: bool
    drive: SupplyFigure | None = None
    taken: SupplyFigure | None = None
    response: SupplyFigure | None = None
    rest: float | None = None
    """Mean of the drive before the onset [SI]."""
    ends_s: float = 0.0
    """When its runs end, after the onset."""
    epoch: str = ""
    """The rig's epoch that its runs are of, "since 2026-03-02", where the tool's earlier runs on it lie in another one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineState:
    """One air line with the tool running at its end, modelled.

    `inlet` and `flow` start from the measured pressure of the tested line where there is one (`anchored`), `inlet_alone` and
    `flow_alone` from the model.
    """

    setup: Setup
    point: OperatingPoint
    losses: tuple[PartLoss, ...]
    limiting: str
    choked: tuple[str, ...]
    nearest_choking: tuple[str, float]
    """The part that comes nearest to choking, and how far it is from there as a share of what it passes."""
    inlet: SupplyFigure
    inlet_alone: SupplyFigure
    flow: SupplyFigure
    flow_alone: SupplyFigure
    anchored: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A run behind the receiver, modelled: from a receiver at `start` [Pa], with air that keeps its temperature and air that exchanges no heat.

    `sag_begins_s` and `end` [Pa at the inlet, after `duration_s`] hold both, in this order; None: no sag within a minute.
    """

    starts: Literal["cut-out", "cut-in"]
    start: float
    sag_begins_s: tuple[float | None, float | None]
    duration_s: float
    end: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A tested setup in the sweep's picture. `alike`: its line differs from the one asked for in nothing but the hose that is swept."""

    tested: TestedSetup
    length_m: float
    bore_m: float
    alike: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sweep:
    """Inlet pressure [Pa] and torque over the length of one hose for some bores, modelled: shape (bores, lengths).

    nan where the line is choked; torque is nan below 3 bar too, and None without a measured level or where all of it is nan.
    """

    lengths_m: Floats
    bores_m: tuple[float, ...]
    inlet_pa: Floats
    response: Floats | None
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AirStudy:
    """The answer for an air line. `refused` says why there is no torque; `offset_pa` is measured less modelled inlet of the tested line."""

    tested: LineState
    asked: LineState | None
    hose: str
    """The hose that length and bore apply to; empty where the line has none."""
    percent: SupplyFigure | None
    response: SupplyFigure | None
    refused: tuple[Fault, ...]
    offset_pa: float
    courses: tuple[Course, ...]
    sweep: Sweep | None
    advice: Advice | None
    longest: tuple[LongestHose, ...]

    @property
    def last(self) -> LineState:
        """The line that the answer is about: the one asked for, else the tested one."""
        return self.asked or self.tested


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherSupply:
    """What another pack or lead would give, modelled at the current of the tested one."""

    setup: Setup
    voltage: SupplyFigure
    sag: SupplyFigure
    percent: SupplyFigure | None
    response: SupplyFigure | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectricStudy:
    """The answer for a pack or a lead: the tested one, the one asked for, and the season's others of its kind."""

    tested: OtherSupply
    asked: OtherSupply | None
    others: tuple[OtherSupply, ...]
    current: SupplyFigure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineStudy:
    """One tool on one supply, as tested and as asked for. Exactly one of `air` and `electric` is there."""

    settings: SeasonSettings
    setup: Setup
    tool: Tool
    asked: Asked
    drive: Drive
    tested: Mapping[str, TestedSetup]
    response: str
    """The channel that the tool is judged by: torque."""
    learned: tuple[LearnedFigure, ...]
    assumed: tuple[str, ...]
    remarks: tuple[str, ...]
    effective: bool
    """Whether figures hold for this setup alone: no pressure was recorded at the tool's inlet."""
    confidence: float
    digests: Mapping[str, str]
    """sha256 of every recording that was learned from, by its path in the season."""
    air: AirStudy | None = None
    electric: ElectricStudy | None = None

    @property
    def measured(self) -> TestedSetup | None:
        """What was measured of the tool on this very setup."""
        return self.tested.get(self.setup.id)

    @property
    def refused(self) -> tuple[Fault, ...]:
        """Why the question has no answer in torque; empty where it has one, or none was asked for."""
        return self.air.refused if self.air is not None else ()
