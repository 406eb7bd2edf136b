"""A Jupyter kernel of the interpreter that is running, whatever kernels the machine has registered.

It talks over sockets in a short temporary folder instead of TCP (not on Windows), so no port is opened on the machine.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

from toolbench.report.shipped import interpreter, python_path

KERNEL_NAME = "python3"

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
}


def kernel_environment(scratch: Path) -> dict[str, str]:
    """Environment of a kernel: the caller's, with everything pinned that could change a byte; `scratch` holds its IPython profile."""
    environment = {**os.environ, **FIXED_ENVIRONMENT, "IPYTHONDIR": str(scratch / "ipython")}
    own = python_path()
    if own:
        environment["PYTHONPATH"] = os.pathsep.join(filter(None, [own, os.environ.get("PYTHONPATH", "")]))
    return environment


class RunningInterpreterManager(AsyncKernelManager):  # type: ignore[misc]
    """Starts `sys.executable -m ipykernel_launcher`; `started` is told the process id."""

    environment: Mapping[str, str]
    scratch: Path
    started: Callable[[int], None]

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._kernel_spec = KernelSpec(
            argv=[interpreter(), "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            display_name="Python 3 (ipykernel)",
            language="python",
        )
        if sys.platform != "win32":
            self.transport = "ipc"
            self.ip = str(self.scratch / "s")
            self.connection_file = str(self.scratch / "c.json")

    async def start_kernel(self, **kwargs: Any) -> None:
        kwargs["env"] = dict(self.environment)
        await self._async_start_kernel(**kwargs)
        if self.provisioner is not None and self.provisioner.pid:
            self.started(int(self.provisioner.pid))


@contextlib.contextmanager
def scratch_folder() -> Any:
    """A temporary folder with a path short enough for a socket; gone afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="tb-"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def manager_class(scratch: Path, started: Callable[[int], None]) -> type[RunningInterpreterManager]:
    """Kernel manager class for one run, in the form that nbclient takes."""
    members = {"scratch": scratch, "environment": kernel_environment(scratch), "started": staticmethod(started)}
    return type("OneRunManager", (RunningInterpreterManager,), members)


def end_kernel(pid: int | None) -> None:
    """Kill a kernel with everything it started. A kernel leads its own process group; any other process is left alone."""
    if not pid:
        return
    with contextlib.suppress(ProcessLookupError, PermissionError, OSError):
        if hasattr(os, "killpg") and os.getpgid(pid) == pid:
            os.killpg(pid, signal.SIGKILL)
        else:
            os.kill(pid, signal.SIGTERM)
