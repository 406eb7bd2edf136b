"""The same inputs give the same bytes: from another folder, into another, in another time zone, locale and number of jobs."""

from __future__ import annotations

import csv
import json
import locale
import os
import shutil
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest
from small_season import environment, toolbench

KEPT = ("inlet-pressure", "packs")
"""Decimal commas and a clock in one logger, ISO stamps with a zone in the other, blocks, a single run, and caveats."""

REPORTS = ("inlet-pressure/tool-quernel-1--stepped", "packs/tool-ostrel--battery")
SAME = ("report.html", "results.json", "levels.csv", "differences.csv", "curves.csv", "notes.md")

pytestmark = pytest.mark.slow


def cut_demo(demo: Path, folder: Path) -> Path:
    """The demo season with two of its episodes, and the recordings of those alone."""
    folder.mkdir(parents=True)
    parts = (demo / "bench.toml").read_text(encoding="utf-8").split("[[episodes]]")
    kept = [part for part in parts[1:] if any(f'id = "{name}"' in part for name in KEPT)]
    (folder / "bench.toml").write_text("[[episodes]]".join([parts[0], *kept]), encoding="utf-8")
    for name in ("tools.csv", "bench-log.csv"):
        if (demo / name).exists():
            shutil.copy(demo / name, folder / name)
    with (demo / "runs.csv").open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        rows = [row for row in reader if row["protocol"] in ("stepped", "battery")]
    with (folder / "runs.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, reader.fieldnames or [])
        writer.writeheader()
        writer.writerows(rows)
    for row in rows:
        (folder / row["file"]).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(demo / row["file"], folder / row["file"])
    return folder


def other_locale() -> str:
    """A locale with a decimal comma, if the machine has one."""
    for name in ("de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8"):
        try:
            before = locale.setlocale(locale.LC_ALL)
            locale.setlocale(locale.LC_ALL, name)
            locale.setlocale(locale.LC_ALL, before)
        except locale.Error:
            continue
        return name
    return "C.UTF-8"


@pytest.fixture(scope="module")
def two(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The same season rendered twice, with all that must not matter changed."""
    home = tmp_path_factory.mktemp("two")
    first, second = home / "a" / "reports", home / "elsewhere" / "Größer" / "out put"
    one = cut_demo(demo, home / "a" / "season")
    other = cut_demo(demo, home / "b & c" / "deeper" / "Saison 2")
    for path in other.rglob("*"):
        os.utime(path, (1_000_000_000, 1_000_000_000))
    for season, out, jobs, more in (
        (one, first, 2, {"TZ": "UTC", "LC_ALL": "C", "PYTHONHASHSEED": "1"}),
        (other, second, 1, {"TZ": "Pacific/Auckland", "LC_ALL": other_locale(), "PYTHONHASHSEED": "2"}),
    ):
        done = toolbench("season", season, "-o", out, "--jobs", jobs, **more)
        assert done.returncode == 0, done.stderr
    return first, second


@pytest.mark.parametrize("report", REPORTS)
def test_two_renderings_are_the_same_bytes(two: tuple[Path, Path], report: str) -> None:
    first, second = (out / report for out in two)
    figures = sorted(path.name for path in (first / "figures").iterdir())
    assert figures == sorted(path.name for path in (second / "figures").iterdir())
    assert any(name.endswith(".svg") for name in figures)
    assert any(name.endswith(".png") for name in figures)
    names = [*SAME, *(f"figures/{name}" for name in figures)]
    assert [name for name in names if (first / name).read_bytes() != (second / name).read_bytes()] == []


def test_digests_are_keyed_by_relative_path(two: tuple[Path, Path]) -> None:
    for out in two:
        inputs = json.loads((out / "season.json").read_text(encoding="utf-8"))["inputs"]
        assert {"bench.toml", "tools.csv", "runs.csv"} <= set(inputs)
        assert all(not name.startswith(("/", "..")) and "\\" not in name for name in inputs)
        assert all(len(value) == 64 for value in inputs.values())


def test_csv_files_have_lf_and_no_mark_and_no_comma_for_a_point(two: tuple[Path, Path]) -> None:
    for name in ("levels.csv", "differences.csv", "curves.csv"):
        data = (two[1] / REPORTS[0] / name).read_bytes()
        assert not data.startswith(b"\xef\xbb\xbf")
        assert b"\r" not in data
        rows = list(csv.DictReader(data.decode("utf-8").splitlines()))
        assert rows
        for row in rows:
            assert None not in row
            float(row[{"levels.csv": "value", "differences.csv": "percent", "curves.csv": "mean"}[name]])


@pytest.mark.parametrize("report", REPORTS)
def test_the_kept_notebook_names_its_season_relatively_runs_from_its_folder_and_writes_nothing(
    two: tuple[Path, Path], report: str
) -> None:
    folder = two[1] / report
    notebook = nbformat.read(folder / "report.ipynb", as_version=4)
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    code = [cell.source for cell in cells]
    parameters: dict[str, object] = {}
    for cell in cells:
        if {"parameters", "injected-parameters"} & set(cell.metadata.get("tags", [])):
            exec(cell.source, parameters)
    season = Path(str(parameters["season"]))
    assert not season.is_absolute()
    assert (folder / season / "bench.toml").is_file()
    assert parameters["write_to"] == ""
    before = sorted((path.name, path.stat().st_mtime_ns) for path in folder.rglob("*"))
    done = subprocess.run(
        [sys.executable, "-c", "\n".join(code)], cwd=folder, env=environment(MPLBACKEND="Agg"), capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert sorted((path.name, path.stat().st_mtime_ns) for path in folder.rglob("*")) == before
