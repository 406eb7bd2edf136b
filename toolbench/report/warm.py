"""The nursery as seen by the process that runs a season: whether there can be one, its start and its end.

Forked from one warm process, a kernel is ready without the price of a cold interpreter; the notebook runs through the same
papermill, over the same messages.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from pathlib import Path

from toolbench.report.processes import kernel_environment
from toolbench.report.shipped import interpreter

CHOICE = "TOOLBENCH_KERNELS"
"""Environment variable: `plain` starts every kernel as a process of its own."""


def why_plain() -> str:
    """Why kernels are not to be forked here; empty where they are."""
    if os.environ.get(CHOICE) == "plain":
        return f"{CHOICE} is plain"
    if sys.platform != "linux" or not hasattr(os, "pidfd_open"):
        return f"kernels are forked on Linux alone, and this is {sys.platform}"
    if sys.implementation.name != "cpython":
        return f"kernels are forked in CPython alone, and this is {sys.implementation.name}"
    return ""


class Warm:
    """A running nursery. It ends with `end`, or by itself when this process does."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="tb-"))
        self.door = str(self.folder / "door")
        # The door is there before anybody can knock, and no longer than the nursery, which alone keeps it open.
        with (self.folder / "log").open("wb") as log, socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as door:
            door.bind(self.door)
            door.listen(64)
            self.process = subprocess.Popen(
                [interpreter(), "-m", "toolbench.report.nursery", str(door.fileno())],
                pass_fds=[door.fileno()],
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                env=kernel_environment(self.folder),
                cwd=self.folder,
                # Ctrl-C is for us alone, who end kernels in order.
                start_new_session=True,
            )

    def end(self) -> None:
        """End it and with it any kernel that is left."""
        assert self.process.stdin is not None
        with contextlib.suppress(OSError):
            self.process.stdin.close()
        # Killed while it is still importing; a kernel dies with its nursery.
        self.process.kill()
        self.process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)
