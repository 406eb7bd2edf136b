"""The lean door: folders of recordings to a page and a season, and how it asks where it cannot know."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from small_season import recording, toolbench

from toolbench.cli import toolbench as command
from toolbench.cli.running import run


def _folders(home: Path, *, columns: str = "t [ms],Torque [N*m]") -> tuple[Path, Path]:
    """Three runs on a short line at 500 N*m, three on a long one at 450 N*m: 10 % less (constructed)."""
    folders = home / "short", home / "long line"
    for number, (folder, level) in enumerate(zip(folders, (500.0, 450.0), strict=True)):
        folder.mkdir(parents=True)
        for k in range(3):
            lines = recording(level * (1 + 0.004 * (k - 1)), 10 * number + k).splitlines()
            if columns.count(",") == 2:
                lines = [f"{line},{line.split(',')[1]}" for line in lines]
            (folder / f"r{k + 1}.csv").write_text("\n".join([columns, *lines[1:]]) + "\n", encoding="utf-8")
    return folders


def _read(out: Path) -> list[dict[str, str]]:
    (path,) = out.glob("*/*/differences.csv")
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.slow
def test_two_folders_become_a_page_and_a_season_that_goes_on(tmp_path: Path) -> None:
    short, long = _folders(tmp_path)
    out = tmp_path / "page"
    done = toolbench("compare", short, long, "--marks", "0.5s, 1500 ms", "-o", out)
    assert done.returncode == 0, done.stderr
    (page,) = out.glob("*/*/report.html")
    assert str(page) in done.stdout
    assert "Repeatability only: no sensor is stated" in page.read_text(encoding="utf-8")
    rows = _read(out)
    # the marks asked for, in seconds, as a set: the last at the least
    assert {float(row["at"]) for row in rows if row["metric"] == "at_mark"} == {0.5, 1.5}
    (sustained,) = [row for row in rows if row["metric"] == "sustained"]
    assert float(sustained["lower"]) < -10 < float(sustained["upper"])
    assert (sustained["verdict_family"], sustained["baseline"]) == ("lower", "short")
    season = out / "season"
    assert (season / "bench.toml").is_file()
    assert len(list((season / "recordings").rglob("r*.csv"))) == 6

    # The season goes on: nothing is to be made, and it checks.
    again = toolbench("season", season, "-o", out)
    assert again.returncode == 0, again.stderr
    states = [row["state"] for row in json.loads((out / "season.json").read_text(encoding="utf-8"))["reports"]]
    assert states == ["unchanged"]
    assert toolbench("check", season).returncode == 0

    # Asked again, nothing of ours is in the way; refined by hand, it is not overwritten without --force.
    assert toolbench("compare", short, long, "--marks", "0.5s, 1500 ms", "-o", out).returncode == 0
    bench = season / "bench.toml"
    refined = bench.read_text(encoding="utf-8") + "\n# refined by hand\n"
    bench.write_text(refined, encoding="utf-8")
    refused = toolbench("compare", short, long, "-o", out)
    assert refused.returncode == 2
    assert "would be overwritten" in refused.stderr
    assert "--force" in refused.stderr
    assert bench.read_text(encoding="utf-8") == refined
    forced = toolbench("compare", short, long, "--marks", "1s", "-o", out, "--force")
    assert forced.returncode == 0, forced.stderr
    assert "# refined by hand" not in bench.read_text(encoding="utf-8")
    assert {float(row["at"]) for row in _read(out) if row["metric"] == "at_mark"} == {1.0}


@pytest.mark.slow
def test_one_bad_file_is_1_and_the_page_is_made_of_the_others(tmp_path: Path) -> None:
    short, long = _folders(tmp_path)
    (long / "r4.csv").write_bytes(b"")
    done = toolbench("compare", short, long, "-o", tmp_path / "page")
    assert done.returncode == 1, done.stderr
    assert "r4.csv" in done.stderr
    (row,) = [row for row in _read(tmp_path / "page") if row["metric"] == "sustained"]
    assert (row["n"], row["n_baseline"]) == ("3", "3")


def test_several_candidates_are_asked_about(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    short, long = _folders(tmp_path, columns="t [ms],Left [N*m],Right [N*m]")
    out = tmp_path / "page"
    assert run(command, ["compare", str(short), str(long), "-o", str(out)]) == 2
    told = capsys.readouterr().err
    assert "--response" in told
    assert "'Left [N*m]'" in told
    assert "'Right [N*m]'" in told
    assert not out.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--marks", "2"], "2s,6s"),
        (["--marks", "2 bar"], "2s,6s"),
        (["--response", "Torc"], "has no column 'Torc'"),
    ],
)
def test_a_request_that_makes_no_sense_is_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    short, long = _folders(tmp_path)
    assert run(command, ["compare", str(short), str(long), *arguments, "-o", str(tmp_path / "page")]) == 2
    told = capsys.readouterr().err
    assert words in told
    assert "Traceback" not in told
    assert not (tmp_path / "page").exists()


def test_an_empty_folder_and_a_missing_one_are_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    short, _ = _folders(tmp_path)
    (tmp_path / "empty").mkdir()
    for name, words in (("empty", "holds no file"), ("gone", "does not exist")):
        assert run(command, ["compare", str(short), str(tmp_path / name), "-o", str(tmp_path / "page")]) == 2
        assert words in capsys.readouterr().err
