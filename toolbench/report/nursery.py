"""A process that has the libraries imported and forks ready kernels; run as `python -m toolbench.report.nursery DOOR`.

A worker knocks at the door, a listening socket handed down as a file descriptor, says what its kernel is to be, and keeps the connection as long as it wants the kernel: a
kernel whose worker is gone is ended, and so are all when the process that started the nursery goes (end of standard input).
Nothing here outlives one call of the program, so an edited package is never stale.
"""

from __future__ import annotations

import builtins
import contextlib
import ctypes
import gc
import importlib
import io
import json
import os
import pkgutil
import random
import selectors
import shutil
import signal
import socket
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

PR_SET_PDEATHSIG = 1
"""Of Linux' prctl: the signal a process gets when its parent dies (prctl(2))."""

NOT_FOR_KERNELS = ("toolbench.report", "toolbench.cli", "toolbench.__main__")


@dataclass
class _Kernel:
    pid: int
    exit: int
    """File descriptor that can be read once the process has ended."""
    worker: socket.socket | None


def thread_count() -> int:
    """Threads of this process, those of libraries included."""
    return len(os.listdir("/proc/self/task"))  # noqa: PTH208  names alone


@contextlib.contextmanager
def _as_in_a_kernel() -> Iterator[None]:
    """pandas looks once, at import, for a kernel around it and at the name of the output's encoding, and sets how it shows tables."""
    builtins.get_ipython = lambda: SimpleNamespace(kernel=None)  # type: ignore[attr-defined]
    try:
        with contextlib.redirect_stdout(io.TextIOWrapper(io.BytesIO(), encoding="UTF-8")):
            yield
    finally:
        del builtins.get_ipython  # type: ignore[attr-defined]


def prepare() -> None:
    """Import all that a report needs, and draw once: fonts and the first drawing cost as much as the imports.

    Neither pyplot nor the inline backend: they look for a shell when they are imported, and there is none yet.
    """
    import toolbench
    from toolbench.view.markup import fragments

    with _as_in_a_kernel():
        importlib.import_module("pandas")
    for found in pkgutil.walk_packages(toolbench.__path__, "toolbench."):
        if not found.name.startswith(NOT_FOR_KERNELS):
            importlib.import_module(found.name)
    pieces = fragments()
    for name in pieces.list_templates():
        pieces.get_template(name)
    importlib.import_module("ipykernel.ipkernel")
    importlib.import_module("ipykernel.kernelapp")
    _draw_once()
    gc.collect()
    # What stands now is never collected: a collection in a kernel would copy these pages.
    gc.freeze()


def _draw_once() -> None:
    from matplotlib.figure import Figure

    figure = Figure()
    axes = figure.subplots()
    axes.plot([0.0, 1.0], label="-1")
    axes.legend()
    for form in ("svg", "png"):
        figure.savefig(io.BytesIO(), format=form)


