"""The Monte Carlo check of a comparison, and what a reader is told of it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from toolbench.metrology.monte_carlo import DRAWS, check_differences
from toolbench.records.comparison import CheckedRow, ComparisonRecord, Interval, MonteCarlo
from toolbench.records.findings import Finding, worst_first


def add_check(record: ComparisonRecord, *, t_inputs: bool = False, draws: int = DRAWS) -> ComparisonRecord:
    """The same record with its percent differences checked by Monte Carlo; no number of it changes.

    References
    ----------
    JCGM 101:2008.
    """
    check = check_differences(record.levels, record.differences, record.confidence, draws=draws, t_inputs=t_inputs)
    found = _findings(check)
    return replace(record, monte_carlo=check, findings=worst_first([*record.findings, *found]))


def _findings(check: MonteCarlo) -> tuple[Finding, ...]:
    differing = check.differing
    if not differing:
        return ()
    return (
        Finding(
            code="monte-carlo-differs",
            severity="note",
            kind="statistical",
            message=(
                f"In {len(differing)} of {len(check.rows)} percent differences the half width found by Monte Carlo differs"
                f" from the linear one by more than {100 * check.notable:g}\u2009%; the budget's section names them."
            ),
            subjects=tuple(dict.fromkeys(row.item for row in differing)),
        ),
    )


def check_row(check: MonteCarlo) -> dict[str, Any]:
    """The check as plain JSON values [%]."""
    return {
        "draws": check.draws,
        "seed": check.seed,
        "confidence": check.confidence,
        "notable": check.notable,
        "differences": [_row(row, check) for row in check.rows],
    }


def _row(row: CheckedRow, check: MonteCarlo) -> dict[str, Any]:
    return {
        "item": row.item,
        "baseline": row.baseline,
        "response": row.response,
        "metric": row.metric,
        "at": row.at,
        "percent": row.linear_percent,
        "linear_half_width": row.linear_half_width,
        "mean": row.mean if math.isfinite(row.mean) else None,
        "standard_deviation": row.standard_deviation if math.isfinite(row.standard_deviation) else None,
        "half_width": row.half_width,
        "symmetric": _ends(row.symmetric),
        "shortest": _ends(row.shortest),
        "excess": row.excess,
        "differs": row in check.differing,
        **({"t_inputs": _ends(row.t_symmetric)} if row.t_symmetric else {}),
    }


def _ends(interval: Interval) -> list[float]:
    return [interval.lower, interval.upper]
