"""`report`, `season` and `compare`: the commands that make pages."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from toolbench.cli.options import FOLDER, debug_option, force_option, out_option, run_options

if TYPE_CHECKING:
    from toolbench.report.season_run import Outcome, RunOptions


@click.command()
@click.argument("season", type=FOLDER)
@click.option("--episode", required=True, help="Which episode.")
@click.option("--tool", help="Only the report of this tool: its setups compared.")
@click.option("--setup", help="Only the report of this setup: its tools compared.")
@click.option("--pairs", is_flag=True, help="Only the report of the episode's pairs.")
@click.option("--protocol", help="Only reports under this protocol.")
@click.option("--monte-carlo", is_flag=True, help="Check the percent differences by a million Monte Carlo draws.")
@click.option("--t-inputs", is_flag=True, help="With --monte-carlo: also with t-distributed inputs, as information.")
@out_option
@run_options
@force_option
@debug_option
def report(
    season: Path, episode: str, tool: str | None, setup: str | None, pairs: bool, protocol: str | None,
    monte_carlo: bool, t_inputs: bool, out: Path, jobs: int | None, fresh: bool, timeout: float, force: bool,
) -> int:  # fmt: skip
    """The reports of SEASON's episode that match; a fault in another episode does not stop them."""
    if not episode:
        raise click.UsageError("--episode is empty: name one of the season's episodes")
    if sum([bool(tool), bool(setup), pairs]) > 1:
        raise click.UsageError("--tool, --setup and --pairs name different reports: give one of them")
    if t_inputs and not monte_carlo:
        raise click.UsageError("--t-inputs adds to --monte-carlo: give both")
    options = replace(
        _options(jobs=jobs, fresh=fresh, timeout=timeout, force=force), monte_carlo=monte_carlo, t_inputs=t_inputs
    )

    def chosen(opened: Any) -> Sequence[Any]:
        plans: Sequence[Any] = opened.plans(episode, tool=tool, setup=setup, pairs=pairs, protocol=protocol)
        if not plans:
            names = ", ".join(plan.name for plan in opened.plans(episode)) or "none"
            raise click.UsageError(f"episode {episode!r} has no such report; its reports: {names}")
        return plans

    outcome = _run(season, out, options, chosen, likely=1 if tool or setup or pairs else None, episode=episode)
    for row in outcome.rows:
        if row["state"] in ("rendered", "unchanged"):
            click.echo(out / row["path"] / "report.html")
    return outcome.exit_status


@click.command()
@click.argument("season", type=FOLDER)
@out_option
@run_options
@click.option("--only", type=click.Choice(["failed"]), help="Only the reports that failed the last time.")
@click.option("--dry-run", is_flag=True, help="Say what would be made, and make nothing.")
@force_option
@debug_option
def season(
    season: Path, out: Path, jobs: int | None, fresh: bool, timeout: float, only: str | None, dry_run: bool, force: bool
) -> int:
    """Every report of SEASON, the episode pages and the index; renders only what changed."""
    options = _options(jobs=jobs, fresh=fresh, timeout=timeout, force=force, only_failed=bool(only), dry_run=dry_run)
    outcome = _run(season, out, options, None)
    if dry_run:
        from toolbench.report.progress import row_line

        for row in outcome.rows:
            click.echo(row_line(row))
        return 0
    _summary(outcome, out)
    return outcome.exit_status


