"""Bands on mean curves and on the percent difference against time, pointwise and simultaneous.

A pointwise band holds at any one time, a simultaneous one at all times of the grid together. Both come from the scatter
of repeats at each time, or of blocks or sittings where these judge a row of the tables, with one degree of freedom less than
there are of them, the percent difference by Fieller's theorem. Few runs look alike somewhere along a curve by chance, and a
band that believed it would have to be wide everywhere else: for the simultaneous band the scatter at a time is therefore at
least the item's scatter over the whole run, in the shape learned from all runs, and sittings judge all of the run or none of
it. Its level per point, which `null_curves` finds, takes that into account; it is nowhere narrower than the pointwise band.
Scale errors that two items share cancel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from toolbench.metrology.intervals import coverage_factors
from toolbench.metrology.null_curves import NullCurves, learn_scatter
from toolbench.metrology.reached import measured_coverage
from toolbench.metrology.sides import ErrorAlong, ItemCurves, Side, Sides, find_pair, find_sides, known_variance
from toolbench.records.comparison import Band
from toolbench.records.runs import Floats

_ONE_SCALE = 1e-9


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
        (item, base) ids. An item without a pair gets its mean and bands only; an item with several pairs gets a band
        for each. Pairs are judged by differences within blocks where rows are (`pairing`).
    extra_residuals : each of shape (runs, grid)
        Curves of other repeated runs of the protocol on the same rig, one array per tool and setup: how scatter moves
        along time is learned from them too. Their level does not matter, only deviations from their mean are used.
    draws
        Null draws for the simultaneous level.

    Returns
    -------
    tuple of Band
        In the order of items, then their pairs. Bands are nan with a single run, and where the base is not well away
        from zero.

    Raises
    ------
    ValueError
        If curves do not lie on the grid.

    Notes
    -----
    Joint coverage found by simulation: tests/benchmarks/band_coverage.py.
    """
    for item in items:
        if item.curves.ndim != 2 or item.curves.shape[1] != time_s.size:
            raise ValueError(f"curves of {item.id!r} need the shape (runs, {time_s.size}); got {item.curves.shape}")
    sides = find_sides(items)
    known = {item.id: item for item in items}
    contests = {pair: find_pair(known[pair[0]], known[pair[1]], sides) for pair in pairs}
    null = _null([*(side.whole.curves for side in sides.values()), *extra_residuals], confidence, draws)
    # What a block does to all items alike is in their scatter, and makes it smooth, but not in differences within blocks.
    gaps = [_gaps(a.whole, b.whole) for a, b, in_blocks in contests.values() if in_blocks]
    between = _null(gaps, confidence, draws) if gaps else null
    bands: list[Band] = []
    for item in items:
        for base in [base for name, base in pairs if name == item.id] or [""]:
            band = _band(item.id, sides[item.id], null, time_s, response, unit, 1.0 - confidence)
            if base:
                a, b, in_blocks = contests[item.id, base]
                found = _against(a, b, between if in_blocks else null, time_s, 1.0 - confidence, in_blocks)
                band = replace(band, baseline=base, **found)
            bands.append(band)
    return tuple(bands)


_Pair = tuple[Floats, Floats]


def _null(groups: Sequence[Floats], confidence: float, draws: int) -> NullCurves | None:
    model = learn_scatter(groups)
    return NullCurves(model, confidence=confidence, draws=draws) if model is not None else None


