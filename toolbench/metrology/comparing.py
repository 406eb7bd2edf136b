"""Items compared row by row: levels, percent and absolute differences, their intervals and verdicts.

A pair is judged by its differences within blocks where three or more blocks that both were run in hold most of their runs
(`pairing`); elsewhere its runs count as independent (Welch). A level is judged by its block means where every item was run
equally often in each of the same blocks, else by its own runs; where sittings differ by more than can be neglected, by the
scatter between these.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from toolbench.metrology.family import FamilyItem, FamilyRow, family_level, row_correlation
from toolbench.metrology.intervals import (
    NO_INTERVAL,
    RatioErrors,
    difference_interval,
    expanded,
    judge,
    nearest_bound,
    ratio_errors,
    smallest_resolvable,
    within_limit,
)
from toolbench.metrology.pairing import common_blocks, within_blocks
from toolbench.metrology.propagation import combine, difference, ratio_percent
from toolbench.metrology.residuals import block_residuals, run_residuals
from toolbench.metrology.samples import (
    Cell,
    ItemRuns,
    Pooled,
    Row,
    complete_blocks,
    scatter_component,
    scatter_of,
    summarise,
)
from toolbench.metrology.sittings import Precision, find_precision
from toolbench.records.comparison import Difference, Estimate, Interval, Level


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Levels by item and row, differences by pair and row, and the family they hold in together."""

    levels: tuple[Level, ...]
    differences: tuple[Difference, ...]
    family_size: int
    """Rows that could be assessed."""
    family_level: float
    """Two-sided error probability per row that holds them together."""
    blocks: int
    """Blocks that the pairs were compared in, at most; 0 where all runs were taken as independent."""


def compare_items(
    items: Sequence[ItemRuns],
    rows: Sequence[Row],
    pairs: Sequence[tuple[str, str]],
    *,
    confidence: float = 0.95,
    pooled: Sequence[Pooled | None] | None = None,
    equivalent_within: float | None = None,
    draws: int = 20_000,
) -> Outcome:
    """Compare items with their bases in every row.

    Parameters
    ----------
    items
        All items of the report.
    rows
        What the columns of their `values` are.
    pairs
        (item, base) ids to compare; all of them times all rows make the family.
    confidence
        Two-sided, for rows alone and for the family.
    pooled
        One per row: the repeatability lent to single runs, or None.
    equivalent_within
        Limit as a fraction (0.03 for 3 %).
    draws
        Null draws for the family's level.

    Returns
    -------
    Outcome
        Levels in the order of items, then rows; differences in the order of pairs, then rows. What cannot be judged has
        nan for its uncertainty and interval and the verdict `not assessed`. Where the base is not well away from zero
        the percent interval is nan and the verdict is that of the absolute difference.

    Raises
    ------
    ValueError
        If shapes do not fit, or a pair names an unknown item.
    """
    _check_shapes(items, rows, pairs)
    lent = list(pooled) if pooled is not None else [None] * len(rows)
    blocks = [complete_blocks(items, r) for r in range(len(rows))]
    precision = [None if blocks[r] else _precision(items, r) for r in range(len(rows))]
    cells = [
        [summarise(item, r, row, blocks[r], lent[r], precision[r]) for r, row in enumerate(rows)] for item in items
    ]
    place = {item.id: i for i, item in enumerate(items)}
    contests = [
        _contest(items, cells, blocks[r], place[a], place[b], r, row) for a, b in pairs for r, row in enumerate(rows)
    ]
    numbers = {name: k for k, name in enumerate(sorted({name for contest in contests for name in contest.blocks}))}
    family = [row for contest in contests if (row := contest.family_row(numbers)) is not None]
    level = _family_level(family, items, cells, confidence, draws)
    limit = None if equivalent_within is None else 100.0 * equivalent_within
    return Outcome(
        levels=tuple(
            _level(item.id, rows[r], cell, confidence)
            for item, line in zip(items, cells, strict=True)
            for r, cell in enumerate(line)
        ),
        differences=tuple(
            _difference(contest, items[contest.a].id, items[contest.b].id, rows[contest.r], confidence, level, limit)
            for contest in contests
        ),
        family_size=len(family),
        family_level=level,
        blocks=max((len(contest.blocks) for contest in contests), default=0),
    )


def _precision(items: Sequence[ItemRuns], r: int) -> Precision | None:
    return find_precision([(item.values[:, r], item.sittings) for item in items])


