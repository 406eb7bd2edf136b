"""What goes wrong with a season folder: faults of its settings, bad recordings, a report that fails, and an interrupted run.

Statuses and what goes on are the contract's, sections 2 and 3; every fault and file is constructed.
"""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from bad_recordings import BAD, LINES, add_all
from small_season import BENCH, REPORTS, environment, toolbench, write

from toolbench.cli import toolbench as command
from toolbench.cli.running import run

FAULTS = [
    # file, what is replaced, by what, file and line as told, words, mend
    ("bench.toml", 'marks = ["1 s"]', 'mark = ["1 s"]', 7, 'unknown key "mark"', 'did you mean "marks"?'),
    ("bench.toml", '"1.5 s"', '"1.5"', 6, "has no unit", 'write for example "2 s"'),
    ("bench.toml", '"1.5 s"', '"1.5 bar"', 6, "unit of pressure, but time is wanted", None),
    ("bench.toml", '["near", "far"]', '["near", "fa"]', 18, 'setup "fa" is not known', 'did you mean "far"?'),
    ("bench.toml", "[setups.far]", "[setups.far--end]", 13, "parts the names", None),
    ("bench.toml", '["1 s"]', '["2 s"]', 7, "2 s", None),
    ("bench.toml", "[setups.near]", "[setups.near", 12, "is not valid TOML", None),
    ("bench.toml", "[loggers.rig]", "format = 2\n[loggers.rig]", 1, "is newer than this toolbench reads", None),
    ("tools.csv", "3.2", "heavy", 2, "is not a number", None),
    ("tools.csv", "wrench-b", "Wrench-A,Third,1\nwrench-b", 3, "stands already on line 2", None),
    ("tools.csv", "mass [kg]", "mass [mm]", 1, "is a unit of length, but mass is wanted", None),
    ("runs.csv", "near-held-2.csv,wrench-a,near", "near-held-2.csv,wrench-a,neat", 3, 'setup "neat" is not known', 'did you mean "near"?'),
    ("runs.csv", "recordings/wrench-a-near-held-1", "../elsewhere/r1", 2, "leads out of the season folder", None),
    ("runs.csv", "setup,", "setpu,", 1, 'the column "setup" is needed', 'is "setpu" meant?'),
]  # fmt: skip


@pytest.mark.parametrize(
    ("file", "old", "new", "line", "words", "mend"), FAULTS, ids=[f"{f[0]}-{f[4][:20]}" for f in FAULTS]
)
def test_a_fault_of_the_settings_is_told_with_file_and_line_and_is_2(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    file: str,
    old: str,
    new: str,
    line: int,
    words: str,
    mend: str | None,
) -> None:
    folder, out = write(tmp_path / "season"), tmp_path / "out"
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    for arguments in (
        ["check", str(folder)],
        ["season", str(folder), "-o", str(out)],
        ["report", str(folder), "--episode", "long-line", "-o", str(out)],
    ):
        assert run(command, arguments) == 2
        shown = capsys.readouterr()
        told = [part for part in shown.err.split(f"{file}:") if part.startswith(f"{line}:") and words in part]
        assert told, shown.err
        assert len(told[0].splitlines()) <= 3
        assert mend is None or mend in told[0]
        assert "Traceback" not in shown.err
        assert shown.out == ""
    assert not out.exists()


def test_every_fault_of_every_file_is_told_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = write(tmp_path / "season", bench=BENCH.replace('"far"]', '"fa"]'), extra=["r.csv,wrench-c,near,held"])
    (folder / "tools.csv").write_text("tool,mass [kg]\nwrench-a,x\nwrench-b,2\n", encoding="utf-8")
    assert run(command, ["check", str(folder)]) == 2
    told = capsys.readouterr().err
    # by hand: the second setup of the first episode, the first tool's mass, the row after the header and twelve runs
    for place in ("bench.toml:18:", "tools.csv:2:", "runs.csv:14:"):
        assert place in told


