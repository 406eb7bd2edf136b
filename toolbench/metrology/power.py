"""How many runs a side a difference needs, from the scatter of single runs: the power of the test that reports make.

Scatter and difference are shares of the base's level, and the item reads 1 + d where the base reads 1. A report shows d as
resolved where Fieller's interval of the ratio leaves 1, which is where (a - b)^2 > k^2 u^2(a - b): the test is on a - r b at
r = 1. Each side scatters in proportion to its own level, so

    u^2(a - b) = s^2 (1 + (1 + d)^2) / n,

not 2 s^2 / n: at 50 % the first is 1.63 times the second. k is taken at the degrees of freedom of a - r b at the ratio found
(Welch-Satterthwaite), n - 1 to 2 (n - 1) as the two estimated variances fall out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from toolbench.metrology.family import FamilyItem, FamilyRow, family_level
from toolbench.metrology.intervals import chi_nodes, coverage_factor
from toolbench.metrology.propagation import welch_satterthwaite
from toolbench.metrology.samples import FEWEST_BLOCKS
from toolbench.metrology.type_a import mean_and_sd
from toolbench.records.comparison import Interval
from toolbench.records.runs import Floats

MOST_RUNS = 200
"""More runs a side than this are not planned: a bench of another kind is needed."""

_DRAWS = 6_000
"""Null draws for a planned level: it is then known to some 5 %, and the runs needed to less than one in ten."""

_NODES = 32
"""Of each side's variance: power is then right to 1e-6."""

_LARGEST = 100.0
"""No difference beyond a hundred times the base is looked for."""

_MANY = 1e6
"""Degrees of freedom that stand for infinitely many."""

_LEVELS_AT = (2, 3, 4, 5, 6, 8, 10, 14, 20, 35, 70, MOST_RUNS)
"""Runs at which the family's level is drawn; between them it is taken from its neighbours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Scatter of one run as a share of the level. `degrees_of_freedom` is inf where it is stated, not found."""

    sd: float
    degrees_of_freedom: float

    def interval(self, confidence: float = 0.95) -> Interval:
        """Two-sided interval of the standard deviation from its chi-squared distribution.

        References
        ----------
        NIST/SEMATECH e-Handbook 7.2.3.1 (test of a standard deviation, turned into its interval).
        """
        dof = self.degrees_of_freedom
        if math.isinf(dof):
            return Interval(lower=self.sd, upper=self.sd)
        tail = 0.5 * (1.0 - confidence)
        return Interval(
            lower=self.sd * math.sqrt(dof / float(special.chdtri(dof, tail))),
            upper=self.sd * math.sqrt(dof / float(special.chdtri(dof, 1.0 - tail))),
        )


def residual_scatter(groups: Sequence[Floats], blocks: Sequence[Sequence[str]] = ()) -> Scatter | None:
    """Relative scatter of repeats pooled over groups of like runs; with `blocks`, after what a whole block shares.

    Parameters
    ----------
    groups : each of shape (runs,)
        Values of one item; nan where a run has none. Each is divided by its item's mean.
    blocks
        One name per run and group. What the runs of one block share is fitted together with the items' levels.

    Returns
    -------
    Scatter or None
        None where nothing was repeated. Constant readings give a scatter of 0.
    """
    values: list[float] = []
    columns: list[tuple[int, str]] = []
    for k, group in enumerate(groups):
        known = np.isfinite(group)
        mean = mean_and_sd(group)[0]
        if not known.any() or mean == 0:
            continue
        values += ((group[known] / mean) - 1.0).tolist()
        names = list(blocks[k]) if blocks else [""] * len(group)
        columns += [(k, name) for name, use in zip(names, known, strict=True) if use]
    if not values:
        return None
    design = _dummies(columns)
    data = np.array(values)
    fitted, _, rank, _ = np.linalg.lstsq(design, data, rcond=None)
    dof = data.size - int(rank)
    if dof < 1:
        return None
    rest = data - design @ fitted
    # Differences of equal readings leave rounding only.
    sd = math.sqrt(math.fsum(rest * rest) / dof)
    return Scatter(sd=sd if sd > 1e-12 else 0.0, degrees_of_freedom=float(dof))


