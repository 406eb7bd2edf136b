"""The lean door: folders of recordings and nothing else become a season folder, ready to be refined.

Each folder is a setup and each file in it a run. The response is found by its unit or its name; when several columns could
be it, that is said and nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from toolbench.errors import Fault, OutputError, RecordingError, ToolbenchError, UsageError
from toolbench.files import write_bytes
from toolbench.logs import Log, guess_channels, read_log
from toolbench.quantities import QuantityError, channel_quantity, to_si, unit_factor
from toolbench.records.settings import Channel, Logger, RunEntry, TimeColumn
from toolbench.season.beginning import UNREAD
from toolbench.season.naming import PROTOCOL, TOOL, identifier
from toolbench.settings import write_season

SKIPPED_NAMES = ("thumbs.db", "desktop.ini")


def compare_folders(
    folders: Sequence[str | Path],
    *,
    response: str | None = None,
    marks: str | None = None,
    out: str | Path,
    overwrite: bool = False,
) -> Path:
    """Make the season folder that two or more folders of recordings imply.

    Parameters
    ----------
    folders
        One folder per setup, the baseline first; every file in it is a run.
    response
        The column to compare, as named in the files; found where None.
    marks
        Times after the onset with their units, comma separated, such as ``"2 s, 6 s"``.
    out
        Where to write; the season is written to ``out/season``.
    overwrite
        Whether a season that is already there is replaced; it may have been refined by hand.

    Returns
    -------
    Path
        The season folder, holding copies of the recordings.

    Raises
    ------
    UsageError
        Fewer than two folders, an empty one, or several columns that could be the response.
    OutputError
        A season is already there and `overwrite` is not set.
    """
    season = Path(out) / "season"
    _refuse_existing(season, overwrite)
    if len(folders) < 2:
        raise UsageError(
            Fault(f"{len(folders)} folder given; a comparison needs two or more", mend="name another folder")
        )
    setups = _name_setups([_folder(Path(folder)) for folder in folders])
    files = {setup: _recordings(folder) for setup, folder in setups.items()}
    logs = _read_all(files)
    return _write(season, setups, files, logs, _loggers(logs, response), _marks(marks), overwrite)


Loggers = tuple[list[Logger], dict[Path, str]]


def _read_all(files: dict[str, list[Path]]) -> dict[Path, Log]:
    """Every recording that reads; the season's check names the others. Raises UsageError where none does."""
    logs = {path: _read(path) for paths in files.values() for path in paths}
    readable = {path: log for path, log in logs.items() if isinstance(log, Log)}
    if not readable:
        faults = [fault for one in logs.values() if isinstance(one, ToolbenchError) for fault in one.faults]
        raise UsageError([Fault("not one of the recordings can be read", mend=UNREAD), *faults])
    return readable


def _write(
    season: Path,
    setups: dict[str, Path],
    files: dict[str, list[Path]],
    logs: dict[Path, Log],
    found: Loggers,
    marks_s: tuple[float, ...],
    overwrite: bool,
) -> Path:
    loggers, logger_of = found
    started = _started(logs)
    names = [name for logger in loggers for name in logger.channels]
    runs = [
        RunEntry(
            run=f"{setup}-{k:02d}" if _clashes(files) else identifier(path.stem),
            file=f"recordings/{setup}/{path.name}",
            tool=TOOL,
            setup=setup,
            protocol=PROTOCOL,
            logger=logger_of.get(path, loggers[0].id),
            started=started.get(path),
        )
        for setup, paths in files.items()
        for k, path in enumerate(paths, start=1)
    ]
    for setup, paths in files.items():
        for path in paths:
            write_bytes(season / "recordings" / setup / path.name, path.read_bytes())
    labels = {setup: folder.resolve().name for setup, folder in setups.items()}
    return write_season(
        season,
        loggers={logger.id: logger for logger in loggers},
        setups=labels,
        runs=runs,
        protocol=PROTOCOL,
        response="torque" if "torque" in names or not names else names[0],
        marks_s=marks_s,
        tools=(TOOL,),
        episode="comparison",
        overwrite=overwrite,
        title=" and ".join(labels.values()) + " compared",
    )


def _started(logs: dict[Path, Log]) -> dict[Path, datetime]:
    """When each recording began, where its stamps hold the date; stamps with and without a zone cannot be put in order."""
    found = {path: datetime.fromisoformat(log.time.start) for path, log in logs.items() if log.time.start}
    return found if len({stamp.tzinfo is None for stamp in found.values()}) < 2 else {}


