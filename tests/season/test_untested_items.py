"""What the model gives for items that nobody ran, held against what was planted in the demo (data_demo/truth.json)."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

import toolbench as tb
from toolbench.records.supply import UntestedItem

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))


def without_runs(tmp_path: Path, tool: str, setup: str, protocol: str) -> Path:
    """The demo season with every run of one cell excluded."""
    season = tmp_path / "season"
    shutil.copytree(DEMO, season)
    lines = (season / "runs.csv").read_text(encoding="utf-8").splitlines()
    head = lines[0].split(",")
    place = {name: head.index(name) for name in ("tool", "setup", "protocol", "exclude", "reason")}
    for number, line in enumerate(lines[1:], start=1):
        cells = line.split(",")
        if (cells[place["tool"]], cells[place["setup"]], cells[place["protocol"]]) == (tool, setup, protocol):
            cells[place["exclude"]], cells[place["reason"]] = "yes", "rig fault"
            lines[number] = ",".join(cells)
    (season / "runs.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return season


def untested(season: Path, episode: str, tool: str, protocol: str) -> UntestedItem:
    supply = tb.compare(tb.open_season(season), episode=episode, tool=tool, protocol=protocol).record.supply
    assert supply is not None
    (one,) = supply.untested
    return one


@pytest.mark.parametrize(
    ("episode", "tool", "setup", "protocol"),
    [
        ("far-end", "quernel-1", "far-wide", "static"),
        ("far-end", "fennwhit", "far", "static"),
        ("packs", "ostrel", "two-strings", "battery"),
    ],
)
def test_the_model_covers_what_was_planted(tmp_path: Path, episode: str, tool: str, setup: str, protocol: str) -> None:
    one = untested(without_runs(tmp_path, tool, setup, protocol), episode, tool, protocol)
    report = next(r for r in TRUTH["reports"] if r["path"] == f"{episode}/tool-{tool}--{protocol}")
    true = next(r["percent"] for r in report["rows"] if (r["item"], r["metric"]) == (setup, "sustained"))
    assert (one.item, one.baseline) == (setup, report["items"][0])
    assert one.percent is not None
    assert one.percent.modelled
    assert one.percent.interval.lower <= true <= one.percent.interval.upper
    # It says something: it is not so wide that anything would do.
    assert one.percent.interval.upper - one.percent.interval.lower < 25.0


def test_where_the_pressure_is_held_the_model_predicts_no_torque(tmp_path: Path) -> None:
    season = without_runs(tmp_path, "quernel-1", "far", "held")
    supply = tb.compare(tb.open_season(season), episode="far-end", tool="quernel-1", protocol="held").record.supply
    assert supply is not None
    assert supply.untested == ()
