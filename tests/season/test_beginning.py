"""A season begun from recordings: what is guessed from their names and contents, and that it can be used as it stands.

The recordings are constructed: 100 Hz, a torque that steps up after a second.
"""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import pandas as pd
import pytest

from toolbench.errors import OutputError, UsageError
from toolbench.season import check_season, compare, compare_folders, open_season, season_from_recordings
from toolbench.season.naming import guess_places


def frame(level: float = 100.0, **more: object) -> pd.DataFrame:
    torque = [0.1 * (k % 3) + (level if k > 100 else 0.0) for k in range(400)]
    return pd.DataFrame({"t [ms]": range(0, 4000, 10), "Torque [N*m]": torque, **more})


def csv(path: Path, level: float, **how: object) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    frame(level).to_csv(path, index=False, **how)  # type: ignore[call-overload]
    return path


def places(*files: str) -> list[tuple[str, str, str]]:
    paths = [Path("/rec") / file for file in files]
    return [(found.tool, found.setup, found.protocol) for found in guess_places(paths).values()]


def test_a_folder_is_a_setup() -> None:
    assert places("near/1.csv", "near/2.csv", "far/1.csv") == [
        ("tool", "near", "as-recorded"),
        ("tool", "near", "as-recorded"),
        ("tool", "far", "as-recorded"),
    ]


def test_one_letter_for_all_files_counts_the_run() -> None:
    found = places("fresh/b1.csv", "fresh/b2.csv", "tired/b1.csv", "tired/b2.csv")
    assert found == [("tool", setup, "as-recorded") for setup in ("fresh", "fresh", "tired", "tired")]
    assert [setup for _, setup, _ in places("rec/a1.csv", "rec/b1.csv")] == ["a1", "b1"]  # two letters: two things
    assert set(places("x/Messung_001.csv", "x/Messung_002.csv")) == {("tool", "x", "as-recorded")}


def test_two_levels_of_folders_are_tool_and_setup_and_the_file_the_protocol() -> None:
    found = places("ostrel/near/held-1.csv", "ostrel/far/held-1.csv", "fennwhit/near/held-1.csv")
    assert found == [("ostrel", "near", "held"), ("ostrel", "far", "held"), ("fennwhit", "near", "held")]


def test_tools_stand_in_the_names_of_the_files_of_a_setup() -> None:
    found = places("near/ostrel-01.csv", "near/fennwhit-01.csv", "far/ostrel-01.csv", "far/ostrel-02.csv")
    assert found[:2] == [("ostrel", "near", "as-recorded"), ("fennwhit", "near", "as-recorded")]


def test_names_that_speak_of_setups_make_the_folders_tools() -> None:
    found = places("ostrel/6bar-1.csv", "ostrel/4bar-1.csv", "fennwhit/6bar-1.csv", "fennwhit/4bar-1.csv")
    assert found[1:3] == [("ostrel", "4bar", "as-recorded"), ("fennwhit", "6bar", "as-recorded")]


def test_all_in_one_folder_are_told_apart_by_their_names() -> None:
    found = places("held_short_run1.csv", "held_short_run2.csv", "held_long_run1.csv", "held_long_run2.csv")
    assert found == [("tool", "short", "held")] * 2 + [("tool", "long", "held")] * 2


def test_dates_and_counts_tell_no_items_apart() -> None:
    assert set(places("a/2026-03-04_10-00-00.csv", "a/2026-03-04_10-02-00.csv", "a/r3.csv")) == {
        ("tool", "a", "as-recorded")
    }


