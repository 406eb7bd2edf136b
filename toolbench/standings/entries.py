"""What a scorecard is made of: criteria with fixed anchors, and every tool's values in them.

Anchors are published values, never the best and worst of the field: so adding an entry moves no other score. What a seller
claims is no mark.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from toolbench.metrology.intervals import coverage_factor
from toolbench.records.comparison import Component, Estimate
from toolbench.records.settings import EMPTY

REACHES = (0.95, 0.9973)
"""Two-sided confidences over which the slope of a value beside an anchor is taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """One line of the scorecard: its share of the score and the two values that earn nothing and all [unit of the marks].

    Raises
    ------
    ValueError
        Where the anchors are equal or not finite, or the weight is not between 0 and 1.
    """

    id: str
    label: str
    weight: float
    worst_at: float
    best_at: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.worst_at) and math.isfinite(self.best_at)) or self.worst_at == self.best_at:
            raise ValueError(
                f"{self.id}: the anchors are {self.worst_at} and {self.best_at}; two finite values that differ are needed"
            )
        if not 0.0 <= self.weight <= 1.0:
            raise ValueError(f"{self.id}: the weight is {self.weight}; a share between 0 and 1 is needed")

    @property
    def slope(self) -> float:
        """Percent of the score per unit of the value, between the anchors."""
        return 100.0 * self.weight / (self.best_at - self.worst_at)

    def value_of(self, measured: float) -> float:
        """0 at `worst_at` and worse, 1 at `best_at` and better, linear between.

        >>> Criterion(id="torque", label="torque", weight=1.0, worst_at=200.0, best_at=600.0).value_of(300.0)
        0.25
        """
        return min(max((measured - self.worst_at) / (self.best_at - self.worst_at), 0.0), 1.0)

    def reaches_anchor(self, estimate: Estimate) -> bool:
        """Whether the 95 % interval of a value goes past an anchor, so that the score bends within it."""
        half = _half_width(estimate, REACHES[0])
        low, high = sorted((self.worst_at, self.best_at))
        return estimate.value - half < low or estimate.value + half > high

    def sensitivity(self, estimate: Estimate) -> float:
        """Percent of the score per unit of the value, for an error as large as that of `estimate`.

        Between the anchors the slope. Beside one it is the larger of the two one-sided changes of the score over the
        half width of the value, at 95 % or 99.73 % whichever gives more: a value that is clipped but could well lie on
        the other side of its anchor keeps uncertainty, one far beyond it has none.
        """
        if not self.reaches_anchor(estimate):
            return self.slope
        steepest = 0.0
        here = self.value_of(estimate.value)
        for confidence in REACHES:
            half = _half_width(estimate, confidence)
            if half > 0:
                changes = [abs(self.value_of(estimate.value + side * half) - here) for side in (-1.0, 1.0)]
                steepest = max(steepest, max(changes) / half)
        return math.copysign(min(100.0 * self.weight * steepest, abs(self.slope)), self.slope)


def _half_width(estimate: Estimate, confidence: float) -> float:
    u = estimate.standard_uncertainty
    return coverage_factor(estimate.degrees_of_freedom, confidence) * u if u > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One tool's value in one criterion, or why there is none."""

    estimate: Estimate | None = None
    missing: str = ""

    def __post_init__(self) -> None:
        if self.estimate is None and not self.missing:
            raise ValueError("a mark without a value needs the reason")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A tool with its marks by criterion; a criterion without a mark is missing."""

    tool: str
    marks: Mapping[str, Mark] = field(default_factory=lambda: EMPTY)


def exactly(value: float, unit: str) -> Estimate:
    """A value taken as exact, such as a price; an `Estimate` without components would mean that nothing is known of its error."""
    return Estimate(value=value, unit=unit, components=(Component(source="exact", label="exact", contribution=0.0),))


def check_entries(entries: Sequence[Entry], criteria: Sequence[Criterion]) -> None:
    """Refuse what cannot be scored.

    Raises
    ------
    ValueError
        Weights that do not add up to one, an id used twice, a mark in no criterion, a value that is not finite, units
        that differ within a criterion.
    """
    total = math.fsum(c.weight for c in criteria)
    if abs(total - 1.0) > 1e-6:
        raise ValueError(f"the weights add up to {total}; they must to 1")
    _check_unique("criterion", [c.id for c in criteria])
    _check_unique("tool", [e.tool for e in entries])
    units: dict[str, tuple[str, str]] = {}
    for entry in entries:
        for id in entry.marks.keys() - {c.id for c in criteria}:
            raise ValueError(f"{entry.tool} has a mark in {id!r}, which is no criterion")
        for id, mark in entry.marks.items():
            if mark.estimate is None:
                continue
            if not math.isfinite(mark.estimate.value):
                raise ValueError(
                    f"{entry.tool}: the value of {id!r} is {mark.estimate.value}; say why it is missing instead"
                )
            first, unit = units.setdefault(id, (entry.tool, mark.estimate.unit))
            if unit != mark.estimate.unit:
                raise ValueError(f"{id!r} is in {unit!r} for {first} and in {mark.estimate.unit!r} for {entry.tool}")


def _check_unique(what: str, names: Sequence[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
    if twice:
        raise ValueError(f"the {what} {twice[0]!r} is there twice")
