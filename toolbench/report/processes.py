"""What every process started for a report needs to know: its environment, and how a kernel is ended."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from toolbench.report.shipped import python_path

FIXED_ENVIRONMENT = {
    # The numbers and pictures are not to depend on where the machine stands or how its owner reads dates.
    "TZ": "UTC",
    "LC_ALL": "C.UTF-8",
    "PYTHONUTF8": "1",
    "PYTHONHASHSEED": "0",
    # The notebook shows figures itself; the inline backend would show them a second time.
    "MPLBACKEND": "agg",
    "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    # Several kernels share the cores already; a thread pool in each only gets in the way.
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    # Nor may a thread be alive where kernels are forked; pyarrow's allocator starts one when it is imported.
    "JE_ARROW_MALLOC_CONF": "background_thread:false",
}


START_S = 60.0
"""Longest wait for the process that forks kernels [s]: its imports, on a busy machine."""


@dataclass(frozen=True, slots=True)
class Starting:
    """How a worker comes to its kernels, and who hears of it.

    `started` is told the process id of each; `door` is the socket of the nursery that forks them, empty where each is to be
    a process of its own; `plain` is told why one could not be forked.
    """

    started: Callable[[int], None]
    door: str = ""
    plain: Callable[[str], None] = lambda why: None


def child_environment() -> dict[str, str]:
    """The caller's environment, in which a child imports this very package."""
    environment = dict(os.environ)
    own, given = python_path(), os.environ.get("PYTHONPATH", "")
    if own and given.split(os.pathsep)[0] != own:
        environment["PYTHONPATH"] = os.pathsep.join(filter(None, [own, given]))
    return environment


def kernel_environment(scratch: Path) -> dict[str, str]:
    """Environment of a kernel: the caller's, with everything pinned that could change a byte; `scratch` holds its IPython profile."""
    return {**child_environment(), **FIXED_ENVIRONMENT, "IPYTHONDIR": str(scratch / "ipython")}


def wait_at(door: str) -> None:
    """Return when the nursery behind a socket is ready, or is not to be had."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as nursery:
        nursery.settimeout(START_S)
        nursery.connect(door)
        nursery.sendall(b"{}\n")
        nursery.recv(1)


def end_kernel(pid: int | None) -> None:
    """Kill a kernel with everything it started. A kernel leads its own process group; any other process is left alone."""
    if not pid:
        return
    with contextlib.suppress(ProcessLookupError, PermissionError, OSError):
        if hasattr(os, "killpg") and os.getpgid(pid) == pid:
            os.killpg(pid, signal.SIGKILL)
        else:
            os.kill(pid, signal.SIGTERM)
