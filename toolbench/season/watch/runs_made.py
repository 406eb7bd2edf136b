"""The runs that a season has already, reduced: what a new recording is judged beside."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from toolbench.errors import AnalysisError
from toolbench.files import digest
from toolbench.records.runs import Run
from toolbench.records.settings import RunEntry, SeasonSettings
from toolbench.season.reducing import reduce_runs

BUDGET_S = 0.5
"""Time that a judgement may spend on runs made before it that were not read yet; the rest is read between recordings."""


class RunsMade:
    """Reduced runs by file, and their digests; those of runs.csv are read one by one while nothing else is to do."""

    def __init__(self, entries: Iterable[RunEntry]) -> None:
        self.unread = list(entries)
        self._runs: dict[str, Run] = {}
        self._digests: dict[str, str] = {}

    def of_tool(self, tool: str) -> list[Run]:
        """Runs of one tool that are read."""
        return [run for run in self._runs.values() if run.entry.tool == tool]

    def digests(self, folder: Path, file: str) -> Mapping[str, str]:
        """sha256 of every recording that is still there, with its file; of those not read yet, the ones as long as `file`."""
        self._hash_as_long_as(folder, file)
        return {value: file for value, file in self._digests.items() if (folder / file).exists()}

    def file_of(self, content: str) -> str | None:
        """The file that had this content, by its sha256, when it was read."""
        return self._digests.get(content)

    def _hash_as_long_as(self, folder: Path, file: str) -> None:
        """Hash the recordings not read yet that may be copies of `file`, as many as time allows."""
        end = time.monotonic() + BUDGET_S
        try:
            size = (folder / file).stat().st_size
        except OSError:  # gone meanwhile: judged as what was read of it
            return
        hashed = set(self._digests.values())
        for other in [run.file for run in self.unread if run.file not in hashed and run.file != file]:
            if time.monotonic() > end:
                return
            try:
                if (folder / other).stat().st_size == size:
                    self._digests.setdefault(digest(folder / other), other)
            except OSError:
                continue  # `check` names recordings that are missing

    def keep(self, entry: RunEntry, run: Run | None) -> None:
        """Take a judged recording in, in place of what its file held before."""
        self._digests = {value: file for value, file in self._digests.items() if file != entry.file}
        self._runs.pop(entry.file, None)
        self.unread = [other for other in self.unread if other.file != entry.file]
        if run is not None:
            self._runs[entry.file] = replace(run, entry=entry)
            self._digests.setdefault(run.digest, entry.file)

    def read_like(self, settings: SeasonSettings, entry: RunEntry) -> None:
        """Read the like runs that were not read yet, as many as time allows."""
        end = time.monotonic() + BUDGET_S
        cell = (entry.tool, entry.setup, entry.protocol)
        for other in [run for run in self.unread if (run.tool, run.setup, run.protocol) == cell]:
            if time.monotonic() > end:
                return
            self.unread.remove(other)
            self._read(settings, other)

    def read_one(self, settings: SeasonSettings) -> None:
        """Read one more of the runs that were not read yet."""
        if self.unread:
            self._read(settings, self.unread.pop(0))

    def follow(self, entries: Iterable[RunEntry]) -> None:
        """What a person enters or excludes by hand holds for the runs that are read already."""
        listed = {entry.file: entry for entry in entries}
        for file, run in self._runs.items():
            if file in listed and listed[file] != run.entry:
                self._runs[file] = replace(run, entry=listed[file])

    def move(self, old: str, new: str) -> None:
        """A recording lies elsewhere now."""
        if old in self._runs:
            run = self._runs.pop(old)
            self._runs[new] = replace(run, entry=replace(run.entry, file=new))
        self._digests = {value: new if file == old else file for value, file in self._digests.items()}

    def _read(self, settings: SeasonSettings, entry: RunEntry) -> None:
        if entry.file in self._runs or entry.protocol not in settings.protocols:
            return
        try:
            (run,) = reduce_runs(settings, settings.protocols[entry.protocol], [entry]).runs
        except (AnalysisError, ValueError):
            return  # `check` says what is wrong with it
        self._runs[entry.file] = run
        self._digests.setdefault(run.digest, entry.file)
