"""A season of its own with one logger, and runs drawn from the invented bench of the demo, in that logger's file."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "data_demo"))

from bench_model import BenchErrors, Cell, Recording, draw_run  # noqa: E402

BENCH = """\
[loggers.rig]
time = "t [s]"
channels.torque = { column = "Torque [N*m]", sensor = "cell" }
channels.inlet_pressure = "Inlet [bar]"
channels.supply_pressure = "Regulator [bar]"
channels.air_flow = "Flow [L/s]"

[sensors.cell]
quantity = "torque"
range = ["0 N*m", "2000 N*m"]

[protocols.held]
duration = "5 s"
window = ["4 s", "5 s"]
hold = { channel = "inlet_pressure", at = "6.2 bar", within = "0.2 bar" }

[protocols.static]
duration = "5 s"
window = ["4 s", "5 s"]
rest = { channel = "inlet_pressure", at = "6.9 bar", within = "0.1 bar" }

[protocols.stepped]
duration = "5 s"
window = ["4 s", "5 s"]

[protocols.long]
duration = "12 s"
window = ["10 s", "12 s"]

[setups.near]
regulator = { set = "6.9 bar" }
[setups.far]
regulator = { set = "6.9 bar" }
[setups.at-6]
regulator = { set = "6 bar" }
[setups.at-5]
regulator = { set = "5 bar" }
[setups.small-receiver]
regulator = { set = "6.9 bar" }

[[episodes]]
id = "one"
tools = ["quernel-1", "old-tasselby"]
setups = ["near", "far"]
protocols = ["static"]
"""
COLUMNS = (("torque", 1.0), ("inlet_pressure", 1e5), ("supply_pressure", 1e5), ("air_flow", 1e-3))
ERRORS = BenchErrors(0.0, 0.0)
"""One bench for all runs of a test: no error of scale."""


def write_season(folder: Path, bench: str = BENCH) -> Path:
    """A season without a recording."""
    (folder / "recordings").mkdir(parents=True)
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    return folder


def drawn(seed: int, cell: tuple[str, str, str], flaw: str = "", rate_hz: float = 200.0) -> Recording:
    """A recording of (tool, setup, protocol), with a flaw planted where one is named."""
    return draw_run(np.random.default_rng(seed), Cell(*cell), errors=ERRORS, flaw=flaw, rate_hz=rate_hz)


def text_of(recording: Recording) -> str:
    """The recording as the season's logger writes it."""
    columns = [recording.channels[name] / unit for name, unit in COLUMNS]
    rows = [
        f"{time:.7g}," + ",".join(f"{value:.4f}" for value in row)
        for time, *row in zip(recording.time_s, *columns, strict=True)
    ]
    return "\n".join(["t [s],Torque [N*m],Inlet [bar],Regulator [bar],Flow [L/s]", *rows]) + "\n"


def run_text(seed: int, cell: tuple[str, str, str], flaw: str = "", rate_hz: float = 200.0) -> str:
    return text_of(drawn(seed, cell, flaw, rate_hz))
