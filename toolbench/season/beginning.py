"""A season folder begun from recordings: copied in, a logger for each way they are written, a run for each file."""

from __future__ import annotations

import contextlib
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from toolbench.errors import Fault, OutputError, RecordingError, UsageError
from toolbench.logs import Log, find_response, guess_channels, read_log
from toolbench.quantities import QuantityError, channel_quantity, unit_factor
from toolbench.records.settings import Channel, DialectOverrides, Logger, RunEntry, TimeColumn
from toolbench.season.naming import Place, guess_places, identifier
from toolbench.season.watch.plan_sheet import name_fault
from toolbench.settings import write_season

UNREAD = "what is to be stated goes under [loggers.rig] in the bench.toml that `toolbench new DIR` writes; recordings go into DIR/recordings"
"""Where to go on when nothing can be found in the files, so that no season can be made from them."""

_BLOCK = re.compile(r"\W*(?:block|sitting|session)\W+(?P<value>\w[\w .-]*)", re.IGNORECASE)
_STARTED = re.compile(
    r"(?:start|begin|date|record|creat|measur)\w*[^0-9]{0,20}(?P<stamp>\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?)"
    r"(?!\d)",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """A season just written: its folder, its runs, and the recordings that were left out with the reason of each."""

    folder: Path
    runs: tuple[RunEntry, ...]
    left_out: tuple[Fault, ...]
    remarks: tuple[str, ...]


def season_from_recordings(folder: str | Path, files: Sequence[str | Path], *, overwrite: bool = False) -> Begun:
    """Make a season folder to go on from, which can be checked and reported as it stands.

    Parameters
    ----------
    folder
        The season folder to make; it appears whole, or not at all.
    files
        Recordings. Tools, setups and protocols are guessed from the names of folders and files.
    overwrite
        Whether files of a season that is already there are replaced.

    Returns
    -------
    Begun

    Raises
    ------
    UsageError
        Not one of the files can be read as a recording.
    OutputError
        A season is already there and `overwrite` is not set, or the folder cannot be written.
    """
    season = Path(folder)
    if (season / "bench.toml").exists() and not overwrite:
        raise OutputError(Fault("a season is already there", file=str(season), mend="replace its files with --force"))
    logs, left_out = _read_all(list(dict.fromkeys(map(Path, files))))
    if not logs:
        raise UsageError([Fault("not one of the recordings can be read", mend=UNREAD), *left_out])
    places = guess_places(list(logs))
    loggers, logger_of, remarks = _loggers(logs)
    runs = _runs(logs, places, logger_of)
    with _staged(season, "bench.toml") as place:
        for path, run in runs.items():
            target = place / run.file
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, target)
        _write(place, loggers, list(runs.values()))
    return Begun(folder=season, runs=tuple(runs.values()), left_out=tuple(left_out), remarks=tuple(remarks))


def _write(place: Path, loggers: Sequence[Logger], runs: Sequence[RunEntry]) -> None:
    setups = {run.setup: "" for run in runs}
    protocols = list(dict.fromkeys(run.protocol for run in runs))
    names = list(dict.fromkeys(name for logger in loggers for name in logger.channels))
    write_season(
        place,
        loggers={logger.id: logger for logger in loggers},
        setups=setups,
        runs=runs,
        protocol=protocols[0],
        more_protocols=protocols[1:],
        response="torque" if "torque" in names or not names else names[0],
        title=_title(runs),
        sensors=True,
        overwrite=True,
    )


def _title(runs: Sequence[RunEntry]) -> str:
    """What is compared: the setups, or the tools where there is one setup."""
    setups, tools = (list(dict.fromkeys(getattr(run, key) for run in runs)) for key in ("setup", "tool"))
    items = setups if len(setups) > 1 else tools
    return " and ".join(items) + " compared" if 1 < len(items) < 5 else ""


def _read_all(files: Sequence[Path]) -> tuple[dict[Path, Log], list[Fault]]:
    logs: dict[Path, Log] = {}
    faults: list[Fault] = []
    for path in files:
        try:
            logs[path] = read_log(path, with_digest=False)
        except RecordingError as error:
            faults += error.faults
    return logs, faults


