"""A small season of two episodes with recordings made from a formula, to be spoilt by one thing in each test."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]

BENCH = """\
[loggers.rig]
time = "t [ms]"
channels.torque = "Torque [N*m]"

[protocols.held]
duration = "1.5 s"
marks = ["1 s"]

[protocols.steady]
duration = "1.5 s"

[setups.near]
[setups.far]

[[episodes]]
id = "long-line"
tools = ["wrench-a"]
setups = ["near", "far"]
protocols = ["held"]

[[episodes]]
id = "two-tools"
tools = ["wrench-a", "wrench-b"]
setups = ["near"]
protocols = ["steady"]
"""
TOOLS = "tool,name,mass [kg]\nwrench-a,First,3.2\nwrench-b,Second,2.9\n"
CELLS = {
    ("wrench-a", "near", "held"): 500.0,
    ("wrench-a", "far", "held"): 470.0,
    ("wrench-a", "near", "steady"): 500.0,
    ("wrench-b", "near", "steady"): 520.0,
}
REPORTS = ("long-line/tool-wrench-a--held", "two-tools/setup-near--steady")


def recording(level: float, seed: int) -> str:
    """A run at 200 Hz: 0.6 s of rest, then a build-up to `level` [N*m] within tenths of a second, 2 s of it."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(520) / 200
    torque = level * (1 - np.exp(-np.maximum(time_s - 0.6, 0) / 0.2)) + rng.normal(0, 1.0, time_s.size)
    rows = [f"{1000 * t:.0f},{value:.2f}" for t, value in zip(time_s, torque, strict=True)]
    return "\n".join(["t [ms],Torque [N*m]", *rows]) + "\n"


def write(folder: Path, bench: str = BENCH, tools: str = TOOLS, extra: Sequence[str] = ()) -> Path:
    """The season: three runs a cell, in files named after them; `extra` are further rows of runs.csv."""
    (folder / "recordings").mkdir(parents=True)
    rng = np.random.default_rng(7)
    rows = ["file,tool,setup,protocol"]
    for number, ((tool, setup, protocol), level) in enumerate(CELLS.items()):
        for run in range(3):
            name = f"recordings/{tool}-{setup}-{protocol}-{run + 1}.csv"
            text = recording(level * (1 + 0.01 * rng.standard_normal()), 10 * number + run)
            (folder / name).write_text(text, encoding="utf-8")
            rows.append(f"{name},{tool},{setup},{protocol}")
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    (folder / "tools.csv").write_text(tools, encoding="utf-8")
    (folder / "runs.csv").write_text("\n".join([*rows, *extra]) + "\n", encoding="utf-8")
    return folder


def environment(**more: str) -> dict[str, str]:
    """Ours, with the checkout importable, and what a test wants otherwise."""
    return {**os.environ, "PYTHONPATH": str(ROOT), **more}


def toolbench(*arguments: object, **more: str) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "toolbench", *map(str, arguments)],
        env=environment(**more), capture_output=True, text=True, encoding="utf-8", check=False, timeout=600,
    )  # fmt: skip
