"""A handful of worker processes, each with a deadline, kept by one parent.

A worker that dies or overruns costs its own report only: it is ended with its kernel and replaced.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass, field
from typing import IO, Any

from toolbench.report.attempt import Job
from toolbench.report.processes import START_S, child_environment, end_kernel
from toolbench.report.shipped import interpreter
from toolbench.report.warm import Warm, why_plain


@dataclass(eq=False)
class _Worker:
    process: subprocess.Popen[str]
    log: IO[bytes]
    job: Job | None = None
    begun: float = 0.0
    ready: bool = False
    kernel: int | None = None

    def deadline(self, notebook_timeout_s: float) -> float:
        """When its report has taken too long; what a worker needs before it can begin is not the report's time."""
        return self.begun + (notebook_timeout_s if self.ready else max(notebook_timeout_s, 2 * START_S))

    def last_words(self) -> str:
        """The end of what the process wrote on standard error."""
        self.log.seek(0, os.SEEK_END)
        self.log.seek(max(0, self.log.tell() - 2000))
        lines = self.log.read().decode("utf-8", "replace").strip().splitlines()
        return lines[-1] if lines else ""


@dataclass
class Pool:
    """Runs jobs on up to `size` workers; use as a context manager, which ends every process that is left.

    `notebook_timeout_s` [s] limits one whole report, start of its kernel included. `plain_because` says, after a run, why kernels were
    not forked; `surprise` that this was not known before.
    """

    size: int
    notebook_timeout_s: float = 1800.0
    plain_because: str = field(default_factory=why_plain)
    surprise: bool = False
    _nursery: Warm | None = None
    _workers: list[_Worker] = field(default_factory=list)
    _said: queue.Queue[tuple[_Worker, dict[str, Any] | None]] = field(default_factory=queue.Queue)

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *_: object) -> None:
        for worker in list(self._workers):
            self._end(worker)
        if self._nursery:
            self._nursery.end()

    def warm(self, count: int = 1) -> None:
        """Start workers ahead of the work: their imports take as long as reading a season."""
        if count and not self.plain_because and self._nursery is None:
            self._nursery = Warm()
        while len(self._workers) < min(count, self.size):
            self._start()

    def run(
        self, jobs: Iterable[Job], on_start: Callable[[Job], None] = lambda job: None
    ) -> Generator[tuple[Job, dict[str, Any]], None, None]:
        """Yield each job with its outcome (`seconds`, `error`, `trace`) as it ends, in no fixed order."""
        waiting = list(jobs)[::-1]
        self.warm(len(waiting))
        busy = 0
        while waiting or busy:
            for worker in self._workers:
                if waiting and worker.job is None:
                    busy += self._give(worker, waiting.pop(), on_start)
            for job, outcome in self._collect():
                busy -= 1
                yield job, outcome
            self.warm(busy + len(waiting))

    def _give(self, worker: _Worker, job: Job, on_start: Callable[[Job], None]) -> int:
        worker.job, worker.begun, worker.kernel = job, time.monotonic(), None
        on_start(job)
        # A worker that died meanwhile is noticed by its reader, and its job ends with that.
        with contextlib.suppress(OSError):
            assert worker.process.stdin is not None
            worker.process.stdin.write(job.to_json() + "\n")
            worker.process.stdin.flush()
        return 1

    def _collect(self) -> Iterator[tuple[Job, dict[str, Any]]]:
        """Wait for one message or the next deadline, and yield what has ended by then."""
        deadlines = [worker.deadline(self.notebook_timeout_s) for worker in self._workers if worker.job]
        with contextlib.suppress(queue.Empty):
            # Short waits: on some systems a wait without end cannot be broken by Ctrl-C.
            worker, message = self._said.get(
                timeout=max(0.01, min([*deadlines, time.monotonic() + 0.5]) - time.monotonic())
            )
            if message is None:
                if worker in self._workers:
                    yield from self._lost(worker, f"the process that made this report ended: {worker.last_words()}")
            elif "kernel" in message:
                worker.kernel = message["kernel"]
            elif "ready" in message:
                worker.ready, worker.begun = True, time.monotonic()
            elif "plain" in message:
                self.plain_because, self.surprise = message["plain"], True
            elif "report" in message and worker.job:
                job, worker.job, worker.kernel = worker.job, None, None
                yield job, message
        for worker in list(self._workers):
            if worker.job and time.monotonic() > worker.deadline(self.notebook_timeout_s):
                yield from self._lost(worker, f"the notebook took longer than {self.notebook_timeout_s:g} s")

    def _lost(self, worker: _Worker, why: str) -> Iterator[tuple[Job, dict[str, Any]]]:
        job, seconds = worker.job, time.monotonic() - worker.begun
        self._end(worker)
        if job:
            yield job, {"report": job.report, "seconds": seconds, "error": why, "trace": ""}

    def _start(self) -> None:
        door = [self._nursery.door] if self._nursery else []
        log = tempfile.TemporaryFile()  # noqa: SIM115  it lives as long as its worker
        process = subprocess.Popen(
            [interpreter(), "-P", "-m", "toolbench.report.worker", *door],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=log,
            env=child_environment(),
            text=True,
            encoding="utf-8",
            # Ctrl-C is for the parent, which ends kernels and workers in order.
            start_new_session=sys.platform != "win32",
        )
        worker = _Worker(process, log)
        self._workers.append(worker)
        threading.Thread(target=self._read, args=(worker,), daemon=True).start()

    def _read(self, worker: _Worker) -> None:
        assert worker.process.stdout is not None
        with contextlib.suppress(ValueError, OSError):
            for line in worker.process.stdout:
                self._said.put((worker, json.loads(line)))
        self._said.put((worker, None))

    def _end(self, worker: _Worker) -> None:
        """Kernel first, then the worker: an orphaned kernel could still write."""
        if worker.kernel:
            end_kernel(worker.kernel)
        worker.process.kill()
        worker.process.wait()
        for stream in (worker.process.stdin, worker.process.stdout):
            with contextlib.suppress(OSError, ValueError):
                if stream:
                    stream.close()
        worker.log.close()
        self._workers.remove(worker)
