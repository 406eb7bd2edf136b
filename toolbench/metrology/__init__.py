"""Metrology: propagation, types A and B, intervals, comparison of items, bands. Pure numpy and scipy."""

from toolbench.metrology.bands import make_bands
from toolbench.metrology.charts import ewma, ewma_limits, individuals_limits
from toolbench.metrology.comparing import Outcome, compare_items
from toolbench.metrology.design import statistical_findings
from toolbench.metrology.intervals import (
    coverage_factor,
    difference_interval,
    expanded,
    judge,
    one_sided,
    ratio_interval,
    smallest_resolvable,
    within_limit,
)
from toolbench.metrology.pairing import shared_blocks
from toolbench.metrology.propagation import combine, correlated_means, difference, ratio_percent
from toolbench.metrology.samples import ItemRuns, Pooled, Row, Source, complete_blocks, pool_repeatability
from toolbench.metrology.sides import ErrorAlong, ItemCurves
from toolbench.metrology.spans import find_spans
from toolbench.metrology.standard import JudgedBlocks, check_standard_findings, judge_blocks
from toolbench.metrology.type_a import fit_line, mean_and_sd, one_way_anova, pooled_sd

__all__ = [
    "ErrorAlong",
    "ItemCurves",
    "ItemRuns",
    "JudgedBlocks",
    "Outcome",
    "Pooled",
    "Row",
    "Source",
    "check_standard_findings",
    "combine",
    "compare_items",
    "complete_blocks",
    "correlated_means",
    "coverage_factor",
    "difference",
    "difference_interval",
    "ewma",
    "ewma_limits",
    "expanded",
    "find_spans",
    "fit_line",
    "individuals_limits",
    "judge",
    "judge_blocks",
    "make_bands",
    "mean_and_sd",
    "one_sided",
    "one_way_anova",
    "pool_repeatability",
    "pooled_sd",
    "ratio_interval",
    "ratio_percent",
    "shared_blocks",
    "smallest_resolvable",
    "statistical_findings",
    "within_limit",
]
