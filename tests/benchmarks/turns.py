"""Commands timed turn by turn, so that whatever else the machine does falls on all of them alike."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

CHECKOUT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, slots=True)
class Cost:
    """What one command took: wall time and processor time, its own and that of every process it waited for [s]."""

    wall: float
    cpu: float


@dataclass(frozen=True, slots=True)
class Command:
    """A command of this interpreter under the name it is printed with; `prepare` runs untimed before every turn.

    `more` is added to its environment.
    """

    name: str
    arguments: Sequence[str]
    prepare: Callable[[], None] = lambda: None
    more: Mapping[str, str] = field(default_factory=dict)


def environment() -> dict[str, str]:
    """The caller's, with the checkout first on the path and one thread per linear algebra, as both sides are to have.

    Unless a command says otherwise nothing is kept between calls: every turn reads its recordings.
    """
    path = os.pathsep.join(filter(None, [str(CHECKOUT), os.environ.get("PYTHONPATH", "")]))
    one = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return {**os.environ, **one, "PYTHONPATH": path, "PYDEVD_DISABLE_FILE_VALIDATION": "1", "TOOLBENCH_CACHE": "off"}


def run(command: Command) -> Cost:
    """Run a command to its end. Raises RuntimeError with its last words when it fails."""
    command.prepare()
    log = Path(os.devnull)
    with log.open("wb") as nowhere:
        begin = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, *command.arguments],
            stdout=nowhere,
            stderr=subprocess.PIPE,
            env={**environment(), **command.more},
        )
        assert process.stderr is not None
        said = process.stderr.read()
        _, status, used = os.wait4(process.pid, 0)
        wall = time.perf_counter() - begin
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{command.name} ended with {process.returncode}:\n{said.decode(errors='replace')[-2000:]}")
    return Cost(wall, used.ru_utime + used.ru_stime)


def take_turns(commands: Sequence[Command], turns: int) -> dict[str, list[Cost]]:
    """Costs per command name, one per turn; every second turn goes through the commands backwards."""
    costs: dict[str, list[Cost]] = {command.name: [] for command in commands}
    for turn in range(turns):
        for command in commands[:: -1 if turn % 2 else 1]:
            costs[command.name].append(run(command))
    return costs


def ratio_text(costs: Mapping[str, Sequence[Cost]], ours: str, base: str) -> str:
    """Median over the turns of the ratio within a turn, for wall and processor time, with the smallest and the largest."""
    told = []
    for what in ("wall", "cpu"):
        ratios = [getattr(a, what) / getattr(b, what) for a, b in zip(costs[ours], costs[base], strict=True)]
        told.append(f"{what} {median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})")
    return ", ".join(told)


def seconds_text(costs: Sequence[Cost]) -> str:
    return f"{median(c.wall for c in costs):.2f} s wall, {median(c.cpu for c in costs):.2f} s processor"