def _check_shapes(items: Sequence[ItemRuns], rows: Sequence[Row], pairs: Sequence[tuple[str, str]]) -> None:
    for item in items:
        if item.values.ndim != 2 or item.values.shape[1] != len(rows):
            raise ValueError(f"values of {item.id!r} need the shape (runs, {len(rows)}); got {item.values.shape}")
        if item.sources and len(item.sources) != len(rows):
            raise ValueError(f"{item.id!r} needs sources for {len(rows)} rows; got {len(item.sources)}")
    known = {item.id for item in items}
    for pair in pairs:
        for name in pair:
            if name not in known:
                raise ValueError(f"there is no item {name!r} among {sorted(known)}")


@dataclass(frozen=True, slots=True, eq=False)
class _Contest:
    """One item against one base in one row."""

    a: int
    b: int
    r: int
    item: Cell
    base: Cell
    percent: Estimate
    difference: Estimate
    errors: RatioErrors | None
    blocks: tuple[str, ...] = ()
    apart: bool = False
    """The cells are those of the blocks alone, not those of the levels."""

    @property
    def assessed(self) -> bool:
        return self.errors is not None and self.difference.standard_uncertainty > 0

    def family_row(self, numbers: Mapping[str, int]) -> FamilyRow | None:
        """How this row enters the family, None where it is not assessed; `numbers` are those of all blocks."""
        if self.errors is None or not self.assessed:
            return None
        base = self.base.estimate.value
        # Without a base to divide by, the difference itself is judged.
        ratio = self.item.estimate.value / base if base else 1.0
        rest = self.errors.a - ratio * self.errors.b
        known = {
            source: (float(part), float(dof))
            for source, part, dof, kind in zip(
                self.errors.sources, rest, self.errors.degrees_of_freedom, self.errors.is_type_a, strict=True
            )
            if not kind and part != 0
        }
        gaps = self.item.block_means - ratio * self.base.block_means if self.blocks else None
        return FamilyRow(
            item=self.a,
            base=self.b,
            row=self.r,
            a_scatter=self.item.scatter,
            b_scatter=abs(ratio) * self.base.scatter,
            block_scatter=scatter_of(gaps, self.item.estimate.value) if gaps is not None else None,
            blocks=tuple(numbers[name] for name in self.blocks),
            known=known,
        )

    def interval(self, confidence: float) -> Interval | None:
        found = self.errors.interval(confidence) if self.errors is not None else None
        if found is None:
            return None
        return Interval(lower=100.0 * (found.lower - 1.0), upper=100.0 * (found.upper - 1.0))


def _contest(
    items: Sequence[ItemRuns],
    cells: Sequence[Sequence[Cell]],
    complete: Sequence[str],
    a: int,
    b: int,
    r: int,
    row: Row,
) -> _Contest:
    """Item `a` against item `b` in row `r`: the levels' own cells, or cells of the blocks that both were run in."""
    item, base = cells[a][r], cells[b][r]
    blocks = common_blocks(items[a], items[b], r)
    if not blocks:
        first, second = item.estimate, base.estimate
        return _Contest(
            a, b, r, item, base, ratio_percent(first, second), difference(first, second), ratio_errors(first, second)
        )
    apart = blocks != tuple(complete)
    if apart:
        item, base = (summarise(within_blocks(items[k], blocks), r, row, blocks, None) for k in (a, b))
    first, second = item.estimate, base.estimate
    ratio = first.value / second.value if second.value else math.nan
    shared = float(np.cov(item.block_means, base.block_means)[0, 1]) / len(blocks)
    return _Contest(
        a,
        b,
        r,
        item,
        base,
        _in_blocks(ratio_percent, item, base, ratio, 100.0 / second.value if second.value else math.nan),
        _in_blocks(difference, item, base, 1.0, 1.0),
        ratio_errors(first, second, covariance=shared, dof=float(len(blocks) - 1)),
        blocks,
        apart,
    )


def _in_blocks(
    rule: Callable[[Estimate, Estimate], Estimate], item: Cell, base: Cell, ratio: float, scale: float
) -> Estimate:
    """Apply `rule` to the levels without their scatter, then add the scatter of the differences within blocks."""
    gaps = item.block_means - ratio * base.block_means
    names = [next(c.source for c in cell.estimate.components if c.evaluation == "A") for cell in (item, base)]
    rest = rule(_without_scatter(item.estimate), _without_scatter(base.estimate))
    scatter = Estimate(
        value=0.0,
        unit=rest.unit,
        components=(
            scatter_component(
                " - ".join(names),
                "repeatability of differences within blocks",
                scatter_of(gaps, item.estimate.value) / math.sqrt(len(gaps)),
                float(len(gaps) - 1),
                value=0.0,  # by construction: the ratio takes the mean gap away
                unit=item.estimate.unit,
                sensitivity=abs(scale),
            ),
        ),
    )
    return combine(rest.value, rest.unit, [(rest, 1.0), (scatter, 1.0)])


