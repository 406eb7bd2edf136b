"""Write a comparison's numbers as results.json and three CSV files, and read published numbers back.

The files hold SI units and no path, clock time or name of the machine, so the same inputs give the same bytes anywhere.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from toolbench.errors import Fault, UsageError
from toolbench.files import write_json, write_text
from toolbench.metrology.links import link_uncertainty
from toolbench.records.comparison import AllRuns, ComparisonRecord, Component, Difference, Estimate, Item, Span
from toolbench.records.findings import Finding
from toolbench.records.runs import Link, Run
from toolbench.season.checked import check_row
from toolbench.season.known import known
from toolbench.season.outcome import (
    CURVE_COLUMNS,
    DIFFERENCE_COLUMNS,
    LEVEL_COLUMNS,
    Comparison,
    Row,
    curve_rows,
    difference_rows,
    level_rows,
)
from toolbench.season.supply.written import supply_json

FORMAT = 1
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def write_results(comparison: Comparison, folder: str | Path, sentences: Sequence[Mapping[str, str]] = ()) -> None:
    """Write results.json, levels.csv, differences.csv and curves.csv into a folder; nothing when `folder` is empty.

    Parameters
    ----------
    comparison
        What `compare` returned.
    folder
        Where to write; made when it is not there.
    sentences
        The headline sentences as printed on the page, kept beside the numbers they are made from.

    Raises
    ------
    OutputError
        When the folder cannot be written.
    """
    if str(folder) == "":
        return
    record = comparison.record
    target = Path(folder)
    write_text(target / "levels.csv", csv_text(level_rows(record), LEVEL_COLUMNS))
    write_text(target / "differences.csv", csv_text(difference_rows(record), DIFFERENCE_COLUMNS))
    write_text(target / "curves.csv", csv_text(curve_rows(record), CURVE_COLUMNS))
    write_json(target / "results.json", results(record, sentences))


@dataclass(frozen=True, slots=True, eq=False)
class Published:
    """Published numbers of one report: `results` as written, and the three tables as DataFrames."""

    results: Mapping[str, Any]
    levels: pd.DataFrame
    differences: pd.DataFrame
    curves: pd.DataFrame


def load(folder: str | Path) -> Published:
    """Read the numbers of a rendered report back.

    Raises
    ------
    UsageError
        The folder holds no results.json, or one of a newer format.
    """
    source = Path(folder)
    path = source / "results.json"
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except OSError:
        raise UsageError(
            Fault("holds no results.json", file=str(folder), mend="name the folder of one report")
        ) from None
    except ValueError as error:
        raise UsageError(Fault(f"is not JSON: {error}", file=str(path))) from None
    if not isinstance(content, dict) or content.get("format", 0) != FORMAT:
        seen = content.get("format") if isinstance(content, dict) else None
        raise UsageError(Fault(f"has format {seen!r}; this toolbench reads format {FORMAT}", file=str(path)))
    tables = [pd.read_csv(source / name) for name in ("levels.csv", "differences.csv", "curves.csv")]
    return Published(content, *tables)


def csv_text(rows: Sequence[Row], columns: Sequence[str]) -> str:
    """CSV with LF ends and shortest round-trip decimals; a text that a spreadsheet would run as a formula gets a quote before it."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(row[name]) for name in columns])
    return stream.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(value)
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def results(record: ComparisonRecord, sentences: Sequence[Mapping[str, str]] = ()) -> dict[str, Any]:
    """Everything results.json holds: every number with its budget, the findings, the digest of every input."""
    protocol = record.protocol
    return {
        "format": FORMAT,
        "report": record.path,
        "axis": record.axis,
        "subject": record.subject,
        "episode": {"id": record.episode.id, "title": record.episode.title, "question": record.episode.question},
        "protocol": {"id": protocol.id, "label": protocol.label, "measurand": protocol.measurand},
        "baseline": record.baseline,
        "items": [_item(item) for item in record.items],
        "duration_s": record.duration_s,
        "marks_s": list(record.marks_s),
        "window_s": list(record.window_s),
        "confidence": record.confidence,
        "family": {"rows": record.family_size, "row_error_probability": known(record.family_level)},
        "supporting_family": {
            "rows": record.supporting_size,
            "row_error_probability": known(record.supporting_level),
        },
        "compensated": record.compensated,
        "levels": _levels(record),
        "differences": _differences(record),
        **_where_there_is(record),
        "spans": [_span(span) for span in record.spans],
        "sentences": [dict(sentence) for sentence in sentences],
        "findings": [finding_row(finding) for finding in record.findings],
        "runs": [_run(run) for run in record.runs],
        "inputs": dict(record.digests),
    }


def _item(item: Item) -> dict[str, Any]:
    return {
        "id": item.id,
        "label": item.label,
        "tool": item.tool,
        "setup": item.setup,
        "runs": list(item.runs),
        "excluded": [{"run": run, "reason": reason} for run, reason in item.excluded],
    }


