"""The public Comparison: a record seen as tidy tables, with the columns of levels.csv, differences.csv and curves.csv."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from toolbench.records.comparison import Band, ComparisonRecord, Difference, Level
from toolbench.records.settings import SeasonSettings
from toolbench.season.known import known
from toolbench.season.opening import Season

Row = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Comparison:
    """One comparison: setups of a tool, tools on a setup, or pairs.

    Attributes
    ----------
    record : ComparisonRecord
        Everything the report is made from.
    season : Season
        The season it was taken from.
    """

    record: ComparisonRecord
    season: Season

    @property
    def settings(self) -> SeasonSettings:
        """What the season's hand-written files say."""
        return self.season.settings

    @cached_property
    def levels(self) -> pd.DataFrame:
        """A row per item, response, metric and time; SI units; the columns of levels.csv."""
        return _frame(level_rows(self.record), LEVEL_COLUMNS)

    @cached_property
    def differences(self) -> pd.DataFrame:
        """A row per compared item and base, response, metric and time; the columns of differences.csv."""
        return _frame(difference_rows(self.record), DIFFERENCE_COLUMNS)

    @cached_property
    def bands(self) -> pd.DataFrame:
        """Mean curves with their bands, a row per item and grid time; the columns of curves.csv."""
        return _frame(curve_rows(self.record), CURVE_COLUMNS)

    def __repr__(self) -> str:
        record = self.record
        items = ", ".join(item.id for item in record.items)
        return f"<Comparison {record.path}: {items}; {len(record.runs)} runs, {len(record.differences)} differences>"


LEVEL_COLUMNS = [
    "report",
    "axis",
    "subject",
    "item",
    "protocol",
    "response",
    "metric",
    "at",
    "value",
    "unit",
    "standard_uncertainty",
    "expanded_uncertainty",
    "coverage_factor",
    "degrees_of_freedom",
    "n",
    "repeatability",
]

DIFFERENCE_COLUMNS = [
    "report",
    "axis",
    "subject",
    "item",
    "baseline",
    "protocol",
    "response",
    "metric",
    "at",
    "percent",
    "standard_uncertainty",
    "expanded_uncertainty",
    "coverage_factor",
    "degrees_of_freedom",
    "lower",
    "upper",
    "verdict",
    "lower_family",
    "upper_family",
    "verdict_family",
    "at_least",
    "n",
    "n_baseline",
    "within_limit",
    "smallest_resolvable",
    "difference",
    "unit",
    "difference_lower",
    "difference_upper",
]

CURVE_COLUMNS = [
    "report",
    "item",
    "response",
    "time_s",
    "n",
    "mean",
    "unit",
    "pointwise_lower",
    "pointwise_upper",
    "simultaneous_lower",
    "simultaneous_upper",
    "percent",
    "percent_pointwise_lower",
    "percent_pointwise_upper",
    "percent_simultaneous_lower",
    "percent_simultaneous_upper",
]


def _frame(rows: Iterable[Row], columns: list[str]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=columns)


def level_rows(record: ComparisonRecord) -> list[Row]:
    """levels.csv as dictionaries; None where there is no number."""
    return [_level(record, level) for level in record.levels]


def difference_rows(record: ComparisonRecord) -> list[Row]:
    """differences.csv as dictionaries; None where there is no number."""
    return [_difference(record, one) for one in record.differences]


def curve_rows(record: ComparisonRecord) -> list[Row]:
    """curves.csv as dictionaries; None where there is no number."""
    return [row for band in record.bands for row in _curve(record, band)]


def _level(record: ComparisonRecord, level: Level) -> Row:
    estimate = level.estimate
    return {
        "report": record.path,
        "axis": record.axis,
        "subject": record.subject,
        "item": level.item,
        "protocol": record.protocol.id,
        "response": level.response,
        "metric": level.metric,
        "at": level.at,
        "value": known(estimate.value),
        "unit": estimate.unit,
        "standard_uncertainty": known(estimate.standard_uncertainty),
        "expanded_uncertainty": known(level.expanded_uncertainty),
        "coverage_factor": known(level.coverage_factor),
        "degrees_of_freedom": known(estimate.degrees_of_freedom),
        "n": level.n,
        "repeatability": known(level.repeatability),
    }


def _difference(record: ComparisonRecord, one: Difference) -> Row:
    percent = one.percent
    return {
        "report": record.path,
        "axis": record.axis,
        "subject": record.subject,
        "item": one.item,
        "baseline": one.baseline,
        "protocol": record.protocol.id,
        "response": one.response,
        "metric": one.metric,
        "at": one.at,
        "percent": known(percent.value),
        "standard_uncertainty": known(percent.standard_uncertainty),
        "expanded_uncertainty": known(one.expanded_uncertainty),
        "coverage_factor": known(one.coverage_factor),
        "degrees_of_freedom": known(percent.degrees_of_freedom),
        "lower": known(one.interval.lower),
        "upper": known(one.interval.upper),
        "verdict": one.verdict,
        "lower_family": known(one.family_interval.lower),
        "upper_family": known(one.family_interval.upper),
        "verdict_family": one.family_verdict,
        "at_least": known(one.at_least),
        "n": one.n,
        "n_baseline": one.n_baseline,
        "within_limit": one.within_limit or None,
        "smallest_resolvable": known(one.smallest_resolvable),
        "difference": known(one.difference.value),
        "unit": one.difference.unit,
        "difference_lower": known(one.difference_interval.lower),
        "difference_upper": known(one.difference_interval.upper),
    }


def _curve(record: ComparisonRecord, band: Band) -> Iterable[Row]:
    def at(pair: Any, side: int) -> Callable[[int], float | None]:
        return (lambda k: None) if pair is None else (lambda k: known(float(pair[side][k])))

    parts: list[tuple[str, Callable[[int], float | None]]] = [
        ("mean", lambda k: known(float(band.mean[k]))),
        ("pointwise_lower", at(band.pointwise, 0)),
        ("pointwise_upper", at(band.pointwise, 1)),
        ("simultaneous_lower", at(band.simultaneous, 0)),
        ("simultaneous_upper", at(band.simultaneous, 1)),
        ("percent", at(None if band.percent is None else (band.percent,), 0)),
        ("percent_pointwise_lower", at(band.percent_pointwise, 0)),
        ("percent_pointwise_upper", at(band.percent_pointwise, 1)),
        ("percent_simultaneous_lower", at(band.percent_simultaneous, 0)),
        ("percent_simultaneous_upper", at(band.percent_simultaneous, 1)),
    ]
    for k, time in enumerate(band.time_s):
        row: Row = {
            "report": record.path,
            "item": band.item,
            "response": band.response,
            "time_s": float(time),
            "n": band.n,
            "unit": band.unit,
        }
        row.update((name, value(k)) for name, value in parts)
        yield row
