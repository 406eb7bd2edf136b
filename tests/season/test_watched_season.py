"""A season watched, with time handed in: what each recording is taken for, and what stands in runs.csv afterwards.

Rows expected in runs.csv are by hand.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from bench_runs import BENCH, run_text, write_season

from toolbench.records.settings import RunEntry
from toolbench.season.watch.entering import enter, entering
from toolbench.season.watch.watching import Judged, Told, Watch
from toolbench.settings import entered_rows, read_settings

NEAR, FAR = ("quernel-1", "near", "static"), ("quernel-1", "far", "static")
PATTERN = 'recordings = "recordings/{tool}/{setup}/{protocol}-{run}.csv"\n'
PLAN = """\
order;tool;setup;protocol;run;block;Operator
1;quernel-1;near;static;n1;b1;ab
2;quernel-1;far;static;f1;b1;ab
3;quernel-1;near;static;n2;b1;cd
"""
PLAN_OF_RUNS = "run,tool,setup,protocol\nn1,quernel-1,near,static\nf1,quernel-1,far,static\n"
_at = iter(range(1_700_000_000, 1_900_000_000))


def put(season: Path, name: str, text: str) -> Path:
    """A recording, each with a time of change of its own."""
    path = season / "recordings" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    stamp(path)
    return path


def stamp(path: Path) -> int:
    at = next(_at)
    os.utime(path, (at, at))
    return at


class Bench:
    """A watch and its clock: each look is three seconds after the one before."""

    def __init__(self, season: Path, **options: object) -> None:
        self.watch = Watch(season, **options)  # type: ignore[arg-type]
        self.now = 0.0
        self.told: list[str] = []

    def look(self, times: int = 3) -> list[Judged]:
        judged = []
        for _ in range(times):
            self.now += 3.0
            for one in self.watch.step(self.now):
                if isinstance(one, Judged):
                    judged.append(one)
                else:
                    assert isinstance(one, Told)
                    self.told.append(one.text)
        return judged


def rows(season: Path) -> list[dict[str, str]]:
    return [
        {k: v for k, v in row.items() if v and k != "line"} for row in entered_rows((season / "runs.csv").read_bytes())
    ]


def cells(season: Path, *names: str) -> list[tuple[str, ...]]:
    return [tuple(row.get(name, "") for name in names) for row in rows(season)]


@pytest.fixture
def season(tmp_path: Path) -> Path:
    return write_season(tmp_path / "s")


@pytest.fixture
def planned(season: Path) -> Path:
    (season / "plan.csv").write_text(PLAN, encoding="utf-8")
    return season


def verdicts(judged: Iterable[Judged]) -> list[str]:
    return [one.judgement.verdict for one in judged]


def test_the_sheet_says_what_a_recording_is(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "LOG0001.csv", run_text(1, NEAR))
    (first,) = bench.look()
    assert (first.judgement.verdict, first.not_entered, first.open_rows) == ("keep", "", 2)
    assert first.next_row is not None
    assert first.next_row.setup == "far"
    at = int((planned / "recordings/LOG0001.csv").stat().st_mtime)
    started = datetime.fromtimestamp(at, UTC).astimezone().isoformat()  # no stamp in the file: its time of change
    assert rows(planned) == [
        {
            "run": "n1", "file": "recordings/LOG0001.csv", "tool": "quernel-1", "setup": "near", "protocol": "static",
            "block": "b1", "order": "1", "started": started, "operator": "ab",
        }
    ]  # fmt: skip
    assert len(read_settings(planned).runs) == 1


def test_a_bad_run_keeps_its_row_open(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR, "slipped-socket"))
    (bad,) = bench.look()
    assert (bad.judgement.verdict, bad.open_rows) == ("repeat", 3)
    put(planned, "b.csv", run_text(2, NEAR))
    put(planned, "c.csv", run_text(3, FAR))
    assert verdicts(bench.look()) == ["keep", "keep"]
    assert cells(planned, "run", "setup", "order", "exclude", "reason") == [
        ("a", "near", "1", "yes", "socket slip"),
        ("n1", "near", "1", "", ""),
        ("f1", "far", "2", "", ""),
    ]
    assert [row.run for row in bench.watch.open_rows()] == ["n2"]
    assert [row.run for row in Watch(planned, sheet=planned / "plan.csv").open_rows()] == ["n2"]  # after a new start
    settings = read_settings(planned)
    assert [run.run for run in settings.runs if run.excluded] == ["a"]


def test_the_pattern_goes_before_the_sheet_and_odd_order_is_told(planned: Path) -> None:
    (planned / "bench.toml").write_text(PATTERN + BENCH)
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "quernel-1/far/static-1.csv", run_text(3, FAR))
    (one,) = bench.look()
    assert one.notices == ("out of the sheet's order: quernel-1 on near was next",)
    assert cells(planned, "run", "setup", "order") == [("f1", "far", "2")]
    put(planned, "old-tasselby/far/static-1.csv", run_text(3, ("old-tasselby", "far", "static")))
    (other,) = bench.look()
    assert other.notices == ("it is not on the sheet",)


def test_nobody_says_what_it_is(season: Path) -> None:
    bench = Bench(season)
    put(season, "a.csv", run_text(1, NEAR))
    (one,) = bench.look()
    assert one.judgement.verdict == "look"
    assert "which tool, setup, protocol" in one.judgement.reasons[0].message
    assert not (season / "runs.csv").exists()
    assert bench.look() == []  # told once
    (season / "runs.csv").write_text("file,tool,setup,protocol\nrecordings/a.csv,quernel-1,near,static\n")
    (again,) = bench.look()  # a person has said it meanwhile
    assert again.judgement.verdict == "keep"
    assert cells(season, "file", "setup", "exclude") == [("recordings/a.csv", "near", "")]


def test_a_season_with_one_possibility_needs_no_sheet(tmp_path: Path) -> None:
    text = BENCH.split("[protocols.held]")[0] + '[protocols.static]\nduration = "5 s"\n[setups.near]\n'
    text += '[[episodes]]\nid = "one"\ntools = ["quernel-1"]\nsetups = ["near"]\nprotocols = ["static"]\n'
    season = write_season(tmp_path / "one", text)
    bench = Bench(season, block="monday")
    put(season, "a.csv", run_text(1, NEAR))
    assert verdicts(bench.look()) == ["keep"]
    assert cells(season, "tool", "setup", "protocol", "block", "order") == [
        ("quernel-1", "near", "static", "monday", "1")
    ]


def test_rows_of_runs_csv_without_a_file_are_the_plan(season: Path) -> None:
    before = "file;tool;setup;protocol;order;note\n;quernel-1;near;static;1;mine\n;quernel-1;far;static;2;\n"
    (season / "runs.csv").write_text(before)
    bench = Bench(season)
    put(season, "a.csv", run_text(1, NEAR, "clipped"))
    put(season, "b.csv", run_text(2, NEAR))
    assert verdicts(bench.look()) == ["repeat", "keep"]
    lines = (season / "runs.csv").read_text().splitlines()
    assert lines[0].startswith("file;tool;setup;protocol;order;note;")
    assert lines[1].startswith("recordings/b.csv;quernel-1;near;static;1;mine;")
    assert lines[2] == ";quernel-1;far;static;2;"
    assert lines[3].startswith("recordings/a.csv;quernel-1;near;static;1;mine;")
    assert [row.setup for row in bench.watch.open_rows()] == ["far"]


def test_the_same_name_written_again_alters_its_row(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR, "clipped"))
    bench.look()
    typed = (planned / "runs.csv").read_text().replace("\n", "\n", 1)
    (planned / "runs.csv").write_text(typed.rstrip("\n").rstrip(",") + ",my own note\n" if "note" in typed else typed)
    put(planned, "a.csv", run_text(2, NEAR))
    (again,) = bench.look()
    assert (again.judgement.verdict, again.again) == ("keep", True)
    assert cells(planned, "file", "exclude", "reason") == [("recordings/a.csv", "", "")]
    assert [row.run for row in bench.watch.open_rows()] == ["f1", "n2"]


def test_a_run_kept_after_all_takes_its_row_of_a_plan_without_order(planned: Path) -> None:
    (planned / "plan.csv").write_text(PLAN_OF_RUNS)
    bench = Bench(planned, sheet=planned / "plan.csv")
    whole = run_text(1, NEAR)
    put(planned, "a.csv", whole[: len(whole) // 3])  # a logger that pauses longer than anybody waits
    assert verdicts(bench.look()) == ["repeat"]
    put(planned, "a.csv", whole)
    assert verdicts(bench.look()) == ["keep"]
    assert cells(planned, "run", "exclude") == [("n1", "")]
    assert [row.run for row in bench.watch.open_rows()] == ["f1"]


def test_a_row_spoilt_by_hand_stays_in_force(planned: Path) -> None:
    (planned / "plan.csv").write_text(PLAN_OF_RUNS)
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    bench.look()
    path = planned / "runs.csv"
    header, row = (line.split(",") for line in path.read_text().splitlines())
    row[header.index("exclude")] = "perhaps"
    path.write_text(",".join(header) + "\n" + ",".join(row) + "\n")
    put(planned, "b.csv", run_text(2, FAR))
    assert verdicts(bench.look()) == ["keep"]
    assert cells(planned, "run", "setup") == [("n1", "near"), ("f1", "far")]
    assert bench.watch.open_rows() == ()
    assert "runs.csv: 1 of its rows cannot be used; what they said before stays in force" in bench.told


def test_what_a_person_typed_is_not_overwritten(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    bench.look()
    path = planned / "runs.csv"
    by_hand = path.read_text().splitlines()
    header, row = by_hand[0].split(","), by_hand[1].split(",")
    row[header.index("exclude")], row[header.index("reason")] = "yes", "safety stop"
    path.write_text(",".join(header) + "\n" + ",".join(row) + "\n")
    put(planned, "a.csv", run_text(2, NEAR))
    bench.look()
    assert cells(planned, "exclude", "reason") == [("yes", "safety stop")]


def test_a_reason_entered_here_gives_way_to_the_next_one() -> None:
    before = b"run,file,tool,setup,protocol,exclude,reason\nr1,recordings/a.csv,quernel-1,near,static,yes,clipped\n"
    entry = RunEntry(run="r1", file="recordings/a.csv", tool="quernel-1", setup="near", protocol="static", logger="rig")

    def reason(words: str, data: bytes) -> str:
        edit = entering(
            entry, words, started=datetime(2026, 3, 2, tzinfo=UTC), row=None, fills=False, loggers=1,
            run_id=lambda file: Path(file).stem, wrote={},
        )  # fmt: skip
        return entered_rows(edit(data))[0].get("reason", "")

    assert reason("zero shift", before) == "zero shift"
    assert reason("", before) == ""
    by_hand = before.replace(b"clipped", b"safety stop")
    assert reason("zero shift", by_hand) == "safety stop"


def test_a_row_saved_by_another_program_meanwhile_is_not_lost(planned: Path) -> None:
    path = planned / "runs.csv"
    path.write_bytes(b"run,file,tool,setup,protocol\n")
    seen: list[bytes | None] = []

    def edit(data: bytes | None) -> bytes:
        if not seen:  # what a spreadsheet saves while the first edit is worked out
            path.write_bytes(b"run,file,tool,setup,protocol\nby-hand,b.csv,quernel-1,near,static\n")
        seen.append(data)
        return (data or b"") + b"ours,a.csv,quernel-1,near,static\n"

    enter(planned, edit)
    assert [row["run"] for row in rows(planned)] == ["by-hand", "ours"]
    assert len(seen) == 2


def test_recordings_that_were_there(planned: Path) -> None:
    put(planned, "a.csv", run_text(1, NEAR))
    put(planned, "b.csv", run_text(2, FAR))
    old = f"file,tool,setup,protocol\nrecordings/a.csv,quernel-1,near,static\n"  # noqa: F541
    (planned / "runs.csv").write_text(old)
    left = Bench(planned, sheet=planned / "plan.csv", new_only=True)
    assert left.look() == []
    assert (planned / "runs.csv").read_text() == old
    bench = Bench(planned, sheet=planned / "plan.csv")
    assert bench.watch.there_already == ("recordings/b.csv",)
    assert [one.file for one in bench.look()] == ["recordings/b.csv"]
    assert (planned / "runs.csv").read_text().splitlines()[1] == "recordings/a.csv,quernel-1,near,static"


def test_a_recording_that_moves_keeps_its_row(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    path = put(planned, "a.csv", run_text(1, NEAR))
    bench.look()
    (planned / "recordings/day-1").mkdir()
    path.rename(planned / "recordings/day-1/a.csv")
    assert bench.look() == []
    assert cells(planned, "run", "file") == [("n1", "recordings/day-1/a.csv")]
    (planned / "recordings/day-1/a.csv").unlink()
    bench.look()
    assert "recordings/day-1/a.csv is gone; its row in runs.csv stays" in bench.told
    assert len(rows(planned)) == 1


def test_a_copy_is_a_duplicate(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    bench.look()
    put(planned, "b.csv", run_text(1, NEAR))
    (copy,) = bench.look()
    assert copy.judgement.words == "duplicate file"
    assert cells(planned, "run", "exclude") == [("n1", ""), ("b", "yes")]


def test_a_copy_of_a_recording_that_was_not_read_yet_is_a_duplicate(planned: Path) -> None:
    first = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    first.look()
    put(planned, "b.csv", run_text(1, NEAR))  # taken for the next row, a run on another setup
    (copy,) = Bench(planned, sheet=planned / "plan.csv").look()  # a new watch, at work before it has read a.csv
    assert copy.entry is not None
    assert copy.entry.setup == "far"
    assert copy.judgement.words == "duplicate file"


def test_rows_lost_to_a_spreadsheet_program_are_entered_again(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    bench.look()
    stale = "file,tool,setup,protocol,note\nrecordings/old.csv,quernel-1,far,static,typed\n"
    (planned / "runs.csv").write_text(stale)
    bench.look()
    assert cells(planned, "file", "note") == [("recordings/old.csv", "typed"), ("recordings/a.csv", "")]
    assert any("had lost the rows of recordings/a.csv" in text for text in bench.told)


def test_runs_csv_that_cannot_be_written_is_told_and_tried_again(planned: Path) -> None:
    path = planned / "runs.csv"
    path.write_text("file,tool,setup,protocol\n")
    path.chmod(0o444)
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    (one,) = bench.look()
    assert one.not_entered == "is marked read-only"
    assert one.judgement.verdict == "keep"
    assert bench.watch.pending == ("recordings/a.csv",)
    assert [row.run for row in bench.watch.open_rows()] == ["f1", "n2"]
    path.chmod(0o644)
    put(planned, "b.csv", run_text(2, FAR))
    bench.look()
    assert bench.watch.pending == ()
    assert sorted(cells(planned, "run", "file")) == [("f1", "recordings/b.csv"), ("n1", "recordings/a.csv")]


def test_a_fault_in_bench_toml_is_told_and_the_last_good_one_holds(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    good = (planned / "bench.toml").read_text()
    (planned / "bench.toml").write_text(good + "[protocols.static\n")
    bench.look()
    assert any("bench.toml" in text and "stays in force" in text for text in bench.told)
    put(planned, "a.csv", run_text(1, NEAR))
    assert verdicts(bench.look()) == ["keep"]
    # Mended, and the duration made longer than the run: the next one is judged by it.
    (planned / "bench.toml").write_text(good.replace('duration = "5 s"', 'duration = "9 s"'))
    put(planned, "b.csv", run_text(2, FAR))
    (short,) = bench.look()
    assert short.judgement.words == "rig fault: recording too short"


def test_an_edited_sheet_is_read_again(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    (planned / "plan.csv").write_text(PLAN.replace("1;quernel-1;near", "1;quernel-1;far").replace("n1", "f0"))
    put(planned, "a.csv", run_text(1, FAR))
    bench.look()
    assert cells(planned, "run", "setup") == [("f0", "far")]


def test_a_row_that_spoils_runs_csv_stops_nobody(planned: Path) -> None:
    before = "file,tool,setup,protocol\nrecordings/x.csv,nobody,nowhere,static\n"
    (planned / "runs.csv").write_text(before)
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    assert verdicts(bench.look()) == ["keep"]
    assert (planned / "runs.csv").read_text().splitlines()[1] == before.splitlines()[1]


def test_times_without_a_zone_stay_so(planned: Path) -> None:
    (planned / "runs.csv").write_text(
        "file,tool,setup,protocol,started\nrecordings/x.csv,quernel-1,near,static,2026-05-31T14:30\n"
    )
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    bench.look()
    assert all(run.started is not None and run.started.tzinfo is None for run in read_settings(planned).runs)


def test_the_first_stamp_of_a_file_is_its_start(planned: Path) -> None:
    (planned / "bench.toml").write_text(BENCH.replace('"t [s]"', '"Stamp"'))
    lines = run_text(1, NEAR).splitlines()
    stamped = [lines[0].replace("t [s]", "Stamp")]
    for line in lines[1:]:
        second, _, rest = line.partition(",")
        at = datetime.fromtimestamp(1_767_225_600 + float(second), UTC)  # 2026-01-01T00:00:00Z
        stamped.append(f"{at.isoformat(timespec='milliseconds')},{rest}")
    bench = Bench(planned, sheet=planned / "plan.csv")
    put(planned, "a.csv", "\n".join(stamped) + "\n")
    assert verdicts(bench.look()) == ["keep"]
    started = read_settings(planned).runs[0].started
    assert started is not None
    assert started.timestamp() == 1_767_225_600


@pytest.mark.skipif(os.name == "nt", reason="there no file can have such a name")
@pytest.mark.parametrize("name", ["new\nline.csv", "bell\x07.csv", "a\\b.csv", os.fsdecode(b"sur\xff.csv")])
def test_a_name_that_runs_csv_cannot_hold_is_not_entered(name: str, planned: Path) -> None:
    try:
        put(planned, name, run_text(1, NEAR))
    except OSError:
        pytest.skip("this file system has no such names")
    bench = Bench(planned, sheet=planned / "plan.csv")
    (one,) = bench.look()
    assert one.judgement.verdict == "look"
    assert "rename the file" in one.judgement.reasons[0].message
    assert not (planned / "runs.csv").exists()
    (planned / "recordings" / name).rename(planned / "recordings" / "a.csv")
    assert verdicts(bench.look()) == ["keep"]
    assert cells(planned, "run", "file") == [("n1", "recordings/a.csv")]


def test_a_name_that_looks_like_a_formula_is_entered_below_its_folder(planned: Path) -> None:
    put(planned, "=cmd.csv", run_text(1, NEAR))
    assert verdicts(Bench(planned, sheet=planned / "plan.csv").look()) == ["keep"]
    assert cells(planned, "run", "file") == [("n1", "recordings/=cmd.csv")]  # no cell begins with =


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with a name")
def test_runs_csv_turned_into_a_pipe_stops_nobody(planned: Path) -> None:
    bench = Bench(planned, sheet=planned / "plan.csv")
    os.mkfifo(planned / "runs.csv")
    put(planned, "a.csv", run_text(1, NEAR))
    (one,) = bench.look()
    assert (one.judgement.verdict, one.not_entered) == ("keep", "cannot be read: it is a pipe or a device, not a file")
    (planned / "runs.csv").unlink()
    bench.look()
    assert cells(planned, "file") == [("recordings/a.csv",)]


@pytest.mark.parametrize("seconds", [-1e12, 1e12])
def test_a_date_that_no_clock_shows_is_no_fault(seconds: float, planned: Path) -> None:
    path = put(planned, "a.csv", run_text(1, NEAR))
    try:
        os.utime(path, (seconds, seconds))
    except (OSError, OverflowError):
        pytest.skip("this file system has no such dates")
    assert verdicts(Bench(planned, sheet=planned / "plan.csv").look()) == ["keep"]
