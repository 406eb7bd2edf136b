"""A worker process: jobs come in on standard input, a JSON text a line, outcomes go out on standard output.

Its one argument, where there is one, is the door of the nursery that forks its kernels.
It ends, and its kernel with it, as soon as its parent is gone.
"""

from __future__ import annotations

import json
import os
import queue
import sys
import threading
from importlib import import_module
from typing import Any

from toolbench.report.attempt import Job, attempt
from toolbench.report.processes import Starting, end_kernel, wait_at


def _listen(jobs: queue.Queue[Job], kernels: list[int]) -> None:
    """Take jobs until the parent closes the line; then leave nothing running."""
    for line in sys.stdin:
        jobs.put(Job(**json.loads(line)))
    if kernels:
        end_kernel(kernels[-1])
    os._exit(0)


def main() -> None:
    """Serve jobs until standard input closes."""
    # Whatever a library prints must not get between the outcomes.
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)

    def say(value: dict[str, Any]) -> None:
        out.write(json.dumps(value) + "\n")
        out.flush()

    jobs: queue.Queue[Job] = queue.Queue()
    kernels: list[int] = []
    threading.Thread(target=_listen, args=(jobs, kernels), daemon=True).start()

    def started(pid: int) -> None:
        kernels.append(pid)
        say({"kernel": pid})

    starting = Starting(started, sys.argv[1] if sys.argv[1:] else "", lambda why: say({"plain": why}))
    # The slow imports happen while the parent reads the season.
    for slow in ("papermill", "nbconvert.exporters.templateexporter"):
        import_module(slow)

    if starting.door:
        wait_at(starting.door)
    say({"ready": True})
    while True:
        outcome = attempt(jobs.get(), starting)
        kernels.clear()
        say(outcome)


if __name__ == "__main__":
    main()
