"""`new` and `demo`: the commands that put a season folder where there was none."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from toolbench.cli.options import ANY, debug_option, force_option
from toolbench.cli.wrapping import told
from toolbench.errors import Fault, OutputError, UsageError


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
    type=ANY,
    multiple=True,
    metavar="FILES",
    help="Recordings to fill it in from; may be given more than once, a folder gives all files below it.",
)
@click.argument("more", nargs=-1, type=ANY, metavar="[FILES]...")
@force_option
@debug_option
def new(folder: Path, recordings: tuple[Path, ...], more: tuple[Path, ...], force: bool) -> int:
    """A commented starter season in DIR, filled in from recordings."""
    if more and not recordings:
        raise click.UsageError(f"{more[0]}: recordings are named with --from")
    refuse_filled(folder, force)
    if recordings:
        return _from_recordings(folder, files_in((*recordings, *more)), force)
    from toolbench.settings import write_starter

    write_starter(folder)
    click.echo(folder / "bench.toml")
    return 0


def _from_recordings(folder: Path, files: list[Path], force: bool) -> int:
    """Begin a season and say what was guessed; 1 where recordings had to be left out."""
    from toolbench.season import season_from_recordings

    begun = season_from_recordings(folder, files, overwrite=force)
    for fault in begun.left_out:
        told(f"left out: {fault}", err=True)
    for remark in begun.remarks:
        told(f"note: {remark}")
    counted = (
        _count(len(begun.runs), "recording"),
        *(_count(len({getattr(run, key) for run in begun.runs}), key) for key in ("tool", "setup", "protocol")),
    )
    told(f"copied {counted[0]} into {folder / 'recordings'}: {', '.join(counted[1:])}, guessed from the names")
    click.echo(folder / "bench.toml")
    told(f"(now: look through it and runs.csv, then: toolbench check {folder})")
    return 1 if begun.left_out else 0


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def files_in(paths: tuple[Path, ...]) -> list[Path]:
    """The files named, and all files below a folder named, in order of name. Raises UsageError where a folder holds none."""
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        below = sorted(file for file in path.rglob("*") if file.is_file() and not _is_hidden(file.relative_to(path)))
        if not below:
            raise UsageError(Fault("holds no file", file=str(path), mend="name the recordings, or their folder"))
        found += below
    return found


def _is_hidden(path: Path) -> bool:
    return any(part.startswith((".", "~")) for part in path.parts) or path.name.lower() in ("thumbs.db", "desktop.ini")


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