def _gaps(a: Side, b: Side) -> Floats:
    """What the curves of `a` differ from those of `b` in the same block, less the mean ratio, shape (blocks, grid)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(a.curves - a.mean / b.mean * b.curves, dtype=float)


def _band(
    item: str,
    sides: Sides,
    null: NullCurves | None,
    time_s: Floats,
    response: str,
    unit: str,
    level: float,
) -> Band:
    side, whole = sides.alone, sides.whole
    strict, n = level, len(whole.curves)
    if null is not None and n > 1:
        along = _along(whole, null)
        strict, whole = null.mean_level(n, along, _known(whole)[0]), whole.floored(along)
    point = _half_width(side, level)
    joint = np.maximum(_half_width(whole, strict), point)
    return Band(
        item=item,
        response=response,
        unit=unit,
        time_s=time_s,
        n=side.runs,
        mean=side.mean,
        pointwise=(side.mean - point, side.mean + point),
        simultaneous=(side.mean - joint, side.mean + joint),
    )


def _known(side: Side) -> tuple[Floats, Floats]:
    """Variance of the mean that is not scatter, and its part of Welch and Satterthwaite's sum."""
    parts = ((source, one.size, one.degrees_of_freedom) for source, one in side.known.items())
    variance, part = known_variance(parts)
    return np.zeros_like(side.mean) + variance, np.zeros_like(side.mean) + part


def _half_width(side: Side, level: float) -> Floats:
    known, part = _known(side)
    variance = side.of_mean + known
    with np.errstate(divide="ignore", invalid="ignore"):
        dof = variance**2 / (side.of_mean**2 / side.dof + part)
    return np.asarray(coverage_factors(dof, 1.0 - level) * np.sqrt(variance), dtype=float)


def _along(side: Side, null: NullCurves) -> Floats:
    """Variance of one run along time for the simulation: the item's own size, the shape learned from all."""
    finite = side.variance[np.isfinite(side.variance)]
    return null.model.profile * (float(finite.mean()) if finite.size else 0.0)


def _against(
    item: Sides, base: Sides, null: NullCurves | None, time_s: Floats, level: float, in_blocks: bool
) -> dict[str, Any]:
    """The fields of a band that speak of the percent difference of an item from its base."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(base.alone.mean != 0, item.alone.mean / base.alone.mean, np.nan)
        point = _errors(item.alone, base.alone, ratio, in_blocks).band(level)
        together, about = _together(item.whole, base.whole, null, time_s, level, ratio, in_blocks)
    return {
        "percent": 100.0 * (ratio - 1.0),
        "percent_pointwise": point,
        # Degrees of freedom that differ between the two could let one time alone be judged wider than all together.
        "percent_simultaneous": (np.minimum(together[0], point[0]), np.maximum(together[1], point[1])),
        **about,
    }


def _together(
    a: Side, b: Side, null: NullCurves | None, time_s: Floats, level: float, ratio: Floats, in_blocks: bool
) -> tuple[_Pair, dict[str, Any]]:
    """Both edges that hold at all times together, and the fields that say what they rest on."""
    errors, runs = _errors(a, b, ratio, in_blocks), min(len(a.curves), len(b.curves))
    if null is None or runs < 2:
        return errors.band(level), {}
    known, slope = _filled(errors.rest(ratio)), _filled(ratio**2)
    of_a, of_b = _along(a, null), _along(b, null)
    share = null.model.length / max(time_s.size - 1, 1)
    spread = math.nan
    if in_blocks:
        of_gaps = null.model.profile * float(_filled(errors.gap_variance).mean())
        strict = null.mean_level(runs, of_gaps, known)
        errors = _errors(a, b, ratio, in_blocks, of_gaps)
    else:
        strict = null.difference_level(len(a.curves), of_a, len(b.curves), slope * of_b, known)
        errors = _errors(a.floored(of_a), b.floored(of_b), ratio, in_blocks)
        spread = _larger_over_smaller(float(of_a.mean()), float(np.mean(slope * of_b)))
    return errors.band(strict), {
        "correlation_s": share * float(time_s[-1] - time_s[0]),
        "scatter_ratio": spread,
        "coverage": measured_coverage(runs, share, spread),
    }


def _larger_over_smaller(a_variance: float, b_variance: float) -> float:
    small, large = sorted((a_variance, b_variance))
    return math.sqrt(large / small) if small > 0 else math.nan


def _filled(values: Floats) -> Floats:
    """Points without a value take the median of the others: they have no band, and shall not spoil the simulation."""
    finite = values[np.isfinite(values)]
    return np.where(np.isfinite(values), values, float(np.median(finite)) if finite.size else 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Errors:
    """Fieller's terms at every time: variances of both means, their covariance, and effective degrees of freedom."""

    a: Floats
    b: Floats
    a_variance: Floats
    b_variance: Floats
    covariance: Floats
    dof: Floats
    known: tuple[_Shared, ...]
    gap_variance: Floats

    def rest(self, ratio: Floats) -> Floats:
        """Variance of a - r b that is not scatter."""
        return np.zeros_like(self.a) + _rest(self.known, ratio)[0]

    def band(self, level: float) -> _Pair:
        """Lower and upper percent difference; nan where the base is not well away from zero."""
        k2 = coverage_factors(self.dof, 1.0 - level) ** 2
        square = self.b**2 - k2 * self.b_variance
        half = self.a * self.b - k2 * self.covariance
        constant = self.a**2 - k2 * self.a_variance
        root = np.sqrt(np.clip(half**2 - square * constant, 0.0, None))
        with np.errstate(invalid="ignore"):
            safe = np.where(square > 0, square, np.nan)
        return 100.0 * ((half - root) / safe - 1.0), 100.0 * ((half + root) / safe - 1.0)


