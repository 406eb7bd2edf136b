"""Propagation of distributions by Monte Carlo (JCGM 101): a check on what linear propagation makes of a percent difference.

The inputs are those of the linear budget, normal with their standard uncertainties: a source that two levels share is drawn
once for both, a scale error multiplies its level, every other error is added to it. What the scatter of repeats contains
is not drawn again. The seed is fixed, so the same inputs give the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from toolbench.metrology.intervals import coverage_factor
from toolbench.records.comparison import CheckedRow, Component, Difference, Estimate, Interval, Level, MonteCarlo
from toolbench.records.runs import Floats

DRAWS = 1_000_000
SEED = 20_080_101
"""Any number would do; a fixed one makes a page the same whenever it is made again."""
BLOCK = 50_000
"""Draws held at a time per input; of the output all are kept, 8 MB for a million."""
NOTABLE = 0.05
"""Share of the linear half width by which the Monte Carlo one may differ before the page says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """An input quantity and how it is drawn: `u` is its standard deviation, for "t" the scale (JCGM 101 6.4.9.2)."""

    value: float
    u: float
    shape: Literal["normal", "rectangular", "t"] = "normal"
    degrees_of_freedom: float = math.inf

    def draw(self, generator: np.random.Generator, count: int) -> Floats:
        """`count` values at random."""
        if self.shape == "rectangular":
            return self.value + self.u * math.sqrt(3.0) * generator.uniform(-1.0, 1.0, count)
        if self.shape == "t" and math.isfinite(self.degrees_of_freedom):
            return self.value + self.u * generator.standard_t(self.degrees_of_freedom, count)
        return self.value + self.u * generator.standard_normal(count)


@dataclass(frozen=True, slots=True)
class Propagated:
    """What the draws of an output show; both intervals hold the same share of them."""

    mean: float
    standard_deviation: float
    symmetric: Interval
    shortest: Interval
    draws: int