class Nursery:
    """Forks a kernel for whoever knocks, and sees to the ends of all of them."""

    def __init__(self, door: socket.socket) -> None:
        self.door = door
        self.events = selectors.DefaultSelector()
        self.events.register(sys.stdin, selectors.EVENT_READ, self._stop)
        self.events.register(door, selectors.EVENT_READ, self._knock)
        self.kernels: dict[int, _Kernel] = {}
        self.going_on = True
        self.wanted: dict[str, Any] | None = None

    def serve(self) -> dict[str, Any] | None:
        """Return None when it is over; and in every kernel, what it is to be."""
        while self.going_on and self.wanted is None:
            for key, _ in self.events.select():
                key.data(key.fileobj)
                if self.wanted is not None:
                    break
        return self.wanted

    def _stop(self, _: object) -> None:
        """Standard input has ended: whoever started us is gone or has no more use for kernels."""
        for kernel in self.kernels.values():
            _end(kernel)
        self.going_on = False

    def _knock(self, _: object) -> None:
        worker, _address = self.door.accept()
        worker.settimeout(10)
        try:
            with worker.makefile("rb") as said:
                wanted = json.loads(said.readline())
        except (OSError, ValueError):
            worker.close()
            return
        if not wanted:  # it only wanted to know whether somebody is in
            worker.close()
            return
        if (count := thread_count()) > 1:
            _say(worker, {"refused": f"{count} threads were alive where kernels are forked"})
            worker.close()
            return
        parent = os.getpid()
        pid = os.fork()
        if pid == 0:
            self._leave(parent)
            _say(worker, {"pid": os.getpid()})
            worker.close()
            self.wanted = wanted
        else:
            self._keep(_Kernel(pid, os.pidfd_open(pid), worker))

    def _keep(self, kernel: _Kernel) -> None:
        self.kernels[kernel.pid] = kernel
        self.events.register(kernel.exit, selectors.EVENT_READ, lambda _: self._ended(kernel))
        self.events.register(kernel.worker, selectors.EVENT_READ, lambda _: self._let_go(kernel))  # type: ignore[arg-type]

    def _ended(self, kernel: _Kernel) -> None:
        """Tell the worker; the process is not reaped before the worker lets go, so that nobody else gets its id meanwhile."""
        self.events.unregister(kernel.exit)
        os.close(kernel.exit)
        kernel.exit = -1
        found = os.waitid(os.P_PID, kernel.pid, os.WEXITED | os.WNOWAIT)
        if kernel.worker is None:
            self._reap(kernel)
        elif found is not None:
            code = found.si_status if found.si_code == os.CLD_EXITED else -found.si_status
            _say(kernel.worker, {"ended": code})

    def _let_go(self, kernel: _Kernel) -> None:
        assert kernel.worker is not None
        self.events.unregister(kernel.worker)
        kernel.worker.close()
        kernel.worker = None
        if kernel.exit < 0:
            self._reap(kernel)
        else:
            _end(kernel)

    def _reap(self, kernel: _Kernel) -> None:
        os.waitpid(kernel.pid, 0)
        del self.kernels[kernel.pid]

    def _leave(self, parent: int) -> None:
        """In the child: a process group of its own, gone when the nursery is, and nothing of the nursery's left open."""
        os.setsid()
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
        if os.getppid() != parent:
            os._exit(1)
        self.events.close()
        self.door.close()
        for kernel in self.kernels.values():
            if kernel.worker is not None:
                kernel.worker.close()
            if kernel.exit >= 0:
                os.close(kernel.exit)
        self.kernels.clear()
        nothing = os.open(os.devnull, os.O_RDONLY)
        os.dup2(nothing, 0)
        os.close(nothing)


def _end(kernel: _Kernel) -> None:
    for kill in (os.killpg, os.kill):  # it may not have had the time to lead a group
        with contextlib.suppress(ProcessLookupError, PermissionError):
            kill(kernel.pid, signal.SIGKILL)


def _say(worker: socket.socket, value: dict[str, Any]) -> None:
    with contextlib.suppress(OSError):
        worker.sendall(json.dumps(value).encode() + b"\n")


def become_kernel(wanted: dict[str, Any]) -> None:
    """Be the kernel asked for until it is shut down, as `python -m ipykernel_launcher` would in that folder and environment."""
    import numpy as np
    from ipykernel.kernelapp import IPKernelApp

    os.environ.clear()
    os.environ.update(wanted["environment"], JPY_PARENT_PID=str(os.getppid()))
    time.tzset()
    os.chdir(wanted["folder"])
    sys.argv = [str(importlib.import_module("ipykernel_launcher").__file__), *wanted["arguments"]]
    # Else every kernel of this call would draw the same numbers.
    random.seed()
    np.random.seed()
    IPKernelApp.launch_instance(wanted["arguments"], parent_handle=os.getppid())


def main() -> None:
    """Import, then answer at the door; who came early waits there."""
    # Where we were started is no place to import from; a kernel puts its own folder on the path.
    if sys.path[0] == str(Path.cwd()):
        del sys.path[0]
    home = Path.cwd()
    with socket.socket(fileno=int(sys.argv[1])) as door:
        prepare()
        wanted = Nursery(door).serve()
    if wanted is None:
        # Whoever started us would clear this away, but may have been killed.
        shutil.rmtree(home, ignore_errors=True)
    else:
        become_kernel(wanted)


if __name__ == "__main__":
    main()