def _dummies(columns: Sequence[tuple[int, str]]) -> Floats:
    """A column for every item and, beside the first, for every block."""
    items = list(dict.fromkeys(k for k, _ in columns))
    names = list(dict.fromkeys(name for _, name in columns))[1:]
    return np.array([[float(k == item) for item in items] + [float(b == name) for name in names] for k, b in columns])


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """How one side's runs are judged.

    `fixed` is the relative standard uncertainty of a difference that more runs do not shrink (a zero error that all runs
    share), with `fixed_degrees_of_freedom`. `shared` is how the level of a whole block scatters, as a share of it: of that,
    d times as much stays in a difference within the block.
    """

    in_blocks: bool
    fixed: float = 0.0
    fixed_degrees_of_freedom: float = math.inf
    shared: float = 0.0

    @property
    def fewest(self) -> int:
        return FEWEST_BLOCKS if self.in_blocks else 2

    def uncertainty(self, sd: float, runs: int) -> tuple[float, float]:
        """Standard uncertainty of the relative difference of two like items with `runs` each, and its degrees of freedom."""
        dof = float(runs - 1 if self.in_blocks else 2 * (runs - 1))
        scatter = sd * math.sqrt(2.0 / runs)
        if self.fixed == 0:
            return scatter, dof
        return math.hypot(scatter, self.fixed), welch_satterthwaite(
            [scatter, self.fixed], [dof, self.fixed_degrees_of_freedom]
        )


Level = Callable[[int], float]
"""Error probability per row, two-sided, at so many runs a side."""


def one_row(confidence: float = 0.95) -> Level:
    """The level of a row that is judged alone."""
    return lambda runs: 1.0 - confidence


def power_of_runs(difference: float, sd: float, runs: int, side: Side, level: float = 0.05) -> float:
    """Probability that `runs` a side show a relative `difference` as resolved, two-sided at `level`.

    Given the estimated variances V, the test resolves where |d + U Z| > k sqrt(V), with Z normal and U the standard
    uncertainty that the difference has in truth; the mean over the distributions of the variances is the power. In blocks
    without a fixed part that is the non-central t-distribution with n - 1 degrees of freedom. Apart, each side's variance
    has a distribution of its own (n - 1 degrees of freedom each), and k follows from both.

    References
    ----------
    Fieller, J. R. Stat. Soc. B 16 (1954) 175, for the test; GUM G.4 for k. That the ratio found enters k is neglected, and
    that a fixed part's size is taken as known; simulated power of planned runs agrees to 0.5 %.
    """
    exact, estimated, dof, weights = _variances(difference, sd, runs, side)
    if exact == 0:
        return 1.0
    limit = special.stdtrit(np.minimum(dof, _MANY), 1.0 - 0.5 * level) * np.sqrt(estimated)
    resolved = special.ndtr((difference - limit) / exact) + special.ndtr((-difference - limit) / exact)
    return float(np.sum(weights * resolved))


def _variances(difference: float, sd: float, runs: int, side: Side) -> tuple[float, Floats, Floats, Floats]:
    """True standard uncertainty of a - b; and as they fall out: its estimated variance, degrees of freedom, and weights."""
    base, item, fixed = sd**2 / runs, ((1.0 + difference) * sd) ** 2 / runs, side.fixed**2
    if side.in_blocks:
        scatter = base + item + (difference * side.shared) ** 2 / runs
        scales, weights = chi_nodes(float(runs - 1))
        found = scatter * scales**2
        parts, tested = found**2 / (runs - 1), found
    else:
        scatter = base + item
        scales, line = chi_nodes(float(runs - 1), _NODES)
        first, second = item * scales[:, np.newaxis] ** 2, base * scales**2
        found, weights = first + second, np.outer(line, line)
        at_ratio = second * (1.0 + difference) ** 2
        parts, tested = (first**2 + at_ratio**2) / (runs - 1), first + at_ratio
    dof = (tested + fixed) ** 2 / np.maximum(parts + fixed**2 / side.fixed_degrees_of_freedom, 1e-300)
    return math.sqrt(scatter + fixed), found + fixed, dof, weights


