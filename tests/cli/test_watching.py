"""The command `watch` in this process, with --once: what it prints, and its exit status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from bench_runs import run_text, write_season

from toolbench.cli.main import toolbench
from toolbench.cli.running import run
from toolbench.cli.verdicts import ordinal

NEAR = ("quernel-1", "near", "static")
PLAN = "order,tool,setup,protocol,run\n1,quernel-1,near,static,n1\n2,quernel-1,near,static,n2\n"


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = write_season(tmp_path / "s")
    (folder / "plan.csv").write_text(PLAN, encoding="utf-8")
    return folder


def once(season: Path, *options: str) -> int:
    return run(toolbench, ["watch", str(season), "--once", "--sheet", str(season / "plan.csv"), *options])


def test_a_kept_run_is_one_line_and_0(season: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (season / "recordings/a.csv").write_text(run_text(1, NEAR))
    assert once(season) == 0
    out = capsys.readouterr().out
    (line,) = [line for line in out.splitlines() if line.startswith("KEEP")]
    assert line.startswith("KEEP: n1: ")
    assert "\u2009N·m sustained; 1st run (quernel-1 on near, static)" in line
    assert line.endswith("next on the sheet: 2: quernel-1 on near, static (1 open)")
    assert "1 kept, 0 to repeat" in out
    assert "\x1b" not in out  # a pipe: no colours


def test_a_bad_run_says_why_and_1(season: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (season / "recordings/a.csv").write_text(run_text(1, NEAR, "clipped"))
    assert once(season) == 1
    out = capsys.readouterr().out
    (line,) = [line for line in out.splitlines() if line.startswith("REPEAT NOW")]
    assert line.startswith("REPEAT NOW: a: CLIPPED. Torque stays at its highest value, 1000 N*m")
    assert "-> set the amplifier to a wider range" in line
    assert "next on the sheet: 1:" in line


def test_the_reminder_stands_at_the_start_once(season: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert once(season) == 0
    out = capsys.readouterr().out
    assert out.count("Reminders only.") == 1
    assert "Hose, couplers and receiver never above their rated pressure." in out
    assert "Results compare" not in out  # for a page, not for the rig


def test_json_lines(season: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (season / "recordings/a.csv").write_text(run_text(1, NEAR))
    assert once(season, "--json") == 0
    said = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [one["event"] for one in said] == ["started", "judged", "ended"]
    assert said[1]["facts"]["unit"] == "N*m"


def test_a_season_that_cannot_be_read_is_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bench.toml").write_text("[loggers.rig\n")
    assert run(toolbench, ["watch", str(tmp_path), "--once"]) == 2
    assert "bench.toml" in capsys.readouterr().err


def test_an_empty_season_ends_with_0(season: Path) -> None:
    assert run(toolbench, ["watch", str(season), "--once"]) == 0


def test_ordinals() -> None:
    assert [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 22, 101, 111)] == [
        "1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "22nd", "101st", "111th",
    ]  # fmt: skip
