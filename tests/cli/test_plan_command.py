"""The command `plan` in this process: what it prints, what it writes and refuses, and its exit status."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
import small_season
from bench_runs import run_text, write_season

from toolbench.cli.main import toolbench
from toolbench.cli.running import run


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three runs a cell, no blocks; they scatter by 1 %."""
    return small_season.write(tmp_path_factory.mktemp("plan") / "season")


def plan(season: Path, *options: object, episode: str = "long-line", resolve: str = "3 %") -> int:
    return run(toolbench, ["plan", str(season), "--episode", episode, "--resolve", resolve, *map(str, options)])


def test_it_says_runs_with_their_range_and_what_more_would_buy(
    season: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert plan(season, "--seed", 7, resolve="0.3 %") == 0
    out = capsys.readouterr().out.replace("\u2009", " ")
    assert "To show 0.3 % in sustained torque takes, in runs a side," in out
    assert "3 are there; missing for 80 %: " in out
    assert "degrees of freedom only, so it may be" in out
    assert "3 (now)" in out
    assert "13 (+10)" in out
    assert "Assumed: the item reads 0.3 % more than its base" in out
    assert "decide on how many more before looking at the difference" in out
    assert "seed 7; -o plan.csv writes the sheet" in out


def test_the_numbers_for_other_programs(season: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert plan(season, "--json", "--repeatability", "4 %", "--seed", 1, resolve="5 %") == 0
    (need,) = json.loads(capsys.readouterr().out)["protocols"]
    (report,) = need["reports"]
    # domain figure worked out elsewhere: at 4 % scatter, 5 % takes 12 runs a side for 80 % power
    assert report["rows"][0]["alone"][0]["runs"] == 12
    assert report["rows"][0]["alone"][0]["lower"] == 12  # taken as known
    assert report["missing"] == report["rows"][0]["family"][0]["runs"] - 3
    assert [gain["alone"]["runs"] for gain in report["gains"]] == list(range(3, 14))
    assert need["source"] == "stated on the command line"


def test_a_sheet_of_the_same_seed_is_the_same_and_another_is_not(
    season: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    texts = []
    for name, seed in (("a", 5), ("b", 5), ("c", 6)):
        assert plan(season, "--blocks", 8, "--seed", seed, "-o", tmp_path / f"{name}.csv") == 0
        texts.append((tmp_path / f"{name}.csv").read_text(encoding="utf-8"))
    assert texts[0] == texts[1] != texts[2]
    rows = list(csv.DictReader(texts[0].splitlines()))
    assert len(rows) == 16
    assert {row["file"] for row in rows} == {""}
    assert "seed 5" in capsys.readouterr().out


def test_the_printed_sheet_has_boxes_cautions_and_the_seed(season: Path, tmp_path: Path) -> None:
    assert plan(season, "--blocks", 2, "--seed", 5, "-o", tmp_path / "plan.csv") == 0
    page = (tmp_path / "plan.html").read_text(encoding="utf-8")
    assert page.count("☐") == 4
    assert "Reminders only. Follow the makers" in page
    assert page.index("Reminders only") < page.index("☐")
    assert "with the seed 5" in page
    assert "http" not in page.replace("http-equiv", "")


def test_a_sheet_that_was_filled_in_is_not_overwritten(
    season: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "plan.csv"
    assert plan(season, "--blocks", 2, "-o", sheet) == 0
    assert plan(season, "--blocks", 3, "-o", sheet) == 0  # our own, unchanged
    sheet.write_text(sheet.read_text(encoding="utf-8") + "mine\n", encoding="utf-8")
    assert plan(season, "--blocks", 2, "-o", sheet) == 2
    assert "was not written by plan, or was changed since" in capsys.readouterr().err
    assert sheet.read_text(encoding="utf-8").endswith("mine\n")
    assert plan(season, "--blocks", 2, "-o", sheet, "--force") == 0
    assert not sheet.read_text(encoding="utf-8").endswith("mine\n")
    other = tmp_path / "other.csv"
    (tmp_path / "other.html").write_text("a page of mine", encoding="utf-8")
    assert plan(season, "--blocks", 2, "-o", other) == 2
    assert not other.exists()


@pytest.mark.parametrize(
    ("resolve", "said"),
    [
        ("0 %", "is no difference that could be shown"),
        ("-3 %", "is no difference that could be shown"),
        ("100000 %", "is larger than the level itself"),
        ("0.03", "has no unit"),
        ("three", "three"),
        ("nan %", "nan %"),
        ("", "--resolve"),
    ],
)
def test_differences_that_cannot_be_planned_for(
    season: Path, resolve: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert plan(season, resolve=resolve) == 2
    err = capsys.readouterr().err
    assert said in err
    assert len(err.strip().splitlines()) <= 3


def test_too_many_runs_are_said_and_no_sheet_is_made(
    season: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "plan.csv"
    assert plan(season, "-o", sheet, resolve="0.01 %") == 1
    seen = capsys.readouterr()
    assert "over 200" in seen.out
    assert "More than 200 runs a side are needed under held" in seen.out
    assert "no sheet was written: too many runs are needed" in seen.err
    assert not sheet.exists()
    assert plan(season, resolve="0.01 %") == 0  # nobody asked for a sheet


def test_nothing_missing_makes_no_sheet(season: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert plan(season, "-o", tmp_path / "plan.csv", resolve="50 %") == 0
    assert "no run is missing; --blocks plans more" in capsys.readouterr().err
    assert not (tmp_path / "plan.csv").exists()


def test_without_repeats_a_repeatability_is_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    empty = write_season(tmp_path / "s")
    assert plan(empty, episode="one") == 2
    err = capsys.readouterr().err
    assert "nothing says how runs scatter" in err
    assert '--repeatability "2 %"' in err
    sheet = tmp_path / "plan.csv"
    assert plan(empty, "--repeatability", "2 %", "--seed", 1, "-o", sheet, episode="one") == 0
    assert "None is there" in capsys.readouterr().out


def test_an_unknown_episode_and_a_name_that_is_no_csv(season: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert plan(season, episode="long-lime") == 2
    assert "long-line" in capsys.readouterr().err
    assert plan(season, "-o", "plan.txt") == 2
    assert "name it plan.csv" in capsys.readouterr().err


def test_the_sheet_leads_watch_and_fills_runs_csv(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # The round trip: plan, record in the sheet's order, watch; then no run is missing any more.
    folder = write_season(tmp_path / "s")
    sheet = folder / "plan.csv"
    stated = ("--repeatability", "2 %")
    assert plan(folder, *stated, "--blocks", 3, "--seed", 4, "-o", sheet, episode="one") == 0
    rows = list(csv.DictReader(sheet.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 12
    for number, row in enumerate(rows):
        cell = (row["tool"], row["setup"], row["protocol"])
        (folder / f"recordings/r{number:02}.csv").write_text(run_text(number, cell), encoding="utf-8")
    assert run(toolbench, ["watch", str(folder), "--once", "--sheet", str(sheet)]) == 0
    assert "the sheet is filled" in capsys.readouterr().out
    made = list(csv.DictReader((folder / "runs.csv").read_text(encoding="utf-8").splitlines()))
    wanted = [(row["run"], row["tool"], row["setup"], row["block"], row["order"]) for row in rows]
    assert [(row["run"], row["tool"], row["setup"], row["block"], row["order"]) for row in made] == wanted
    assert plan(folder, "--json", episode="one") == 0
    (need,) = json.loads(capsys.readouterr().out)["protocols"]
    assert {(report["runs_there"], report["in_blocks"]) for report in need["reports"]} == {(3, True)}
    assert need["source"] == "the season's own repeats"
