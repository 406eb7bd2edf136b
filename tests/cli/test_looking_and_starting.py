"""`inspect`, `new` and the inferred season, on a recording made here: a ramp from 1.0 s on, 100 samples a second.

Expected numbers are constructed from that ramp.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from toolbench.cli.main import toolbench
from toolbench.cli.running import run
from toolbench.errors import OutputError
from toolbench.report.inferred import infer_season


def write_ramp(path: Path, top: float = 400.0) -> Path:
    """0 N*m until 1.0 s, then straight up to `top` within 1 s, and level until 6 s."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = [f"{k * 10};{min(max((k - 100) / 100, 0), 1) * top:.3f}" for k in range(601)]
    path.write_text("\n".join(["t [ms];Torque [N*m]", *rows]) + "\n", encoding="utf-8")
    return path


def test_inspect_says_what_a_file_holds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(toolbench, ["inspect", str(write_ramp(tmp_path / "r.csv"))]) == 0
    out = capsys.readouterr().out
    assert "delimiter semicolon" in out
    assert "a sample every 0.01\u2009s (100.0\u2009Hz)" in out
    assert "[loggers.rig]" in out
    assert "gaps      none" in out


def test_inspect_as_json_holds_the_onset_and_the_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(toolbench, ["inspect", str(write_ramp(tmp_path / "r.csv")), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert abs(found["onset"]["time_s"] - 1.0) < 0.011  # one sample interval about the ramp's foot
    assert found["rows"] == 601
    assert tomllib.loads(found["table"])["loggers"]["rig"]["channels"]["torque"]


def test_inspect_of_a_file_that_is_no_recording_is_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "no.csv").write_text("")
    assert run(toolbench, ["inspect", str(tmp_path / "no.csv")]) == 1
    assert "no.csv" in capsys.readouterr().err


def test_new_from_recordings_opens_as_a_season(tmp_path: Path) -> None:
    from toolbench.settings import read_settings

    files = [write_ramp(tmp_path / place / f"{k}.csv") for place in ("short", "long") for k in (1, 2)]
    assert run(toolbench, ["new", str(tmp_path / "season"), "--from", *map(str, files)]) == 0
    settings = read_settings(tmp_path / "season")
    assert list(settings.setups) == ["short", "long"]
    assert [r.setup for r in settings.runs] == ["short", "short", "long", "long"]
    assert len({r.run for r in settings.runs}) == 4
    assert (tmp_path / "season" / settings.runs[3].file).read_bytes() == files[3].read_bytes()


def test_new_names_what_it_leaves_out_and_says_what_it_guessed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_ramp(tmp_path / "rec" / "short" / "1.csv")
    write_ramp(tmp_path / "rec" / "long" / "1.csv", 390.0)
    (tmp_path / "rec" / "long" / "notes.txt").write_text("changed the hose\n", encoding="utf-8")
    assert run(toolbench, ["new", str(tmp_path / "season"), "--from", str(tmp_path / "rec"), str(tmp_path / "no")]) == 1
    shown = capsys.readouterr()
    assert "left out: " in shown.err
    assert "notes.txt" in shown.err
    assert f"{tmp_path / 'no'}: does not exist" in shown.err
    assert "copied 2 recordings" in shown.out
    assert "1 tool, 2 setups, 1 protocol" in shown.out
    assert run(toolbench, ["check", str(tmp_path / "season")]) == 1  # one run a setup is too few, and said
    assert "wrong" not in capsys.readouterr().out


def test_new_from_an_empty_folder_is_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "rec").mkdir()
    assert run(toolbench, ["new", str(tmp_path / "season"), "--from", str(tmp_path / "rec")]) == 2
    assert "holds no file" in capsys.readouterr().err
    assert not (tmp_path / "season").exists()


def test_new_alone_writes_a_starter(tmp_path: Path) -> None:
    assert run(toolbench, ["new", str(tmp_path / "season")]) == 0
    tomllib.loads((tmp_path / "season" / "bench.toml").read_text(encoding="utf-8"))


def test_an_inferred_season_is_kept_once_it_was_refined(tmp_path: Path) -> None:
    folders = [tmp_path / "short", tmp_path / "long"]
    for folder in folders:
        for k in (1, 2, 3):
            write_ramp(folder / f"{k}.csv", 400 + k)
    out = tmp_path / "out"
    bench = infer_season(folders, response=None, marks="1s,2s", out=out, force=False) / "bench.toml"
    infer_season(folders, response=None, marks=None, out=out, force=False)
    bench.write_text(bench.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    with pytest.raises(OutputError, match="not as toolbench wrote it"):
        infer_season(folders, response=None, marks=None, out=out, force=False)
    assert bench.read_text(encoding="utf-8").endswith("# mine\n")
    infer_season(folders, response=None, marks=None, out=out, force=True)
    assert "# mine" not in bench.read_text(encoding="utf-8")
