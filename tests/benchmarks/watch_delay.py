"""From the last byte of a recording to its verdict, as another process sees it.

Run from the checkout: `python tests/benchmarks/watch_delay.py [TURNS]`. `toolbench watch` runs as a process of its own; recordings of 15,000
and of 750,000 rows with five columns are written into its season in pieces, as a logger writes them. Printed are the seconds from the end
of the last write to the line with the verdict, and what of them the judgement took; the rest is the time that a file must stand
still, and the time between two looks. A kept run, a slipped socket, and a recording that stops too early, which is held back longer.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from bench_runs import Recording, drawn, text_of, write_season  # noqa: E402

CELL = ("quernel-1", "near", "static")
ASKED_S = 2.0
PIECES = 10


def stretched(recording: Recording, rows: int, seed: int) -> Recording:
    """The same run sampled so often that it has as many rows, each with noise of its own."""
    rng = np.random.default_rng(seed)
    time_s = np.linspace(recording.time_s[0], recording.time_s[-1], rows)
    channels = {
        name: np.interp(time_s, recording.time_s, values) * (1 + rng.normal(0, 1e-4, rows))
        for name, values in recording.channels.items()
    }
    return replace(recording, time_s=time_s, channels=channels)


def write_as_a_logger(path: Path, data: bytes) -> float:
    """In pieces that end inside rows; the time at which the last byte was written."""
    size = len(data) // PIECES + 1
    with path.open("wb", buffering=0) as stream:
        for first in range(0, len(data), size):
            stream.write(data[first : first + size])
            time.sleep(0.05 if first + size < len(data) else 0)
    return time.monotonic()


def judged(lines: Iterator[str]) -> dict[str, Any]:
    return next(said for said in map(json.loads, lines) if said["event"] == "judged")


def measure(season: Path, rows: int, turns: int) -> None:
    command = [sys.executable, "-m", "toolbench", "watch", str(season), "--sheet", str(season / "plan.csv"), "--json"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}
    ) as process:
        assert process.stdout is not None
        try:
            _measure(process.stdout, season, rows, turns)
        finally:
            process.kill()


def _measure(said: Iterable[str], season: Path, rows: int, turns: int) -> None:
    lines = iter(said)
    next(lines)
    for kind, flaw in (("kept", ""), ("slipped socket", "slipped-socket"), ("too short", "")):
        delays, inside = [], []
        for turn in range(turns):
            run = stretched(drawn(turn, CELL, flaw), rows, turn)
            data = text_of(run).encode()
            data = data if kind != "too short" else data[: len(data) // 2]
            end = write_as_a_logger(season / f"recordings/{rows}-{kind.replace(' ', '-')}-{turn}.csv", data)
            one = judged(lines)
            delays.append(time.monotonic() - end)
            inside.append(one["seconds"])
            assert (one["verdict"] == "keep") == (kind == "kept"), one
        print(
            f"{rows:>9,} rows, {kind:<15} {np.median(delays):.2f} s ({min(delays):.2f} to {max(delays):.2f}), "
            f"of which judging {np.median(inside):.2f} s",
            flush=True,
        )


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    print(f"last byte to verdict, median and extremes of {turns}; asked: at most {ASKED_S:g} s")
    for rows in (15_000, 750_000):
        with tempfile.TemporaryDirectory() as folder:
            season = write_season(Path(folder) / "season")
            rows_of_plan = "".join(f"{n},{','.join(CELL)}\n" for n in range(1, 100))
            (season / "plan.csv").write_text("order,tool,setup,protocol\n" + rows_of_plan, encoding="utf-8")
            measure(season, rows, turns)


if __name__ == "__main__":
    main()
