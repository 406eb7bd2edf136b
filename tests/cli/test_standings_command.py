"""`toolbench standings`: the table on the terminal, the pages, and what-if questions that overwrite nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from ranked_season import runs_of, write

from toolbench.cli import fitting, toolbench, wrapping
from toolbench.cli.running import run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    runs = [*runs_of(), *runs_of({"wrench-b": (400.0, 402.0, 398.0)}, setup="far")]
    return write(tmp_path / "season", runs)


def test_the_table_and_the_pages(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    assert run(toolbench, ["standings", str(folder), "-o", str(out)]) == 0
    told = capsys.readouterr().out
    lines = told.splitlines()
    assert lines[0] == "Air tools on near"
    assert lines[1].split() == ["tool", "rank", "score", "alike", "may", "rank", "chance"]
    assert [line.split()[:2] for line in lines[2:4]] == [["Second", "1"], ["First", "2"]]
    assert str(out / "standings.html") in told
    assert {path.name for path in out.iterdir()} >= {"standings.html", "standings.csv", "standings.json"}


@pytest.mark.parametrize("width", [40, 80])
def test_a_terminal_of_any_width_holds_the_table(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setattr(fitting, "line_width", lambda: width)
    monkeypatch.setattr(wrapping, "told", lambda text, err=False: print(wrapping.wrapped(text, width)))
    for question in ([], ["--what-if", "wrench-b=far"], ["--weight", "torque=10"]):
        out = [] if question else ["-o", str(tmp_path / "o")]
        assert run(toolbench, ["standings", str(folder), *question, *out]) == 0
        told = capsys.readouterr().out.replace(str(tmp_path / "o"), "")
        assert max(map(len, told.splitlines())) <= width
        assert "±" in told


def test_a_question_is_told_and_writes_only_where_asked(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    asked = ["--what-if", "wrench-b=far", "--weight", "torque=30 %", "--anchor", "torque=0,0.5 kN*m"]
    assert run(toolbench, ["standings", str(folder), *asked]) == 0
    told = capsys.readouterr().out
    assert told.splitlines()[0] == (
        "what if: wrench-b on far; torque with a weight of 30 %; torque between 0 and 500 N*m"
    )
    assert not (tmp_path / "reports").exists()
    assert run(toolbench, ["standings", str(folder), *asked, "-o", "out"]) == 0
    assert [path.name for path in (tmp_path / "out").glob("standings*")] == [
        "standings-what-if-wrench-b-on-far-torque-with-a-weight-of-30-torque-between-0-and-500-n-m.html"
    ]


@pytest.mark.parametrize(
    ("question", "words"),
    [
        (["--what-if", "wrench-b"], "is not NAME=VALUE"),
        (["--what-if", "wrench-b=nowhere"], "there is no setup 'nowhere'"),
        (["--what-if", "wrench=far"], "there is no tool 'wrench'"),
        (["--weight", "torque=much"], "a percentage from 0 to 100 is needed"),
        (["--weight", "torque=130"], "a percentage from 0 to 100 is needed"),
        (["--weight", "torq=30"], "there is no criterion 'torq'"),
        (["--weight", "torque=30", "--weight", "torque=40"], "names 'torque' twice"),
        (["--weight", "torque=60", "--weight", "per-mass=60"], "add up to 120 %"),
        (["--anchor", "torque=300"], "two values are needed"),
        (["--anchor", "torque=300,300"], "two finite values that differ"),
        (["--anchor", "torque=3 bar,4 bar"], "is not in the criterion's unit, N*m"),
        (["--anchor", "torque=low,high"], "is not a number"),
    ],
)
def test_a_wrong_question_is_2_in_a_sentence(
    folder: Path, capsys: pytest.CaptureFixture[str], question: list[str], words: str
) -> None:
    assert run(toolbench, ["standings", str(folder), *question]) == 2
    told = capsys.readouterr()
    assert words in told.err
    assert 1 <= len(told.err.splitlines()) <= 3


def test_a_tool_that_a_question_takes_out_is_told_with_the_reason(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(toolbench, ["standings", str(folder), "--what-if", "wrench-a=far"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "First (wrench-a) would not be ranked: " in told or "First would not be ranked: " in told
    assert "would not be ranked: no score" not in told


def test_a_season_without_scorecard_is_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(toolbench, ["standings", str(write(tmp_path, card=""))]) == 2
    assert "bench.toml: the season has no scorecard" in capsys.readouterr().err
