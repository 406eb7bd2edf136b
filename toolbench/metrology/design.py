"""What the numbers of one report say against their design: a trend over the order, unlike scatter, values that stand apart.

A check that cries wolf is switched off, so all tests of one report share one probability of a false alarm, ALARM.
Each part is divided among the rows (and items) it is applied to.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from toolbench.metrology.charts import grubbs_p
from toolbench.metrology.samples import ItemRuns, Row
from toolbench.metrology.type_a import mean_and_sd, pooled_sd
from toolbench.quantities.format import format_number, format_percent, unit_label
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats

TREND, UNLIKE, APART = 0.01, 0.01, 0.02
ALARM = TREND + UNLIKE + APART
"""Probability that a flawless report gets any of these findings: at most 4 %."""
OUTLIER = 0.2
"""Share of APART below which a straggler (5 % in ISO 5725's use of Grubbs' test) is called an outlier (1 % there)."""


def statistical_findings(
    items: Sequence[ItemRuns], rows: Sequence[Row], orders: Sequence[Sequence[float | None]]
) -> list[Finding]:
    """Trend over run order, unequal scatter, stragglers; all tests of one report together at most 4 % false alarms.

    Parameters
    ----------
    items
        Values of shape (runs, rows) with their blocks.
    rows
        What the columns are; few, as the probability of an alarm is divided among them.
    orders
        Per item the order number of each run, None where it is not known.
    """
    found: list[Finding] = []
    for r, row in enumerate(rows):
        share = 1.0 / len(rows)
        found += _trend(items, r, row, orders, TREND * share)
        found += _unlike(items, r, row, UNLIKE * share)
        found += _apart(items, r, row, APART * share)
    return found


def _words(row: Row) -> str:
    """What a row is about, in the middle of a sentence: "sustained torque"."""
    return f"{row.metric} {row.response}".replace("_", " ")


def _text(value: float, row: Row, *, digits: int = 4) -> str:
    return f"{format_number(value, digits=digits)} {unit_label(row.unit)}".rstrip()


def trend_p(
    values: Sequence[Floats], orders: Sequence[Floats], blocks: Sequence[Sequence[str]] = ()
) -> tuple[float, float]:
    """Two-sided p of a common trend over the order, and its mean size from first to last run [unit of the values].

    Without blocks each item's own slope is tested against its own scatter and the tests are added up, so that unlike
    scatter does no harm. With blocks the shifts from block to block are taken out first, as they are no trend within one.
    """
    usable = [k for k, x in enumerate(orders) if x.size >= 3 and np.ptp(x) > 0]
    if len({name for names in blocks for name in names}) > 1:
        return _trend_with_blocks(values, orders, blocks)
    scores, weights, slopes, spans = [], [], [], []
    for k in usable:
        fitted = _slope(values[k], orders[k][:, None] - orders[k].mean(), values[k].size - 2)
        if fitted is None:
            continue
        slope, t, dof = fitted
        scores.append(float(special.ndtri(special.stdtr(dof, -abs(t)))) * -math.copysign(1.0, t))
        weights.append(math.sqrt(dof))
        slopes.append(slope)
        spans.append(float(np.ptp(orders[k])))
    if not scores:
        return 1.0, 0.0
    z = float(np.dot(scores, weights) / math.sqrt(np.dot(weights, weights)))
    return 2.0 * float(special.ndtr(-abs(z))), float(np.average(slopes, weights=weights)) * max(spans)


def _slope(values: Floats, order: Floats, dof: int) -> tuple[float, float, float] | None:
    """Slope on the one column of `order` (already free of means), its t and degrees of freedom."""
    x = order[:, 0]
    rest = values - values.mean()
    spread = float(x @ x)
    if dof < 1 or spread <= 0:
        return None
    slope = float(x @ rest) / spread
    left = rest - slope * x
    variance = float(left @ left) / dof
    if not variance > 0:
        return None
    return slope, slope / math.sqrt(variance / spread), float(dof)


def _trend_with_blocks(
    values: Sequence[Floats], orders: Sequence[Floats], blocks: Sequence[Sequence[str]]
) -> tuple[float, float]:
    y, x = np.concatenate(list(values)), np.concatenate(list(orders))
    member = np.repeat(np.arange(len(values)), [v.size for v in values])
    names = [name for mine in blocks for name in mine]
    dummies = np.column_stack(
        [member[:, None] == np.arange(len(values)), np.array(names)[:, None] == np.array(sorted(set(names)))[None, :]]
    ).astype(float)
    base, singular, _ = np.linalg.svd(dummies, full_matrices=False)
    base = base[:, singular > 1e-9 * singular[0]]
    clean_y, clean_x = y - base @ (base.T @ y), x - base @ (base.T @ x)
    # Order that is fixed by item and block leaves only rounding: no trend can be told from them.
    if float(clean_x @ clean_x) <= 1e-9 * float(np.sum((x - x.mean()) ** 2)):
        return 1.0, 0.0
    fitted = _slope(clean_y, clean_x[:, None], y.size - base.shape[1] - 1)
    if fitted is None:
        return 1.0, 0.0
    slope, t, dof = fitted
    return 2.0 * float(special.stdtr(dof, -abs(t))), slope * float(np.ptp(x))


def _trend(
    items: Sequence[ItemRuns], r: int, row: Row, orders: Sequence[Sequence[float | None]], alpha: float
) -> list[Finding]:
    values, places, blocks = [], [], []
    for item, mine in zip(items, orders, strict=True):
        at = np.array([math.nan if place is None else place for place in mine], dtype=float)
        known = np.isfinite(at) & np.isfinite(item.values[:, r])
        values.append(item.values[known, r])
        places.append(at[known])
        if item.in_blocks:
            blocks.append([name for name, use in zip(item.blocks, known, strict=True) if use])
    whole = blocks if len(blocks) == len(items) else []
    p, size = trend_p(values, places, whole)
    if p >= alpha:
        return []
    return [
        Finding(
            code="trend",
            severity="doubtful",
            kind="statistical",
            message=f"The {_words(row)} moves with the order of the runs, by about {_text(size, row, digits=2)}"
            f" from first to last{' within a block' if whole else ''} (p = {p:.2g}).",
            mend="see what changed meanwhile (oil, air, charge, heat) and run the items in turns",
            subjects=tuple(item.id for item in items),
        )
    ]


def unlike_scatter_p(deviations: Sequence[float], degrees_of_freedom: Sequence[float]) -> tuple[float, int]:
    """Probability, at most 1, of so large a variance among several by chance, and which group it is.

    Each variance is compared with the others pooled. With equal degrees of freedom this is Cochran's test, and with two
    groups the two-sided F test.
    """
    total = sum(degrees_of_freedom)
    best, which = 1.0, 0
    for k, (sd, dof) in enumerate(zip(deviations, degrees_of_freedom, strict=True)):
        others = total - dof
        rest = sum(f * s * s for j, (s, f) in enumerate(zip(deviations, degrees_of_freedom, strict=True)) if j != k)
        if others <= 0 or rest <= 0:
            continue
        p = len(deviations) * float(special.fdtrc(dof, others, sd * sd * others / rest))
        if p < best:
            best, which = p, k
    return best, which


def _scatter(item: ItemRuns, r: int) -> tuple[float, float]:
    """Scatter of one item within its blocks where these were repeated, else of all its runs; its degrees of freedom."""
    column = item.values[:, r]
    if item.in_blocks:
        groups = [column[[name == block for name in item.blocks]] for block in dict.fromkeys(item.blocks)]
        groups = [group[np.isfinite(group)] for group in groups]
        within, dof = pooled_sd([mean_and_sd(g)[1] for g in groups], [g.size - 1.0 for g in groups])
        if dof >= 2:
            return within, dof
    return mean_and_sd(column)[1], float(np.isfinite(column).sum() - 1)


def _unlike(items: Sequence[ItemRuns], r: int, row: Row, alpha: float) -> list[Finding]:
    """Scatter is compared as a share of the level: a stronger tool that scatters by as many percent is no exception."""
    known = [(item.id, mean_and_sd(item.values[:, r])[0], *_scatter(item, r)) for item in items]
    known = [(name, mean, sd, dof) for name, mean, sd, dof in known if dof >= 1 and sd > 0 and mean != 0]
    if len(known) < 2:
        return []
    relative = [sd / abs(mean) for _, mean, sd, _ in known]
    freedom = [dof for *_, dof in known]
    p, which = unlike_scatter_p(relative, freedom)
    if p >= alpha:
        return []
    name = known[which][0]
    others = pooled_sd(
        [s for k, s in enumerate(relative) if k != which], [f for k, f in enumerate(freedom) if k != which]
    )[0]
    return [
        Finding(
            code="unlike-scatter",
            severity="note",
            kind="statistical",
            message=f"The runs of {name} scatter more than the others in {_words(row)}: standard deviation"
            f" {format_percent(100.0 * relative[which], signed=False)} of the level against"
            f" {format_percent(100.0 * others, signed=False)} (p = {p:.2g}).",
            mend="each item is judged by its own scatter, so intervals stand; look at that item's runs",
            subjects=(name,),
        )
    ]


def _apart(items: Sequence[ItemRuns], r: int, row: Row, alpha: float) -> list[Finding]:
    found: list[Finding] = []
    tested = [item for item in items if np.isfinite(item.values[:, r]).sum() >= 3]
    for item in tested:
        at = np.flatnonzero(np.isfinite(item.values[:, r]))
        values = item.values[at, r]
        p, which = grubbs_p(values)
        p *= len(tested)
        if p >= alpha:
            continue
        outlier = p < OUTLIER * alpha
        found.append(
            Finding(
                code="outlier" if outlier else "straggler",
                severity="doubtful" if outlier else "note",
                kind="statistical",
                message=f"Run {at[which] + 1} of {item.values.shape[0]} of {item.id} stands apart in"
                f" {_words(row)}: {_text(float(values[which]), row)} where the others' mean is"
                f" {_text(mean_and_sd(np.delete(values, which))[0], row)} (p = {p:.2g}).",
                mend="look for a cause on the bench; without one it stays in",
                subjects=(item.id,),
            )
        )
    return found
