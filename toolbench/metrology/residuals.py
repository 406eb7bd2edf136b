"""What is left of the runs once levels and blocks are taken out: the rows of a report move together as these do."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from toolbench.metrology.samples import ROUNDING, ItemRuns
from toolbench.metrology.type_a import mean_and_sd
from toolbench.records.runs import Floats


def run_residuals(values: Floats) -> Floats:
    """Deviations from the mean over the standard deviation, shape (runs, rows); nan where there is none."""
    columns = []
    for column in values.T:
        scale = mean_and_sd(column)[1]
        known = math.isfinite(scale) and scale > 0
        columns.append((column - np.nanmean(column)) / scale if known else np.full(column.shape, np.nan))
    return np.stack(columns, axis=1)


def block_residuals(items: Sequence[ItemRuns]) -> tuple[list[Floats], int]:
    """Deviations of block means from item and block, over the item's own, and their degrees of freedom.

    Items and blocks are fitted by least squares, so a block that an item lacks does no harm. One array of shape (blocks,
    rows) per item, nan where it was not run.
    """
    blocks = sorted({name for item in items for name in item.blocks} - {""})
    means = np.array([[_block_mean(item, block) for block in blocks] for item in items])
    rest, freedom = np.full_like(means, np.nan), []
    for r in range(means.shape[2]):
        who, when = np.nonzero(np.isfinite(means[:, :, r]))
        dummies = np.zeros((who.size, len(items) + len(blocks)))
        dummies[np.arange(who.size), who] = dummies[np.arange(who.size), len(items) + when] = 1.0
        values = means[who, when, r]
        # Levels are large beside what is left: taken about their mean, fewer digits are lost.
        values = values - values.mean() if values.size else values
        rest[who, when, r] = values - dummies @ np.linalg.lstsq(dummies, values, rcond=None)[0]
        freedom.append(who.size - int(np.linalg.matrix_rank(dummies)) if who.size else 0)
    known = np.isfinite(rest)
    squares, counts = np.sum(np.where(known, rest, 0.0) ** 2, axis=1), known.sum(axis=1)
    scale = np.sqrt(np.divide(squares, counts, out=np.zeros_like(squares), where=counts > 0))[:, None, :]
    rounding = ROUNDING * np.nanmax(np.abs(means), axis=(0, 1), initial=0.0)
    rest = np.divide(rest, scale, out=np.full_like(rest, np.nan), where=scale > rounding)
    return list(rest), min(freedom, default=0)


def _block_mean(item: ItemRuns, block: str) -> Floats:
    """The mean of an item's runs in one block, per row; nan where there is none."""
    mine = item.values[[name == block for name in item.blocks]]
    have = np.isfinite(mine).sum(axis=0)
    total = np.nansum(mine, axis=0)
    return np.asarray(np.divide(total, have, out=np.full(mine.shape[1], np.nan), where=have > 0), dtype=float)
