"""`new` and `demo`: the commands that put a season folder where there was none."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from toolbench.cli.options import ANY, FOLDER, debug_option, force_option
from toolbench.errors import Fault, OutputError


def refuse_filled(folder: Path, force: bool) -> None:
    """Stop where something lies already. Raises OutputError."""
    if folder.exists() and not folder.is_dir():
        raise OutputError(Fault("is a file; a season is a folder", file=str(folder)))
    if not force and folder.is_dir() and any(folder.iterdir()):
        raise OutputError(
            Fault("is not empty", file=str(folder), mend="name a new folder, or write into this one with --force")
        )


@click.command()
@click.argument("folder", metavar="DIR", type=ANY)
@click.option(
    "--from",
    "recordings",
    type=FOLDER,
    multiple=True,
    metavar="FILES",
    help="Recordings to fill it in from; may be given more than once, a folder gives all its files.",
)
@click.argument("more", nargs=-1, type=FOLDER, metavar="[FILES]...")
@force_option
@debug_option
def new(folder: Path, recordings: tuple[Path, ...], more: tuple[Path, ...], force: bool) -> int:
    """A commented starter season in DIR, filled in from recordings."""
    if more and not recordings:
        raise click.UsageError(f"{more[0]}: recordings are named with --from")
    refuse_filled(folder, force)
    if recordings:
        from toolbench.season import season_from_recordings

        season_from_recordings(folder, files_in((*recordings, *more)), overwrite=force)
    else:
        from toolbench.settings import write_starter

        write_starter(folder)
    click.echo(folder / "bench.toml")
    return 0


def files_in(paths: tuple[Path, ...]) -> list[Path]:
    """The files named, and those directly in a folder named, in order of name."""
    found: list[Path] = []
    for path in paths:
        found += (
            sorted(p for p in path.iterdir() if p.is_file() and not p.name.startswith(".")) if path.is_dir() else [path]
        )
    return found


@click.command()
@click.argument("folder", metavar="DIR", type=ANY)
@force_option
@debug_option
def demo(folder: Path, force: bool) -> int:
    """The demo season, as a folder DIR of your own."""
    from toolbench.report.shipped import find_shipped

    refuse_filled(folder, force)
    shutil.copytree(find_shipped("data_demo"), folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__"))
    click.echo(f"{folder} (now: toolbench season {folder} -o reports)")
    return 0