def _runs(
    logs: Mapping[Path, Log], places: Mapping[Path, Place], logger_of: Mapping[Path, str]
) -> dict[Path, RunEntry]:
    """A run for each recording, in the order they were made where all of them say when, else as they were named."""
    started = _started(logs)
    several = len({place.tool for place in places.values()}) > 1
    stems = [identifier(path.stem, "run").casefold() for path in logs]
    unique = len(set(stems)) == len(stems)
    files: dict[str, Path] = {}
    runs: dict[Path, RunEntry] = {}
    taken: set[str] = set()
    for path, log in logs.items():
        place = places[path]
        folder = f"recordings/{place.tool}/{place.setup}" if several else f"recordings/{place.setup}"
        run = _free(path.stem if unique else _run_name(path.stem, [place.tool] * several + [place.setup]), taken)
        fits = f"{folder}/{path.name}".casefold() not in files and not name_fault(f"{folder}/{path.name}")
        name = path.name if fits else f"{run}{path.suffix if not name_fault(path.suffix) else ''}"
        files[f"{folder}/{name}".casefold()] = path
        runs[path] = RunEntry(
            run=run,
            file=f"{folder}/{name}",
            tool=place.tool,
            setup=place.setup,
            protocol=place.protocol,
            logger=logger_of[path] if len(set(logger_of.values())) > 1 else "",
            block=_block(log),
            started=started.get(path),
        )
    return runs


def _run_name(stem: str, said: Sequence[str]) -> str:
    """The file's stem behind the tool and the setup, as far as it does not name them itself."""
    parts = [part for part in said if part.casefold() not in identifier(stem, "run").casefold()]
    return "-".join([*parts, stem])


def _free(wanted: str, taken: set[str]) -> str:
    """An id that is not taken yet, and is from then on."""
    run = identifier(wanted, "run")
    name, k = run, 2
    while name.casefold() in taken:
        name, k = f"{run}-{k}", k + 1
    taken.add(name.casefold())
    return name


def _block(log: Log) -> str:
    """The sitting, where the lines above the rows name it."""
    for line in log.dialect.preamble:
        match = _BLOCK.match(line)
        if match:
            return match["value"].strip()
    return ""


def _started(logs: Mapping[Path, Log]) -> dict[Path, datetime]:
    """When each recording began: by its stamps, or by the lines above its rows where those are ISO 8601.

    Stamps with and without a zone cannot be put in order, so then there are none.
    """
    found: dict[Path, datetime] = {}
    for path, log in logs.items():
        stamp = log.time.start
        if not stamp:
            match = next((m for line in log.dialect.preamble if (m := _STARTED.search(line))), None)
            stamp = match["stamp"] if match else ""
        if stamp:
            with contextlib.suppress(ValueError):
                found[path] = datetime.fromisoformat(stamp)
    return found if len({stamp.tzinfo is None for stamp in found.values()}) < 2 else {}


def _loggers(logs: Mapping[Path, Log]) -> tuple[list[Logger], dict[Path, str], list[str]]:
    """One logger per way the files are written: columns, units, time base, and what had to be found out of the text."""
    loggers: dict[tuple[object, ...], Logger] = {}
    logger_of: dict[Path, str] = {}
    remarks: list[str] = []
    for path, log in logs.items():
        dialect = _dialect(log)
        time = log.time.rate_hz if log.time.unit == "samples" else (log.time.source, log.time.unit)
        shape = (tuple(log.names.values()), tuple(log.units.items()), time, dialect, log.dialect.container)
        if shape not in loggers:
            number = len(loggers) + 1
            channels, said = _channels(log)
            made = Logger(
                id="rig" if number == 1 else f"rig-{number}",
                time=_time(log),
                channels={channel.name: channel for channel in channels},
                dialect=dialect,
            )
            loggers[shape] = _that_reads(path, log, made)
            remarks += [f"{path.name}: {text}" for text in said]
        logger_of[path] = loggers[shape].id
    return list(loggers.values()), logger_of, remarks


