"""bench.toml, tools.csv, runs.csv and the plan while people edit them: read again on a change; the last good state holds."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from toolbench.errors import SettingsError
from toolbench.files import read_regular
from toolbench.records.settings import RunEntry
from toolbench.season.watch.arriving import Signature
from toolbench.season.watch.entering import find_row
from toolbench.season.watch.plan_sheet import Plan, read_plan
from toolbench.settings import RUNS, Bench, entered_rows, read_bench


class HandWritten:
    """What the hand-written files say, as last read without a fault.

    Raises
    ------
    SettingsError
        bench.toml or tools.csv cannot be read or validated to begin with.
    """

    def __init__(self, folder: Path, sheet: Path | None) -> None:
        self.folder = folder
        self.sheet = sheet
        self._signatures = self._look()
        self.bench: Bench = read_bench(folder)
        self._held: tuple[RunEntry, ...] = ()
        self.plan: Plan = read_plan(folder, sheet, self.bench)

    def changed(self) -> tuple[str, ...]:
        """Names of the files that changed since they were last looked at."""
        found = self._look()
        if found[self.folder / "bench.toml"] is None:
            return ()  # an editor puts a new one in its place just now
        names = tuple(path.name for path, signature in found.items() if self._signatures.get(path) != signature)
        self._signatures = found
        return names

    def read_again(self) -> list[str]:
        """Read all of them; the faults that were not there before. With a fault in bench.toml or tools.csv nothing changes."""
        before = {*self.bench.faults, *self.plan.faults}
        try:
            bench = read_bench(self.folder)
        except SettingsError as error:
            return [f"{fault} (what stood there before stays in force)" for fault in error.faults[:3]]
        runs = self.runs
        self.bench, self.plan = bench, read_plan(self.folder, self.sheet, bench)
        self._held = self._spoilt(runs)
        new = [fault for fault in (*bench.faults, *self.plan.faults) if fault not in before]
        said = [str(fault).replace("\n  ", "; ") for fault in new if not is_open_row(fault.message)]
        if said and self._held:
            said.append(f"{RUNS}: {len(self._held)} of its rows cannot be used; what they said before stays in force")
        return said

    def _spoilt(self, before: Sequence[RunEntry]) -> tuple[RunEntry, ...]:
        """Rows as they were before somebody spoilt them: a slip of the hand in one cell undoes no run that was kept."""
        bad = {fault.line for fault in self.bench.faults if not is_open_row(fault.message)}
        usable = {run.file for run in self.bench.settings.runs if run.line not in bad}
        lost = [run for run in before if run.file not in usable and not run.excluded]
        if not lost or not bad:
            return ()
        try:
            rows = entered_rows(read_regular(self.folder / RUNS))
        except (OSError, SettingsError):
            return tuple(lost)
        return tuple(run for run in lost if find_row(rows, run.file) is not None)

    def take_over(self) -> None:
        """What was written here is read without a word."""
        self._signatures = self._look()
        self.read_again()

    def faults(self) -> list[str]:
        """What is wrong with rows of runs.csv and of the plan; rows that wait for their recording are not."""
        return [str(fault) for fault in (*self.bench.faults, *self.plan.faults) if not is_open_row(fault.message)]

    def listed(self, file: str) -> RunEntry | None:
        """The row of runs.csv that names a file."""
        return next((run for run in self.runs if run.file == file), None)

    @property
    def runs(self) -> Sequence[RunEntry]:
        """Rows of runs.csv that can be used, and those that could be before they were spoilt."""
        held = {run.file for run in self._held}
        return (*(run for run in self.bench.settings.runs if run.file not in held), *self._held)

    @property
    def roots(self) -> tuple[str, ...]:
        """Folders to look through: recordings/, and where the pattern looks."""
        if self.bench.pattern is None:
            return ("recordings",)
        top = self.bench.pattern.written.split("/")[0]
        return ("recordings",) if top == "recordings" or "{" in top or "*" in top else ("recordings", top)

    def fits(self, file: str) -> bool:
        """Whether the `recordings` pattern names a file."""
        return self.bench.pattern is not None and self.bench.pattern.match(file) is not None

    def _look(self) -> dict[Path, Signature | None]:
        paths = [self.folder / name for name in ("bench.toml", "tools.csv", RUNS)]
        return {path: _signature(path) for path in (*paths, *((self.sheet,) if self.sheet else ()))}


def _signature(path: Path) -> Signature | None:
    try:
        state = path.stat()
    except OSError:
        return None
    return state.st_size, state.st_mtime_ns


def is_open_row(message: str) -> bool:
    """Whether a fault only says that a planned row of runs.csv has no recording yet."""
    return message == "the file is missing"
