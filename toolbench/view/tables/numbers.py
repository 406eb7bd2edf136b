"""The table: levels and differences, absolute and percent, at every mark and for every metric."""

from __future__ import annotations

import math

from toolbench.quantities import format_interval, format_number, format_percent
from toolbench.records.comparison import ComparisonRecord, Difference, Level
from toolbench.records.settings import SeasonSettings
from toolbench.view.markup import Compared, Shown, render
from toolbench.view.wording.printed import (
    VERDICT_SIGNS,
    item_label,
    metric_words,
    print_change,
    print_number,
    print_share,
    print_value,
)
from toolbench.view.wording.sentences import at_least_text, percent_text

Group = tuple[str, list[dict[str, object]]]


def _heading(words: str) -> str:
    return words[:1].upper() + words[1:]


def level_row(record: ComparisonRecord, settings: SeasonSettings, row: Level) -> dict[str, object]:
    """One row of the levels as printed."""
    unit = row.estimate.unit
    half = row.expanded_uncertainty if math.isfinite(row.expanded_uncertainty) else None
    return {
        "item": item_label(record, row.item),
        "level": print_value(row.estimate.value, half, unit, settings),
        "factor": format_number(row.coverage_factor, 3),
        "degrees": format_number(row.estimate.degrees_of_freedom if half is not None else None, 3),
        "n": row.n,
        "repeatability": print_number(row.repeatability, unit, settings, 2),
    }


def difference_row(record: ComparisonRecord, settings: SeasonSettings, row: Difference) -> dict[str, object]:
    """One row of the differences as printed."""
    family = row.family_interval
    # A difference without a percentage is judged all the same, in its unit.
    unbounded = row.family_verdict != "not assessed" and not math.isfinite(family.lower)
    return {
        "item": item_label(record, row.item),
        "baseline": item_label(record, row.baseline),
        "percent": percent_text(row),
        "family": "–" if unbounded else format_interval(family.lower, family.upper, "%", signed=True),
        "verdict": row.verdict,
        "family_verdict": row.family_verdict,
        "sign": VERDICT_SIGNS[row.family_verdict],
        "at_least": at_least_text(record, row).partition(" (")[0] or "–",
        "smallest": format_percent(row.smallest_resolvable, signed=False),
        "difference": print_change(row, settings),
        "within": row.within_limit,
        "n": f"{row.n} and {row.n_baseline}",
    }


def _groups(record: ComparisonRecord, settings: SeasonSettings, rows: list[Level] | list[Difference]) -> list[Group]:
    groups: dict[tuple[str, str, float | None], list[dict[str, object]]] = {}
    for row in rows:
        printed = level_row(record, settings, row) if isinstance(row, Level) else difference_row(record, settings, row)
        groups.setdefault((row.response, row.metric, row.at), []).append(printed)
    return [(_heading(metric_words(record, settings, *key)), found) for key, found in groups.items()]


def show_table(comparison: Compared) -> Shown:
    """Every level and every difference, absolute and percent, grouped by metric and mark."""
    record, settings = comparison.record, comparison.settings
    levels = _groups(record, settings, list(record.levels))
    differences = _groups(record, settings, list(record.differences))
    values = {
        "levels": levels,
        "differences": differences,
        "confidence": print_share(record.confidence),
        "rows": record.family_size,
        "baseline": item_label(record, record.baseline),
        "limit": record.episode.equivalent_within,
        "limit_text": format_percent(100 * (record.episode.equivalent_within or 0), signed=False),
    }
    lines = [f"{name}: {row['item']} {row['level']}" for name, rows in levels for row in rows]
    lines += [
        f"{name}: {row['item']} against {row['baseline']} {row['percent']}, {row['family_verdict']}"
        for name, rows in differences
        for row in rows
    ]
    return Shown(html=render("table", values), text="\n".join(lines) or "No level could be formed.")