@click.command()
@click.argument("folders", type=click.Path(exists=True, file_okay=False, path_type=Path), nargs=-1, required=True)
@click.option(
    "--response", help="The column to compare, as named in the files; found by itself where only one could be it."
)
@click.option("--marks", help="Times after the onset to compare at, as in 2s,6s.")
@out_option
@run_options
@force_option
@debug_option
def compare(
    folders: tuple[Path, ...], response: str | None, marks: str | None, out: Path,
    jobs: int | None, fresh: bool, timeout: float, force: bool,
) -> int:  # fmt: skip
    """Folders of recordings to a page: every folder is a setup, every file in it a run, the first folder the baseline."""
    if len(folders) < 2:
        raise click.UsageError("two folders or more are compared; one was named")
    from toolbench.report.inferred import infer_season

    options = _options(jobs=jobs, fresh=fresh, timeout=timeout, force=force)
    folder = infer_season(folders, response=response, marks=marks, out=out, force=force)
    outcome = _run(folder, out, options, None, likely=1)
    from toolbench.cli.wrapping import told
    from toolbench.report.headlines import results_of, sentences_of

    for row in outcome.rows:
        if row["state"] in ("rendered", "unchanged"):
            results = results_of(out / row["path"])
            for sentence in sentences_of(results):
                told(sentence.text)
            _tell_caveats(results, folder)
            click.echo(out / row["path"] / "report.html")
    click.echo(out / "index.html")
    click.echo(f"{folder} (the season that was inferred, ready to be refined)")
    return outcome.exit_status


def _tell_caveats(results: Mapping[str, Any], folder: Path) -> None:
    """Whether something stands against the sentence: a number that is passed on without it says too much."""
    severities = {finding["severity"] for finding in results.get("findings", ())}
    worst = next((word for word in ("wrong", "doubtful") if word in severities), None)
    if worst:
        click.echo(
            f"something is {worst} with these recordings: the page names it, and so does toolbench check {shlex.quote(str(folder))}"
        )


def _options(
    *, jobs: int | None, timeout: float, fresh: bool, force: bool, only_failed: bool = False, dry_run: bool = False
) -> RunOptions:
    from toolbench.report.season_run import RunOptions

    return RunOptions(
        jobs=jobs, fresh=fresh, only_failed=only_failed, dry_run=dry_run, force=force,
        cell_timeout_s=timeout, notebook_timeout_s=timeout,
    )  # fmt: skip


def _run(
    folder: Path,
    out: Path,
    options: RunOptions,
    choose: Callable[[Any], Sequence[Any]] | None,
    likely: int | None = None,
    episode: str | None = None,
) -> Outcome:
    """Open a season and run it, with workers started ahead while it is read."""
    from toolbench.report.pool import Pool
    from toolbench.report.progress import watch

    with Pool(min(options.workers, likely or options.workers), options.notebook_timeout_s) as pool:
        if options.fresh or not (out / "season.json").exists():
            pool.warm()
        from toolbench.report.season_run import run_season
        from toolbench.season import open_season

        opened = open_season(folder, episode=episode)
        for fault in opened.settings.set_aside:
            click.echo(f"left out: {fault}", err=True)
        plans = choose(opened) if choose else None
        with watch(sys.stderr) as watcher:
            outcome = run_season(opened, out, options, plans=plans, pool=pool, watcher=watcher)
        if pool.surprise or (pool.plain_because and "--debug" in sys.argv):
            click.echo(f"each kernel started by itself, which takes longer: {pool.plain_because}", err=True)
    _tell(outcome)
    return outcome


def _tell(outcome: Outcome) -> None:
    for name in outcome.set_aside:
        click.echo(f"kept what was edited by hand as {name}", err=True)
    for file, message in sorted(outcome.unusable.items()):
        click.echo(f"{file}: {message}", err=True)
    if "--debug" in sys.argv:
        for path, trace in outcome.traces.items():
            if trace:
                click.echo(f"{path}:\n{trace}", err=True)


def _summary(outcome: Outcome, out: Path) -> None:
    states = [row["state"] for row in outcome.rows]
    counts = [f"{states.count(s)} {s}" for s in ("rendered", "unchanged", "failed", "skipped") if s in states]
    click.echo(f"{len(states)} {'report' if len(states) == 1 else 'reports'}: {', '.join(counts) or 'none to make'}")
    click.echo(out / "index.html")