def needed_runs(difference: float, sd: float, side: Side, power: float, level: Level) -> int | None:
    """Fewest runs a side that show a relative `difference` with probability `power`; None where `MOST_RUNS` do not."""

    def reached(runs: int) -> bool:
        return power_of_runs(difference, sd, runs, side, level(runs)) >= power

    if reached(side.fewest):
        return side.fewest
    if not reached(MOST_RUNS):
        return None
    short, enough = side.fewest, MOST_RUNS
    while enough - short > 1:
        middle = (short + enough) // 2
        short, enough = (short, middle) if reached(middle) else (middle, enough)
    return enough


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """What so many runs a side resolve with 80 % power, and the expected half width of the interval; relative, nan: nothing."""

    runs: int
    resolvable: float
    half_width: float


def bought(sd: float, runs: int, side: Side, level: float, power: float = 0.8) -> Bought:
    """What `runs` a side give at a scatter of `sd`.

    The half width is the coverage factor times the standard uncertainty of a difference of like items: the root of the mean
    square of the half widths that such runs give. What is resolvable is a difference upwards, which takes more than one down.
    """
    if runs < side.fewest:
        return Bought(runs=runs, resolvable=math.nan, half_width=math.nan)
    u, dof = side.uncertainty(sd, runs)
    return Bought(
        runs=runs,
        resolvable=_resolvable(sd, runs, side, level, power),
        half_width=coverage_factor(dof, 1.0 - level) * u,
    )


def _resolvable(sd: float, runs: int, side: Side, level: float, power: float) -> float:
    """The difference that `runs` a side show with probability `power`; nan where none up to `_LARGEST` is."""
    if sd == 0 and side.fixed == 0:
        return 0.0
    lower, upper = 0.0, max(sd, side.fixed)
    while power_of_runs(upper, sd, runs, side, level) < power:
        lower, upper = upper, 2.0 * upper
        if upper > _LARGEST:
            return math.nan
    while upper - lower > 1e-5 * upper:
        middle = 0.5 * (lower + upper)
        if power_of_runs(middle, sd, runs, side, level) < power:
            lower = middle
        else:
            upper = middle
    return upper


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedFamily:
    """The rows of a report that hold together: pairs of items (by place) and the correlation between rows, (rows, rows)."""

    pairs: tuple[tuple[int, int], ...]
    correlation: tuple[tuple[float, ...], ...]
    in_blocks: bool
    confidence: float = 0.95

    @property
    def size(self) -> int:
        return len(self.pairs) * len(self.correlation)

    def level(self, runs: int) -> float:
        """Error probability per row at so many runs a side, as reports find it; drawn at a few numbers of runs only."""
        if self.size < 2:
            return 1.0 - self.confidence
        runs = min(max(runs, _LEVELS_AT[0]), MOST_RUNS)
        above = next(n for n in _LEVELS_AT if n >= runs)
        if above == runs:
            return self._drawn(runs)
        below = max(n for n in _LEVELS_AT if n < above)
        share = (1.0 / below - 1.0 / runs) / (1.0 / below - 1.0 / above)
        return math.exp((1.0 - share) * math.log(self._drawn(below)) + share * math.log(self._drawn(above)))

    def _drawn(self, runs: int) -> float:
        return _drawn_level(self, runs)


@lru_cache(maxsize=1024)
def _drawn_level(family: PlannedFamily, runs: int) -> float:
    count = len(family.correlation)
    in_blocks = family.in_blocks and runs >= FEWEST_BLOCKS
    rows = [
        FamilyRow(
            item=a,
            base=b,
            row=r,
            a_scatter=1.0,
            b_scatter=1.0,
            block_scatter=math.sqrt(2.0) if in_blocks else None,
            known={},
        )
        for a, b in family.pairs
        for r in range(count)
    ]
    items = 1 + max(place for pair in family.pairs for place in pair)
    judged = [FamilyItem(n=(runs,) * count, lent_degrees_of_freedom=(math.nan,) * count)] * items
    return family_level(rows, judged, np.array(family.correlation), confidence=family.confidence, draws=_DRAWS)
