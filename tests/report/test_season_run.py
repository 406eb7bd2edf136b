"""The engine over a fake notebook: what is made, what is left alone, what happens when a report fails.

Every expected state and text is constructed: the fake recordings say what their report is to do.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from fake_season import make_notebook, make_options, make_season, running, states
from small_season import environment

from toolbench.errors import OutputError
from toolbench.report.season_run import run_season


def test_one_failure_leaves_the_others_alone(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok -3.5", "b": "raise", "c": "die"})
    out = tmp_path / "out"
    outcome = run_season(season, out, make_options(tmp_path))
    assert states(out) == {"a": "rendered", "b": "failed", "c": "failed"}
    assert outcome.exit_status == 1
    errors = {row["subject"]: row["error"] for row in outcome.rows}
    assert "cell 3" in errors["b"]
    assert "b cannot be read" in errors["b"]
    assert "kernel died" in errors["c"]
    assert not (out / "one" / "tool-b--held").exists()
    assert not (out / ".toolbench-work").exists()
    assert not (out / ".toolbench.lock").exists()


def test_the_second_call_changes_nothing_and_a_changed_input_only_its_own_report(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok -3.5", "b": "ok 1.0"})
    out, options = tmp_path / "out", make_options(tmp_path)
    run_season(season, out, options)
    before = {p: p.stat().st_mtime_ns for p in (out / "one").glob("*/report.html")}
    run_season(season, out, options)
    assert states(out) == {"a": "unchanged", "b": "unchanged"}
    assert {p: p.stat().st_mtime_ns for p in (out / "one").glob("*/report.html")} == before
    (season.folder / "recordings" / "a.txt").write_text("ok -4.5")
    run_season(season, out, options)
    assert states(out) == {"a": "rendered", "b": "unchanged"}


def test_a_lost_file_is_made_again_and_fresh_makes_all(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok -3.5", "b": "ok 1.0"})
    out = tmp_path / "out"
    run_season(season, out, make_options(tmp_path))
    (out / "one" / "tool-a--held" / "figures" / "curve.svg").unlink()
    run_season(season, out, make_options(tmp_path))
    assert states(out) == {"a": "rendered", "b": "unchanged"}
    run_season(season, out, make_options(tmp_path, fresh=True))
    assert states(out) == {"a": "rendered", "b": "rendered"}


def test_the_last_good_page_stays_and_is_marked_stale_until_it_can_be_made_again(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok -3.5"})
    out, page = tmp_path / "out", tmp_path / "out" / "one" / "tool-a--held"
    run_season(season, out, make_options(tmp_path))
    good = (page / "report.html").read_bytes()
    (season.folder / "recordings" / "a.txt").write_text("raise")
    assert run_season(season, out, make_options(tmp_path)).exit_status == 1
    assert (page / "report.html").read_bytes() == good
    assert "a cannot be read" in (page / "STALE.txt").read_text()
    assert "earlier run" in (out / "index.html").read_text()
    (season.folder / "recordings" / "a.txt").write_text("ok -3.5")
    assert run_season(season, out, make_options(tmp_path)).exit_status == 0
    assert states(out) == {"a": "unchanged"}
    assert not (page / "STALE.txt").exists()
    assert "earlier run" not in (out / "index.html").read_text()


def test_only_failed_makes_only_what_failed(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok -3.5", "b": "raise"})
    out = tmp_path / "out"
    run_season(season, out, make_options(tmp_path))
    for tool in "ab":
        (season.folder / "recordings" / f"{tool}.txt").write_text("ok 2")
    outcome = run_season(season, out, make_options(tmp_path, only_failed=True))
    assert [row["subject"] for row in outcome.rows] == ["b"]
    assert json.loads((out / "one" / "tool-a--held" / "results.json").read_text())["differences"][0]["percent"] == -3.5
    assert states(out) == {"a": "rendered", "b": "rendered"}


def test_dry_run_writes_nothing(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok -3.5"})
    outcome = run_season(season, tmp_path / "out", make_options(tmp_path, dry_run=True))
    assert [row["state"] for row in outcome.rows] == ["to render"]
    assert not (tmp_path / "out").exists()


def test_an_overrun_is_ended_and_named(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "sleep", "b": "ok 1"})
    begun = time.monotonic()
    outcome = run_season(season, tmp_path / "out", make_options(tmp_path, notebook_timeout_s=6.0))
    assert time.monotonic() - begun < 40
    assert states(tmp_path / "out") == {"a": "failed", "b": "rendered"}
    assert "longer than 6 s" in next(row["error"] for row in outcome.rows if row["subject"] == "a")


def test_a_slow_cell_is_named(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "sleep"})
    outcome = run_season(season, tmp_path / "out", make_options(tmp_path, cell_timeout_s=1.0))
    assert "a cell took longer than 1 s" in outcome.rows[0]["error"]


def test_a_notebook_that_writes_no_results_has_failed(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "silent"})
    assert (
        "without writing results.json" in run_season(season, tmp_path / "out", make_options(tmp_path)).rows[0]["error"]
    )


def test_a_parameter_the_notebook_lacks_is_refused(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1"})
    options = make_options(tmp_path)
    text = (tmp_path / "fake.ipynb").read_text().replace("write_to = ", "writes_to = ")
    (tmp_path / "fake.ipynb").write_text(text)
    assert "no parameter write_to" in run_season(season, tmp_path / "out", options).rows[0]["error"]


def test_what_the_program_did_not_write_is_kept(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1"})
    out = tmp_path / "out"
    out.mkdir()
    (out / "index.html").write_text("mine")
    with pytest.raises(OutputError, match="not from toolbench"):
        run_season(season, out, make_options(tmp_path))
    assert [path.name for path in out.iterdir()] == ["index.html"]
    run_season(season, out, make_options(tmp_path, force=True))
    assert "mine" not in (out / "index.html").read_text()


def test_files_beside_a_report_and_edits_in_it_survive_a_new_one(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1"})
    out, page = tmp_path / "out", tmp_path / "out" / "one" / "tool-a--held"
    run_season(season, out, make_options(tmp_path))
    (page / "mine.txt").write_text("mine")
    (page / "figures" / "mine.svg").write_text("mine")
    (page / "report.html").write_text("edited")
    (out / "index.html").write_text("edited too")
    (season.folder / "recordings" / "a.txt").write_text("ok 2")
    outcome = run_season(season, out, make_options(tmp_path))
    assert (page / "mine.txt").read_text() == "mine"
    assert (page / "figures" / "mine.svg").read_text() == "mine"
    assert (page / "report.html.edited").read_text() == "edited"
    assert (out / "index.html.edited").read_text() == "edited too"
    assert sorted(outcome.set_aside) == ["index.html.edited", "one/tool-a--held/report.html.edited"]
    assert "<h1>" in (page / "report.html").read_text()


def test_a_newer_format_is_refused_with_a_sentence(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1"})
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "season.json").write_text('{"format": 2, "reports": []}')
    with pytest.raises(OutputError, match="has format 2"):
        run_season(season, tmp_path / "out", make_options(tmp_path))


def test_a_cut_off_rename_is_undone(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1"})
    out = tmp_path / "out"
    run_season(season, out, make_options(tmp_path))
    (out / ".toolbench-work").mkdir()
    (out / "one" / "tool-a--held").rename(out / ".toolbench-work" / "old one tool-a--held")
    run_season(season, out, make_options(tmp_path))
    assert states(out) == {"a": "unchanged"}


def test_pages_are_the_same_bytes_from_another_folder_zone_and_locale(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = []
    for name, zone in (("first place", "Asia/Kolkata"), ("zweiter Ort", "America/Lima")):
        root = tmp_path / name
        root.mkdir()
        monkeypatch.setenv("TZ", zone)
        monkeypatch.setenv("LC_ALL", "C" if zone == "America/Lima" else "C.UTF-8")
        run_season(make_season(root, {"a": "ok 1"}), root / "out", make_options(root))
        kept.append({p.name: p.read_bytes() for p in (root / "out" / "one" / "tool-a--held").glob("*.*")})
    assert kept[0] == kept[1]
    assert set(kept[0]) == {"report.html", "report.ipynb", "results.json"}
    assert str(tmp_path).encode() not in b"".join(kept[0].values())


def test_the_kept_notebook_names_its_season_by_a_relative_path_and_writes_nothing(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1"})
    run_season(season, tmp_path / "out", make_options(tmp_path))
    notebook = json.loads((tmp_path / "out" / "one" / "tool-a--held" / "report.ipynb").read_text())
    injected = next(c for c in notebook["cells"] if "injected-parameters" in c["metadata"].get("tags", []))
    source = "".join(injected["source"])
    assert 'season = "../../../season"' in source
    assert 'write_to = ""' in source
    assert "papermill" not in json.dumps(notebook["metadata"])


def test_a_notebook_whose_last_cell_fails_is_not_published(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "ok 1"})
    options = make_options(tmp_path)
    from fake_season import WORK, WRITE

    make_notebook(tmp_path / "fake.ipynb", (WORK, WRITE, "raise SystemExit(1)"))
    assert run_season(season, tmp_path / "out", options).rows[0]["state"] == "failed"


STOPPED = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from fake_season import FakeSeason, Plan, make_options, make_season
from toolbench.report.season_run import run_season
root = Path({root!r})
try:
    run_season(make_season(root, {{"a": "ok 1", "b": "sleep"}}), root / "out", make_options(root))
except KeyboardInterrupt:
    sys.exit(130)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="looks at /proc")
@pytest.mark.parametrize("kernels", ["forked", "plain"])
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=["Ctrl-C", "killed"])
def test_whatever_ends_a_season_ends_every_process_of_it_and_the_next_call_goes_on(
    tmp_path: Path, how: signal.Signals, kernels: str
) -> None:
    mark, out = f"MARK=of-{os.getpid()}-{tmp_path.name}", tmp_path / "out"
    with tempfile.TemporaryDirectory(prefix="k-") as short:  # a socket's path has few letters
        process = subprocess.Popen(
            [sys.executable, "-c", STOPPED.format(tests=str(Path(__file__).parent), root=str(tmp_path))],
            env=environment(MARK=mark.removeprefix("MARK="), TMPDIR=short, TOOLBENCH_KERNELS=kernels),
        )
        deadline = time.monotonic() + 120
        while not (out / "one" / "tool-a--held").exists() and time.monotonic() < deadline:
            time.sleep(0.1)
        # The season, two workers and the kernel that sleeps; and where kernels are forked, what they are forked from.
        while len(running(mark)) < (5 if kernels == "forked" else 4) and time.monotonic() < deadline:
            time.sleep(0.1)
        time.sleep(1)
        process.send_signal(how)
        assert process.wait(20) == (130 if how == signal.SIGINT else -signal.SIGKILL)
        # Ctrl-C returns when all is ended; after SIGKILL nobody is left to wait, and they end by themselves.
        deadline = time.monotonic() + (0 if how == signal.SIGINT else 20)
        while (left := running(mark)) and time.monotonic() < deadline:
            time.sleep(0.05)
        assert not left
        if kernels == "forked":
            assert list(Path(short).iterdir()) == []
    if how == signal.SIGINT:
        assert states(out) == {"a": "rendered"}
        assert not (out / ".toolbench-work").exists()
    assert run_season(make_season(tmp_path, {"a": "ok 1", "b": "ok 2"}), out, make_options(tmp_path)).exit_status == 0
    assert set(states(out).values()) <= {"rendered", "unchanged"}
    assert sorted(path.name for path in out.iterdir() if path.name.startswith(".")) == []