def _refuse_existing(season: Path, overwrite: bool) -> None:
    if (season / "bench.toml").exists() and not overwrite:
        raise OutputError(
            Fault(
                "a season is already there, perhaps refined by hand",
                file=str(season),
                mend="render it with `toolbench season`, choose another folder with -o, or replace it with --force",
            )
        )


def _folder(folder: Path) -> Path:
    if folder.is_dir():
        return folder
    word = "is a file" if folder.exists() else "does not exist"
    raise UsageError(Fault(f"{word}; a folder of recordings is wanted", file=str(folder)))


def _name_setups(folders: list[Path]) -> dict[str, Path]:
    """An id per folder, from its name; two folders of one name are told apart by a number."""
    named: dict[str, Path] = {}
    for folder in folders:
        base = identifier(folder.resolve().name)
        name, k = base, 2
        while name.casefold() in {one.casefold() for one in named}:
            name, k = f"{base}-{k}", k + 1
        named[name] = folder
    return named


def _recordings(folder: Path) -> list[Path]:
    files = sorted(
        path
        for path in folder.iterdir()
        if path.is_file() and not path.name.startswith((".", "~")) and path.name.lower() not in SKIPPED_NAMES
    )
    if not files:
        raise UsageError(Fault("holds no file", file=str(folder), mend="put the recordings of one setup into it"))
    return files


def _clashes(files: dict[str, list[Path]]) -> bool:
    stems = [identifier(path.stem).casefold() for paths in files.values() for path in paths]
    return len(set(stems)) < len(stems)


def _read(path: Path) -> Log | ToolbenchError:
    try:
        return read_log(path)
    except RecordingError as error:
        return error


def _marks(marks: str | None) -> tuple[float, ...]:
    if marks is None:
        return ()
    try:
        return tuple(to_si(part.strip(), "time") for part in marks.split(",") if part.strip())
    except QuantityError as error:
        raise UsageError(Fault(f"--marks {marks!r}: {error}", mend="write for example --marks 2s,6s")) from None


def _loggers(logs: dict[Path, Log], response: str | None) -> Loggers:
    """One logger per way the files are written: same columns, same units."""
    loggers: dict[tuple[object, ...], Logger] = {}
    logger_of: dict[Path, str] = {}
    for path, log in logs.items():
        shape = (tuple(log.names.values()), tuple(log.units.items()))
        if shape not in loggers:
            number = len(loggers) + 1
            loggers[shape] = Logger(
                id="rig" if number == 1 else f"rig-{number}",
                time=TimeColumn(),
                channels={c.name: c for c in _channels(log, path, response)},
            )
        logger_of[path] = loggers[shape].id
    return list(loggers.values()), logger_of


def _channels(log: Log, path: Path, response: str | None) -> list[Channel]:
    """The channels of a file: the response first, then everything guessed; what has no unit is carried along as it is."""
    guessed = guess_channels(log)
    wanted = _only_response(log, path) if response is None else _named(log, path, response)
    channels = [Channel(name="torque" if _is_torque(log, wanted) else "response", column=log.names[wanted])]
    channels += [
        Channel(
            name=other if log.units[column] or not channel_quantity(other) else f"{other}_as_written",
            column=log.names[column],
        )
        for other, column in guessed.items()
        if column != wanted and other != "torque"
    ]
    return channels


def _named(log: Log, path: Path, response: str) -> str:
    matching = [column for column, name in log.names.items() if response in (column, name)]
    if matching:
        return matching[0]
    listed = ", ".join(repr(name) for name in log.names.values())
    raise UsageError(Fault(f"has no column {response!r}", file=str(path), mend=f"its columns: {listed}"))


def _only_response(log: Log, path: Path) -> str:
    """The one column with a unit of torque, else the one column of numbers; several are said and nothing is guessed."""
    numbers = _candidates(log)
    found = [column for column in numbers if _is_torque(log, column)] or numbers
    if len(found) == 1:
        return found[0]
    listed = ", ".join(repr(log.names[column]) for column in found) or "none"
    word = "several columns could be the response" if found else "no column of numbers could be the response"
    raise UsageError(Fault(f"{word}: {listed}", file=str(path), mend="say which with --response COLUMN"))


def _candidates(log: Log) -> list[str]:
    return [column for column in log.data.columns if log.data[column].dtype.kind in "fi"]


def _is_torque(log: Log, column: str) -> bool:
    try:
        unit_factor(log.units.get(column, ""), "torque")
    except QuantityError:
        return False
    return True
