"""A small season in a folder, to be changed by one line in each test."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

BENCH = """\
[loggers.rig]
time = "t [ms]"
channels.torque = "Torque [N*m]"

[sensors.cell]
range = ["0 N*m", "2000 N*m"]
scale = { expanded = "0.6 %", k = 2 }

[protocols.held]
duration = "5 s"
marks = ["2 s"]

[setups.near]
[setups.far]

[[episodes]]
id = "far-end"
tools = ["wrench-a"]
setups = ["near", "far"]
protocols = ["held"]
"""
TOOLS = "tool,mass [kg]\nwrench-a,3.2\nwrench-b,2.9\n"
RUNS = "file,tool,setup,protocol,exclude,reason\nrecordings/r1.csv,wrench-a,near,held,,\n"

Season = Callable[..., Path]


def write(folder: Path, bench: str = BENCH, tools: str | bytes | None = TOOLS, runs: str | bytes | None = RUNS) -> Path:
    """Write the files; None leaves one out."""
    for name, text in (("bench.toml", bench), ("tools.csv", tools), ("runs.csv", runs)):
        if text is not None:
            (folder / name).write_bytes(text.encode() if isinstance(text, str) else text)
    return folder


def line_of(text: str, part: str) -> int:
    """Line, from 1, on which a part of a text stands."""
    return text[: text.index(part)].count("\n") + 1