def test_a_season_is_begun_that_checks_and_compares_as_it_stands(tmp_path: Path) -> None:
    files = [
        csv(tmp_path / "rec" / setup / f"{tool}-{k}.csv", 100.0 + k / 10 + (setup == "far") * 20 + (tool == "ostrel"))
        for setup in ("near", "far")
        for tool in ("ostrel", "fennwhit")
        for k in (1, 2, 3)
    ]
    begun = season_from_recordings(tmp_path / "season", files)
    season = open_season(begun.folder)
    report = check_season(season)
    assert report.exit_status == 0
    assert {finding.severity for finding in report.findings} <= {"note"}
    assert [run.run for run in begun.runs][:2] == ["near-ostrel-1", "near-ostrel-2"]
    found = compare(season, episode="comparison", tool="ostrel").differences
    assert found.loc[found["metric"] == "sustained", "percent"].item() == pytest.approx(
        100 * 20 / 101.2, abs=0.5
    )  # constructed: 20 N*m more than 101.2
    text = (begun.folder / "bench.toml").read_text(encoding="utf-8")
    assert "\n\n\n" not in text
    assert tomllib.loads(text)["loggers"]["rig"]["time"] == "t [ms]"
    assert '# quantity = "torque"' in text
    assert not list(tmp_path.glob(".*"))


def test_files_written_in_several_ways_get_several_loggers(tmp_path: Path) -> None:
    plain = csv(tmp_path / "rec" / "near" / "1.csv", 100.0)
    comma = csv(tmp_path / "rec" / "near" / "2.csv", 101.0, sep=";", decimal=",")
    columnar = tmp_path / "rec" / "far" / "3.parquet"
    columnar.parent.mkdir()
    frame(120.0).rename(columns={"Torque [N*m]": "M [N*m]"}).to_parquet(columnar)
    begun = season_from_recordings(tmp_path / "season", [plain, comma, columnar])
    bench = tomllib.loads((begun.folder / "bench.toml").read_text(encoding="utf-8"))
    assert [run.logger for run in begun.runs] == ["rig", "rig-2", "rig-3"]
    assert (bench["loggers"]["rig-2"]["delimiter"], bench["loggers"]["rig-2"]["decimal"]) == (";", ",")
    assert bench["loggers"]["rig-3"]["channels"] == {"torque": "M [N*m]"}
    report = check_season(open_season(begun.folder))
    assert [finding.code for finding in report.findings if finding.severity != "note"] == ["few-runs", "few-runs"]
    assert compare(open_season(begun.folder), episode="comparison", tool="tool").levels["value"].notna().any()


def test_what_the_lines_above_the_rows_say_stands_in_the_runs(tmp_path: Path) -> None:
    path = tmp_path / "near" / "1.csv"
    path.parent.mkdir()
    path.write_text("Block: 3\nStarted: 2026-03-04 09:30:00\n\n" + frame().to_csv(index=False), encoding="utf-8")
    run = season_from_recordings(tmp_path / "season", [path]).runs[0]
    assert run.block == "3"
    assert run.started is not None
    assert run.started.isoformat() == "2026-03-04T09:30:00"


def test_a_response_without_unit_or_name_is_carried_and_said(tmp_path: Path) -> None:
    paths = []
    for name in ("near", "far"):
        for k in (1, 2):
            path = tmp_path / name / f"{k}.csv"
            path.parent.mkdir(exist_ok=True)
            frame(100.0 + k).rename(columns={"Torque [N*m]": "Torque"}).to_csv(path, index=False)
            paths.append(path)
    paths[0].write_text(paths[0].read_text().replace("101.0", "101.25"), encoding="utf-8")
    begun = season_from_recordings(tmp_path / "season", paths)
    assert "has no unit" in begun.remarks[0]
    assert compare(open_season(begun.folder), episode="comparison", tool="tool").levels["value"].notna().any()


def test_what_cannot_be_read_is_left_out_and_named(tmp_path: Path) -> None:
    good = csv(tmp_path / "near" / "1.csv", 100.0)
    (tmp_path / "near" / "2.csv").write_bytes(b"")
    begun = season_from_recordings(
        tmp_path / "season", [good, tmp_path / "near" / "2.csv", tmp_path / "near" / "3.csv"]
    )
    assert [Path(str(fault.file)).name for fault in begun.left_out] == ["2.csv", "3.csv"]
    assert [run.file for run in begun.runs] == ["recordings/near/1.csv"]
    with pytest.raises(UsageError, match="not one of the recordings"):
        season_from_recordings(tmp_path / "other", [tmp_path / "near" / "2.csv"])
    assert not (tmp_path / "other").exists()


