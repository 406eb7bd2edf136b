"""A season watched while recordings arrive: each is named, judged beside the runs before it, and entered in runs.csv."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from toolbench.errors import OutputError, SettingsError
from toolbench.files import digest, read_regular
from toolbench.records.settings import RunEntry
from toolbench.season.watch.arriving import Arrivals, Signature
from toolbench.season.watch.entering import enter, entering, find_row, moving
from toolbench.season.watch.hand_written import HandWritten
from toolbench.season.watch.judging import judge_file, judge_recording
from toolbench.season.watch.plan_sheet import Named, name_recording
from toolbench.season.watch.runs_made import RunsMade
from toolbench.season.watch.verdicts import TOLD_ONCE, Judgement
from toolbench.settings import RUNS, clean, entered_rows

RETRY_S = 5.0
"""Every so often a row that could not be written is tried again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One recording judged. `not_entered` says why there is no row; empty where there is one."""

    file: str
    entry: RunEntry | None
    judgement: Judgement
    not_entered: str = ""
    again: bool = False
    """Whether it was judged before, and then changed."""
    notices: tuple[str, ...] = ()
    next_row: RunEntry | None = None
    open_rows: int = 0
    has_plan: bool = False
    seconds: float = 0.0
    """From the moment it was seen to be complete to the verdict."""


@dataclass(frozen=True, slots=True)
class Told:
    """Something to say that is no verdict: what, and whether it is a fault."""

    text: str
    is_fault: bool = False


@dataclass(slots=True)
class _Pending:
    """A judged recording that has no row yet."""

    entry: RunEntry
    words: str
    started: datetime
    plan: RunEntry | None


class Watch:
    """A season folder while recordings arrive.

    Parameters
    ----------
    folder : season folder
    sheet : plan with the columns of runs.csv; None: rows of runs.csv without a file are the plan, if there are any
    block : name of this sitting, for recordings of which neither path nor plan says it
    new_only : leave recordings alone that are there already

    Raises
    ------
    SettingsError
        bench.toml or tools.csv cannot be read or validated.
    """

    def __init__(self, folder: Path, *, sheet: Path | None = None, block: str = "", new_only: bool = False) -> None:
        self.folder = folder
        self.block = block
        self.judged: dict[str, Judged] = {}
        self.desk = HandWritten(folder, sheet)
        self.arrivals = Arrivals(folder, self.desk.roots, self.desk.fits)
        self._made = RunsMade(self.desk.runs)
        self._wrote: dict[str, dict[str, str]] = {}
        self._pending: dict[str, _Pending] = {}
        self._held: dict[str, tuple[Signature | None, Judgement, Named]] = {}
        self._gone: dict[Signature, str] = {}
        self._rows_of_look: dict[str, RunEntry] = {}
        self._tried = 0.0
        self._restored: set[str] = set()
        self._said: frozenset[str] = frozenset()
        self.arrivals.pass_over(run.file for run in self.desk.runs)
        self.arrivals.look(0.0)
        self.there_already = self.arrivals.waiting()
        if new_only:
            self.arrivals.pass_over(self.there_already)

    # ---- looking --------------------------------------------------------------------------------------------------

    def step(self, now: float) -> list[Judged | Told]:
        """Look once; `now` [s] is of a clock that only goes on. What there is to say comes back in order."""
        said: list[Judged | Told] = [*self._read_again(now)]
        look = self.arrivals.look(now)
        said += self._note_gone(look.gone)
        for file in look.complete:
            said += self._arrived(file, now)
        if not look.complete:
            if self._pending and now - self._tried > RETRY_S:
                self._tried = now
                said += self.enter_pending()
            else:
                self._made.read_one(self.desk.bench.settings)
        return said

    def open_rows(self) -> tuple[RunEntry, ...]:
        """Rows of the plan that no kept recording has taken."""
        unwritten = [replace(one.entry, excluded=bool(one.words)) for one in self._pending.values()]
        return self.desk.plan.open_rows([*self.desk.runs, *unwritten])

    def enter_pending(self) -> list[Told]:
        """Try once more to write rows that could not be written."""
        done = [file for file in list(self._pending) if not self._enter(file)]
        return [Told(f"{RUNS}: entered now: {', '.join(done)}")] if done else []

    @property
    def pending(self) -> tuple[str, ...]:
        """Recordings that are judged and have no row, as runs.csv could not be written."""
        return tuple(self._pending)

    def is_idle(self) -> bool:
        """Whether nothing is waited for: every recording that is there was judged."""
        return all(self.arrivals.is_empty(file) for file in self.arrivals.waiting())

    # ---- one recording ----------------------------------------------------------------------------------------------

    def _arrived(self, file: str, now: float) -> list[Judged | Told]:
        begun = time.monotonic()
        moved = self._moved(file)
        if moved is not None:
            return [moved]
        judgement, named = self._judge(file)
        if not self.arrivals.is_unchanged(file):
            self.arrivals.again(file, now)
            return []
        unfinished = judgement.may_be_unfinished or not self.arrivals.is_whole(file)
        if unfinished and self.arrivals.hold(file):
            self._held[file] = (self.arrivals.signature(file), judgement, named)
            return []
        return self._conclude(file, judgement, named, begun)

    def _judge(self, file: str) -> tuple[Judgement, Named]:
        held = self._held.pop(file, None)
        if held is not None and held[0] == self.arrivals.signature(file):
            return held[1], held[2]
        taken = [row for other, row in self._rows_of_look.items() if other != file]
        rows = [row for row in self.open_rows() if row not in taken]
        settings = self.desk.bench.settings
        named = name_recording(file, self.desk.bench, self.desk.plan, rows, self.block)
        if named.entry is None:
            only = settings.loggers.get(self.desk.bench.known.only("logger"))
            return judge_file(settings, file, named.missing, only), named
        self._made.read_like(settings, named.entry)
        earlier = self._made.of_tool(named.entry.tool)
        return judge_recording(settings, named.entry, earlier, digests=self._made.digests(self.folder, file)), named

    def _conclude(self, file: str, judgement: Judgement, named: Named, begun: float) -> list[Judged | Told]:
        before, why = self.judged.get(file), ""
        if before is not None and judgement.verdict == "look" and before.judgement.reasons == judgement.reasons:
            return []
        self._rows_of_look.pop(file, None)
        entry = named.entry
        if entry is not None and judgement.verdict != "look":
            self._made.keep(replace(entry, excluded=judgement.verdict == "repeat"), judgement.run)
            self._pending[file] = _Pending(entry, judgement.words, self._started(file, judgement), named.row)
            why = self._enter(file)
            entry = replace(entry, run=self._wrote.get(file, {}).get("run") or entry.run)
            for other in [other for other in self._pending if other != file]:
                self._enter(other)
        else:
            why = "it is entered once it can be judged"
            if named.row is not None:
                self._rows_of_look[file] = named.row
        rows = [row for row in self.open_rows() if row not in self._rows_of_look.values()]
        new = tuple(told for told in judgement.told if told.code not in self._said)
        self._said |= {told.code for told in new} & TOLD_ONCE
        judgement = replace(judgement, told=new)
        one = Judged(
            file=file,
            entry=entry,
            judgement=judgement,
            not_entered=why,
            again=before is not None,
            notices=named.notices,
            next_row=rows[0] if rows else None,
            open_rows=len(rows),
            has_plan=bool(self.desk.plan.rows),
            seconds=time.monotonic() - begun,
        )
        self.judged[file] = one
        return [one]

    def _started(self, file: str, judgement: Judgement) -> datetime:
        """Time of the file's first stamp; its time of change where it has none, or one before the year 2000."""
        try:
            stamp = datetime.fromisoformat(judgement.start)
            if stamp.year >= 2000:
                return stamp
        except ValueError:
            pass
        try:
            return datetime.fromtimestamp((self.folder / file).stat().st_mtime, UTC)
        except (OSError, OverflowError, ValueError):  # gone meanwhile, or a date that no clock shows
            return datetime.now(UTC)

    def _enter(self, file: str) -> str:
        """Write one row; why it could not be done, empty where it was."""
        one = self._pending[file]
        edit = entering(
            one.entry,
            one.words,
            started=one.started,
            row=one.plan,
            fills=self.desk.plan.is_runs,
            loggers=len(self.desk.bench.settings.loggers),
            run_id=self._run_id,
            wrote=self._wrote.setdefault(file, {}),
        )
        try:
            enter(self.folder, edit)
        except (OutputError, SettingsError) as error:
            return error.faults[0].message
        del self._pending[file]
        self._take_over()
        return ""

    def _run_id(self, file: str) -> str:
        """The id of a run of which no row says one."""
        return self.desk.bench.pattern.run_id(file) if self.desk.bench.pattern is not None else clean(Path(file).stem)

    # ---- files that are edited, moved or deleted -----------------------------------------------------------------------

    def _read_again(self, now: float) -> list[Told]:
        """Read the hand-written files again where one was edited."""
        changed = self.desk.changed()
        if not changed:
            return []
        said = [Told(f"{', '.join(changed)} was edited and is read again")]
        said += [Told(fault, True) for fault in self.desk.read_again()]
        self._made.follow(self.desk.runs)
        self.arrivals.roots = self.desk.roots
        for file in [file for file, one in self.judged.items() if one.judgement.verdict == "look"]:
            self.arrivals.again(file, now)
        return said + self._restore()

    def _take_over(self) -> None:
        self.desk.take_over()
        self._made.follow(self.desk.runs)

    def _restore(self) -> list[Told]:
        """Rows entered here that are gone: a spreadsheet program saved what it had open before. Entered again, once."""
        try:
            rows = entered_rows(read_regular(self.folder / RUNS))
        except (OSError, SettingsError):
            return []
        lost = [file for file in self._wrote if file not in self._pending and find_row(rows, file) is None]
        lost = [file for file in lost if file not in self._restored and (self.folder / file).exists()]
        for file in lost:
            self._restored.add(file)
            one = self.judged[file]
            if one.entry is not None:
                started = self._started(file, one.judgement)
                self._pending[file] = _Pending(one.entry, one.judgement.words, started, None)
                self._enter(file)
        return [Told(f"{RUNS} had lost the rows of {', '.join(lost)}; they are entered again")] if lost else []

    def _note_gone(self, gone: Sequence[tuple[str, Signature]]) -> list[Told]:
        for file, signature in gone:
            self._gone[signature] = file
            self._held.pop(file, None)
        named = [file for file, _ in gone if file in self.judged or self.desk.listed(file)]
        return [Told(f"{file} is gone; its row in {RUNS} stays") for file in named]

    def _moved(self, file: str) -> Told | None:
        """A recording that lay elsewhere before: its row names the new place; it is judged no second time."""
        signature = self.arrivals.signature(file)
        old = self._gone.get(signature) if signature is not None else None
        if old is None or (self.folder / old).exists() or self.desk.listed(file) is not None:
            return None
        try:
            if self._made.file_of(digest(self.folder / file)) != old:
                return None
            enter(self.folder, moving(old, file))
        except (OSError, OutputError, SettingsError):
            return None
        self._made.move(old, file)
        if old in self.judged:
            self.judged[file] = replace(self.judged.pop(old), file=file)
        self._wrote[file] = self._wrote.pop(old, {})
        self._take_over()
        return Told(f"{old} now lies at {file}; its row in {RUNS} says so")
