"""Small scorecards, constructed: what each figure comes to is worked out beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from toolbench.records.comparison import Component, Estimate
from toolbench.standings import Criterion, Entry, Mark


def estimate(value: float, unit: str = "N*m", **sources: float | tuple[float, float]) -> Estimate:
    """A value with errors by source: a standard uncertainty, or one with its degrees of freedom."""
    parts = [(name, u if isinstance(u, tuple) else (u, math.inf)) for name, u in sources.items()]
    components = tuple(
        Component(source=name, label=name, contribution=u, degrees_of_freedom=dof) for name, (u, dof) in parts
    )
    return Estimate(value=value, unit=unit, components=components)


def criterion(id: str, weight: float = 1.0, worst_at: float = 0.0, best_at: float = 100.0) -> Criterion:
    return Criterion(id=id, label=id, weight=weight, worst_at=worst_at, best_at=best_at)


def entry(tool: str, **marks: Estimate | str) -> Entry:
    """An entry with estimates, or the reasons why they are missing."""
    return Entry(
        tool=tool,
        marks={id: Mark(missing=m) if isinstance(m, str) else Mark(estimate=m) for id, m in marks.items()},
    )


def plain(values: Mapping[str, float], *, u: float = 1.0, dof: float = math.inf) -> list[Entry]:
    """Entries of one criterion `c` whose percent is the value itself, each with an error of its own."""
    return [entry(tool, c=estimate(value, **{f"scatter/{tool}": (u, dof)})) for tool, value in values.items()]


ONE: Sequence[Criterion] = (criterion("c"),)
"""A scorecard of one criterion from 0 to 100: the score is the value."""
