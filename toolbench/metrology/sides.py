"""One item along time: its mean curve, what its scatter is judged by at every time, and the errors that its runs share.

What judges a mean at one time is what judges a row of the tables: block means where the blocks are complete, the scatter
between sittings where these differ by more than their runs make them, else the runs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from toolbench.metrology.pairing import shared_blocks
from toolbench.metrology.samples import ItemRuns, Source, complete_blocks
from toolbench.metrology.sittings import Precision, find_precisions, mean_uncertainties
from toolbench.records.runs import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorAlong:
    """An error of an item's mean along the grid: its standard uncertainty, signed where items share it [unit]."""

    size: Floats
    degrees_of_freedom: Floats | float = math.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ItemCurves:
    """The runs of one item on the common grid: `curves` of shape (runs, grid), nan where a run has none.

    `blocks` and `sittings` have a name per run, or none. `sources` are its type B sources; those that differ from run to run
    are in the scatter and count only where it is less than rounding makes it. `errors` are shared errors by source that
    change along time in their own way.
    """

    id: str
    curves: Floats
    blocks: tuple[str, ...] = ()
    sittings: tuple[str, ...] = ()
    sources: tuple[Source, ...] = ()
    errors: dict[str, ErrorAlong] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """Curves judged (of runs, blocks or sittings), the mean, and per time the variance of one of what judges it and their number.

    `known` holds the errors that are no scatter, by source.
    """

    curves: Floats
    runs: int
    mean: Floats
    count: Floats
    variance: Floats
    known: dict[str, ErrorAlong]

    def floored(self, least: Floats) -> Side:
        """The same side with a variance of at least `least`."""
        return replace(self, variance=np.maximum(self.variance, least))

    @property
    def of_mean(self) -> Floats:
        return np.asarray(self.variance / self.count, dtype=float)

    @property
    def dof(self) -> Floats:
        return np.asarray(np.where(self.count > 1, self.count - 1.0, np.nan), dtype=float)


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """One item as it is judged at any one time, and as it is over the whole run, where one rule holds for all times."""

    alone: Side
    whole: Side


def _complete(items: Sequence[ItemCurves]) -> tuple[str, ...]:
    return complete_blocks([ItemRuns(id=i.id, values=np.zeros((len(i.curves), 1)), blocks=i.blocks) for i in items])


def find_sides(items: Sequence[ItemCurves]) -> dict[str, Sides]:
    """Every item by its id: its mean, and what judges it."""
    blocks = _complete(items)
    plain = {item.id: _plain(item, blocks) for item in items}
    found = [None] * items[0].curves.shape[1] if blocks else find_precisions([(i.curves, i.sittings) for i in items])
    counts = np.array([one is not None and one.counts for one in found])
    sides: dict[str, Sides] = {}
    for item in items:
        alone = whole = plain[item.id]
        if counts.any() and len(item.sittings) == len(item.curves):
            alone = _by_sittings(alone, item, found, counts)
            if _counts_over_all(found):
                whole = _by_sittings(whole, item, found, np.array([one is not None for one in found]))
                whole = replace(whole, curves=_means(item.curves, item.sittings))
        sides[item.id] = Sides(_with_known(alone, item), _with_known(whole, item))
    return sides


def find_pair(a: ItemCurves, b: ItemCurves, sides: Mapping[str, Sides]) -> tuple[Sides, Sides, bool]:
    """Both sides of a comparison, and whether these are the blocks that both items were run in (as in `pairing`)."""
    blocks = shared_blocks(_block_names(a), _block_names(b))
    if not blocks:
        return sides[a.id], sides[b.id], False
    one, other = (_with_known(_plain(item, blocks), item) for item in (a, b))
    return Sides(one, one), Sides(other, other), True


def _block_names(item: ItemCurves) -> Sequence[str]:
    return item.blocks if len(item.blocks) == len(item.curves) else [""] * len(item.curves)


