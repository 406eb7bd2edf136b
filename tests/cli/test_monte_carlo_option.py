"""`report --monte-carlo` in this process: what it adds to the page and to results.json, and that nothing else moves."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import small_season

from toolbench.cli.main import toolbench
from toolbench.cli.running import run

WHERE = small_season.REPORTS[0]


def report(season: Path, out: Path, *options: str) -> Path:
    assert run(toolbench, ["report", str(season), "--episode", "long-line", *options, "-o", str(out)]) == 0
    return out / WHERE


def results(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "results.json").read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_season.write(tmp_path_factory.mktemp("check") / "season")


@pytest.fixture(scope="module")
def pages(season: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    out = tmp_path_factory.mktemp("pages")
    # The contract lets options stand before the season, too.
    checked = out / "checked"
    assert run(toolbench, ["report", "--monte-carlo", "--episode", "long-line", str(season), "-o", str(checked)]) == 0
    return report(season, out / "bare"), checked / WHERE


def test_the_check_stands_beside_the_linear_numbers(pages: tuple[Path, Path]) -> None:
    bare, checked = map(results, pages)
    assert "monte_carlo" not in bare
    found = checked.pop("monte_carlo")
    assert (found["draws"], found["confidence"], found["notable"]) == (1_000_000, 0.95, 0.05)
    assert isinstance(found["seed"], int)
    keys = [(row["item"], row["metric"], row["at"]) for row in found["differences"]]
    assert keys == [
        (row["item"], row["metric"], row["at"]) for row in bare["differences"] if row["standard_uncertainty"]
    ]
    for row in found["differences"]:
        assert ("t_inputs" in row, row["differs"]) == (False, abs(row["excess"]) > 0.05)
        assert row["symmetric"][0] < row["percent"] < row["symmetric"][1]
    # 3 runs a side that scatter by 1 %: a ratio of such levels is as good as linear.
    sustained = next(row for row in found["differences"] if row["metric"] == "sustained")
    assert sustained["half_width"] == pytest.approx(sustained["linear_half_width"], rel=0.01)
    told = [one for one in checked["findings"] if one["code"] == "monte-carlo-differs"]
    assert len(told) == any(row["differs"] for row in found["differences"])
    assert {**checked, "findings": [one for one in checked["findings"] if one not in told]} == bare


def test_the_page_says_how_it_was_checked(pages: tuple[Path, Path]) -> None:
    bare, checked = ((folder / "report.html").read_text(encoding="utf-8") for folder in pages)
    assert "Monte Carlo" not in bare
    assert "Monte Carlo check (JCGM 101:2008)" in checked
    assert f"seed {results(pages[1])['monte_carlo']['seed']}" in checked
    differing = sum(row["differs"] for row in results(pages[1])["monte_carlo"]["differences"])
    assert checked.count("than the linear half width") == differing
    assert "--monte-carlo" in checked  # the command that makes it again
    assert ">nan<" not in checked
    assert "monte_carlo = True" in (pages[1] / "report.ipynb").read_text(encoding="utf-8")


def test_without_it_the_page_is_made_again_without(season: Path, pages: tuple[Path, Path], tmp_path: Path) -> None:
    asked = report(season, tmp_path, "--monte-carlo", "--t-inputs")
    assert all("t_inputs" in row for row in results(asked)["monte_carlo"]["differences"])
    assert "With t-distributed inputs" in (asked / "report.html").read_text(encoding="utf-8")
    plain = report(season, tmp_path)
    for name in ("results.json", "report.html", "levels.csv", "differences.csv", "curves.csv", "notes.md"):
        assert (plain / name).read_bytes() == (pages[0] / name).read_bytes(), name


def test_t_inputs_alone_is_a_mistake(season: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(toolbench, ["report", str(season), "--episode", "long-line", "--t-inputs"]) == 2
    assert "give both" in capsys.readouterr().err
