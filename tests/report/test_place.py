"""Where reports may be written, and the lock of that place. Every case is constructed."""

from __future__ import annotations

from pathlib import Path

import pytest
from fake_season import make_options, make_season

from toolbench.errors import OutputError
from toolbench.files import locked
from toolbench.report.season_run import run_season


@pytest.mark.parametrize("place", [".", "recordings", "recordings/reports"])
def test_not_among_the_files_of_the_season(place: str, tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1.0"})
    before = sorted(season.folder.rglob("*"))
    with pytest.raises(OutputError, match="season's"):
        run_season(season, season.folder / place, make_options(tmp_path))
    assert sorted(season.folder.rglob("*")) == before


def test_a_folder_of_its_own_in_the_season_is_fine(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1.0"})
    assert run_season(season, season.folder / "reports", make_options(tmp_path)).exit_status == 0


def test_a_file_in_place_of_the_folder_is_told_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="is a file; reports need a folder"), locked(tmp_path / "out"):
        pass
    with pytest.raises(OutputError, match="cannot be written"), locked(tmp_path / "out" / "below"):
        pass
    assert (tmp_path / "out").read_text(encoding="utf-8") == "mine"


def test_a_lock_that_another_is_just_writing_is_not_taken_from_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lock = tmp_path / ".toolbench.lock"
    lock.touch()
    # While we wait, the other gets to write its number: ours stands for a process that lives.
    monkeypatch.setattr("time.sleep", lambda seconds: lock.write_text("1", encoding="ascii"))
    with pytest.raises(OutputError, match="another toolbench"), locked(tmp_path):
        pass
    assert lock.exists()


def test_a_lock_left_empty_by_a_dead_one_is_taken_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / ".toolbench.lock").touch()
    monkeypatch.setattr("time.sleep", lambda seconds: None)
    with locked(tmp_path):
        assert (tmp_path / ".toolbench.lock").read_text(encoding="ascii")
    assert not (tmp_path / ".toolbench.lock").exists()