def _plain(item: ItemCurves, blocks: Sequence[str]) -> Side:
    """Judged by all runs, or by the means of `blocks` in their order."""
    curves = item.curves
    if blocks:
        curves = np.array([curves[[name == block for name in item.blocks]].mean(axis=0) for block in blocks])
    have = np.isfinite(curves)
    count = np.where(have.any(axis=0), have.sum(axis=0), np.nan)
    mean = np.where(have, curves, 0.0).sum(axis=0) / count
    rest = np.where(have, curves - mean, 0.0)
    variance = np.sum(rest * rest, axis=0) / np.where(count > 1, count - 1.0, np.nan)
    return Side(curves, len(item.curves), mean, count, variance, {})


def _counts_over_all(found: Sequence[Precision | None]) -> bool:
    """Whether sittings differ by more than their runs make them over the run as a whole."""
    within = [one.within_sd**2 for one in found if one is not None]
    between = [one.within_sd**2 * one.f for one in found if one is not None and one.within_sd > 0]
    return math.fsum(between) > math.fsum(within)


def _by_sittings(side: Side, item: ItemCurves, found: Sequence[Precision | None], counts: np.ndarray) -> Side:
    """Judged by sittings at the times at which they count; an item of one sitting carries what the others show of them."""
    u, sittings = mean_uncertainties(item.curves, item.sittings)
    judged, lone = counts & (sittings >= 2), counts & (sittings == 1)
    first = np.argmax(np.isfinite(item.curves), axis=0)
    between = np.array([0.0 if one is None else one.between_sd for one in found])
    dof = np.array([math.inf if one is None else one.between_sd_degrees_of_freedom for one in found])
    names = np.array(item.sittings)[first]
    return replace(
        side,
        variance=np.where(judged, u**2 * sittings, side.variance),
        count=np.where(judged, sittings, side.count),
        known={
            f"sitting/{name}": ErrorAlong(size=np.where(lone & (names == name), between, 0.0), degrees_of_freedom=dof)
            for name in dict.fromkeys(item.sittings)
            if np.any(lone & (names == name))
        },
    )


def _means(curves: Floats, sittings: Sequence[str]) -> Floats:
    """Mean curve of each sitting, shape (sittings, grid); the runs themselves where there is one sitting."""
    names = tuple(dict.fromkeys(sittings))
    if len(names) < 2:
        return curves
    groups = [curves[[name == one for name in sittings]] for one in names]
    have = [np.isfinite(group).sum(axis=0) for group in groups]
    return np.array([np.nansum(g, axis=0) / np.where(n > 0, n, np.nan) for g, n in zip(groups, have, strict=True)])


def _with_known(side: Side, item: ItemCurves) -> Side:
    known = {**side.known, **item.errors}
    for source in item.sources:
        size = np.asarray(source.relative * side.mean + source.absolute, dtype=float)
        if not source.per_run:
            known[source.source] = ErrorAlong(size=size, degrees_of_freedom=source.degrees_of_freedom)
        elif source.resolution and np.any(hidden := np.sqrt(side.variance) < np.abs(size)):
            # Readings that round alike carry the same rounding error: more of them do not make it smaller.
            known[f"{source.source}/{item.id}"] = ErrorAlong(size=np.where(hidden, size, 0.0))
    return replace(side, known=known)


def known_variance(parts: Iterable[tuple[str, Floats, Floats | float]]) -> tuple[Floats | float, Floats | float]:
    """Variance of independent errors (source, size, degrees of freedom), and what they add to Welch and Satterthwaite's sum.

    The members of an ensemble, `NAME#0`, `NAME#1` and so on, have their degrees of freedom together.
    """
    sums: dict[str, tuple[Floats | float, Floats | float]] = {}
    for source, size, dof in parts:
        name = source.partition("#")[0]
        sums[name] = (sums.get(name, (0.0, 0.0))[0] + size**2, dof)
    variance = sum((one for one, _ in sums.values()), start=0.0)
    return variance, sum((one**2 / dof for one, dof in sums.values()), start=0.0)
