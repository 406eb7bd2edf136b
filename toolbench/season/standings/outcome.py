"""What the standings of a season are: per kind of supply the ranked entries, what each rests on, claims, and who stands apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from toolbench.records.findings import Finding
from toolbench.records.scorecard import Scorecard, StatedCriterion
from toolbench.records.settings import EMPTY, SeasonSettings, Tool
from toolbench.standings import Basis, Criterion, Entry, JudgedClaim, RankRange, Score, Standing


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What stands beside an entry: the tool, the setup that counts, the runs used and what they were made under."""

    tool: Tool
    label: str
    supply: str
    setup: str
    runs: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()
    """Runs of earlier tests, which a re-test replaced."""
    left_out: tuple[tuple[str, str], ...] = ()
    """Other runs that do not count, with the reason."""
    first_day: date | None = None
    last_day: date | None = None
    drive: tuple[float, float] | None = None
    """Lowest and highest flowing pressure, or voltage while running, of the runs used; None where not recorded."""
    drive_unit: str = ""
    notices: tuple[str, ...] = ()
    """Correction notices that touch the tool or one of its runs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolClaim:
    """A seller's claim of torque for one tool, beside what was measured."""

    tool: str
    kind: str
    source: str
    pressure_pa: float | None
    judged: JudgedClaim
    judged_at_pa: float | None = None
    """Mean flowing pressure of the runs, where the claim names none: the verdict holds at this pressure only."""
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """A tool that is not ranked, why, and its score where it was measured as the others were."""

    facts: Facts
    reason: str
    score: Score | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClassStandings:
    """The standings of one kind of supply, on the setup that counts for it."""

    supply: str
    setup: str
    standing: Standing
    criteria: tuple[Criterion, ...]
    entries: Mapping[str, Entry]
    """Marks of the entries and of those apart that were measured."""
    facts: Mapping[str, Facts]
    bases: Mapping[str, Basis]
    ranges: Mapping[str, RankRange] = field(default_factory=lambda: EMPTY)
    claims: tuple[ToolClaim, ...] = ()
    apart: tuple[Apart, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Standings:
    """The standings of a season. `asked` says what was changed to ask "what if", empty for the season's own scorecard."""

    settings: SeasonSettings
    scorecard: Scorecard
    criteria: tuple[StatedCriterion, ...]
    classes: tuple[ClassStandings, ...]
    asked: tuple[str, ...] = ()
    digests: Mapping[str, str] = field(default_factory=lambda: EMPTY)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Of all classes, each once."""
        return tuple(dict.fromkeys(finding for one in self.classes for finding in one.findings))

    def criterion(self, id: str) -> StatedCriterion:
        """One criterion as it is used here, with the weight and the anchors asked for."""
        return next(one for one in self.criteria if one.id == id)

    def __repr__(self) -> str:
        ranked = ", ".join(f"{one.supply or 'any supply'} {len(one.standing.ranked)} ranked" for one in self.classes)
        return f"<Standings {self.scorecard.title or 'of the season'}: {ranked}>"
