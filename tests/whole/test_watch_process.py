"""`python -m toolbench watch` as a person starts it, with a recording that is written slowly while it looks on."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from bench_runs import run_text, write_season
from small_season import environment

from toolbench.settings import entered_rows

NEAR = ("quernel-1", "near", "static")
PLAN = "order,tool,setup,protocol,run\n1,quernel-1,near,static,n1\n2,quernel-1,near,static,n2\n"
PATIENCE_S = 120
"""A hang ends the test; nothing is asserted about time."""


class Running:
    """The process and the JSON lines it says."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self._lines: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line)

    def next(self, event: str) -> dict[str, Any]:
        while True:
            said: dict[str, Any] = json.loads(self._lines.get(timeout=PATIENCE_S))
            if said["event"] == event:
                return said

    def interrupt(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(PATIENCE_S)


@contextmanager
def watching(season: Path, *options: str) -> Iterator[Running]:
    command = [sys.executable, "-m", "toolbench", "watch", str(season), "--json", *options]
    with subprocess.Popen(
        command, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, encoding="utf-8"
    ) as process:
        try:
            yield Running(process)
        finally:
            process.kill()


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = write_season(tmp_path / "s")
    (folder / "plan.csv").write_text(PLAN, encoding="utf-8")
    return folder


def write_slowly(path: Path, text: str, pieces: int = 8) -> None:
    """In pieces that end inside rows, each flushed, as a logger writes."""
    size = len(text) // pieces + 1
    with path.open("w", encoding="utf-8") as stream:
        for first in range(0, len(text), size):
            stream.write(text[first : first + size])
            stream.flush()
            os.fsync(stream.fileno())
            time.sleep(0.15)


def test_recordings_are_judged_and_entered_until_ctrl_c(season: Path) -> None:
    with watching(season, "--sheet", str(season / "plan.csv")) as running:
        assert running.next("started")["open_rows"] == 2
        write_slowly(season / "recordings/a.csv", run_text(1, NEAR))
        kept = running.next("judged")
        assert (kept["file"], kept["verdict"], kept["run"], kept["again"]) == ("recordings/a.csv", "keep", "n1", False)
        assert kept["next"]["order"] == 2
        write_slowly(season / "recordings/b.csv", run_text(2, NEAR, "slipped-socket"))
        bad = running.next("judged")
        assert (bad["verdict"], bad["reason"], bad["open_rows"]) == ("repeat", "socket slip", 1)
        assert running.interrupt() == 130
        ended = running.next("ended")
    assert (ended["kept"], ended["to_repeat"], ended["open_rows"], ended["not_entered"]) == (1, 1, 1, [])
    rows = entered_rows((season / "runs.csv").read_bytes())
    assert [(row["file"], row["run"], row["exclude"], row["reason"]) for row in rows] == [
        ("recordings/a.csv", "n1", "", ""),
        ("recordings/b.csv", "b", "yes", "socket slip"),
    ]
    assert not list(season.glob(".*"))  # neither a lock nor a half-written file stays


def test_it_ends_by_itself_when_the_sheet_is_filled(season: Path) -> None:
    with watching(season, "--sheet", str(season / "plan.csv"), "--until-done") as running:
        running.next("started")
        for number in (1, 2):
            (season / f"recordings/{number}.part").write_text(run_text(number, NEAR), encoding="utf-8")
            (season / f"recordings/{number}.part").rename(season / f"recordings/{number}.csv")
            assert running.next("judged")["run"] == f"n{number}"
        assert running.process.wait(PATIENCE_S) == 0
