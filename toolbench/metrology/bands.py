"""Bands on mean curves and on the percent difference against time, pointwise and simultaneous."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from toolbench.metrology.comparing import Source
from toolbench.metrology.intervals import coverage_factors
from toolbench.records.comparison import Band, Span
from toolbench.records.runs import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ItemCurves:
    """The runs of one item on the common grid: `curves` of shape (runs, grid), nan where a run has none.

    `blocks` has a name per run, or none; `sources` are type B sources that all its runs share (per-run ones are in the
    scatter and are ignored here).
    """

    id: str
    curves: Floats
    blocks: tuple[str, ...] = ()
    sources: tuple[Source, ...] = ()


def make_bands(
    items: Sequence[ItemCurves],
    time_s: Floats,
    pairs: Sequence[tuple[str, str]],
    *,
    response: str,
    unit: str,
    confidence: float = 0.95,
    extra_residuals: Sequence[Floats] = (),
    draws: int = 1_000,
) -> tuple[Band, ...]:
    """Mean curves with their bands, and percent differences from the base with theirs.

    Parameters
    ----------
    items
        All items of the report, on the grid `time_s` [s].
    pairs
        (item, base) ids. An item without a pair gets its mean and bands only; the first pair of an item is drawn, and a
        further pair of the same item gives a further band.
    extra_residuals : each of shape (runs, grid)
        Curves of other repeated runs of the protocol on the same rig, one array per tool and setup: scatter along time
        is learned from them too. Their level does not matter, only deviations from their mean are used.
    draws
        Null draws for the simultaneous factor.

    Returns
    -------
    tuple of Band
        In the order of items, then their pairs. Bands are nan with a single run, and where the base is not well away
        from zero.
    """
    sides = {item.id: _side(item) for item in items}
    pointwise = 1.0 - confidence
    simultaneous = pointwise / max(len(time_s), 1)
    bands: list[Band] = []
    for item in items:
        mine = [base for name, base in pairs if name == item.id]
        side = sides[item.id]
        for base in mine or [""]:
            against = _percent(side, sides[base], (pointwise, simultaneous)) if base else None
            bands.append(
                Band(
                    item=item.id,
                    response=response,
                    unit=unit,
                    time_s=time_s,
                    n=len(item.curves),
                    mean=side.mean,
                    pointwise=_about_mean(side, pointwise),
                    simultaneous=_about_mean(side, simultaneous),
                    percent=against[0] if against else None,
                    percent_pointwise=against[1] if against else None,
                    percent_simultaneous=against[2] if against else None,
                    baseline=base,
                )
            )
    return tuple(bands)


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """Mean curve of one item, variance of that mean from scatter with its degrees of freedom, and type B parts by source."""

    mean: Floats
    variance: Floats
    degrees_of_freedom: Floats
    known: dict[str, Floats]


def _side(item: ItemCurves) -> _Side:
    have = np.isfinite(item.curves)
    n = have.sum(axis=0).astype(float)
    safe = np.where(n > 0, n, np.nan)
    mean = np.where(have, item.curves, 0.0).sum(axis=0) / safe
    rest = np.where(have, item.curves - mean, 0.0)
    dof = np.where(n > 1, n - 1.0, np.nan)
    variance = (rest**2).sum(axis=0) / dof / safe
    known = {s.source: s.relative * mean + s.absolute for s in item.sources if not s.per_run}
    return _Side(mean, variance, dof, known)


def _about_mean(side: _Side, level: float) -> tuple[Floats, Floats]:
    known = sum((part**2 for part in side.known.values()), start=np.zeros_like(side.mean))
    variance = side.variance + known
    dof = np.divide(variance**2 * side.degrees_of_freedom, side.variance**2)
    half = coverage_factors(dof, 1.0 - level) * np.sqrt(variance)
    return side.mean - half, side.mean + half


def _percent(
    a: _Side, b: _Side, levels: tuple[float, float]
) -> tuple[Floats, tuple[Floats, Floats], tuple[Floats, Floats]]:
    ratio = a.mean / b.mean
    gap = a.variance + ratio**2 * b.variance
    denominator = a.variance**2 / a.degrees_of_freedom + (ratio**2 * b.variance) ** 2 / b.degrees_of_freedom
    dof = gap**2 / denominator
    found = []
    for level in levels:
        k2 = coverage_factors(dof, 1.0 - level) ** 2
        square = b.mean**2 - k2 * b.variance
        half = a.mean * b.mean
        root = np.sqrt(np.clip(half**2 - square * (a.mean**2 - k2 * a.variance), 0.0, None))
        safe = np.where(square > 0, square, np.nan)
        edges = 100.0 * ((half - root) / safe - 1.0), 100.0 * ((half + root) / safe - 1.0)
        found.append(edges)
    return 100.0 * (ratio - 1.0), found[0], found[1]


def find_spans(bands: Sequence[Band]) -> tuple[Span, ...]:
    """Stretches of time in which the simultaneous band of a percent difference leaves zero."""
    found: list[Span] = []
    for band in bands:
        if band.percent is None or band.percent_simultaneous is None:
            continue
        lower, upper = band.percent_simultaneous
        side = np.where(lower > 0, 1, np.where(upper < 0, -1, 0))
        edges = np.flatnonzero(np.diff(side, prepend=0, append=0))
        for start, stop in pairwise(edges):
            if side[start] == 0:
                continue
            part = band.percent[start:stop]
            sizes = part[np.argsort(np.abs(part))]
            found.append(
                Span(
                    item=band.item,
                    baseline=band.baseline,
                    response=band.response,
                    from_s=float(band.time_s[start]),
                    to_s=float(band.time_s[stop - 1]),
                    smallest_percent=float(sizes[0]),
                    largest_percent=float(sizes[-1]),
                )
            )
    return tuple(found)
