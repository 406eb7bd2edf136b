"""How long reading takes, as ratios to a bare `pandas.read_csv` that is told everything.

Run from the checkout: `python tests/benchmarks/reading.py [ROWS [TURNS]]`. All sides read in one process, turn by turn, every second turn
backwards. A ratio is taken within a turn, so that whatever else the machine does falls on both sides; printed are the median and the
extremes over the turns, of wall and of processor time. Before timing, both sides must give the same numbers. The digest is timed apart.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from turns import Cost, ratio_text

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from toolbench.files import digest
from toolbench.logs import read_log

NAMES = ["t [s]", "Torque [N*m]", "Inlet pressure [bar]", "Flow [L/s]", "Speed [rpm]"]
TURNS = 9


def write_recording(path: Path, rows: int, *, delimiter: str = ",", decimal: str = ".", stamps: bool = False) -> None:
    """Invented numbers, fixed seed: what counts is how many and how long they are."""
    noise = np.random.default_rng(20260101).normal(100.0, 10.0, size=(rows, 4)).round(5)
    seconds = np.arange(rows) / 1000
    start = np.datetime64("2026-03-01T10:00:00.000")
    time_column = np.datetime_as_string(start + np.arange(rows), unit="ms") if stamps else seconds
    frame = pd.DataFrame(noise, columns=NAMES[1:])
    frame.insert(0, "time" if stamps else NAMES[0], time_column)
    frame.to_csv(path, index=False, sep=delimiter, decimal=decimal)


def timed(call: Callable[[], object]) -> Cost:
    wall, cpu = time.perf_counter(), time.process_time()
    call()
    return Cost(time.perf_counter() - wall, time.process_time() - cpu)


def take_turns(calls: Mapping[str, Callable[[], object]], turns: int) -> dict[str, list[Cost]]:
    """Costs per call, one per turn; every second turn goes through the calls backwards."""
    costs: dict[str, list[Cost]] = {name: [] for name in calls}
    for turn in range(turns):
        for name in list(calls)[:: -1 if turn % 2 else 1]:
            costs[name].append(timed(calls[name]))
    return costs


def told(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, sep=",", decimal=".", header=0, names=NAMES, dtype=np.float64, encoding="utf-8")


def parse_dates(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, parse_dates=["time"])


def check(plain: Path, comma: Path, iso: Path) -> None:
    """All sides give the same numbers, and read without a doubt. Raises AssertionError."""
    bare, dates = told(plain), parse_dates(iso)
    seconds = (dates["time"] - dates["time"].iloc[0]).dt.total_seconds().to_numpy()
    for path, times in ((plain, bare[NAMES[0]].to_numpy()), (comma, bare[NAMES[0]].to_numpy()), (iso, seconds)):
        log = read_log(path, with_digest=False)
        np.testing.assert_allclose(log.data.index, times, rtol=1e-12, atol=1e-12)
        # pandas' own fast conversion may be off in the last digit; ours may not, and is tested for it.
        np.testing.assert_allclose(log.data.to_numpy(), bare[NAMES[1:]].to_numpy(), rtol=1e-14)
        assert not [finding for finding in log.findings if finding.severity != "note"], log.findings


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 750_000
    turns = int(sys.argv[2]) if len(sys.argv) > 2 else TURNS
    with tempfile.TemporaryDirectory() as folder:
        plain, comma, iso = (Path(folder) / name for name in ("plain.csv", "comma.csv", "iso.csv"))
        write_recording(plain, rows)
        write_recording(comma, rows, delimiter=";", decimal=",")
        write_recording(iso, rows, stamps=True)
        check(plain, comma, iso)
        costs = take_turns(
            {
                "bare": lambda: told(plain),
                "plain": lambda: read_log(plain, with_digest=False),
                "comma": lambda: read_log(comma, with_digest=False),
                "dates": lambda: parse_dates(iso),
                "iso": lambda: read_log(iso, with_digest=False),
                "digest": lambda: digest(plain),
            },
            turns,
        )
        size = plain.stat().st_size / 1e6
    fastest = min(cost.wall for cost in costs["bare"])
    print(
        f"{rows} rows of 5 numbers, {size:.1f} MB, {turns} turns; bare read_csv at its fastest {fastest * 1e3:.0f} ms"
    )
    for text, ours, base in (
        ("read_log, everything found, to bare read_csv (asked: 1.3)", "plain", "bare"),
        ("ISO stamps to read_csv with parse_dates (asked: 0.6)", "iso", "dates"),
        ("decimal comma to the plain file (asked: 1.3)", "comma", "plain"),
        ("digest, not counted above, to bare read_csv", "digest", "bare"),
    ):
        print(f"{text:60}{ratio_text(costs, ours, base)}")


if __name__ == "__main__":
    main()
