"""What both kinds of answer share: the subject of the question, and the parts of its answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from toolbench.records.runs import Run
from toolbench.records.settings import Setup, Tool
from toolbench.records.supply import Drive, LearnedFigure, SupplyFigure
from toolbench.season.beside import like_findings
from toolbench.season.opening import Season
from toolbench.season.plausible import supply_doubts
from toolbench.season.supply.learning import Learned
from toolbench.season.supply.modelling import EXPONENT, as_estimate
from toolbench.season.supply.study import AirStudy, Asked, ElectricStudy, TestedSetup
from toolbench.supply.exponent import ExponentFit
from toolbench.supply.fitted import Fitted
from toolbench.supply.modelled import Modelled


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """A tool on a setup, what is asked (`other`: the setup as asked for), and what recordings teach of the tool."""

    season: Season
    setup: Setup
    tool: Tool
    asked: Asked
    other: Setup | None
    drive: Drive
    learned: Learned | None
    tested: Mapping[str, TestedSetup]
    confidence: float

    @property
    def measured(self) -> TestedSetup | None:
        """What was measured on this setup."""
        return self.tested.get(self.setup.id)

    def runs_on(self, setup: str) -> list[Run]:
        """The runs that were measured on a setup."""
        tested = self.tested.get(setup)
        if self.learned is None or tested is None:
            return []
        return [one.run for one in self.learned.runs if one.run.id in tested.runs]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One kind of answer and what it rests on."""

    learned: tuple[LearnedFigure, ...] = ()
    assumed: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    effective: bool = False
    air: AirStudy | None = None
    electric: ElectricStudy | None = None


def as_figure(modelled: Modelled) -> SupplyFigure:
    """A modelled value as a figure of the supply."""
    return SupplyFigure(estimate=modelled.estimate, interval=modelled.interval, modelled=True)


def figure_of(tool: str, name: str, fitted: Fitted) -> LearnedFigure:
    """What the answer rests on, with where it is from."""
    is_exponent = name == "exponent"
    label, unit = (EXPONENT, "1") if is_exponent else ("air demand of the tool", "m3/(s*Pa)")
    return LearnedFigure(
        tool=tool,
        name="exponent" if is_exponent else "demand",
        estimate=as_estimate(fitted, f"{name}/{tool}", label, unit),
        source=fitted.source,
        runs=len(fitted.residuals),
        note=fitted.note,
    )


def fit_remarks(fit: ExponentFit | None) -> list[str]:
    """What speaks against the power law, or against its prior."""
    if fit is None:
        return []
    said = []
    if not fit.law_fits:
        said.append(
            "The runs scatter about the power law by more than repeats do: the exponent's uncertainty allows for it."
        )
    if not fit.agrees_with_prior:
        said.append("What the runs say of the exponent is far from its prior; the figure joins both.")
    return said


def run_remarks(subject: Subject) -> list[str]:
    """What is wrong or doubtful: stated values that no bench has, the tested runs beside each other, and how many were unusable."""
    settings = subject.season.settings
    said = [one.message for one in supply_doubts(settings, [subject.setup.id], [subject.tool.id])]
    found = like_findings(subject.runs_on(subject.setup.id))
    said += [finding.message for finding in found if finding.severity != "note"]
    season, learned = subject.season, subject.learned
    made = [
        entry.run
        for protocol in season.settings.protocols
        for entry in season.entries(subject.tool.id, subject.setup.id, protocol)
        if not entry.excluded and entry.run not in season.conditioning(protocol)
    ]
    used = {one.run.id for one in learned.runs} if learned is not None else set()
    lost = len(made) - sum(run in used for run in made)
    if lost:
        said.append(
            f"{lost} of {len(made)} runs on this setup could not be used here; toolbench check says what is wrong."
        )
    return said
