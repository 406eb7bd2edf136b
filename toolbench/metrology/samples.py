"""The runs of one item in one row: its level, its scatter, and the parts of its uncertainty.

What varies from run to run (zero per run, onset, resolution, window) is in the scatter of repeats and counted once: its
components are shown as contained. Added are what runs share, and the per-run parts where there is a single run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from toolbench.metrology.propagation import combine
from toolbench.metrology.sittings import Precision, mean_uncertainty
from toolbench.metrology.type_a import mean_and_sd, pooled_sd
from toolbench.records.comparison import Component, Estimate
from toolbench.records.runs import Floats

FEWEST_BLOCKS = 3

ROUNDING = 1e-12
"""Scatter below this share of the level is arithmetic: the readings are alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What a row of the tables is about; `at` in seconds for `at_mark`, the level in SI for `time_to`."""

    response: str
    metric: str
    at: float | None
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A type B source in one row of one item.

    The standard uncertainty of one run is `relative` times the level plus `absolute` [the row's unit]; one of them is
    usually zero. Two items that name the same `source` share that error. `per_run` sources differ from run to run, so
    their name is made the item's own. `resolution` marks the rounding of readings: it stays added where the scatter is
    smaller than rounding alone makes it.

    `value` and `uncertainty` are those of the input itself in `unit`, for the budget; left out, an input of a relative
    uncertainty is a factor of 1, and any other an error of 0 in the row's unit.
    """

    source: str
    label: str
    relative: float = 0.0
    absolute: float = 0.0
    degrees_of_freedom: float = math.inf
    distribution: str = "normal"
    per_run: bool = False
    resolution: bool = False
    value: float | None = None
    uncertainty: float | None = None
    unit: str = ""

    def one_run(self, mean: float) -> float:
        """The standard uncertainty of one run at a level [the row's unit]."""
        return self.relative * mean + self.absolute

    def quantity(self, mean: float, row_unit: str) -> tuple[float, float, str]:
        """Value, standard uncertainty and unit of the input quantity, for one run."""
        if self.uncertainty is not None:
            return self.value or 0.0, abs(self.uncertainty), self.unit or row_unit
        if self.relative and not self.absolute:
            return 1.0, abs(self.relative), "1"
        return self.value or 0.0, abs(self.one_run(mean)), row_unit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ItemRuns:
    """The runs of one item: `values` of shape (runs, rows), nan where a run has none; one block name per run ("" for a run
    in no block), or none.

    `sources` holds a tuple of type B sources per row, or is empty; `sittings` names for each run when it was made (its
    block, else its day), or is empty where that is not known.
    """

    id: str
    values: Floats
    blocks: tuple[str, ...] = ()
    sources: tuple[tuple[Source, ...], ...] = ()
    sittings: tuple[str, ...] = ()

    @property
    def in_blocks(self) -> bool:
        """Whether every run was made in a block."""
        return bool(self.blocks) and "" not in self.blocks


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """Repeatability lent to items with a single run: relative standard deviation, degrees of freedom, where it is from.

    `contains_per_run` says that it was found from repeats on this bench, so per-run parts are in it already.
    """

    relative_sd: float
    degrees_of_freedom: float
    label: str
    contains_per_run: bool = False


def pool_repeatability(groups: Sequence[Sequence[float] | Floats], label: str, **facts: bool) -> Pooled | None:
    """Relative repeatability pooled over groups of repeats (same tool and setup); None where none was repeated."""
    found = [(*mean_and_sd(group), int(np.sum(np.isfinite(np.asarray(group, dtype=float))))) for group in groups]
    known = [(sd / abs(mean), n - 1) for mean, sd, n in found if n > 1 and mean != 0]
    relative, dof = pooled_sd([s for s, _ in known], [f for _, f in known])
    if not relative > 0:
        return None
    return Pooled(relative_sd=relative, degrees_of_freedom=dof, label=label, **facts)


def complete_blocks(items: Sequence[ItemRuns], row: int | None = None) -> tuple[str, ...]:
    """Names of the blocks in which every item has the same number of runs (with a value in `row`), else ().

    Three blocks at least; a run without a block makes the design incomplete.
    """
    counts: dict[str, int] | None = None
    for item in items:
        if len(item.blocks) != len(item.values) or "" in item.blocks:
            return ()
        mine: dict[str, int] = {}
        for block, values in zip(item.blocks, item.values, strict=True):
            if row is None or math.isfinite(values[row]):
                mine[block] = mine.get(block, 0) + 1
        if counts is not None and mine != counts:
            return ()
        counts = mine
    if not counts or len(counts) < FEWEST_BLOCKS or len(set(counts.values())) != 1:
        return ()
    return tuple(sorted(counts))


def scatter_of(values: Sequence[float] | Floats, level: float) -> float:
    """Standard deviation of `values`, zero where it is no more than rounding of numbers the size of `level`."""
    sd = mean_and_sd(values)[1]
    return 0.0 if sd < ROUNDING * abs(level) else sd


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """One item in one row: its level, and what its scatter was judged by."""

    estimate: Estimate
    n: int
    repeatability: float
    scatter: float
    """Standard deviation of one run; of one block's mean in complete blocks, of one sitting's where these are judged by."""
    degrees_of_freedom: float
    values: Floats
    block_means: Floats
    judged: int
    """How many runs, blocks or sittings the scatter of the mean rests on."""
    sittings: int = 0
    """How many sittings it rests on, 0 where it does not rest on them."""
    intermediate_precision: float = math.nan
    """One run in a sitting of its own, where that is judged by [unit]."""


