"""A Jupyter kernel of the interpreter that is running, whatever kernels the machine has registered.

It talks over sockets in a short temporary folder instead of TCP (not on Windows), so no port is opened on the machine. Where
Jupyter waits a fixed time for a kernel to be ready or gone, what is awaited is looked for instead.
"""

from __future__ import annotations

import contextlib
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from queue import Empty
from typing import Any

from jupyter_client.asynchronous import AsyncKernelClient
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

from toolbench.report.processes import Starting, kernel_environment
from toolbench.report.shipped import interpreter

KERNEL_NAME = "python3"

GONE_EVERY_S = 0.005
"""How often an ended kernel is looked for [s]; Jupyter's own 0.1 s costs more than the kernel takes to die."""


class PromptClient(AsyncKernelClient):  # type: ignore[misc]
    """Takes a kernel for ready as soon as both its channels have answered the same question.

    Jupyter's own client then listens for 0.2 s more, to throw away what it hears; nbclient passes that over by itself.
    """

    async def _async_wait_for_ready(self, timeout: float | None = None) -> None:
        deadline = time.monotonic() + (timeout or float("inf"))
        while not await self._answers():
            if not await self.is_alive():
                raise RuntimeError("it died before it answered")
            if time.monotonic() > deadline:
                raise RuntimeError(f"no answer within {timeout:g} s")

    wait_for_ready = _async_wait_for_ready

    async def _answers(self) -> bool:
        """Ask once. The channel of outputs is deaf until it is connected, and then the question is to be put again."""
        asked = self.kernel_info()
        try:
            while (reply := await self.get_shell_msg(timeout=1))["parent_header"].get("msg_id") != asked:
                continue
            while True:
                said = await self.get_iopub_msg(timeout=0.2)
                mine = said["parent_header"].get("msg_id") == asked
                if mine and said["content"].get("execution_state") == "idle":
                    break
        except Empty:
            return False
        self._handle_kernel_info_reply(reply)
        return True


class RunningInterpreterManager(AsyncKernelManager):  # type: ignore[misc]
    """Starts `sys.executable -m ipykernel_launcher`, or has the same forked; `starting` says which, and hears of it."""

    environment: Mapping[str, str]
    scratch: Path
    starting: Starting

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._kernel_spec = KernelSpec(
            argv=[interpreter(), "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            display_name="Python 3 (ipykernel)",
            language="python",
        )
        self.client_factory = PromptClient
        if sys.platform != "win32":
            self.transport = "ipc"
            self.ip = str(self.scratch / "s")
            self.connection_file = str(self.scratch / "c.json")
        if self.starting.door:
            from toolbench.report.forked import ForkingProvisioner

            self.provisioner = ForkingProvisioner(kernel_spec=self._kernel_spec, parent=self)
            self.provisioner.starting = self.starting

    async def start_kernel(self, **kwargs: Any) -> None:
        kwargs["env"] = dict(self.environment)
        await self._async_start_kernel(**kwargs)
        if self.provisioner is not None and self.provisioner.pid:
            self.starting.started(int(self.provisioner.pid))

    async def _async_wait(self, pollinterval: float = GONE_EVERY_S) -> None:
        await super()._async_wait(pollinterval=min(pollinterval, GONE_EVERY_S))


@contextlib.contextmanager
def scratch_folder(starting: Starting) -> Iterator[Path]:
    """A temporary folder with a path short enough for a socket; gone afterwards, or with the nursery if we are killed."""
    place = Path(starting.door).parent if starting.door else None
    # A nursery that has ended took its folder along; the kernel is then a plain one, in a folder of its own.
    folder = Path(tempfile.mkdtemp(prefix="tb-", dir=place if place is not None and place.is_dir() else None))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def manager_class(scratch: Path, starting: Starting) -> type[RunningInterpreterManager]:
    """Kernel manager class for one run, in the form that nbclient takes."""
    members = {"scratch": scratch, "environment": kernel_environment(scratch), "starting": starting}
    return type("OneRunManager", (RunningInterpreterManager,), members)