def _without_scatter(estimate: Estimate) -> Estimate:
    return replace(
        estimate,
        components=tuple(c for c in estimate.components if c.evaluation != "A"),
        degrees_of_freedom_override=None,
    )


def _family_level(
    family: Sequence[FamilyRow],
    items: Sequence[ItemRuns],
    cells: Sequence[Sequence[Cell]],
    confidence: float,
    draws: int,
) -> float:
    """The family's level, with the correlation between rows taken from the residuals of all items."""
    if len(family) < 2:
        return 1.0 - confidence
    judged = [
        FamilyItem(
            n=tuple(cell.judged for cell in line),
            lent_degrees_of_freedom=tuple(cell.degrees_of_freedom for cell in line),
        )
        for line in cells
    ]
    paired = {i for row in family if row.block_scatter is not None for i in (row.item, row.base)}
    residuals, freedom = block_residuals([items[i] for i in sorted(paired)]) if paired else ([], 0)
    alone = [run_residuals(item.values) for i, item in enumerate(items) if i not in paired]
    freedom += sum(max(len(part) - 1, 0) for part in alone)
    correlation = row_correlation([*residuals, *alone], freedom)
    return family_level(family, judged, correlation, confidence=confidence, draws=draws)


def _or_unknown(estimate: Estimate) -> Estimate:
    """The estimate, with nothing known of its uncertainty where that would be zero.

    Repeats that all read alike, of a resolution that is not stated, show no scatter: that is nothing to judge by, and no
    certainty.
    """
    if estimate.standard_uncertainty != 0:
        return estimate
    parts = tuple(c if c.contained else replace(c, contribution=math.nan) for c in estimate.components)
    return replace(estimate, components=parts, degrees_of_freedom_override=math.nan)


def _level(item: str, row: Row, cell: Cell, confidence: float) -> Level:
    estimate = _or_unknown(cell.estimate)
    found = expanded(estimate, confidence)
    return Level(
        item=item,
        response=row.response,
        metric=row.metric,
        at=row.at,
        estimate=estimate,
        expanded_uncertainty=found.uncertainty,
        coverage_factor=found.coverage_factor,
        n=cell.n,
        repeatability=cell.repeatability,
        sittings=cell.sittings,
        intermediate_precision=cell.intermediate_precision,
    )


def _difference(
    contest: _Contest, item: str, base: str, row: Row, confidence: float, level: float, limit: float | None
) -> Difference:
    assessed = contest.assessed
    interval = (contest.interval(confidence) if assessed else None) or NO_INTERVAL
    family = (contest.interval(1.0 - level) if assessed else None) or NO_INTERVAL
    one_sided = contest.interval(2.0 * confidence - 1.0) if assessed else None
    gap = difference_interval(contest.difference, confidence) if assessed else NO_INTERVAL
    wide_gap = difference_interval(contest.difference, 1.0 - level) if assessed else NO_INTERVAL
    percent = _or_unknown(contest.percent)
    u, dof = percent.standard_uncertainty, percent.degrees_of_freedom
    spread = expanded(percent, confidence)
    return Difference(
        item=item,
        baseline=base,
        response=row.response,
        metric=row.metric,
        at=row.at,
        percent=percent,
        expanded_uncertainty=spread.uncertainty,
        coverage_factor=spread.coverage_factor,
        interval=interval,
        verdict=judge(gap if math.isnan(interval.lower) else interval, assessed=assessed),
        family_interval=family,
        family_verdict=judge(wide_gap if math.isnan(family.lower) else family, assessed=assessed),
        at_least=nearest_bound(one_sided.lower, one_sided.upper) if one_sided is not None else None,
        n=contest.item.n,
        n_baseline=contest.base.n,
        within_limit=within_limit(interval, limit),
        # Where the base is about zero, percent of it resolve nothing.
        smallest_resolvable=math.nan if math.isnan(interval.lower) else smallest_resolvable(u, dof, confidence),
        difference=_or_unknown(contest.difference),
        difference_interval=gap,
        blocks=len(contest.blocks),
        within=(contest.item.estimate, contest.base.estimate) if contest.apart else None,
    )
