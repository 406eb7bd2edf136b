"""The command `watch` in this process, with --once: what it prints, and its exit status."""

from __future__ import annotations

import contextlib
import io
import json
import re
from pathlib import Path

import click
import pytest
from bench_runs import run_text, write_season

from toolbench.cli.main import toolbench
from toolbench.cli.running import run
from toolbench.cli.verdicts import ordinal, say

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
    assert line.startswith("REPEAT NOW: a: CLIPPED. Torque stays at its highest value, 1000 N·m")
    assert "-> set the amplifier to a wider range" in line
    assert "next on the sheet: 1:" in line


class Terminal(io.StringIO):
    """What is printed, as if on a terminal."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def once_on(terminal: Terminal, season: Path, *options: str) -> int:
    with contextlib.redirect_stdout(terminal):
        return once(season, *options)


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    monkeypatch.delenv("NO_COLOR", raising=False)
    return Terminal()


@pytest.mark.parametrize("columns", [80, 120])
def test_on_a_terminal_the_word_stands_out_and_no_line_is_too_long(
    season: Path, terminal: Terminal, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    (season / "recordings/a.csv").write_text(run_text(1, NEAR, "slipped-socket"))
    assert once_on(terminal, season) == 1
    lines = [click.unstyle(line) for line in terminal.getvalue().splitlines()]
    assert max(map(len, lines)) <= columns
    (first,) = [line for line in lines if line.startswith(" REPEAT NOW ")]
    assert first.startswith(" REPEAT NOW  a: SOCKET SLIP.")
    rest = lines[lines.index(first) + 1 :]
    assert rest[0].startswith(" " * 13)  # all of it in one column under the first
    assert any(line.strip().startswith("next on the sheet: 1:") for line in rest)


def test_colour_is_beside_the_word_and_can_be_off(
    season: Path, terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    (season / "recordings/a.csv").write_text(run_text(1, NEAR))
    assert once_on(terminal, season) == 0
    coloured = terminal.getvalue()
    assert click.style(" KEEP ", bold=True, reverse=True, fg="green") in coloured
    monkeypatch.setenv("NO_COLOR", "1")
    (season / "recordings/b.csv").write_text(run_text(2, NEAR))
    assert once_on(terminal, season) == 0
    plain = terminal.getvalue()[len(coloured) :]
    assert "\x1b" not in plain
    assert " KEEP " in plain


def test_the_bell_rings_only_where_it_is_asked_for(season: Path, terminal: Terminal) -> None:
    (season / "recordings/a.csv").write_text(run_text(1, NEAR, "clipped"))
    assert once_on(terminal, season, "--bell") == 1
    assert terminal.getvalue().count("\a") == 3
    (season / "recordings/b.csv").write_text(run_text(1, NEAR))
    assert once_on(terminal, season) == 0
    assert terminal.getvalue().count("\a") == 3


def test_no_word_asks_anybody_to_start_or_calls_it_safe(season: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, flaw in (("a", ""), ("b", "clipped"), ("c", "slipped-socket")):
        (season / f"recordings/{name}.csv").write_text(run_text(ord(name), NEAR, flaw))
    once(season)
    words = set(re.findall(r"[a-z]+", capsys.readouterr().out.lower()))
    assert not words & {"safe", "safely", "begin", "go"}


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


def test_what_a_file_is_called_moves_no_cursor(capsys: pytest.CaptureFixture[str]) -> None:
    say("not complete: run\x1b[2J\u202e.csv")
    assert capsys.readouterr().out == "not complete: run\\x1b[2J\\u202e.csv\n"
