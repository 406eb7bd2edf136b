"""Recordings that are written, swapped or taken away while they are read. Constructed: the disturbance comes at a fixed step."""

from __future__ import annotations

import os
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import glimpse, read_log, reading

TABLE = "t [s],Torque [N*m]\n" + "".join(f"{i / 1000:.3f},1.5\n" for i in range(200))


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "r.csv"
    path.write_text(TABLE)
    return path


def _just_before_the_digest(monkeypatch: pytest.MonkeyPatch, disturb: Callable[[Path], None]) -> None:
    real = reading.digest

    def digest(path: Path) -> str:
        disturb(path)
        return real(path)

    monkeypatch.setattr(reading, "digest", digest)


def _swap(path: Path) -> None:
    seen = path.stat()
    with path.open("r+") as stream:
        stream.write(TABLE.replace("1.5", "2.5"))
    os.utime(path, ns=(seen.st_atime_ns, seen.st_mtime_ns))


def _replace(path: Path) -> None:
    seen, other = path.stat(), path.with_suffix(".new")
    other.write_text(TABLE.replace("1.5", "2.5"))
    os.utime(other, ns=(seen.st_atime_ns, seen.st_mtime_ns))
    other.replace(path)


def _folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


@pytest.mark.skipif(os.name == "nt", reason="there a file that is read cannot be replaced, and the ctime is its making")
@pytest.mark.parametrize("disturb", [_swap, _replace])
def test_other_values_of_the_same_size_and_date_are_noticed(
    recording: Path, monkeypatch: pytest.MonkeyPatch, disturb: Callable[[Path], None]
) -> None:
    _just_before_the_digest(monkeypatch, disturb)
    with pytest.raises(RecordingError, match="changed while it was read"):
        read_log(recording)


@pytest.mark.parametrize("disturb", [Path.unlink, _folder])
def test_a_file_taken_away_is_a_sentence(
    recording: Path, monkeypatch: pytest.MonkeyPatch, disturb: Callable[[Path], None]
) -> None:
    _just_before_the_digest(monkeypatch, disturb)
    with pytest.raises(RecordingError, match=r"r\.csv: could not be read to its end"):
        read_log(recording)


def test_a_file_cut_to_nothing_while_it_is_read_is_no_lost_recording(
    recording: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = reading.open_source

    def opened(path: Path) -> object:
        source = real(path)
        path.write_text("")
        return source

    monkeypatch.setattr(reading, "open_source", opened)
    with pytest.raises(RecordingError, match="changed while it was read"):
        read_log(recording)


def test_what_can_be_seen_of_a_file_that_is_gone_is_its_size(recording: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(path: Path) -> None:
        path.unlink()

    monkeypatch.setattr(import_module("toolbench.logs.glimpse"), "find_container", gone)
    assert glimpse(recording) == {"bytes": len(TABLE)}


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_a_link_to_nothing_is_not_said_to_be_itself(tmp_path: Path) -> None:
    (tmp_path / "r.csv").symlink_to(tmp_path / "nowhere")
    with pytest.raises(RecordingError, match="a link to a file that is not there"):
        read_log(tmp_path / "r.csv")
