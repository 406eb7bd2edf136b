"""Each run of a report: its conditions, its onset, its result, and why it was left out."""

from __future__ import annotations

from toolbench.quantities import format_value
from toolbench.records.comparison import ComparisonRecord, Item
from toolbench.records.runs import Run
from toolbench.records.settings import SeasonSettings
from toolbench.view.markup import Compared, Shown, render
from toolbench.view.wording.printed import item_label, metric_words, print_number
from toolbench.view.wording.sentences import headline_metric

_MET = {True: "met", False: "not met", None: "–"}


def _result(record: ComparisonRecord, settings: SeasonSettings, run: Run) -> str:
    response = record.protocol.response[0]
    wanted = headline_metric(record, response) or ("sustained", None)
    found = run.metric(response, *wanted)
    return "–" if found is None else print_number(found.value, found.unit, settings)


def run_row(record: ComparisonRecord, settings: SeasonSettings, item: Item, run: Run) -> dict[str, object]:
    """One run as printed; `noticed` are the messages of its own findings."""
    seen, left_out = run.conditions, dict(item.excluded)
    return {
        "item": item_label(record, item.id),
        "run": run.id,
        "file": run.entry.file,
        "block": run.entry.block or "–",
        "date": run.entry.started.date().isoformat() if run.entry.started else "–",
        "used": "left out: " + left_out[run.id] if run.id in left_out else "used",
        "onset": format_value(run.onset.time_s, run.onset.standard_uncertainty_s, "s"),
        "rest": print_number(seen.rest_pressure, "Pa", settings, 3),
        "flowing": print_number(seen.flowing_pressure, "Pa", settings, 3),
        "droop": print_number(seen.droop, "Pa", settings, 2),
        "voltage": print_number(seen.voltage_flowing, "V", settings, 3),
        "hold": _MET[seen.hold_met],
        "result": _result(record, settings, run),
        "noticed": [finding.message for finding in run.findings],
    }


def _rows(record: ComparisonRecord, settings: SeasonSettings) -> list[dict[str, object]]:
    rows = []
    for item in record.items:
        told = (*item.runs, *(run for run, _ in item.excluded))
        rows += [run_row(record, settings, item, run) for run in record.runs if run.id in told]
    return rows


def _unread(record: ComparisonRecord) -> list[dict[str, str]]:
    """Runs that were left out and of which nothing but the reason is at hand."""
    have = {run.id for run in record.runs}
    return [
        {"item": item_label(record, item.id), "run": run, "reason": reason}
        for item in record.items
        for run, reason in item.excluded
        if run not in have
    ]


def show_runs(comparison: Compared) -> Shown:
    """Every run with its conditions, onset and result, and every run left out with its reason."""
    record, settings = comparison.record, comparison.settings
    rows, unread = _rows(record, settings), _unread(record)
    response = record.protocol.response[0]
    wanted = headline_metric(record, response) or ("sustained", None)
    values = {
        "rows": rows,
        "unread": unread,
        "pressure": any(run.conditions.flowing_pressure is not None for run in record.runs),
        "voltage": any(run.conditions.voltage_flowing is not None for run in record.runs),
        "result_head": metric_words(record, settings, response, *wanted).capitalize(),
        "rules": sorted({run.onset.rule for run in record.runs}),
    }
    lines = [f"{row['item']} {row['run']}: {row['used']}, onset {row['onset']}, {row['result']}" for row in rows]
    lines += [f"{row['item']} {row['run']}: left out: {row['reason']}" for row in unread]
    return Shown(html=render("runs", values), text="\n".join(lines) or "No run.")