def _errors(a: Side, b: Side, ratio: Floats, in_blocks: bool, least_gaps: Floats | float = 0.0) -> _Errors:
    """Fieller's terms; in blocks the variance of the gaps is `least_gaps` at least."""
    known = _kept_sources(a, b)
    a_variance, b_variance = a.of_mean, b.of_mean
    shared = np.zeros_like(ratio)
    gap_variance = np.full_like(ratio, np.nan)
    if in_blocks:
        n = len(a.curves)
        shared = np.sum((a.curves - a.mean) * (b.curves - b.mean), axis=0) / (n - 1.0) / n
        scatter = np.clip(a_variance - 2.0 * ratio * shared + ratio**2 * b_variance, 0.0, None)
        gap_variance = np.maximum(n * scatter, least_gaps)
        a_variance = a_variance + (gap_variance / n - scatter)
        scatter = gap_variance / n
        denominator = scatter**2 / (n - 1.0)
    else:
        scatter = a_variance + ratio**2 * b_variance
        denominator = a_variance**2 / a.dof + (ratio**2 * b_variance) ** 2 / b.dof
    rest, part = _rest(known, ratio)
    for one in known:
        a_variance, b_variance = a_variance + one.in_a**2, b_variance + one.in_b**2
        shared = shared + one.in_a * one.in_b
    dof = (scatter + rest) ** 2 / (denominator + part)
    return _Errors(a.mean, b.mean, a_variance, b_variance, shared, dof, tuple(known), gap_variance)


@dataclass(frozen=True, slots=True, eq=False)
class _Shared:
    """What one source does to both means."""

    source: str
    in_a: Floats
    in_b: Floats
    degrees_of_freedom: Floats | float


def _rest(known: Sequence[_Shared], ratio: Floats) -> tuple[Floats | float, Floats | float]:
    return known_variance((one.source, one.in_a - ratio * one.in_b, one.degrees_of_freedom) for one in known)


def _kept_sources(a: Side, b: Side) -> list[_Shared]:
    """Contributions of every source to both means, without scale errors that the two share."""
    none = ErrorAlong(size=np.zeros_like(a.mean))
    kept = []
    for source in dict.fromkeys([*a.known, *b.known]):
        one, other = a.known.get(source, none), b.known.get(source, none)
        crossed = one.size * b.mean, other.size * a.mean
        same = np.abs(crossed[0] - crossed[1]) <= _ONE_SCALE * np.abs(crossed[0])
        if not np.all(same | ~np.isfinite(crossed[0])):
            dof = np.minimum(one.degrees_of_freedom, other.degrees_of_freedom)
            kept.append(_Shared(source, one.size, other.size, dof))
    return kept
