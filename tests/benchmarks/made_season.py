"""An invented season of any size with a fixed seed: one tool on three setups, torque and three supply channels."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pandas as pd

SETUPS = ("short", "middle", "long")
LEVELS = (900.0, 870.0, 810.0)
"""Torque that each setup tends to [N*m], before the scatter of runs."""

BENCH = """\
format = 1
recordings = "recordings/{tool}/{setup}/{protocol}-{run}.csv"

[loggers.rig]
time = "t [ms]"
channels.torque = { column = "Torque [N*m]", sensor = "cell" }
channels.inlet_pressure = "Inlet pressure [bar]"
channels.supply_pressure = "Supply pressure [bar]"
channels.air_flow = "Air flow [L/s]"

[sensors.cell]
quantity = "torque"
range = ["0 N*m", "2000 N*m"]
scale = { expanded = "0.6 %", k = 2 }
zero = { expanded = "1 N*m", k = 2, per = "run" }

[protocols.held]
duration = "DURATION s"

[setups.short]
[setups.middle]
[setups.long]

[[episodes]]
id = "hose"
tools = ["wrench"]
setups = ["short", "middle", "long"]
protocols = ["held"]
"""


def recording(
    level: float, rows: int, random: np.random.Generator, rate_hz: float = 1000.0, begin: int = 0
) -> pd.DataFrame:
    """One run: a second at rest, then a build-up with blows; torque, two pressures and a flow, five decimals.

    `begin` is the first sample of a part of a longer run.
    """
    time = (begin + np.arange(rows)) / rate_hz
    running = np.clip(time - 1.0, 0.0, None)
    level *= random.normal(1.0, 0.01)
    torque = level * (1 - np.exp(-running / 0.8)) * (1 + 0.03 * np.sin(2 * np.pi * 18 * running))
    on = (running > 0) * 1.0
    return pd.DataFrame(
        {
            "t [ms]": (time * 1000).round(5),
            "Torque [N*m]": (torque + random.normal(0, 1.0, rows)).round(5),
            "Inlet pressure [bar]": (6.9 - 0.7 * on + random.normal(0, 0.01, rows)).round(5),
            "Supply pressure [bar]": (7.2 - 0.2 * on + random.normal(0, 0.01, rows)).round(5),
            "Air flow [L/s]": (22 * on + random.normal(0, 0.1, rows)).round(5),
        }
    )


def write_season(
    folder: Path, *, runs: int, rows: int, distinct: int | None = None, seed: int = 20260101, rate_hz: float = 1000.0
) -> Path:
    """A season of `runs` recordings on each of three setups, `rows` samples each.

    With `distinct`, only that many files per setup are written and the other names are hard links to them.
    """
    random = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "bench.toml").write_text(BENCH.replace("DURATION", f"{int(rows / rate_hz - 1) - 1}"), encoding="utf-8")
    for setup, level in zip(SETUPS, LEVELS, strict=True):
        place = folder / "recordings" / "wrench" / setup
        place.mkdir(parents=True, exist_ok=True)
        for run in range(runs):
            path = place / f"held-{setup}{run:03d}.csv"
            if distinct is not None and run >= distinct:
                os.link(place / f"held-{setup}{run % distinct:03d}.csv", path)
            else:
                recording(level, rows, random, rate_hz).to_csv(path, index=False)
    return folder


LARGE_RATE_HZ = 50_000.0
CHUNK_ROWS = 500_000


def write_large(folder: Path, megabytes: int) -> Path:
    """A season with one recording of about that size on each setup: one file, and hard links to it."""
    import pyarrow as pa
    from pyarrow import csv

    folder.mkdir(parents=True)
    rows_of_file = 0
    first = folder / "recordings" / "wrench" / SETUPS[0] / f"held-{SETUPS[0]}000.csv"
    first.parent.mkdir(parents=True)
    random = np.random.default_rng(20260101)
    with first.open("wb") as stream:
        while stream.tell() < megabytes * 1e6:
            part = recording(LEVELS[0], CHUNK_ROWS, random, LARGE_RATE_HZ, begin=rows_of_file)
            table = pa.Table.from_pandas(part, preserve_index=False)
            csv.write_csv(table, stream, csv.WriteOptions(include_header=rows_of_file == 0, quoting_style="none"))
            rows_of_file += CHUNK_ROWS
    for setup in SETUPS[1:]:
        path = folder / "recordings" / "wrench" / setup / f"held-{setup}000.csv"
        path.parent.mkdir(parents=True)
        os.link(first, path)
    duration = int(rows_of_file / LARGE_RATE_HZ) - 2
    (folder / "bench.toml").write_text(BENCH.replace("DURATION", str(duration)), encoding="utf-8")
    return folder
