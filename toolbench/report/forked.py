"""Kernels forked by the nursery, behind Jupyter's own interface for whoever provides the process of a kernel."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
from pathlib import Path
from typing import Any

from jupyter_client.provisioning import LocalProvisioner

from toolbench.report.processes import START_S, Starting, end_kernel


class RefusedError(Exception):
    """The nursery forks no kernel; the reason is said."""


class ForkedKernel:
    """The process of a forked kernel, with what Jupyter uses of `subprocess.Popen`. It lives while the connection does."""

    stdin = stdout = stderr = None

    def __init__(self, nursery: socket.socket, pid: int) -> None:
        self._nursery = nursery
        self._heard = b""
        self.pid = pid
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """Exit status, negative after a signal; None while it runs."""
        return self._listen(socket.MSG_DONTWAIT)

    def wait(self) -> int | None:
        """Exit status, once it has ended; its process id is free from then on."""
        while self._listen(0) is None:
            continue
        self._nursery.close()
        return self.returncode

    def send_signal(self, number: int) -> None:
        """A signal to the kernel alone."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """SIGKILL."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """SIGTERM."""
        self.send_signal(signal.SIGTERM)

    def _listen(self, flags: int) -> int | None:
        if self.returncode is not None:
            return self.returncode
        try:
            heard = self._nursery.recv(4096, flags)
        except BlockingIOError:
            return None
        except OSError:
            heard = b""
        self._heard += heard
        if not heard:
            # The nursery is gone, and its kernels with it.
            end_kernel(self.pid)
            self.returncode = -signal.SIGKILL
        elif self._heard.endswith(b"\n"):
            self.returncode = int(json.loads(self._heard)["ended"])
        return self.returncode


def fork_kernel(door: str, folder: str, arguments: list[str], environment: dict[str, str]) -> ForkedKernel:
    """A kernel from the nursery behind a socket. Raises RefusedError."""
    nursery = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    nursery.settimeout(START_S)
    wanted = {"folder": folder, "arguments": arguments, "environment": environment}
    try:
        nursery.connect(door)
        nursery.sendall(json.dumps(wanted).encode() + b"\n")
        said = b""
        while not said.endswith(b"\n"):
            if not (heard := nursery.recv(4096)):
                raise RefusedError("the process that forks kernels has ended")
            said += heard
    except (OSError, RefusedError) as error:
        nursery.close()
        raise RefusedError(str(error)) from error
    # Where it dies at once, word of its end may come with the first answer.
    first, _, rest = said.partition(b"\n")
    answer = json.loads(first)
    if "pid" not in answer:
        nursery.close()
        raise RefusedError(answer.get("refused", "the forked process ended at once"))
    nursery.settimeout(None)
    kernel = ForkedKernel(nursery, answer["pid"])
    if rest:
        kernel.returncode = int(json.loads(rest)["ended"])
    return kernel


class ForkingProvisioner(LocalProvisioner):  # type: ignore[misc]
    """Jupyter's provider of local kernels, except that the process comes from the nursery where it can."""

    starting: Starting

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        """A forked kernel; a plain one, and word of it, where that is refused."""
        # As a child it would start where we are: papermill goes to the report's folder.
        folder = str(kwargs.get("cwd") or Path.cwd())
        # cmd is: interpreter, -m, ipykernel_launcher, and what that is told
        try:
            forked = fork_kernel(self.starting.door, folder, cmd[3:], dict(kwargs["env"]))
        except RefusedError as why:
            self.starting.plain(str(why))
            return await super().launch_kernel(cmd, **kwargs)
        self.process = forked
        self.pid = forked.pid
        with contextlib.suppress(OSError):
            self.pgid = os.getpgid(forked.pid)
        self.cwd = folder
        return self.connection_info
