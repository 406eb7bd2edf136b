"""How the bench of the demo was over its season, against what was planted and what its files say."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import pytest
from small_season import write

import toolbench as tb
from toolbench.season.bench import Bench


@pytest.fixture(scope="module")
def bench(demo: Path) -> Bench:
    found: Bench = tb.check_bench(tb.open_season(demo))
    return found


def test_every_run_that_is_not_excluded_is_read(bench: Bench, demo: Path) -> None:
    rows = list(csv.DictReader((demo / "runs.csv").read_text("utf-8").splitlines()))
    kept = [row for row in rows if row["exclude"] != "yes"]
    assert (bench.read, bench.unreadable) == (len(kept), 0)
    assert len(bench.rests) == len(kept)


def test_the_planted_block_is_out_and_no_other(bench: Bench) -> None:
    out = {chart.label: [chart.blocks[k] for k in sorted(chart.judged.out)] for chart in bench.charts}
    # Planted: truth.json shifts ip4-check; by hand from runs.csv: it is of block ip-4, and near was run under static in four blocks.
    assert out == {"Old Tasselby on near under check": ["ip-4"], "Old Tasselby on near under static": []}


def test_rest_levels_are_small_and_of_two_rigs(bench: Bench) -> None:
    # Constructed: the demo draws a zero of 0.5 N*m (1 N*m at k = 2) a run; six of them hold all runs.
    assert {rest.rig for rest in bench.rests} == {"wheel hub rig, 2000 N*m cell", "wheel hub rig, 1000 N*m cell"}
    assert max(abs(rest.level) for rest in bench.rests) < 3.0
    assert {rest.unit for rest in bench.rests} == {"N*m"}


def test_a_sensor_used_after_its_day_is_overdue_and_the_others_are_not(bench: Bench) -> None:
    states = {one.sensor: one for one in bench.sensors}
    # By hand from runs.csv: the re-test's eight runs of February 23 to 26 came after February 20.
    assert states["inlet-gauge"].state == "overdue in 8 runs"
    assert states["inlet-gauge"].due == date(2026, 2, 20)
    assert {one.state for name, one in states.items() if name != "inlet-gauge"} == {"in date"}


def test_what_is_shown_says_it(bench: Bench) -> None:
    standard = tb.show_standard(bench)
    assert "Block ip-4 is out of control" in standard.html
    assert "25 blocks that are in control make the limits" in standard.html
    assert standard.html.count("<svg") == 2
    assert standard.html == tb.show_standard(bench).html
    assert tb.show_rest(bench).html.count("<svg") == 2
    assert "overdue in 8 runs" in tb.show_sensors(bench).html
    for shown in (standard, tb.show_rest(bench), tb.show_sensors(bench)):
        assert "nan" not in shown.text
        assert ">nan" not in shown.html


def test_a_season_with_neither_standard_nor_sensor_says_so(tmp_path: Path) -> None:
    bench = tb.check_bench(tb.open_season(write(tmp_path / "season")))
    assert (bench.charts, bench.sensors) == ((), ())
    assert bench.read == 12  # by hand: four cells of three runs
    assert "No check standard was run" in tb.show_standard(bench).html
    assert "No sensor is stated" in tb.show_sensors(bench).html
    assert "Torque at rest" in tb.show_rest(bench).html


def test_a_recording_that_cannot_be_read_is_counted(tmp_path: Path) -> None:
    folder = write(tmp_path / "season")
    (folder / "recordings/wrench-a-near-held-1.csv").write_text("nothing\n", encoding="utf-8")
    bench = tb.check_bench(tb.open_season(folder))
    assert (bench.read, bench.unreadable) == (11, 1)


def test_three_blocks_of_a_standard_are_shown_and_not_judged(tmp_path: Path) -> None:
    tools = "tool,name,role\nwrench-a,First,check standard\nwrench-b,Second,\n"
    bench = tb.check_bench(tb.open_season(write(tmp_path / "season", tools=tools)))
    shown = tb.show_standard(bench)
    assert "3 blocks make no limits; four do." in shown.html
    assert "not judged" in shown.html
