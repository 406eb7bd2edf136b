"""`toolbench cache`: it says where and how much, and takes away what the program wrote there, alone."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest
import small_season
from small_season import toolbench

from toolbench.logs.kept.known import NEAR_NS


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season of twelve recordings that have settled: of files changed just now nothing is kept."""
    folder = small_season.write(tmp_path_factory.mktemp("settled") / "season")
    time.sleep(NEAR_NS / 1e9 + 0.1)
    return folder


@pytest.fixture
def filled(season: Path, tmp_path: Path) -> Path:
    """A cache after `check` of that season."""
    toolbench("check", season, TOOLBENCH_CACHE=str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_cache_says_where_and_how_much(filled: Path) -> None:
    done = toolbench("cache", TOOLBENCH_CACHE=str(filled))
    assert done.returncode == 0
    assert str(filled) in done.stdout
    assert "12 reduced recordings" in done.stdout
    assert "1.00 GB" in done.stdout
    facts = json.loads(toolbench("cache", "--json", TOOLBENCH_CACHE=str(filled)).stdout)
    assert facts["folder"] == str(filled)
    assert (facts["counts"]["run"], facts["bound"]) == (12, 1_000_000_000)
    assert 0 < facts["size"] < 12 * 60_000 * 2


def test_clear_takes_away_what_was_kept_and_no_other_file(filled: Path) -> None:
    (filled / "mine.txt").write_text("mine", encoding="utf-8")
    done = toolbench("cache", "--clear", TOOLBENCH_CACHE=str(filled))
    assert (done.returncode, done.stdout.startswith("removed 12 reduced recordings")) == (0, True), done.stdout
    assert [path.name for path in filled.iterdir()] == ["mine.txt"]
    assert "0 reduced recordings" in toolbench("cache", TOOLBENCH_CACHE=str(filled)).stdout


@pytest.mark.parametrize("more", [(), ("--clear",), ("--json",), ("--clear", "--json")])
def test_without_a_cache_there_is_nothing_to_fail(tmp_path: Path, more: tuple[str, ...]) -> None:
    for place in ("off", str(tmp_path / "not made yet")):
        done = toolbench("cache", *more, TOOLBENCH_CACHE=place)
        assert (done.returncode, done.stderr) == (0, "")
    assert not (tmp_path / "not made yet").exists()
