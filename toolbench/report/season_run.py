"""A season's reports: which are to be made, made in worker processes, published one by one, and told about.

A report that fails leaves the others alone: its last good page stays, with a STALE.txt beside it.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, Protocol

from toolbench.files import locked
from toolbench.report.attempt import Job
from toolbench.report.keys import Inputs, pages_key, program_digest, report_key
from toolbench.report.ledger import STALE, WORK, Ledger, refuse_place
from toolbench.report.pool import Pool
from toolbench.report.shipped import find_notebook, find_shipped

REPORT_FILES = (
    "report.html", "report.ipynb", "results.json", "levels.csv", "differences.csv", "curves.csv", "notes.md", STALE,
)  # fmt: skip

UNUSABLE = "run-unusable"
"""Code of the finding on a recording that a report goes without."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOptions:
    """How a run goes. Times in s; `jobs` None means one per core."""

    jobs: int | None = None
    fresh: bool = False
    only_failed: bool = False
    dry_run: bool = False
    force: bool = False
    cell_timeout_s: float = 600.0
    notebook_timeout_s: float = 1800.0
    notebook: Path | None = None
    templates: Path | None = None
    monte_carlo: bool = False
    t_inputs: bool = False

    @property
    def asked(self) -> tuple[str, ...]:
        """What is asked of the reports beyond the usual."""
        return tuple(name for name in ("monte_carlo", "t_inputs") if getattr(self, name))

    @property
    def workers(self) -> int:
        """How many reports are made at once."""
        if self.jobs:
            return self.jobs
        return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Watcher(Protocol):
    """Told how a run goes, for a terminal."""

    def planned(self, rows: Sequence[dict[str, Any]]) -> None: ...
    def started(self, report: str) -> None: ...
    def ended(self, row: dict[str, Any]) -> None: ...


class Silent:
    """A watcher that says nothing."""

    def planned(self, rows: Sequence[dict[str, Any]]) -> None: ...
    def started(self, report: str) -> None: ...
    def ended(self, row: dict[str, Any]) -> None: ...


@dataclass
class Outcome:
    """What a run did: the rows of the reports it looked at, files of the reader's that were set aside, and what was left out.

    `unusable` are the recordings that a report had to go without, each with what is wrong with it.
    """

    rows: list[dict[str, Any]] = field(default_factory=list)
    set_aside: list[str] = field(default_factory=list)
    traces: dict[str, str] = field(default_factory=dict)
    unusable: dict[str, str] = field(default_factory=dict)

    @property
    def exit_status(self) -> int:
        """1 where a report failed or a recording could not be used, else 0; other caveats are no failure."""
        return 1 if self.unusable or any(row["state"] == "failed" for row in self.rows) else 0


def run_season(
    season: Any,
    out: Path,
    options: RunOptions = RunOptions(),
    *,
    plans: Sequence[Any] | None = None,
    pool: Pool | None = None,
    watcher: Watcher | None = None,
) -> Outcome:
    """Make the reports of a season that are not up to date, and the pages over them.

    Parameters
    ----------
    season : Season
        An opened season.
    out : Path
        The output folder.
    options : RunOptions
    plans : sequence of ReportPlan, optional
        Only these; all of the season's when not given. Reports left out keep their place in season.json.
    pool : Pool, optional
        Workers started ahead; the caller ends them.
    watcher : Watcher, optional
        Told of every start and end.

    Raises
    ------
    OutputError
        When the folder cannot be written, is in use, or holds files of others where pages belong.
    """
    watcher = watcher or Silent()
    refuse_place(season, out)
    run = _Run(season, out, options, watcher)
    chosen = list(season.plans() if plans is None else plans)
    if options.dry_run:
        run.ledger = Ledger(out, force=options.force)
        return Outcome(rows=[run.forecast(plan) for plan in chosen if run.wanted(plan)])
    with locked(out), contextlib.ExitStack() as stack:
        run.ledger = Ledger(out, force=options.force)
        run.ledger.recover()
        if pool is None:
            pool = stack.enter_context(Pool(options.workers, options.notebook_timeout_s))
        forecast = run.prepare(chosen)
        try:
            run.render(chosen, forecast, pool, everything=plans is None)
        finally:
            # Ctrl-C comes through here too: what was made is on record, and the next call goes on from it.
            run.ledger.save()
            run.ledger.recover()
        return Outcome(run.rows, run.ledger.set_aside, run.traces, run.unusable)


