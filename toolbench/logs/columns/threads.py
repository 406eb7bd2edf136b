"""Work on large arrays in as many threads as there are processors: numpy lets go of the interpreter's lock while it counts."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")
_MOST = 8


def processors() -> int:
    """Processors that this process may use, at most eight."""
    known = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(1, min(known, _MOST))


def in_threads(call: Callable[[Item], Result], items: Sequence[Item]) -> list[Result]:
    """What `call` gives for each item, in their order. An exception of one call is raised when the others are through."""
    workers = min(processors(), len(items))
    if workers < 2:
        return [call(item) for item in items]
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(call, items))