def propagate(
    model: Callable[[Mapping[str, Floats]], Floats],
    inputs: Mapping[str, Drawn],
    *,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Propagated:
    """Propagate independent input quantities through a model.

    Parameters
    ----------
    model
        Takes each input as an array of draws, by name, and returns the output for every draw.
    inputs
        The input quantities by the names the model knows.

    References
    ----------
    JCGM 101:2008, 7.2 to 7.7.
    """
    return summarise_draws(
        _in_blocks(lambda generator, n: model({k: x.draw(generator, n) for k, x in inputs.items()}), draws, seed),
        confidence,
    )


def _in_blocks(draw: Callable[[np.random.Generator, int], Floats], draws: int, seed: int) -> Floats:
    generator = np.random.default_rng(seed)
    outcome = np.empty(draws)
    for start in range(0, draws, BLOCK):
        count = min(BLOCK, draws - start)
        outcome[start : start + count] = draw(generator, count)
    return outcome


def summarise_draws(outcome: Floats, confidence: float = 0.95) -> Propagated:
    """Mean, standard deviation and coverage intervals of the draws of an output; `outcome` is sorted in place.

    Raises
    ------
    ValueError
        Where there are too few draws for an interval at this confidence.

    References
    ----------
    JCGM 101:2008, 7.6 (estimate and standard uncertainty) and 7.7 (intervals): q is the whole number nearest to p M.
    """
    count = outcome.size
    held = int(confidence * count + 0.5)
    if not 0 < held < count:
        raise ValueError(f"{count} draws are too few for an interval that holds {confidence:g} of them")
    outcome.sort()
    below = (count - held + 1) // 2
    shortest = int(np.argmin(outcome[held:] - outcome[:-held]))
    return Propagated(
        mean=float(outcome.mean()),
        standard_deviation=float(outcome.std(ddof=1)),
        symmetric=Interval(lower=float(outcome[below - 1]), upper=float(outcome[below - 1 + held])),
        shortest=Interval(lower=float(outcome[shortest]), upper=float(outcome[shortest + held])),
        draws=count,
    )


@dataclass(frozen=True, slots=True)
class _Errors:
    """The errors of two levels a and b, ready to be drawn: columns are sources, `adds` in the level's unit, `scales` relative."""

    values: tuple[float, float]
    adds: tuple[tuple[float, float, float, str], ...]
    scales: tuple[tuple[float, float, float, str], ...]
    paired: tuple[float, float, float, float] | None

    def percent(self, generator: np.random.Generator, count: int, *, t_inputs: bool) -> Floats:
        """Draws of 100 (a / b - 1)."""
        a, b = np.full(count, self.values[0]), np.full(count, self.values[1])
        spread: dict[str, Floats] = {}

        def draw(dof: float, ensemble: str) -> Floats:
            found = generator.standard_normal(count)
            if not t_inputs or not math.isfinite(dof):
                return found
            # Members of one ensemble were found from the same sets, so they share one estimate of scatter.
            if ensemble not in spread:
                spread[ensemble] = np.sqrt(generator.chisquare(dof, count) / dof)
            return np.asarray(found / spread[ensemble])

        for in_a, in_b, dof, ensemble in self.adds:
            error = draw(dof, ensemble)
            a += in_a * error
            b += in_b * error
        if self.paired is not None:
            u_a, u_b, correlation, dof = self.paired
            first, second = draw(dof, "blocks"), draw(dof, "blocks")
            b += u_b * first
            a += u_a * (correlation * first + math.sqrt(1.0 - correlation**2) * second)
        for in_a, in_b, dof, ensemble in self.scales:
            error = draw(dof, ensemble)
            a *= 1.0 + in_a * error
            b *= 1.0 + in_b * error
        return np.asarray(100.0 * (a / b - 1.0))


def _is_scale(component: Component) -> bool:
    """Whether an input is a factor of one that multiplies the level."""
    return component.unit == "1" and component.value == 1.0


def _errors(a: Estimate, b: Estimate, row: Difference, *, t_inputs: bool) -> _Errors:
    # Repeats that all read alike leave a level unknown; in an assessed difference they add nothing to draw.
    sides = [{c.source: c for c in e.components if not c.contained and not math.isnan(c.contribution)} for e in (a, b)]
    paired = _in_pairs(sides[0], sides[1], row) if row.blocks else None
    adds, scales = [], []
    alone = [0.0, 0.0]
    for source in dict.fromkeys([*sides[0], *sides[1]]):
        first, second = sides[0].get(source), sides[1].get(source)
        known = [c for c in (first, second) if c is not None]
        if paired is not None and known[0].evaluation == "A":
            continue
        pair = [c.contribution if c is not None else 0.0 for c in (first, second)]
        dof = min(c.degrees_of_freedom for c in known)
        if all(map(_is_scale, known)):
            shares = [part / e.value for part, e in zip(pair, (a, b), strict=True)]
            scales.append((shares[0], shares[1], dof, source.partition("#")[0]))
        elif len(known) == 1 and not (t_inputs and math.isfinite(dof)):
            # Normal errors of one level alone add to one normal error: fewer draws, the same distribution.
            alone = [math.hypot(so_far, part) for so_far, part in zip(alone, pair, strict=True)]
        else:
            adds.append((pair[0], pair[1], dof, source.partition("#")[0]))
    adds += [(alone[0], 0.0, math.inf, "")] * (alone[0] > 0) + [(0.0, alone[1], math.inf, "")] * (alone[1] > 0)
    return _Errors((a.value, b.value), tuple(adds), tuple(scales), paired)


def _in_pairs(
    a: Mapping[str, Component], b: Mapping[str, Component], row: Difference
) -> tuple[float, float, float, float]:
    """Type A uncertainty of both levels, their correlation within blocks, and its degrees of freedom.

    The scatter of the differences within blocks gives the covariance: u^2(a - b) = u^2(a) + u^2(b) - 2 u(a, b).
    """
    u_a, u_b, u_gap = (
        math.hypot(*(c.contribution for c in parts if c.evaluation == "A" and not c.contained))
        for parts in (a.values(), b.values(), row.difference.components)
    )
    size = 2.0 * u_a * u_b
    correlation = (u_a**2 + u_b**2 - u_gap**2) / size if size > 0 else 0.0
    return u_a, u_b, min(max(correlation, -1.0), 1.0), float(row.blocks - 1)


def check_differences(
    levels: Sequence[Level],
    differences: Sequence[Difference],
    confidence: float,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    t_inputs: bool = False,
) -> MonteCarlo:
    """Monte Carlo intervals of percent differences beside those of linear propagation.

    Parameters
    ----------
    levels, differences
        Those of one comparison. A difference that was not assessed has no row in the outcome.
    confidence
        Two-sided. The linear half width beside the draws uses the same normal inputs, so its factor is the normal one.
    draws, seed
        The same seed serves every row; draws are made in blocks.
    t_inputs
        Also draw every input with finite degrees of freedom from its t-distribution, as information. Such intervals exceed
        those of Welch-Satterthwaite by 1.66, 1.33 and 1.21 at 3, 4 and 5 runs a side: no fault of linear propagation.

    References
    ----------
    JCGM 101:2008, 5.9 to 5.11, 6.4.7, 6.4.9 and 8.
    """
    known = {(one.item, one.response, one.metric, one.at): one.estimate for one in levels}
    rows = []
    for row in differences:
        where = (row.response, row.metric, row.at)
        sides = row.within or (known[(row.item, *where)], known[(row.baseline, *where)])
        u = row.percent.standard_uncertainty
        if not (math.isfinite(u) and u > 0 and math.isfinite(row.percent.value)):
            continue
        found = _drawn(*sides, row, confidence, draws, seed, t_inputs=False)
        wide = _drawn(*sides, row, confidence, draws, seed, t_inputs=True) if t_inputs else None
        # A ratio to what may be zero has neither: each run of draws would show another.
        settles = math.isfinite(row.interval.lower)
        rows.append(
            CheckedRow(
                item=row.item,
                baseline=row.baseline,
                response=row.response,
                metric=row.metric,
                at=row.at,
                linear_percent=row.percent.value,
                linear_half_width=coverage_factor(math.inf, confidence) * u,
                mean=found.mean if settles else math.nan,
                standard_deviation=found.standard_deviation if settles else math.nan,
                symmetric=found.symmetric,
                shortest=found.shortest,
                t_symmetric=wide.symmetric if wide is not None else None,
                printed=row.interval,
            )
        )
    return MonteCarlo(rows=tuple(rows), draws=draws, seed=seed, confidence=confidence, notable=NOTABLE)


def _drawn(
    a: Estimate, b: Estimate, row: Difference, confidence: float, draws: int, seed: int, *, t_inputs: bool
) -> Propagated:
    errors = _errors(a, b, row, t_inputs=t_inputs)
    outcome = _in_blocks(lambda generator, n: errors.percent(generator, n, t_inputs=t_inputs), draws, seed)
    return summarise_draws(outcome, confidence)