class _Run:
    """One run over an output folder."""

    ledger: Ledger

    def __init__(self, season: Any, out: Path, options: RunOptions, watcher: Watcher) -> None:
        self.season, self.out, self.options, self.watcher = season, out, options, watcher
        self.folder = Path(season.folder).resolve()
        self.notebook = options.notebook or find_notebook("compare.ipynb")
        self.templates = options.templates or find_shipped("templates")
        self.inputs = Inputs(self.folder)
        self.program = program_digest(self.notebook, self.templates)
        self.rows: list[dict[str, Any]] = []
        self.traces: dict[str, str] = {}
        self.unusable: dict[str, str] = {}
        self.keys: dict[str, str] = {}

    def wanted(self, plan: Any) -> bool:
        return not self.options.only_failed or self.ledger.rows.get(plan.path, {}).get("state") == "failed"

    def forecast(self, plan: Any) -> dict[str, Any]:
        """The row a plan would get now: `skipped`, `unchanged`, or `to render` with the reason in `error`."""
        if plan.state == "skipped":
            return row_of(plan, "skipped", error=plan.reason)
        self.keys[plan.path] = report_key(
            plan, self.season.settings, self.inputs, self.program, asked=self.options.asked
        )
        why = self._why(plan)
        return row_of(plan, "to render", error=why) if why else row_of(plan, "unchanged")

    def _why(self, plan: Any) -> str:
        made = self.ledger.made.get(plan.path)
        if self.options.fresh:
            return "asked for"
        if made is None:
            return "not made yet"
        if made["key"] != self.keys[plan.path] or not self.inputs.hold(made["inputs"]):
            return "an input or the program changed"
        files = self._files.get(plan.path, [])
        return "" if files and all(map(self.ledger.as_written, files)) else "a file of it was changed or is gone"

    @cached_property
    def _files(self) -> dict[str, list[str]]:
        return self.ledger.files_by_report()

    def prepare(self, plans: Sequence[Any]) -> dict[str, dict[str, Any]]:
        """What is to be done, by path. Raises OutputError, before anything is written, where files of others are in the way."""
        rows = {plan.path: self.forecast(plan) for plan in plans if self.wanted(plan)}
        self.ledger.refuse_foreign(self._targets(plans, rows))
        self.watcher.planned(list(rows.values()))
        return rows

    def render(self, plans: Sequence[Any], rows: dict[str, dict[str, Any]], pool: Pool, *, everything: bool) -> None:
        """Make and publish what is to be made, then the pages over the reports."""
        from toolbench.report.health import health_state, write_health
        from toolbench.report.index import INDEX, write_pages
        from toolbench.report.standings import standings_state, write_standings

        by_path = {plan.path: plan for plan in plans}
        jobs = [self._job(by_path[path]) for path, row in rows.items() if row["state"] == "to render"]
        for path, row in rows.items():
            if row["state"] != "to render":
                self._settle(by_path[path], row)
        self.ledger.save()
        with contextlib.closing(pool.run(jobs, lambda job: self.watcher.started(job.report))) as ended:
            self._collect(ended, by_path)
        if everything:
            self._leave_unlisted({plan.path for plan in plans})
        order = {path: place for place, path in enumerate(by_path)}
        self.ledger.rows = dict(sorted(self.ledger.rows.items(), key=lambda item: order.get(item[0], len(order))))
        self.rows.sort(key=lambda row: order[row["path"]])
        if everything:
            write_health(self.season, self.ledger, self.templates, self.inputs, self.program)
            write_standings(self.season, self.ledger, self.templates, self.inputs, self.program)
        self._note_inputs()
        states = {"health": health_state(self.ledger), "standings": standings_state(self.ledger)}
        key = pages_key(self.season.settings, self.ledger, self.program, states)
        made = self.ledger.made.get(INDEX, {})
        if made.get("key") != key or not all(map(self.ledger.as_written, made["pages"])):
            pages = write_pages(self.season, self.ledger, self.templates, **states)
            self.ledger.made[INDEX] = {"key": key, "inputs": {}, "pages": pages}

    def _targets(self, plans: Sequence[Any], rows: dict[str, dict[str, Any]]) -> Iterator[str]:
        from toolbench.report.health import PAGE, wants_health
        from toolbench.report.standings import FILES, wants_standings

        yield from ("index.html", "effects.csv")
        if wants_health(self.season):
            yield PAGE
        if wants_standings(self.season):
            yield from FILES
        for episode in {plan.episode for plan in plans}:
            yield from (f"{episode}/index.html", f"{episode}/notes.md")
        for path, row in rows.items():
            if row["state"] == "to render":
                yield from (f"{path}/{name}" for name in REPORT_FILES)

    def _job(self, plan: Any) -> Job:
        staged = self.out.resolve() / WORK / plan.path.replace("/", " ")
        staged.mkdir(parents=True)
        episode = self.season.settings.episodes[plan.episode]
        subject = plan.subject or "pairs"
        return Job(
            report=plan.path,
            title=f"{episode.title or plan.episode}: {subject}",
            notebook=str(self.notebook),
            templates=str(self.templates),
            season=str(self.folder),
            kept_season=_relative(self.folder, self.out.resolve() / plan.path),
            folder=str(staged),
            episode=plan.episode,
            tool=plan.subject if plan.axis == "setups" else "",
            setup=plan.subject if plan.axis == "tools" else "",
            pairs=plan.axis == "pairs",
            protocol=plan.protocol,
            cell_timeout_s=self.options.cell_timeout_s,
            monte_carlo=self.options.monte_carlo,
            t_inputs=self.options.t_inputs,
        )

    def _collect(self, ended: Iterator[tuple[Job, dict[str, Any]]], by_path: dict[str, Any]) -> None:
        for job, outcome in ended:
            plan = by_path[job.report]
            if not outcome["error"]:
                try:
                    self.ledger.publish(plan.path, Path(job.folder))
                except OSError as error:
                    outcome["error"] = f"cannot be published: {error.strerror or error}"
            state = "failed" if outcome["error"] else "rendered"
            self.traces[plan.path] = outcome.get("trace", "")
            self._settle(plan, row_of(plan, state, seconds=round(outcome["seconds"], 3), error=outcome["error"]))
            self.ledger.save()

    def _settle(self, plan: Any, row: dict[str, Any]) -> None:
        """Enter a report's row, and see to the note beside an older page."""
        from toolbench.report.headlines import results_of

        path = plan.path
        if row["state"] == "rendered":
            results = results_of(self.out / path)
            findings = results.get("findings", [])
            self.ledger.made[path] = {
                "key": self.keys[path],
                "inputs": results.get("inputs", {}),
                "seconds": row["seconds"],
                "unusable": {one["file"]: one["message"] for one in findings if one["code"] == UNUSABLE},
            }
        if row["state"] in ("rendered", "unchanged"):
            self.unusable |= self.ledger.made[path].get("unusable", {})
        if row["state"] == "unchanged":
            row["seconds"] = 0.0
        if row["state"] in ("rendered", "unchanged"):
            self.ledger.remove_page(f"{path}/{STALE}")
        elif self.ledger.has_page(path):
            self.ledger.write_page(f"{path}/{STALE}", stale_note(row["error"]))
        self.ledger.rows[path] = row
        self.rows.append(row)
        self.watcher.ended(row)

    def _leave_unlisted(self, listed: set[str]) -> None:
        """Reports the season no longer asks for stay where they are, marked, and leave the list."""
        for path in [path for path in self.ledger.rows if path not in listed]:
            if self.ledger.has_page(path):
                self.ledger.write_page(f"{path}/{STALE}", stale_note("the season no longer asks for this report"))
            del self.ledger.rows[path]

    def _note_inputs(self) -> None:
        """The digest of every file read: the settings, and what each report and the page on the bench say they read."""
        from toolbench.report import health, standings

        found = {name: value for name in self.season.settings.digests if (value := self.inputs.of(name))}
        for path in (*self.ledger.rows, health.PAGE, standings.PAGE):
            found |= self.ledger.made.get(path, {}).get("inputs", {})
        self.ledger.inputs = dict(sorted(found.items()))


def row_of(plan: Any, state: str, *, seconds: float = 0.0, error: str = "") -> dict[str, Any]:
    """A row of season.json."""
    return {
        "episode": plan.episode,
        "axis": plan.axis,
        "subject": plan.subject,
        "protocol": plan.protocol,
        "path": plan.path,
        "state": state,
        "seconds": seconds,
        "error": error,
    }


def stale_note(error: str) -> str:
    """Text of STALE.txt."""
    return f"This page is from an earlier run. It could not be made again:\n{error}\n"


def _relative(season: Path, folder: Path) -> str:
    """Path of the season as seen from a report's folder, with `/`; absolute where there is no way, as between two drives."""
    try:
        return Path(os.path.relpath(season, folder)).as_posix()
    except ValueError:
        return season.as_posix()