def summarise(
    item: ItemRuns, r: int, row: Row, blocks: Sequence[str], lent: Pooled | None, precision: Precision | None = None
) -> Cell:
    """One item in row `r`: the mean of its runs, judged by block means where there are complete `blocks`.

    Where these hold unequal numbers of runs, it is the mean of the block means.

    Without blocks, where the sittings' `precision` shows that they differ, it is judged by the sittings; an item of one
    sitting then carries what the others show of their differences.
    """
    column = item.values[:, r]
    values = column[np.isfinite(column)]
    n = int(values.size)
    in_blocks = [column[[name == block for name in item.blocks]] for block in blocks]
    block_means = np.array([np.nanmean(one) for one in in_blocks])
    uneven = len({int(np.isfinite(one).sum()) for one in in_blocks}) > 1
    mean = mean_and_sd(block_means if uneven else values)[0]
    sd = scatter_of(values, mean)
    judged = len(block_means) or n
    scatter, dof = scatter_of(block_means, mean) if blocks else sd, float(judged - 1)
    label = "scatter of block means" if blocks else "repeatability"
    if n == 1:
        scatter, dof, label = _lent_scatter(mean, lent)
    repeatability, sittings = (sd if n != 1 else scatter), 0
    parts: list[Component] = []
    if precision is not None and precision.counts and not blocks and n and len(item.sittings) == len(column):
        repeatability = precision.within_sd
        by_sittings = mean_uncertainty(column, item.sittings)
        if by_sittings is not None:
            u, sittings = by_sittings
            judged, scatter, dof = sittings, u * math.sqrt(sittings), float(sittings - 1)
            label = f"scatter between {sittings} sittings"
        else:
            parts.append(_one_sitting(item, row, column, precision))
    if n:
        name = f"repeatability/{item.id}/{row.response}/{row.metric}/{'' if row.at is None else repr(row.at)}"
        parts.append(scatter_component(name, label, scatter / math.sqrt(judged), dof, value=mean, unit=row.unit))
        contains = n > 1 or (lent is not None and lent.contains_per_run)
        sources = item.sources[r] if item.sources else ()
        made = (_source_component(s, item.id, mean, scatter, n, contains, row.unit) for s in sources)
        parts += [component for component in made if component is not None]
    estimate = combine(mean, row.unit, [(Estimate(value=mean, unit=row.unit, components=tuple(parts)), 1.0)])
    intermediate = precision.intermediate_sd if precision is not None and precision.counts and not blocks else math.nan
    return Cell(
        estimate,
        n,
        repeatability,
        scatter,
        dof,
        column,
        block_means,
        judged,
        sittings,
        intermediate_precision=intermediate,
    )


def _one_sitting(item: ItemRuns, row: Row, column: Floats, precision: Precision) -> Component:
    """What an item run in one sitting cannot show itself. Two items of one sitting share it."""
    sitting = next(name for name, value in zip(item.sittings, column, strict=True) if math.isfinite(value))
    return Component(
        source=f"sitting/{sitting}/{row.response}/{row.metric}/{'' if row.at is None else repr(row.at)}",
        label="difference between sittings, as other items show it",
        contribution=precision.between_sd,
        degrees_of_freedom=precision.between_sd_degrees_of_freedom,
        value=0.0,
        standard_uncertainty=precision.between_sd,
        unit=row.unit,
    )


def _lent_scatter(mean: float, lent: Pooled | None) -> tuple[float, float, str]:
    if lent is None:
        return math.nan, math.nan, "repeatability (single run, nothing to judge by)"
    return abs(mean) * lent.relative_sd, lent.degrees_of_freedom, lent.label


def scatter_component(
    source: str, label: str, u: float, dof: float, *, value: float, unit: str, sensitivity: float = 1.0
) -> Component:
    """The type A component that the scatter of a mean makes: its value, its standard uncertainty `u` [unit] and what that does."""
    return Component(
        source=source,
        label=label,
        contribution=sensitivity * u,
        degrees_of_freedom=dof,
        evaluation="A",
        distribution="t",
        value=value,
        standard_uncertainty=u,
        unit=unit,
    )


def _source_component(
    source: Source, item: str, mean: float, scatter: float, n: int, contains: bool, unit: str
) -> Component | None:
    """The component of a type B source in a mean of `n` runs; None where it is zero."""
    one_run = source.one_run(mean)
    if one_run == 0 or not math.isfinite(one_run):
        return None
    contained = source.per_run and contains
    if contained and source.resolution and scatter < abs(one_run):
        # Readings that round alike carry the same rounding error: more of them do not make it smaller.
        contained, n = False, 1
    value, u, of = source.quantity(mean, unit)
    shrunk = math.sqrt(n) if source.per_run else 1.0
    return Component(
        source=f"{source.source}/{item}" if source.per_run else source.source,
        label=source.label,
        contribution=one_run / shrunk,
        degrees_of_freedom=source.degrees_of_freedom,
        distribution=source.distribution,
        contained=contained,
        value=value,
        standard_uncertainty=u / shrunk,
        unit=of,
    )
