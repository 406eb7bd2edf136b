"""What a season inferred from folders takes from the recordings beside their columns."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from toolbench.season import compare, compare_folders, open_season


def _folder(home: Path, name: str, first: str | None) -> Path:
    folder = home / name
    folder.mkdir()
    for k in range(2):
        # constructed: 100 Hz; the torque steps up after a second
        times = [f"{i * 10}" for i in range(400)]
        if first:
            begin = datetime.fromisoformat(first) + timedelta(minutes=k)
            times = [(begin + timedelta(milliseconds=10 * i)).isoformat(timespec="milliseconds") for i in range(400)]
        rows = [f"{time},{100.0 + k if i > 100 else 0.1}" for i, time in enumerate(times)]
        head = "time,torque [Nm]" if first else "time [ms],torque [Nm]"
        (folder / f"r{k}.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return folder


def test_stamps_say_when_a_run_began(tmp_path: Path) -> None:
    folders = [_folder(tmp_path, "near", "2026-03-04T09:00:00"), _folder(tmp_path, "far", "2026-03-05T10:30:00")]
    season = open_season(compare_folders(folders, out=tmp_path / "out"))
    assert {run.run: run.started for run in season.settings.runs} == {
        "near-01": datetime(2026, 3, 4, 9, 0),
        "near-02": datetime(2026, 3, 4, 9, 1),
        "far-01": datetime(2026, 3, 5, 10, 30),
        "far-02": datetime(2026, 3, 5, 10, 31),
    }


def test_a_column_without_a_unit_is_carried_along_and_stops_nothing(tmp_path: Path) -> None:
    folders = [_folder(tmp_path, "near", None), _folder(tmp_path, "far", None)]
    for path in tmp_path.glob("*/*.csv"):
        head, *rows = path.read_text().splitlines()
        path.write_text("\n".join([f"{head},flow", *(f"{row},3.1" for row in rows)]) + "\n")
    season = open_season(compare_folders(folders, out=tmp_path / "out"))
    assert set(season.settings.loggers["rig"].channels) == {"torque", "air_flow_as_written"}
    assert len(compare(season, episode="comparison", tool="tool", protocol="as-recorded").differences)


def test_no_start_is_made_up(tmp_path: Path) -> None:
    folders = [_folder(tmp_path, "near", None), _folder(tmp_path, "far", None)]
    season = open_season(compare_folders(folders, out=tmp_path / "out"))
    assert {run.started for run in season.settings.runs} == {None}


def test_stamps_with_and_without_a_zone_are_not_put_in_order(tmp_path: Path) -> None:
    folders = [_folder(tmp_path, "near", "2026-03-04T09:00:00"), _folder(tmp_path, "far", "2026-03-05T10:30:00+00:00")]
    season = open_season(compare_folders(folders, out=tmp_path / "out"))
    assert {run.started for run in season.settings.runs} == {None}
