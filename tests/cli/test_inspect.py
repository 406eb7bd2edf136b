"""`inspect` on recordings made here, in a pipe, on a narrow terminal, and in a stream that knows ASCII only.

Expected numbers are constructed: a ramp from 1.0 s on, 100 samples a second.
"""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from toolbench.cli.fitting import display_width, escaped_toml, table_lines
from toolbench.cli.main import toolbench
from toolbench.cli.running import run
from toolbench.logs import glimpse


def ramp(**columns: object) -> pd.DataFrame:
    """0 N·m until 1.0 s, then straight up to 400 within 1 s, and level until 6 s."""
    time = np.arange(601) * 10
    torque = np.clip((np.arange(601) - 100) / 100, 0, 1) * 400
    return pd.DataFrame({"t [ms]": time, "Torque [N·m]": torque, **columns})


def write(path: Path, **columns: object) -> Path:
    ramp(**columns).to_csv(path, index=False, encoding="utf-8")
    return path


def inspected(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    status = run(toolbench, ["inspect", *map(str, words)])
    shown = capsys.readouterr()
    return status, shown.out, shown.err


@pytest.mark.parametrize("kind", ["csv", "parquet", "feather"])
def test_every_door_shows_the_same_but_how_it_is_written(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"run.{kind}"
    frame = ramp()
    frame.to_csv(path, index=False) if kind == "csv" else getattr(frame, f"to_{kind}")(path)
    status, out, err = inspected(capsys, path, "--json")
    found = json.loads(out)
    assert (status, err) == (0, "")
    assert found["dialect"]["container"] == {"csv": "", "parquet": "Parquet", "feather": "Arrow IPC"}[kind]
    assert abs(found["onset"]["time_s"] - 1.0) < 0.011  # one sample interval about the ramp's foot
    assert found["onset"]["rule"] == "level"
    assert found["response"] == {"column": "Torque", "candidates": ["Torque"], "stated": False}
    assert (found["columns"][0]["lowest"], found["columns"][0]["highest"]) == (0.0, 400.0)
    assert tomllib.loads(found["table"])["loggers"]["rig"] == {
        "time": "t [ms]",
        "channels": {"torque": "Torque [N·m]"},
    }
    _, out, _ = inspected(capsys, path)
    assert "rows      601 over 6\u2009s" in out
    assert "▲ the onset" in out


def on_terminal(path: Path, columns: int) -> list[str]:
    """What `inspect` prints on a terminal of so many columns."""
    ours, theirs = pty.openpty()
    environment = {**os.environ, "COLUMNS": str(columns), "LINES": "40", "PYTHONIOENCODING": "utf-8"}
    command = [sys.executable, "-m", "toolbench", "inspect", str(path)]
    with subprocess.Popen(command, stdout=theirs, stdin=theirs, stderr=theirs, env=environment) as process:
        os.close(theirs)
        shown = b""
        while True:
            try:
                more = os.read(ours, 65536)
            except OSError:
                break
            if not more:
                break
            shown += more
        assert process.wait() == 0
    os.close(ours)
    return shown.decode("utf-8").replace("\r\n", "\n").split("\n")


@pytest.mark.parametrize("columns", [80, 50])
def test_no_line_of_a_terminal_is_too_long(columns: int, tmp_path: Path) -> None:
    long = {
        "Inlet pressure behind the second coupler of the long hose [bar]": np.linspace(6.3, 5.9, 601),
        "圧力 [bar]": 6.0,
    }
    lines = on_terminal(write(tmp_path / "run.csv", **long), columns)
    until = lines.index("to paste into bench.toml:")
    too_long = [line for line in lines[:until] if display_width(line) > columns and " " in line.strip()[10:]]
    assert not [line for line in too_long if "sha256" not in line]
    assert any("圧力" in line for line in lines)


def test_a_stream_of_ascii_gets_ascii_and_a_table_that_can_be_pasted(tmp_path: Path) -> None:
    path = write(tmp_path / "run.csv")
    command = [sys.executable, "-m", "toolbench", "inspect", str(path)]
    shown = subprocess.run(command, capture_output=True, env={**os.environ, "PYTHONIOENCODING": "ascii"}, check=True)
    text = shown.stdout.decode("ascii")
    assert "?" not in text.replace("torque?", "")
    assert "Torque [N*m], ^ the onset" in text
    table = tomllib.loads(text.partition("to paste into bench.toml:")[2])
    assert table["loggers"]["rig"]["channels"]["torque"] == "Torque [N·m]"


def test_signs_beyond_the_basic_plane_are_escaped_as_toml_wants_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("toolbench.cli.fitting.stream_can", str.isascii)
    escaped = escaped_toml('a = "τ 🔧 \\" x"   # no name\n')
    assert escaped.isascii()
    assert tomllib.loads(escaped) == {"a": 'τ 🔧 " x'}


def test_a_table_too_wide_cuts_its_first_column_and_shows_it() -> None:
    rows = [("a very long name of a column", "bar", "1"), ("b", "N", "2")]
    assert table_lines(rows, right=[False, False, True], width=22) == [
        "a very long...  bar  1",
        "b               N    2",
    ]


def test_a_missing_file_is_1_with_the_near_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path / "run-7.csv")
    status, out, err = inspected(capsys, tmp_path / "run-8.csv")
    assert (status, out) == (1, "")
    assert err == f"{tmp_path / 'run-8.csv'}: does not exist\n  did you mean 'run-7.csv'?\n"


def test_a_folder_is_1_with_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = inspected(capsys, tmp_path)
    assert (status, out) == (1, "")
    assert "is a folder, not a recording" in err


def test_several_responses_are_named_with_the_way_to_choose(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write(tmp_path / "run.csv", **{"Torque front [N*m]": np.arange(601.0)})
    _, out, _ = inspected(capsys, path)
    assert "'Torque front' could be the response too: --response COLUMN" in out
    status, out, _ = inspected(capsys, path, "--response", "Torque front [N*m]", "--json")
    assert json.loads(out)["onset"]["column"] == "Torque front"
    status, out, err = inspected(capsys, path, "--response", "Torque frnt")
    assert (status, out) == (2, "")
    assert "did you mean 'Torque front'?" in err


def test_no_response_among_several_columns_is_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "run.csv"
    path.write_text("t [s],A,B\n0,1,2\n1,2,3\n2,3,4\n", encoding="utf-8")
    status, out, _ = inspected(capsys, path)
    assert status == 0
    assert "which column is the response: 'A', 'B'? Say it with --response COLUMN" in out


def test_a_refusal_shows_what_could_be_seen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "run.csv"
    path.write_text("Rig\nä\n\nt,F [N]\n0,1\n10,2\n20,3\n", encoding="cp1252")
    status, out, err = inspected(capsys, path)
    assert status == 1
    assert "in seconds, milliseconds or else" in err
    assert "encoding  cp1252" in out
    assert "line 6    10,2" in out
    assert "cells     parted by comma, decimal point" in out
    assert "t       none  number  0  10  20" in out
    status, out, _ = inspected(capsys, path, "--json")
    found = json.loads(out)
    assert status == 1
    assert found["faults"][0]["key"] == "time"
    assert found["seen"]["lines"][1] == [2, "ä"]


def test_a_damaged_file_of_a_known_kind_is_named_as_such(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "run.parquet").write_bytes(b"PAR1" + bytes(100))
    status, out, err = inspected(capsys, tmp_path / "run.parquet")
    assert status == 1
    assert "cannot be read" in err
    assert "file      Parquet" in out


def test_a_glimpse_finds_the_first_numbers_below_a_long_preamble(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("\n".join([*("about the rig" for _ in range(40)), "1;2", "3;4"]), encoding="utf-8")
    assert glimpse(path)["lines"][-2:] == [(41, "1;2"), (42, "3;4")]
    assert glimpse(tmp_path / "none.csv") == {}


def test_many_gaps_are_listed_shortly(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frame = ramp()
    frame = frame[frame.index % 50 != 7]  # by hand: rows 7, 57, ... 557 are gone: twelve gaps of 20 ms
    frame.to_csv(tmp_path / "run.csv", index=False)
    _, out, _ = inspected(capsys, tmp_path / "run.csv")
    line = next(line for line in out.splitlines() if line.startswith("gaps"))
    assert line.startswith("gaps      12: 0.02\u2009s before line 9, ")
    assert line.endswith("and 9 more; the longest 0.02\u2009s")


def test_a_recording_that_may_not_be_read_is_no_wrong_usage(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "r.csv"
    path.write_text("t [s],F [N]\n0,1\n1,2\n", encoding="utf-8")
    path.chmod(0)
    monkeypatch.setattr(os, "access", lambda *_, **__: False)  # as for another user, also where the tests run as root
    status = run(toolbench, ["inspect", str(path)])
    told = capsys.readouterr()
    assert "Invalid value" not in told.err
    if told.err:  # root may read it all the same
        assert (status, "may not be read" in told.err) == (1, True)


def test_a_line_break_in_the_name_of_a_file_breaks_no_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write(tmp_path / "run.csv")
    try:
        path = path.rename(tmp_path / "run\n\x1b[2J.csv")
    except OSError:
        pytest.skip("no file may be called so here")
    status, out, err = inspected(capsys, path)
    assert (status, err) == (0, "")
    assert out.splitlines()[0].endswith(r"run\n\x1b[2J.csv")