def _levels(record: ComparisonRecord) -> list[dict[str, Any]]:
    return [
        {
            **row,
            "sittings": level.sittings,
            "intermediate_precision": known(level.intermediate_precision),
            "budget": _budget(level.estimate),
        }
        for row, level in zip(level_rows(record), record.levels, strict=True)
    ]


def _differences(record: ComparisonRecord) -> list[dict[str, Any]]:
    return [
        {**row, **_within(one), "budget": _budget(one.percent), "difference_budget": _budget(one.difference)}
        for row, one in zip(difference_rows(record), record.differences, strict=True)
    ]


def _where_there_is(record: ComparisonRecord) -> dict[str, Any]:
    """Parts that only some reports have, so that a report without them stays the same."""
    found: dict[str, Any] = {}
    if record.monte_carlo:
        found["monte_carlo"] = check_row(record.monte_carlo)
    if record.all_runs:
        found["all_runs"] = _all_runs(record, record.all_runs)
    if record.supply:
        found["supply"] = supply_json(record.supply)
    return found


def _span(span: Span) -> dict[str, Any]:
    return {
        "item": span.item,
        "baseline": span.baseline,
        "response": span.response,
        "from_s": span.from_s,
        "to_s": span.to_s,
        "smallest_percent": span.smallest_percent,
        "largest_percent": span.largest_percent,
        "share": span.share,
        "mean_from_s": known(span.mean_from_s),
        "mean_to_s": known(span.mean_to_s),
        "outer_from_s": known(span.outer_from_s),
        "outer_to_s": known(span.outer_to_s),
    }


def _within(one: Difference) -> dict[str, Any]:
    """In how many blocks a pair was compared, and its two levels there where they are not those of the items."""
    if one.within is None:
        return {"blocks": one.blocks}
    item, baseline = (known(estimate.value) for estimate in one.within)
    return {"blocks": one.blocks, "levels_in_blocks": {"item": item, "baseline": baseline}}


def _all_runs(record: ComparisonRecord, all_runs: AllRuns) -> dict[str, Any]:
    """What the runs excluded by hand would change: the rows told of the response with all runs, and what was put back."""
    whole = difference_rows(replace(record, differences=all_runs.differences))
    return {
        "excluded": [
            {
                "item": one.item,
                "run": one.run,
                "reason": one.reason,
                "put_back": not one.failure,
                "failure": one.failure,
            }
            for one in all_runs.excluded
        ],
        "differences": [{**row, "blocks": one.blocks} for row, one in zip(whole, all_runs.differences, strict=True)],
    }


def finding_row(finding: Finding) -> dict[str, Any]:
    """A finding as plain JSON values."""
    return {
        "code": finding.code,
        "severity": finding.severity,
        "kind": finding.kind,
        "message": finding.message,
        "mend": finding.mend,
        "subjects": list(finding.subjects),
        "file": finding.file,
        "line": finding.line,
    }


def _budget(estimate: Estimate) -> list[dict[str, Any]]:
    """Budget rows, largest first; `share` is the part of the combined variance, 0 for contained rows."""
    total = estimate.standard_uncertainty**2
    ordered = sorted(estimate.components, key=lambda part: (part.contained, -abs(part.contribution), part.source))
    return [_budget_row(part, total) for part in ordered]


def _budget_row(part: Component, total: float) -> dict[str, Any]:
    share = 0.0 if part.contained or not total > 0 else part.contribution**2 / total
    return {
        "source": part.source,
        "label": part.label,
        "evaluation": part.evaluation,
        "distribution": part.distribution,
        "value": known(part.value),
        "standard_uncertainty": known(part.standard_uncertainty),
        "unit": part.unit,
        "sensitivity": known(part.sensitivity),
        "contribution": known(part.contribution),
        "degrees_of_freedom": known(part.degrees_of_freedom),
        "share": known(share),
        "contained": part.contained,
    }


def _run(run: Run) -> dict[str, Any]:
    conditions = run.conditions
    return {
        "run": run.id,
        "file": run.entry.file,
        "tool": run.entry.tool,
        "setup": run.entry.setup,
        "block": run.entry.block,
        "onset_s": run.onset.time_s,
        "onset_standard_uncertainty_s": known(run.onset.standard_uncertainty_s),
        "onset_rule": run.onset.rule,
        "sample_interval_s": run.sample_interval_s,
        "conditions": {
            name: getattr(conditions, name)
            for name in conditions.__dataclass_fields__
            if getattr(conditions, name) is not None
        },
        "metrics": [
            {"response": m.response, "metric": m.metric, "at": m.at, "value": known(m.value), "unit": m.unit}
            for m in run.metrics
        ],
        **({"links": {response: _link(link) for response, link in run.links.items()}} if run.links else {}),
    }


def _link(link: Link) -> dict[str, Any]:
    """The factor that brought a run's response to the base's epoch of the rig, and how well it is known as a share of it."""
    relative, dof = link_uncertainty(link)
    return {"factor": link.factor, "relative_standard_uncertainty": relative, "degrees_of_freedom": known(dof)}
