"""A check that cries wolf is switched off: seasons without a flaw, drawn from the demo's physics, and what is said of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from bench_model import BenchErrors, Cell, draw_run
from bench_parts import BLOCK_SCATTER, PROTOCOLS
from demo_designs import draw_runs, draw_season_blocks, item_of, read_designs

from toolbench.metrology import Row, check_standard_findings, statistical_findings
from toolbench.records.runs import RawRun, Run
from toolbench.records.settings import Protocol, RunEntry
from toolbench.signal import find_start, like_run_findings, reduce

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")
SEASONS = 300

pytestmark = pytest.mark.slow


def test_at_most_five_percent_of_flawless_reports_carry_a_statistical_caveat() -> None:
    """300 seasons of the demo's 20 reports; 4 % by construction (tests of one report share that probability)."""
    designs = read_designs()
    rng = np.random.default_rng(20260502)
    told = 0
    for _ in range(SEASONS):
        errors, effects = BenchErrors.draw(rng), draw_season_blocks(rng, designs)
        for design in designs:
            items = [
                item_of(k, draw_runs(rng, cell, names, effects, errors), names)
                for k, (cell, names) in enumerate(zip(design.cells, design.blocks, strict=True))
            ]
            told += bool(statistical_findings(items, [ROW], design.orders))
    assert told / (SEASONS * len(designs)) <= 0.05


def test_at_most_five_percent_of_flawless_charts_of_the_check_standard_are_out_of_control() -> None:
    """300 charts of 26 blocks, as many as the demo has; 4 % by construction."""
    rng = np.random.default_rng(20260503)
    cell, blocks = Cell("old-tasselby", "near", "check"), [f"b-{k}" for k in range(26)]
    told = 0
    for _ in range(SEASONS):
        effects = {name: BLOCK_SCATTER * rng.standard_normal() for name in blocks}
        means = draw_runs(rng, cell, tuple(blocks), effects, BenchErrors.draw(rng))
        told += bool(check_standard_findings(list(means), blocks, "the check standard"))
    assert told / SEASONS <= 0.05


CELLS = (
    Cell("quernel-1", "far", "static"), Cell("fennwhit", "near", "held"), Cell("old-tasselby", "near", "check"),
    Cell("ostrel", "one-string", "battery"), Cell("pelmoor", "lead-50", "mains"), Cell("quernel-1", "at-4", "stepped"),
)  # fmt: skip


def _reduced(rng: np.random.Generator, cell: Cell, errors: BenchErrors, effect: float, name: str) -> Run:
    drawn = draw_run(rng, cell, errors=errors, block_effect=effect)
    entry = RunEntry(
        run=name, file=f"{name}.csv", tool=cell.tool, setup=cell.setup, protocol=cell.protocol, logger="rig",
        started=datetime(2026, 1, 12, tzinfo=UTC),
    )  # fmt: skip
    units = {
        "torque": "N*m", "inlet_pressure": "Pa", "supply_pressure": "Pa", "air_flow": "m3/s", "temperature": "degC",
        "voltage": "V", "current": "A",
    }  # fmt: skip
    raw = RawRun(
        entry=entry, time_s=drawn.time_s, channels=dict(drawn.channels),
        units={name: units[name] for name in drawn.channels}, sensors={}, digest=name, findings=(),
    )  # fmt: skip
    stated = PROTOCOLS[cell.protocol]
    protocol = replace(Protocol(id=cell.protocol, label=cell.protocol), duration_s=stated.duration_s)
    return reduce(
        raw, protocol, onset=find_start(raw, protocol), duration_s=stated.duration_s, marks_s=stated.marks_s,
        window_s=stated.window_s,
    )  # fmt: skip


def test_flawless_recordings_are_left_alone() -> None:
    """300 recordings in 75 cells of four like runs: of each cell at most one in twenty may be doubted for its signals."""
    rng = np.random.default_rng(20260504)
    doubted, cells = [], 0
    for number in range(SEASONS // 4):
        cell, errors = CELLS[number % len(CELLS)], BenchErrors.draw(rng)
        runs = [_reduced(rng, cell, errors, BLOCK_SCATTER * rng.standard_normal(), f"r{number}-{k}") for k in range(4)]
        found = [finding for run in runs for finding in run.findings] + list(like_run_findings(runs))
        doubted += [finding.message for finding in found if finding.severity != "note"][:1]
        cells += 1
    assert len(doubted) / cells <= 0.05, doubted
