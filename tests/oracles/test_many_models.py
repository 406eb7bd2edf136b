"""A thousand random models against GTC: value, standard uncertainty and effective degrees of freedom.

Levels share sources of either sign and a scale, and are summed, subtracted, multiplied and turned into percent differences
of each other, several steps deep. Sources are independent of each other, with finite or infinite degrees of freedom: there
the GUM defines effective degrees of freedom (G.4.1), of the sum of every source's contribution, and both programs follow it.
Two values are correlated because they share sources. To inputs of finite degrees of freedom that are correlated otherwise
the GUM gives no rule: GTC refuses them, and here there is no way to say them, except as means of the same sets (Willink
2007), which keep the degrees of freedom of the sets in both: tests/oracles/test_propagation_oracles.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import GTC
import numpy as np
import pytest

from toolbench.metrology import combine, difference, ratio_percent
from toolbench.records.comparison import Component, Estimate

pytestmark = pytest.mark.oracle

MODELS = 1_000
SOURCES = 6


@dataclass(frozen=True)
class Both:
    """One quantity as this package has it and as GTC has it; all have one unit, so that they can be subtracted."""

    ours: Estimate
    theirs: GTC.lib.UncertainReal


def levels(random: np.random.Generator) -> list[Both]:
    """Three levels with some of six sources in common, on one scale whose error is up to twenty times the scatter."""
    u = random.uniform(0.05, 2.0, SOURCES)
    dofs = np.where(random.uniform(size=SOURCES) < 0.3, math.inf, random.integers(2, 40, SOURCES))
    if random.uniform() < 0.05:
        dofs[:] = math.inf
    scale_u = random.uniform(0.001, 0.1)
    scale_dof = math.inf if np.isinf(dofs).all() else random.choice([5.0, 30.0, math.inf])
    sources = [GTC.ureal(0, float(s), float(dof)) for s, dof in zip(u, dofs, strict=True)]
    scale = GTC.ureal(1, float(scale_u), float(scale_dof))
    found = []
    for value in random.uniform(50, 500, 3).tolist():
        weights = random.normal(size=SOURCES) * (random.uniform(size=SOURCES) > 0.3)
        parts = [
            Component(source=f"s{k}", label="", contribution=float(w * s), degrees_of_freedom=float(dof))
            for k, (w, s, dof) in enumerate(zip(weights, u, dofs, strict=True))
            if w
        ]
        parts.append(
            Component(source="scale", label="", contribution=value * scale_u, degrees_of_freedom=float(scale_dof))
        )
        sum_of_errors = sum(float(w) * s for w, s in zip(weights, sources, strict=True) if w)
        found.append(Both(Estimate(value=value, unit="1", components=tuple(parts)), (value + sum_of_errors) * scale))
    return found


def step(random: np.random.Generator, a: Both, b: Both) -> Both:
    kind = random.integers(4)
    x, y = a.ours.value, b.ours.value
    if kind == 0:
        return Both(combine(x + y, "1", [(a.ours, 1.0), (b.ours, 1.0)]), a.theirs + b.theirs)
    if kind == 1:
        return Both(difference(a.ours, b.ours), a.theirs - b.theirs)
    if kind == 2:
        product = combine(x * y / 100, "1", [(a.ours, y / 100), (b.ours, x / 100)])
        return Both(product, a.theirs * b.theirs / 100)
    percent = ratio_percent(a.ours, b.ours)
    # As a factor again, so that the next step has values of one kind; a percent difference may lie near zero.
    return Both(combine(100 + percent.value, "1", [(percent, 1.0)]), 100 + 100 * (a.theirs / b.theirs - 1))


def make(seed: int) -> Both:
    random = np.random.default_rng([20_261_129, seed])
    known = levels(random)
    for _ in range(random.integers(1, 4)):
        first, second = random.choice(len(known), 2, replace=False)
        if abs(known[second].ours.value) < 5.0:  # a base near zero magnifies rounding, which is not what is compared
            first, second = 0, 1
        known.append(step(random, known[first], known[second]))
    return known[-1]


def test_a_thousand_models() -> None:
    infinite = cancelled = 0
    for seed in range(MODELS):
        both = make(seed)
        ours, expected = both.ours, both.theirs
        assert ours.value == pytest.approx(GTC.value(expected), rel=1e-9), seed
        if GTC.uncertainty(expected) < 1e-12:
            # A value over itself: GTC keeps the rounding as an uncertainty with degrees of freedom, here nothing is left.
            assert ours.standard_uncertainty == 0.0, seed
            cancelled += 1
            continue
        assert ours.standard_uncertainty == pytest.approx(GTC.uncertainty(expected), rel=1e-9, abs=0), seed
        assert ours.degrees_of_freedom == pytest.approx(GTC.dof(expected), rel=1e-9), seed
        infinite += math.isinf(ours.degrees_of_freedom)
    # Nearly all models have finite degrees of freedom, some infinite ones, and hardly any cancel.
    assert infinite >= 0.02 * MODELS
    assert infinite + cancelled <= 0.1 * MODELS
