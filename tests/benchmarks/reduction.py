"""What onset, grid, metrics and bands cost beside reading, as a ratio of processor times.

Run from the checkout: `python tests/benchmarks/reduction.py [RUNS [RATE]]`. A report of RUNS recordings (default 15) of 750,000 samples
of five numbers, taken at RATE Hz (default 50000, so 15 s long), is read and reduced in one process, recording by recording; the bands
are made once from all of them. The base is a bare `pandas.read_csv` told everything; `read_log` without its digest is the second base.
Supply conditions and health checks run inside the reduction; they are timed once more by themselves and taken off, and both sums are said.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TypeVar

import numpy as np
import pandas as pd
from made_season import LEVELS, SETUPS, recording

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from toolbench.logs import read_log
from toolbench.metrology import ItemCurves, make_bands
from toolbench.records.runs import Floats, RawRun, Run
from toolbench.records.settings import Protocol, RunEntry
from toolbench.signal import find_conditions, find_start, make_grid, reduce, run_findings

T = TypeVar("T")
UNITS = {"torque": "N*m", "inlet_pressure": "Pa", "supply_pressure": "Pa", "air_flow": "m3/s"}
SCALES = (1.0, 1e5, 1e5, 1e-3)
ROWS = 750_000


class Clock:
    """Adds up processor time of this process, all threads, by what it went to [s]."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}

    def timed(self, what: str, call: Callable[[], T]) -> T:
        begin = time.process_time()
        result = call()
        self.spent[what] = self.spent.get(what, 0.0) + time.process_time() - begin
        return result


def raw_run(path: Path, run: str, setup: str, factor: float) -> RawRun:
    """The samples in SI; `factor` makes runs from one file differ, as repeats do."""
    log = read_log(path, with_digest=False)
    values = [log.data[column].to_numpy() * scale for column, scale in zip(log.data, SCALES, strict=True)]
    channels = dict(zip(UNITS, values, strict=True))
    channels["torque"] *= factor
    entry = RunEntry(run=run, file=path.name, tool="wrench", setup=setup, protocol="held", logger="rig")
    time_s = np.asarray(log.data.index, dtype=float)
    return RawRun(entry=entry, time_s=time_s, channels=channels, units=UNITS, sensors={}, digest="")


def reduce_timed(raw: RawRun, protocol: Protocol, duration_s: float, interval_s: float, clock: Clock) -> Run:
    onset = clock.timed("onset", lambda: find_start(raw, protocol))
    edges = make_grid(duration_s, interval_s)
    marks, window = (0.25 * duration_s, 0.5 * duration_s, duration_s), (0.8 * duration_s, duration_s)
    time_s = raw.time_s - onset.time_s
    clock.timed("conditions", lambda: find_conditions(time_s, raw.channels, onset, protocol, duration_s=duration_s))
    clock.timed(
        "health",
        lambda: run_findings(
            time_s, raw.channels, "torque", "N*m", onset=onset, duration_s=duration_s, sample_interval_s=interval_s
        ),
    )
    return clock.timed(
        "reduce",
        lambda: reduce(raw, protocol, onset=onset, duration_s=duration_s, marks_s=marks, window_s=window, edges=edges),
    )


def band_curves(runs: dict[str, list[Run]]) -> tuple[list[ItemCurves], Floats]:
    """Curves and grid as a report hands them to the bands: at most 100 points."""
    from toolbench.season.comparing import _coarse

    grid = next(iter(runs.values()))[0].grid_s
    items = [
        ItemCurves(
            id=setup, curves=np.stack([_coarse(run.traces["torque"].mean) for run in mine]), blocks=(), sources=()
        )
        for setup, mine in runs.items()
    ]
    return items, _coarse(grid)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    rate = float(sys.argv[2]) if len(sys.argv) > 2 else 50_000.0
    random, clock = np.random.default_rng(20260101), Clock()
    protocol = Protocol(id="held", label="held")
    duration = ROWS / rate - 2.0
    runs: dict[str, list[Run]] = {setup: [] for setup in SETUPS}
    with tempfile.TemporaryDirectory() as folder:
        paths = {setup: Path(folder) / f"{setup}.csv" for setup in SETUPS}
        for setup, level in zip(SETUPS, LEVELS, strict=True):
            recording(level, ROWS, random, rate).to_csv(paths[setup], index=False)
        names = list(pd.read_csv(paths["short"], nrows=1))
        for number in range(count):
            setup = SETUPS[number % len(SETUPS)]
            path, factor = paths[setup], random.normal(1.0, 0.01)
            bare_read = partial(pd.read_csv, path, header=0, names=names, dtype=np.float64, encoding="utf-8")
            clock.timed("bare read_csv", bare_read)
            clock.timed("read_log", partial(read_log, path, with_digest=False))
            raw = raw_run(path, f"run-{number:02d}", setup, factor)
            runs[setup].append(reduce_timed(raw, protocol, duration, 1 / rate, clock))
    items, grid = band_curves(runs)
    pairs = [(setup, SETUPS[0]) for setup in SETUPS[1:]]
    clock.timed("bands", lambda: make_bands(items, grid, pairs, response="torque", unit="N*m", confidence=0.95))
    bare, ours = clock.spent.pop("bare read_csv"), clock.spent.pop("read_log")
    print(f"{count} recordings of {ROWS} x 5; processor time: bare pandas.read_csv {bare:.2f} s, read_log {ours:.2f} s")
    beside = clock.spent["conditions"] + clock.spent["health"]
    clock.spent["grid and metrics"] = clock.spent.pop("reduce") - beside
    for what, spent in clock.spent.items():
        print(f"{what:36}{spent / bare:6.3f} of the bare reading")
    whole = sum(clock.spent.values())
    print(f"{'onset, grid, metrics and bands':36}{(whole - beside) / bare:6.3f}   (asked: under 0.2)")
    print(f"{'conditions and health too':36}{whole / bare:6.3f}, {whole / ours:.3f} of read_log")


if __name__ == "__main__":
    main()
