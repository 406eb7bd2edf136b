"""Linear propagation of uncertainty by source (GUM 5): the same source in two values is the same error.

An *ensemble* is a set of means taken from the same runs, correlated by their scatter (GUM H.2). Its members share hidden
components named `NAME#0`, `NAME#1`, ...; their variances are added before Welch-Satterthwaite, so n simultaneous sets
keep n - 1 degrees of freedom whatever is computed from them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from toolbench.records.comparison import Component, Estimate
from toolbench.records.runs import Floats

_CANCELS = 1e-12
"""Contributions of one source that add up to less than this share of the largest are rounding, not uncertainty."""


def combine(value: float, unit: str, terms: Sequence[tuple[Estimate, float]]) -> Estimate:
    """The estimate `value` whose error is the sum of each term's error times its sensitivity.

    Parameters
    ----------
    value, unit
        The result as computed from the terms' values.
    terms
        Pairs of an estimate and the sensitivity of the result to it [unit / the estimate's unit].

    Returns
    -------
    Estimate
        One component per source, contributions of one source added with their signs, largest first. What scatter already
        contains stays marked as contained.

    References
    ----------
    GUM 5.1.2, 5.2.2 and G.4; Willink, Metrologia 44 (2007) 340 for ensembles.
    """
    parts: dict[tuple[str, bool], list[tuple[Component, float]]] = {}
    for estimate, sensitivity in terms:
        for component in estimate.components:
            key = (component.source, component.contained)
            parts.setdefault(key, []).append((component, sensitivity * component.contribution))
    components = sorted((_merge(part) for part in parts.values()), key=_by_size)
    return Estimate(
        value=value,
        unit=unit,
        components=tuple(components),
        degrees_of_freedom_override=_ensemble_degrees_of_freedom(components),
    )


def _by_size(component: Component) -> tuple[bool, float, str]:
    size = abs(component.contribution)
    return component.contained, -size if math.isfinite(size) else -math.inf, component.source


def _merge(part: Sequence[tuple[Component, float]]) -> Component:
    contributions = [contribution for _, contribution in part]
    total = math.fsum(contributions) if all(map(math.isfinite, contributions)) else math.nan
    if abs(total) < _CANCELS * max(map(abs, contributions)):
        total = 0.0
    return replace(
        part[0][0],
        contribution=total,
        degrees_of_freedom=min(component.degrees_of_freedom for component, _ in part),
    )


def ensemble_of(source: str) -> str:
    """The ensemble that a source belongs to, the source itself where it stands alone.

    >>> ensemble_of("sets#2"), ensemble_of("scale/cell")
    ('sets', 'scale/cell')
    """
    return source.partition("#")[0]


def _ensemble_degrees_of_freedom(components: Sequence[Component]) -> float | None:
    """Welch-Satterthwaite with the hidden components of an ensemble taken together; None where there is no ensemble."""
    used = [c for c in components if not c.contained]
    if any(math.isnan(c.contribution) for c in used):
        return math.nan
    if not any("#" in c.source for c in used):
        return None
    variances: dict[str, tuple[float, float]] = {}
    for c in used:
        name = ensemble_of(c.source)
        variances[name] = (variances.get(name, (0.0, 0.0))[0] + c.contribution**2, c.degrees_of_freedom)
    return welch_satterthwaite(
        [math.sqrt(variance) for variance, _ in variances.values()], [dof for _, dof in variances.values()]
    )


def welch_satterthwaite(contributions: Sequence[float], degrees_of_freedom: Sequence[float]) -> float:
    """Effective degrees of freedom of a sum of independent contributions; inf where all are known exactly.

    References
    ----------
    GUM G.4.1, equation (G.2b).
    """
    pairs = list(zip(contributions, degrees_of_freedom, strict=True))
    denominator = math.fsum(c**4 / dof for c, dof in pairs if math.isfinite(dof))
    return math.fsum(c * c for c, _ in pairs) ** 2 / denominator if denominator > 0 else math.inf


def ratio_percent(a: Estimate, b: Estimate) -> Estimate:
    """`a` as a percent difference from `b`: 100 (a / b - 1) [%]. A shared scale cancels, a shared zero error does not."""
    if b.value == 0 or not (math.isfinite(a.value) and math.isfinite(b.value)):
        return Estimate(value=math.nan, unit="%", degrees_of_freedom_override=math.nan)
    ratio = a.value / b.value
    return combine(100.0 * (ratio - 1.0), "%", [(a, 100.0 / b.value), (b, -100.0 * ratio / b.value)])


def difference(a: Estimate, b: Estimate) -> Estimate:
    """`a - b` in their common unit.

    Raises
    ------
    ValueError
        If the units differ.
    """
    if a.unit != b.unit:
        raise ValueError(f"a difference needs one unit; got {a.unit!r} and {b.unit!r}")
    return combine(a.value - b.value, a.unit, [(a, 1.0), (b, -1.0)])


def covariance(a: Estimate, b: Estimate) -> float:
    """Covariance of two estimates through the sources they share [unit of a times unit of b]."""
    known = {c.source: c.contribution for c in a.components if not c.contained}
    return math.fsum(known.get(c.source, 0.0) * c.contribution for c in b.components if not c.contained)


def correlated_means(
    sets: Floats, units: Sequence[str], *, name: str, labels: Sequence[str] | None = None
) -> tuple[Estimate, ...]:
    """Means of quantities read together, their correlation kept (GUM H.2, approach 1).

    Parameters
    ----------
    sets : shape (n sets, k quantities)
        Simultaneous readings, n at least 2.
    units, labels
        One per quantity.
    name
        Name of the ensemble, unique among sources.

    Raises
    ------
    ValueError
        With fewer than two sets.
    """
    data = np.asarray(sets, dtype=float)
    if data.ndim != 2 or data.shape[0] < 2:
        raise ValueError(f"correlated means need two sets of simultaneous readings; the shape is {data.shape}")
    means = data.mean(axis=0)
    matrix = np.atleast_2d(np.cov(data, rowvar=False)) / data.shape[0]
    names = tuple(labels) if labels is not None else tuple(f"quantity {j + 1}" for j in range(data.shape[1]))
    return correlated_estimates(means, matrix, data.shape[0] - 1, units, name=name, labels=names)


def correlated_estimates(
    values: Sequence[float] | Floats,
    matrix: Floats,
    degrees_of_freedom: float,
    units: Sequence[str],
    *,
    name: str,
    labels: Sequence[str],
) -> tuple[Estimate, ...]:
    """Estimates with a given covariance `matrix` (k, k), of one ensemble with `degrees_of_freedom` in common."""
    scale = np.sqrt(np.diag(matrix))
    # Scaled to correlations first, so that quantities of very different size keep their digits.
    safe = np.where(scale > 0, scale, 1.0)
    weights, vectors = np.linalg.eigh(matrix / np.outer(safe, safe))
    root = safe[:, None] * vectors * np.sqrt(np.clip(weights, 0.0, None))
    return tuple(
        _member(float(value), unit, row, degrees_of_freedom, name, label)
        for value, unit, row, label in zip(values, units, root, labels, strict=True)
    )


def _member(value: float, unit: str, row: Floats, dof: float, name: str, label: str) -> Estimate:
    components = tuple(
        Component(source=f"{name}#{j}", label=label, contribution=float(share), degrees_of_freedom=dof, evaluation="A")
        for j, share in enumerate(row)
    )
    return Estimate(value=value, unit=unit, components=components, degrees_of_freedom_override=dof)
