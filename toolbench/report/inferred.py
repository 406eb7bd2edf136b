"""Seasons out of recordings: for `compare` below the output folder, for `new` where the user says."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from toolbench.errors import Fault, OutputError
from toolbench.files import digest, write_bytes
from toolbench.records.settings import Channel, Logger, RunEntry, TimeColumn
from toolbench.report.ledger import Ledger

FOLDER = "season"


def infer_season(folders: Sequence[Path], *, response: str | None, marks: str | None, out: Path, force: bool) -> Path:
    """Write OUT/season from folders of recordings and return it.

    Raises
    ------
    OutputError
        When OUT/season was refined by hand, or was there before: it is used with `toolbench season` from then on.
    """
    from toolbench.season.folders import compare_folders

    ledger = Ledger(out, force=force)
    home = out / FOLDER
    if not force:
        _refuse_refined(home, ledger)
    written = compare_folders(folders, response=response, marks=marks, out=out, overwrite=force or home.is_dir())
    for path in sorted(written.rglob("*")):
        if path.is_file():
            ledger.written[path.relative_to(out).as_posix()] = digest(path)
    ledger.save()
    return written


def _refuse_refined(home: Path, ledger: Ledger) -> None:
    for path in sorted(home.rglob("*")) if home.is_dir() else []:
        name = path.relative_to(ledger.out).as_posix()
        if path.is_file() and ledger.written.get(name) != digest(path):
            raise OutputError(
                Fault(
                    "is not as toolbench wrote it, and would be overwritten",
                    file=str(path),
                    mend=f"go on with: toolbench season {home} -o {ledger.out}; or begin anew with --force",
                )
            )


def start_from_recordings(folder: Path, files: Sequence[Path], *, overwrite: bool = False) -> Path:
    """A season to go on from: the recordings copied, a logger for each way they are written, a run for each file.

    Parameters
    ----------
    folder : Path
        The season folder to make.
    files : sequence of Path
        Recordings; those of one folder are taken as one setup.
    overwrite : bool
        Whether settings that are there already are replaced.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordingError
        When a file cannot be read; nothing is written then.
    OutputError
        When the folder cannot be written.
    """
    from toolbench.settings import write_season

    loggers, logger_of = _find_loggers(files)
    setups = _setup_of(files)
    runs = []
    for number, path in enumerate(files, start=1):
        place = f"recordings/{setups[path]}/{path.name}"
        write_bytes(folder / place, path.read_bytes())
        runs.append(
            RunEntry(
                run=f"r{number:02d}", file=place, tool="tool-1", setup=setups[path],
                protocol="as-recorded", logger=logger_of[path],
            )
        )  # fmt: skip
    channels = next(iter(loggers.values())).channels
    return write_season(
        folder, loggers=loggers, setups=list(dict.fromkeys(setups.values())), runs=runs,
        response="torque" if "torque" in channels or not channels else next(iter(channels)), overwrite=overwrite,
    )  # fmt: skip


def _find_loggers(files: Sequence[Path]) -> tuple[dict[str, Logger], dict[Path, str]]:
    """One logger per set of columns and units, and which of them each file belongs to."""
    from toolbench.logs import guess_channels, read_log

    shapes: dict[tuple[tuple[str, str], ...], str] = {}
    loggers, logger_of = {}, {}
    for path in files:
        log = read_log(path)
        shape = tuple((log.names[column], log.units[column]) for column in log.data.columns)
        if shape not in shapes:
            name = shapes[shape] = f"rig-{len(shapes) + 1}" if shapes else "rig"
            channels = {c: Channel(name=c, column=log.names[column]) for c, column in guess_channels(log).items()}
            loggers[name] = Logger(id=name, time=TimeColumn(), channels=channels)
        logger_of[path] = shapes[shape]
    return loggers, logger_of


def _setup_of(files: Sequence[Path]) -> dict[Path, str]:
    """A setup id per file, from its folder's name; two folders of one name are told apart by a number."""
    ids: dict[Path, str] = {}
    for parent in dict.fromkeys(path.resolve().parent for path in files):
        wanted = re.sub(r"-{2,}", "-", re.sub(r"[^A-Za-z0-9._-]+", "-", parent.name)).strip("-._") or "setup"
        name, number = wanted, 1
        while name.casefold() in (known.casefold() for known in ids.values()):
            number += 1
            name = f"{wanted}-{number}"
        ids[parent] = name
    return {path: ids[path.resolve().parent] for path in files}
