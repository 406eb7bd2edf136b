"""A small season with a scorecard, its recordings made from a formula: each run is a tool on a setup, on a day, at a level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from small_season import recording

BENCH = """\
[loggers.rig]
time = "t [ms]"
channels.torque = "Torque [N*m]"

[loggers.other]
rig = "another rig"
time = "t [ms]"
channels.torque = "Torque [N*m]"

[protocols.steady]
measurand = "mean torque"
duration = "1.5 s"
marks = ["1 s"]
window = ["1 s", "1.5 s"]

[setups.near]
supply = "air"
[setups.far]
supply = "air"
[setups.pack]
supply = "battery"

[[episodes]]
id = "all"
tools = ["wrench-a", "wrench-b"]
setups = ["near"]
protocols = ["steady"]
"""
TORQUE = """
[scorecard]
title = "Wrenches"
setups = { air = "near", battery = "pack" }

[[scorecard.criteria]]
id = "torque"
label = "Sustained torque"
weight = "60 %"
protocol = "steady"
metric = "sustained"
worst_at = "200 N*m"
best_at = "1000 N*m"

[[scorecard.criteria]]
id = "per-mass"
label = "Torque per mass"
weight = "40 %"
protocol = "steady"
metric = "sustained"
per = "mass"
worst_at = "0 N*m/kg"
best_at = "400 N*m/kg"
"""
ALONE = """
[scorecard]
setups = { air = "near", battery = "pack" }

[[scorecard.criteria]]
id = "torque"
weight = "100 %"
protocol = "steady"
metric = "sustained"
worst_at = "200 N*m"
best_at = "1000 N*m"
"""
HEAD = (
    "tool,name,family,supply,mass [kg],price [EUR],claimed_torque [N*m],claim_kind,obtained,modified,role,status,note"
)
TOOLS = f"{HEAD}\nwrench-a,First,Old,air,2.5,100,,,bought,,,,\nwrench-b,Second,New,air,2,200,,,lent,,,,\n"
LEVELS = {"wrench-a": (500.0, 505.0, 495.0, 500.0), "wrench-b": (600.0, 606.0, 594.0, 600.0)}


@dataclass(frozen=True)
class Made:
    """One run of the season."""

    tool: str
    level: float
    day: str = "2026-01-10"
    setup: str = "near"
    block: str = ""
    logger: str = "rig"


def runs_of(levels: dict[str, tuple[float, ...]] = LEVELS, **facts: str) -> list[Made]:
    """Runs of some tools."""
    return [Made(tool, level, **facts) for tool, mine in levels.items() for level in mine]


def write(
    folder: Path,
    runs: Sequence[Made] = (),
    *,
    card: str = TORQUE,
    tools: str = TOOLS,
    bench: str = BENCH,
    log: str = "",
) -> Path:
    """The season; a run's recording depends on its level and its number alone."""
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    rows = ["run,file,tool,setup,protocol,logger,block,started"]
    counts: dict[str, int] = {}
    for run in runs or runs_of():
        counts[run.tool] = counts.get(run.tool, 0) + 1
        name = f"{run.tool}-{counts[run.tool]}"
        seed = 100 * sum(map(ord, run.tool)) + counts[run.tool]
        (folder / f"recordings/{name}.csv").write_text(recording(run.level, seed), encoding="utf-8")
        started = f"{run.day}T10:{counts[run.tool]:02d}:00+01:00" if run.day else ""
        rows.append(f"{name},recordings/{name}.csv,{run.tool},{run.setup},steady,{run.logger},{run.block},{started}")
    head = '[bench]\nlog = "bench-log.csv"\n\n' if log else ""
    if log:
        (folder / "bench-log.csv").write_text(log, encoding="utf-8")
    (folder / "bench.toml").write_text(head + bench + card, encoding="utf-8")
    (folder / "tools.csv").write_text(tools, encoding="utf-8")
    (folder / "runs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder
