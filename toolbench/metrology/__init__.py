"""Metrology: propagation, types A and B, intervals, comparison of items, bands. Pure numpy and scipy."""

from toolbench.metrology.bands import ItemCurves, find_spans, make_bands
from toolbench.metrology.comparing import (
    ItemRuns,
    Outcome,
    Pooled,
    Row,
    Source,
    compare_items,
    complete_blocks,
    pool_repeatability,
)

__all__ = [
    "ItemCurves",
    "ItemRuns",
    "Outcome",
    "Pooled",
    "Row",
    "Source",
    "compare_items",
    "complete_blocks",
    "find_spans",
    "make_bands",
    "pool_repeatability",
]