def _dialect(log: Log) -> DialectOverrides:
    """What had to be found out, other than the plain case: UTF-8, commas, decimal points."""
    written = log.dialect
    guessed = any(finding.code == "encoding-inferred" for finding in log.findings)
    group = any(finding.code == "group-chosen" for finding in log.findings)
    return DialectOverrides(
        encoding=written.encoding if guessed else None,
        delimiter=written.delimiter if written.delimiter not in ("", ",") else None,
        decimal=written.decimal if written.decimal == "," else None,
        group=str(written.extra["group"]) if group else None,
    )


def _time(log: Log) -> TimeColumn:
    base = log.time
    if base.unit == "samples":
        return TimeColumn(rate_hz=base.rate_hz)
    return TimeColumn(column=base.source, unit=None if base.unit == "stamps" else base.unit)


def _that_reads(path: Path, log: Log, made: Logger) -> Logger:
    """The logger, with what it states only as far as the file then reads as it did before anything was stated."""
    for tried in (
        replace(made, time=replace(made.time, unit=None)),
        made,
        replace(made, dialect=DialectOverrides()),
        replace(made, time=TimeColumn(), dialect=DialectOverrides()),
    ):
        try:
            again = read_log(path, logger=tried, with_digest=False)
        except RecordingError:
            continue
        if again.data.index.equals(log.data.index) and again.data.columns.equals(log.data.columns):
            return tried
    return replace(made, time=TimeColumn(), dialect=DialectOverrides())


def _channels(log: Log) -> tuple[list[Channel], list[str]]:
    """Every channel that the names and units tell; a response, whatever it is called, so that a report can be made."""
    guessed = {column: name for name, column in guess_channels(log).items()}
    channels: list[Channel] = []
    remarks: list[str] = []
    for column, name in guessed.items():
        if channel_quantity(name) and not log.units[column]:
            remarks.append(f"{log.names[column]!r} has no unit; it is carried along as it is, not as {name}")
            name = f"{name}_as_written"
        channels.append(_channel(log, name, column))
    response, candidates = find_response(log)
    first = response or (candidates[0] if candidates else None)
    if first is not None and first not in guessed:
        channels.insert(0, _channel(log, "response", first))
    if response is None and len(candidates) > 1:
        taken = channels[0].column
        remarks.append(f"no column looks like the response; {taken!r} is compared until bench.toml says another")
    elif len(candidates) > 1:
        others = ", ".join(repr(log.names[name]) for name in candidates if name != response)
        remarks.append(f"{log.names[response or '']!r} is taken as the response; {others} could be it too")
    return channels, remarks


def _channel(log: Log, name: str, column: str) -> Channel:
    written = log.names[column]
    alone = bool(written) and list(log.names.values()).count(written) == 1
    return Channel(name=name, column=written if alone else column, unit=_unit_beside(log, column, name))


def _unit_beside(log: Log, column: str, name: str) -> str | None:
    """The unit, stated where it does not stand in the name and where it is one that is known."""
    unit = log.units[column]
    if not unit or unit in log.names[column]:
        return None
    try:
        unit_factor(unit, channel_quantity(name) or None)
    except QuantityError:
        return None
    return unit


@contextlib.contextmanager
def _staged(season: Path, last: str) -> Iterator[Path]:
    """A folder to fill that becomes the season at the end; after a failure nothing of it is left. Raises OutputError."""
    season.parent.mkdir(parents=True, exist_ok=True)
    place = Path(tempfile.mkdtemp(dir=season.parent, prefix=f".{season.name[:40]}.", suffix=".part"))
    place.chmod(0o755)
    try:
        yield place
        if season.is_dir() and not any(season.iterdir()):
            season.rmdir()
        if not season.exists():
            place.rename(season)
            return
        made = sorted((path for path in place.rglob("*") if path.is_file()), key=lambda path: path.name == last)
        for path in made:  # into a folder with other files: bench.toml, which makes it a season, comes last
            target = season / path.relative_to(place)
            target.parent.mkdir(parents=True, exist_ok=True)
            path.replace(target)
    except OSError as error:
        raise OutputError(Fault(f"cannot be written: {error.strerror}", file=str(season))) from error
    finally:
        shutil.rmtree(place, ignore_errors=True)
