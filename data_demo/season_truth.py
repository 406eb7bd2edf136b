"""The truth beside the demo season: what was planted, as truth.json."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from bench_model import Recording, run_scatter, true_conditions, true_level, true_percent
from bench_parts import BLOCK_SCATTER, PROTOCOLS, TOOLS, Cell
from season_draw import AIR_BENCH, CHECK_SHIFT, SMALL_BENCH, block_effect
from season_plan import EPISODES, SEED, PlannedRun, plan_runs


def report_cells() -> Iterator[tuple[dict[str, Any], list[tuple[str, Cell]]]]:
    """Every report the season should give, with its items (the baseline first)."""
    have = {run.cell for run in plan_runs() if not run.reason}
    for episode in EPISODES:
        for protocol in episode.protocols:
            groups: list[tuple[str, str, list[tuple[str, Cell]]]] = []
            if episode.pairs:
                groups.append(("pairs", "", [(f"{t}/{s}", Cell(t, s, protocol)) for t, s in episode.pairs]))
            groups += [("setups", t, [(s, Cell(t, s, protocol)) for s in episode.setups]) for t in episode.tools]
            groups += [("tools", s, [(t, Cell(t, s, protocol)) for t in episode.tools]) for s in episode.setups]
            for axis, subject, items in groups:
                items = [(name, cell) for name, cell in items if cell in have]
                if len(items) < 2:
                    continue
                name = {"setups": f"tool-{subject}", "tools": f"setup-{subject}", "pairs": "pairs"}[axis]
                path = f"{episode.id}/{name}--{protocol}"
                head = {"episode": episode.id, "axis": axis, "subject": subject, "protocol": protocol, "path": path}
                yield head, items


def _metrics(protocol: str) -> list[tuple[str, float | None]]:
    return [("sustained", None), *(("at_mark", mark) for mark in PROTOCOLS[protocol].marks_s)]


def truth_of_report(head: dict[str, Any], items: list[tuple[str, Cell]]) -> dict[str, Any]:
    """True levels [N*m] and percent differences of one report."""
    base_name, base = items[0]
    rows = []
    for name, cell in items:
        for metric, at in _metrics(head["protocol"]):
            row: dict[str, Any] = {"item": name, "metric": metric, "at": at, "level": true_level(cell, metric, at)}
            if name != base_name:
                row["percent"] = true_percent(cell, base, metric, at)
            rows.append(row)
    return {**head, "baseline": base_name, "items": [name for name, _ in items], "rows": rows}


def truth_of_cells(runs: Sequence[PlannedRun]) -> list[dict[str, Any]]:
    """Scatter and supply conditions of every cell that was run."""
    cells = list(dict.fromkeys(run.cell for run in runs))
    return [
        {
            "tool": cell.tool,
            "setup": cell.setup,
            "protocol": cell.protocol,
            "sustained": true_level(cell),
            "run_scatter_percent": 100 * run_scatter(cell),
            "tau_s": TOOLS[cell.tool].tau_s,
            **true_conditions(cell),
        }
        for cell in cells
    ]


def flaws(runs: Sequence[PlannedRun]) -> list[dict[str, Any]]:
    """Everything planted for `check` to find, run by run, then what lies in the settings."""
    notes = {
        "foot-pounds": "values in ft·lbf under a column called N*m; in no report",
        "duplicate-file": "the same bytes as ar-fennwhit-3; in no report",
        "clipped": "torque stops at 1000 N*m",
        "hold-off-target": "flowing inlet pressure 0.26 bar under the target of 6.2 bar; kept, the report carries the caveat",
        "slipped-socket": "torque lost at 2.1 s after the onset, inlet pressure unchanged",
        "zero-shift": "zero 34 N*m higher from 3.2 s after the onset",
        "trigger-released": "released at 7.4 s: torque falls and inlet pressure recovers",
        "check-out-of-control": f"this run of the check standard is {CHECK_SHIFT:.0%}; the block's other runs are not",
    }
    listed: list[dict[str, Any]] = [
        {"kind": run.flaw, "run": run.run, "file": run.file, "excluded": bool(run.reason), "note": notes[run.flaw]}
        for run in runs
        if run.flaw
    ]
    sags = [run.run for run in runs if run.cell.setup == "small-receiver" and not run.reason]
    return [
        *listed,
        {
            "kind": "two-factors",
            "episode": "mains-lead",
            "setups": ["lead-5", "lead-50"],
            "note": "voltage and lead differ",
        },
        {
            "kind": "overdue-sensor",
            "sensor": "inlet-gauge",
            "episode": "retest",
            "note": "due 2026-02-20, used from 2026-02-23",
        },
        {
            "kind": "undisclosed-loan",
            "tool": "ostrel",
            "episode": "packs",
            "note": "lent; the episode discloses nothing",
        },
        {"kind": "true-sag", "runs": sags, "flaw": False, "note": "pressure falls with torque: no released trigger"},
    ]


def truth_json(runs: Sequence[PlannedRun], drawn: dict[str, Recording]) -> str:
    """The text of truth.json: SI units, percent where a name says so."""
    truth = {
        "format": 1,
        "about": "What was planted in the demo season. All invented. N*m, Pa, m3/s, V, s; percent of the baseline's level.",
        "seed": SEED,
        "block_scatter_percent": 100 * BLOCK_SCATTER,
        "sensor_scale_percent": {
            "cell-2000": 100 * AIR_BENCH.torque_scale,
            "inlet-gauge": 100 * AIR_BENCH.pressure_scale,
            "cell-1000": 100 * SMALL_BENCH.torque_scale,
        },
        "zero_scatter": AIR_BENCH.zero_scatter,
        "reports": [truth_of_report(head, items) for head, items in report_cells()],
        "cells": truth_of_cells(runs),
        "blocks": {block: 100 * block_effect(block) for block in dict.fromkeys(run.block for run in runs) if block},
        "runs": {
            run.run: {"onset_s": drawn[run.run].onset_s, "factor": drawn[run.run].factor, "excluded": bool(run.reason)}
            for run in runs
        },
        "flaws": flaws(runs),
    }
    return json.dumps(_rounded(truth), indent=1, ensure_ascii=False) + "\n"


def _rounded(value: Any) -> Any:
    """Ten significant digits: enough for truth, and free of the last bit that processors differ in."""
    if isinstance(value, float):
        return float(f"{value:.10g}")
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return [_rounded(inner) for inner in value] if isinstance(value, list) else value
