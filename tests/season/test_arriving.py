"""When a recording is complete. Time is handed in, so no test waits."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from toolbench.season.watch.arriving import PATIENT_S, QUIET_S, Arrivals, has_lines, is_cut, is_recording_name

ROWS = "t [s],Torque [N*m]\n0,1\n1,2\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "recordings").mkdir()
    return tmp_path


def put(path: Path, text: str, at: int) -> None:
    """Write a file with a time of change of its own, so that a change is one on every file system."""
    path.write_bytes(text.encode())
    os.utime(path, ns=(at * 10**9, at * 10**9))


def test_a_file_is_complete_once_it_stands_still(folder: Path) -> None:
    arrivals = Arrivals(folder)
    put(folder / "recordings/a.csv", ROWS, 1)
    assert arrivals.look(0.0).complete == ()
    assert arrivals.look(QUIET_S - 0.01).complete == ()
    assert arrivals.look(QUIET_S).complete == ("recordings/a.csv",)
    assert arrivals.look(QUIET_S + 9).complete == ()  # handed over once


def test_a_file_that_grows_is_waited_for(folder: Path) -> None:
    arrivals = Arrivals(folder)
    for second, text in enumerate((ROWS, ROWS * 2, ROWS * 3)):
        put(folder / "recordings/a.csv", text, second)
        assert arrivals.look(0.5 * second).complete == ()
    assert arrivals.look(1.0 + QUIET_S).complete == ("recordings/a.csv",)


def test_a_time_of_change_alone_counts_as_a_change(folder: Path) -> None:
    arrivals = Arrivals(folder)
    put(folder / "recordings/a.csv", ROWS, 1)
    arrivals.look(0.0)
    put(folder / "recordings/a.csv", ROWS, 2)
    assert arrivals.look(0.5).complete == ()
    assert arrivals.look(QUIET_S + 0.2).complete == ()
    assert arrivals.look(0.5 + QUIET_S).complete == ("recordings/a.csv",)


@pytest.mark.parametrize(
    ("data", "whole"),
    [
        (ROWS.encode(), True),
        (ROWS.replace("\n", "\r").encode(), True),
        (ROWS.rstrip("\n").encode(), False),
        (("\ufeff" + ROWS).encode("utf-16-le"), True),
        (("\ufeff" + ROWS[:-1]).encode("utf-16-le"), False),
        (b"", False),
        (ROWS.encode() + b"\0" * 4096, False),  # room that a logger took beforehand
    ],
)
def test_a_whole_file_ends_with_the_end_of_a_line(folder: Path, data: bytes, whole: bool) -> None:
    (folder / "recordings/a.csv").write_bytes(data)
    assert Arrivals(folder).is_whole("recordings/a.csv") is whole


def test_an_empty_file_that_is_held_open_is_never_complete(folder: Path) -> None:
    arrivals = Arrivals(folder)
    put(folder / "recordings/a.csv", "", 1)
    assert arrivals.look(0.0).complete == arrivals.look(60.0).complete == ()
    assert arrivals.is_empty("recordings/a.csv")
    put(folder / "recordings/a.csv", ROWS, 2)
    arrivals.look(61.0)
    assert arrivals.look(61.0 + QUIET_S).complete == ("recordings/a.csv",)


def test_a_slow_logger_is_learnt(folder: Path) -> None:
    """Written every 1.0 s: judged too early once, and from then on waited for."""
    arrivals = Arrivals(folder)
    early = []
    for second in range(5):
        put(folder / "recordings/a.csv", ROWS * (second + 1), second)
        early += [arrivals.look(second + part).complete for part in (0.0, 0.25, 0.5, 0.75)]
    assert sum(map(len, early)) <= 1
    assert arrivals.pause_s == pytest.approx(1.0)
    assert arrivals.look(4.0 + 1.1).complete == ()
    assert arrivals.look(4.0 + 1.25).complete == ("recordings/a.csv",)


def test_a_file_held_back_comes_once_more_and_only_once(folder: Path) -> None:
    arrivals = Arrivals(folder)
    put(folder / "recordings/a.csv", ROWS, 1)
    arrivals.look(0.0)
    assert arrivals.look(QUIET_S).complete
    assert arrivals.hold("recordings/a.csv")
    assert arrivals.look(PATIENT_S - 0.01).complete == ()
    assert arrivals.look(PATIENT_S).complete == ("recordings/a.csv",)
    assert not arrivals.hold("recordings/a.csv")


def test_a_replaced_recording_comes_again_and_a_deleted_one_is_gone(folder: Path) -> None:
    arrivals = Arrivals(folder)
    put(folder / "recordings/a.csv", ROWS, 1)
    arrivals.pass_over(["recordings/a.csv", "recordings/none.csv"])
    assert arrivals.look(9.0).complete == ()
    put(folder / "recordings/a.csv", ROWS, 2)
    arrivals.look(10.0)
    assert arrivals.look(11.0).complete == ("recordings/a.csv",)
    (folder / "recordings/a.csv").unlink()
    assert [file for file, _ in arrivals.look(12.0).gone] == ["recordings/a.csv"]


def test_a_rename_into_place_and_folders_below(folder: Path) -> None:
    arrivals = Arrivals(folder)
    (folder / "recordings/near").mkdir()
    put(folder / "recordings/near/a.csv.part", ROWS, 1)
    arrivals.look(0.0)
    assert arrivals.waiting() == ()
    (folder / "recordings/near/a.csv.part").rename(folder / "recordings/near/a.csv")
    arrivals.look(5.0)
    assert arrivals.look(6.0).complete == ("recordings/near/a.csv",)


def test_several_at_once_come_in_the_order_of_their_last_change(folder: Path) -> None:
    arrivals = Arrivals(folder)
    for name, at in (("r10", 5), ("r2", 7), ("r1", 6)):
        put(folder / f"recordings/{name}.csv", ROWS, at)
    arrivals.look(0.0)
    assert arrivals.look(1.0).complete == ("recordings/r10.csv", "recordings/r1.csv", "recordings/r2.csv")


def test_a_folder_that_is_not_there_yet(tmp_path: Path) -> None:
    arrivals = Arrivals(tmp_path)
    assert arrivals.look(0.0).complete == ()


def test_links_in_a_circle_are_not_followed(folder: Path) -> None:
    (folder / "recordings/again").symlink_to(folder / "recordings")
    assert Arrivals(folder).look(0.0).complete == ()


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("r1.csv", True), ("R1.TXT", True), ("r1.tdms", True), (".r1.csv", False), ("r1.csv.part", False),
        ("r1.csv~", False), ("~$r1.csv", False), (".~lock.r1.csv#", False), ("r1.tmp", False), ("r1.csv.swp", False),
        ("r1.crdownload", False), ("notes.md", False), ("photo.jpg", False), ("r1", False),
    ],
)  # fmt: skip
def test_names_that_may_be_a_recording(name: str, taken: bool) -> None:
    assert is_recording_name(name) is taken


def test_a_cut_last_row_is_seen(folder: Path) -> None:
    path = folder / "recordings/a.csv"
    for text, cut in ((ROWS, False), (ROWS + "2", True), (ROWS + "2,3", False), ("", False), ("x", False)):
        path.write_text(text)
        assert is_cut(path) is cut, text
    assert not has_lines(path, 2)