@pytest.fixture(scope="module")
def spoilt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season with three good runs a cell, and each bad recording as one run more of one of them."""
    folder = tmp_path_factory.mktemp("spoilt") / "season"
    write(folder, extra=[f"recordings/bad-{name}.csv,wrench-a,far,held" for name in BAD])
    add_all(folder / "recordings")
    return folder


@pytest.fixture(scope="module")
def checked(spoilt: Path) -> tuple[int, dict[str, Any]]:
    done = toolbench("check", spoilt, "--json")
    return done.returncode, json.loads(done.stdout)


@pytest.mark.parametrize("name", BAD)
def test_check_names_each_bad_recording_and_exits_1(checked: tuple[int, dict[str, Any]], name: str) -> None:
    status, report = checked
    assert status == 1
    found = [finding for finding in report["findings"] if finding["file"] == f"recordings/bad-{name}.csv"]
    assert [finding["severity"] for finding in found][:1] == ["wrong"]
    assert found[0]["subjects"] == [f"bad-{name}"]
    assert BAD[name][1] in found[0]["message"]
    assert found[0]["line"] == LINES.get(name)
    assert found[0]["mend"]


def test_check_has_looked_at_the_others(checked: tuple[int, dict[str, Any]]) -> None:
    files = {finding["file"] for finding in checked[1]["findings"] if finding["severity"] != "note"}
    assert files == {f"recordings/bad-{name}.csv" for name in BAD}
    assert f"{12 + len(BAD)} recordings, 12 of them analysed and {len(BAD)} not" in checked[1]["looked_at"]


def test_a_good_season_is_0_and_says_what_was_looked_at(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(command, ["check", str(write(tmp_path / "season"))]) == 0
    shown = capsys.readouterr().out
    assert "looked at: 12 recordings" in shown
    assert "wrong:" not in shown
    assert "doubtful:" not in shown


@pytest.mark.slow
def test_bad_recordings_are_left_out_and_a_failing_report_keeps_its_last_good_page(
    spoilt: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    first = toolbench("season", spoilt, "-o", out)
    # The rest go on, and it is 1: a recording that is missing, unreadable or bad.
    assert first.returncode == 1, first.stderr
    rows = json.loads((out / "season.json").read_text(encoding="utf-8"))["reports"]
    assert {row["path"]: row["state"] for row in rows} == dict.fromkeys(REPORTS, "rendered")
    page = out / REPORTS[0] / "report.html"
    text = page.read_text(encoding="utf-8")
    for name in BAD:
        assert f"bad-{name}" in first.stderr
        assert f"bad-{name}" in text
    far = json.loads((page.parent / "results.json").read_text(encoding="utf-8"))["items"][1]
    assert far["runs"] == [f"wrench-a-far-held-{k}" for k in (1, 2, 3)]
    assert {one["run"] for one in far["excluded"]} == {f"bad-{name}" for name in BAD}

    broken = tmp_path / "season"
    shutil.copytree(spoilt, broken, symlinks=True)
    for number in (1, 2, 3):
        (broken / "recordings" / f"wrench-a-far-held-{number}.csv").write_bytes(b"")
    before = {path: path.read_bytes() for path in page.parent.rglob("*") if path.is_file()}
    second = toolbench("season", broken, "-o", out)
    assert second.returncode == 1
    rows = {row["path"]: row for row in json.loads((out / "season.json").read_text(encoding="utf-8"))["reports"]}
    assert [rows[path]["state"] for path in REPORTS] == ["failed", "unchanged"]
    assert "cell 4" in rows[REPORTS[0]]["error"]
    assert "only near has a usable run" in rows[REPORTS[0]]["error"]
    assert "Traceback" not in second.stderr
    assert {path: path.read_bytes() for path in before} == before
    assert "only near has a usable run" in (page.parent / "STALE.txt").read_text(encoding="utf-8")
    assert not (out / REPORTS[1] / "STALE.txt").exists()
    assert "the page is from an earlier run" in (out / "index.html").read_text(encoding="utf-8")

    # Mended, the last good page is the page again, and the mark goes; nothing else is looked at.
    shutil.copytree(spoilt, broken, symlinks=True, dirs_exist_ok=True, ignore=shutil.ignore_patterns("bad-*"))
    third = toolbench("season", broken, "-o", out, "--only", "failed")
    rows = {row["path"]: row for row in json.loads((out / "season.json").read_text(encoding="utf-8"))["reports"]}
    assert [rows[path]["state"] for path in REPORTS] == ["unchanged", "unchanged"], third.stderr
    assert third.stdout.startswith("1 report")
    assert not (page.parent / "STALE.txt").exists()


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=["Ctrl-C", "killed"])
def test_an_interrupted_run_is_completed_by_the_next(tmp_path: Path, how: signal.Signals) -> None:
    folder, out = write(tmp_path / "season"), tmp_path / "out"
    process = subprocess.Popen(
        [sys.executable, "-m", "toolbench", "season", str(folder), "-o", str(out), "--jobs", "1"],
        env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    first = out / REPORTS[0] / "report.html"
    until = time.monotonic() + 120
    while not first.exists() and process.poll() is None and time.monotonic() < until:
        time.sleep(0.05)
    process.send_signal(how)
    told = process.communicate(timeout=60)[1]
    assert first.exists()
    if how is signal.SIGINT:
        assert process.returncode == 130
        assert "Traceback" not in told
        assert not (out / REPORTS[1]).exists()
    made = first.stat().st_mtime_ns
    again = toolbench("season", folder, "-o", out)
    assert again.returncode == 0, again.stderr
    rows = json.loads((out / "season.json").read_text(encoding="utf-8"))["reports"]
    assert [row["path"] for row in rows] == list(REPORTS)
    assert rows[1]["state"] == "rendered"
    # Killed between publishing and noting it, a finished report may be made once more; after Ctrl-C it is not.
    if how is signal.SIGINT:
        assert rows[0]["state"] == "unchanged"
        assert first.stat().st_mtime_ns == made
    assert not [path.name for path in out.iterdir() if path.name.startswith(".")]
