"""Kernels that die, hang, print without end or want too much memory cost their own report and no other, forked or plain.

Every expected state and text is constructed: the recordings of the made-up season say what their report does.
"""

from __future__ import annotations

import json
import os
import signal
import threading
import time
from pathlib import Path

import pytest
from fake_season import make_options, make_season, states

from toolbench.report.pool import Pool
from toolbench.report.season_run import run_season
from toolbench.report.warm import why_plain

pytestmark = pytest.mark.skipif(bool(why_plain()), reason="kernels are not forked here")

WORDS = {"a": "die", "b": "killed", "c": "sleep", "d": "hoard", "e": "shout", "f": "ok 1"}
CAUSES = {
    "a": "the kernel died: out of memory, or ended from outside",
    "b": "the kernel died: out of memory, or ended from outside",
    "c": "a cell took longer than 3 s",
    "d": "cell 3: MemoryError",
}


@pytest.mark.parametrize("kernels", ["forked", "plain"])
def test_each_costs_its_own_report(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kernels: str) -> None:
    monkeypatch.setenv("TOOLBENCH_KERNELS", kernels)
    out, options = tmp_path / "out", make_options(tmp_path, cell_timeout_s=3.0)
    with Pool(options.workers) as pool:
        outcome = run_season(make_season(tmp_path, WORDS), out, options, pool=pool)
        assert pool.plain_because == ("TOOLBENCH_KERNELS is plain" if kernels == "plain" else "")
    assert states(out) == {**dict.fromkeys("abcd", "failed"), "e": "rendered", "f": "rendered"}
    errors = {row["subject"]: row["error"] for row in outcome.rows if row["error"]}
    assert {tool: text for tool, text in errors.items() if CAUSES[tool] not in text} == {}
    shouted = json.loads((out / "one" / "tool-e--held" / "report.ipynb").read_text())
    text = "".join("".join(o["text"]) for c in shouted["cells"] for o in c.get("outputs", []) if o["name"] == "stdout")
    assert text.count("x" * 99) == 10_000
    assert not (out / ".toolbench-work").exists()


def test_where_the_nursery_dies_the_others_are_made_in_plain_kernels(tmp_path: Path) -> None:
    season = make_season(tmp_path, {"a": "sleep", "b": "ok 1", "c": "ok 2"})
    options = make_options(tmp_path, jobs=1)
    with Pool(1) as pool:

        class KillsTheNursery:
            """As soon as the first report has its kernel."""

            def planned(self, rows: object) -> None: ...
            def ended(self, row: object) -> None: ...
            def started(self, report: str) -> None:
                if report.startswith("one/tool-a"):
                    threading.Thread(target=self.kill, daemon=True).start()

            def kill(self) -> None:
                until = time.monotonic() + 60
                while not pool._workers[0].kernel and time.monotonic() < until:
                    time.sleep(0.05)
                assert pool._nursery
                os.kill(pool._nursery.process.pid, signal.SIGKILL)

        run_season(season, tmp_path / "out", options, pool=pool, watcher=KillsTheNursery())
        assert pool.surprise
        assert "has ended" in pool.plain_because or "refused" in pool.plain_because
    assert states(tmp_path / "out") == {"a": "failed", "b": "rendered", "c": "rendered"}