def test_nothing_is_left_of_a_season_that_could_not_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    good = csv(tmp_path / "near" / "1.csv", 100.0)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("shutil.copyfile", full)
    with pytest.raises(OutputError, match="No space left"):
        season_from_recordings(tmp_path / "season", [good])
    assert [path.name for path in tmp_path.iterdir()] == ["near"]


def test_a_season_that_is_there_is_kept_unless_told(tmp_path: Path) -> None:
    good = csv(tmp_path / "near" / "1.csv", 100.0)
    season_from_recordings(tmp_path / "season", [good])
    (tmp_path / "season" / "notes.md").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="a season is already there"):
        season_from_recordings(tmp_path / "season", [good])
    season_from_recordings(tmp_path / "season", [good], overwrite=True)
    assert (tmp_path / "season" / "notes.md").read_text(encoding="utf-8") == "mine"


def test_folders_of_columnar_files_are_compared_as_those_of_text_are(tmp_path: Path) -> None:
    for kind in ("csv", "parquet"):
        for setup, level in (("near", 100.0), ("far", 120.0)):
            for k in range(3):
                path = tmp_path / kind / setup / f"{k}.{kind}"
                path.parent.mkdir(parents=True, exist_ok=True)
                made = frame(level + k)
                made.to_csv(path, index=False) if kind == "csv" else made.to_parquet(path)
    found = []
    for kind in ("csv", "parquet"):
        folders = [tmp_path / kind / "near", tmp_path / kind / "far"]
        season = open_season(compare_folders(folders, out=tmp_path / "out" / kind))
        found.append(compare(season, episode="comparison", tool="tool").differences)
    pd.testing.assert_frame_equal(*found, check_exact=True)


def test_a_pattern_of_recordings_takes_columnar_files(tmp_path: Path) -> None:
    files = []
    for k, setup in enumerate(("near", "near", "far", "far")):
        path = tmp_path / "rec" / setup / f"{k}.parquet"
        path.parent.mkdir(parents=True, exist_ok=True)
        frame(100.0 + k).to_parquet(path)
        files.append(path)
    begun = season_from_recordings(tmp_path / "season", files)
    (begun.folder / "runs.csv").unlink()
    bench = begun.folder / "bench.toml"
    text = bench.read_text(encoding="utf-8")
    bench.write_text('recordings = "recordings/{setup}/{run}.parquet"\n' + text, encoding="utf-8")
    season = open_season(begun.folder)
    assert [run.file for run in season.settings.runs] == [
        f"recordings/{name}.parquet" for name in ("far/2", "far/3", "near/0", "near/1")
    ]
    assert compare(season, episode="comparison", tool="tool").differences["percent"].notna().any()


@pytest.mark.skipif(os.name == "nt", reason="there no file can have such a name")
def test_a_name_that_runs_csv_cannot_hold_is_not_copied(tmp_path: Path) -> None:
    names = ("new\nline.csv", "a\\b.csv", os.fsdecode(b"sur\xff.csv"), "=cmd.csv")
    try:
        made = [csv(tmp_path / "near" / name, 400.0 + at) for at, name in enumerate(names)]
    except OSError:
        pytest.skip("this file system has no such names")
    season_from_recordings(tmp_path / "season", made)
    copied = {path.name: path.read_bytes() for path in (tmp_path / "season" / "recordings" / "near").iterdir()}
    assert copied == {
        name: path.read_bytes()
        for name, path in zip(("new-line.csv", "a-b.csv", "sur.csv", "=cmd.csv"), made, strict=True)
    }
    assert len(open_season(tmp_path / "season").settings.runs) == 4
