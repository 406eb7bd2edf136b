"""Which blocks two items are compared in, and the runs of an item within them.

The choice rests on the design alone, never on the values: an estimator that is chosen by what it gives has no known error.
Differences of block means cover 95 % whatever the blocks do, with unequal numbers of runs in them too; runs taken as
independent cover 91 to 99.9 % where blocks shift by three times the scatter. What is left out costs degrees of freedom, so
blocks that hold too few of the runs are not used: with five runs a side of which three are in common blocks, the intervals
are twice as wide as those of independent runs where blocks do not differ, and two thirds of them where blocks shift by
three times the scatter (20,000 draws each; tests/metrology/test_metrology_pairing.py draws some of them).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from toolbench.metrology.samples import FEWEST_BLOCKS, ItemRuns

COMMON_SHARE = 2 / 3
"""Share of the runs of each side that must lie in common blocks for the two to be compared within these."""


def shared_blocks(first: Sequence[str], second: Sequence[str]) -> tuple[str, ...]:
    """Names of the blocks that two items are compared in, sorted; () where their runs count as independent.

    Parameters
    ----------
    first, second
        The block of every run of each, "" for a run in none.

    Returns
    -------
    tuple of str
        Three blocks at least that both were run in, holding two thirds of the runs of each.
    """
    shared = sorted({*first} & {*second} - {""})
    if len(shared) < FEWEST_BLOCKS:
        return ()
    enough = all(sum(name in shared for name in names) >= COMMON_SHARE * len(names) for names in (first, second))
    return tuple(shared) if enough else ()


def common_blocks(a: ItemRuns, b: ItemRuns, row: int) -> tuple[str, ...]:
    """`shared_blocks` of the runs of two items that have a value in `row`."""
    return shared_blocks(_names(a, row), _names(b, row))


def _names(item: ItemRuns, row: int) -> list[str]:
    if len(item.blocks) != len(item.values):
        return [""] * int(np.isfinite(item.values[:, row]).sum())
    return [name for name, value in zip(item.blocks, item.values[:, row], strict=True) if math.isfinite(value)]


def within_blocks(item: ItemRuns, blocks: Sequence[str]) -> ItemRuns:
    """The runs of an item in some blocks alone."""
    inside = np.array([name in blocks for name in item.blocks], dtype=bool)
    return replace(
        item,
        values=item.values[inside],
        blocks=tuple(name for name in item.blocks if name in blocks),
        sittings=(),
    )
