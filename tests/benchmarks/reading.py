"""How long reading takes, as a ratio to a bare `pandas.read_csv` that is told everything.

Run from the checkout: `python tests/benchmarks/reading.py [ROWS]`. Both sides read the same file in one process, turn by turn; the
fastest of nine is compared, since everything slower was the machine. The digest is timed apart.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

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


def fastest(*calls: Callable[[], object]) -> list[float]:
    """Fastest time of every call [s], the calls taken in turn."""
    best = [float("inf")] * len(calls)
    for _ in range(TURNS):
        for index, call in enumerate(calls):
            begin = time.perf_counter()
            call()
            best[index] = min(best[index], time.perf_counter() - begin)
    return best


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 750_000
    with tempfile.TemporaryDirectory() as folder:
        plain, comma, iso = (Path(folder) / name for name in ("plain.csv", "comma.csv", "iso.csv"))
        write_recording(plain, rows)
        write_recording(comma, rows, delimiter=";", decimal=",")
        write_recording(iso, rows, stamps=True)

        def told() -> object:
            return pd.read_csv(plain, sep=",", decimal=".", header=0, names=NAMES, dtype=np.float64, encoding="utf-8")

        def parse_dates() -> object:
            return pd.read_csv(iso, parse_dates=["time"])

        bare, ours, ours_comma, hashed = fastest(
            told,
            lambda: read_log(plain, with_digest=False),
            lambda: read_log(comma, with_digest=False),
            lambda: digest(plain),
        )
        print(
            f"{rows} rows of 5 numbers, {plain.stat().st_size / 1e6:.1f} MB; bare pandas.read_csv told everything: {bare * 1e3:.0f} ms"
        )
        print(f"read_log, everything found      {ours / bare:5.2f}   (floor of the project: at most 1.3)")
        print(f"the same with decimal comma     {ours_comma / ours:5.2f}   of the plain file")
        print(f"digest, not counted above       {hashed / bare:5.2f}")
        dates, ours_iso = fastest(parse_dates, lambda: read_log(iso, with_digest=False))
        print(f"ISO stamps                      {ours_iso / dates:5.2f}   of pandas' parse_dates")


if __name__ == "__main__":
    main()
