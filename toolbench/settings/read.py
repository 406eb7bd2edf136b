"""read_settings: the three hand-written files of a season, read, checked against each other, in SI."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from toolbench.errors import Fault
from toolbench.files import digest
from toolbench.quantities.glossary import channel_quantity
from toolbench.records.settings import Episode, LogbookEntry, Protocol, RunEntry, SeasonSettings, Tool
from toolbench.settings import models
from toolbench.settings.checks import check_correction, check_episode, check_ids, check_protocol
from toolbench.settings.convert import (
    Reader,
    frozen,
    to_correction,
    to_display,
    to_episode,
    to_logger,
    to_protocol,
    to_sensor,
)
from toolbench.settings.document import BENCH, Document, ambient_pressure, read_document
from toolbench.settings.faults import Faults
from toolbench.settings.points import with_lines
from toolbench.settings.recordings import Pattern, check_pattern, path_fault
from toolbench.settings.runs import RUNS, Known, read_runs
from toolbench.settings.scorecard import Around, to_scorecard
from toolbench.settings.setups import to_setup
from toolbench.settings.spreadsheet import Column, read_table
from toolbench.settings.tools import TOOLS, bare_tools, read_tools

_TABLES = ("loggers", "sensors", "protocols", "setups", "episodes")


def read_settings(folder: Path, *, episode: str | None = None) -> SeasonSettings:
    """Read a season folder's bench.toml, tools.csv and runs.csv.

    Parameters
    ----------
    folder : Path
        The season folder. Recordings are looked for only where `recordings` holds a pattern; none is opened.
    episode : str, optional
        The one episode that is wanted: faults of another are set aside with it and do not stop this one.

    Returns
    -------
    SeasonSettings
        Records in SI units, cross-checked; `lines` holds the line of every key of bench.toml.

    Raises
    ------
    SettingsError
        With every fault of all files at once, each with its file, line and key, and the nearest known name.
    """
    folder = Path(folder)
    faults = Faults()
    document = read_document(folder, faults)
    tools = read_tools(folder, faults)
    if document is None:
        faults.raise_all()
        raise AssertionError("a document that cannot be read notes a fault")
    settings = _assemble(folder, document, tools, faults)
    if episode is not None:
        settings = _set_aside(settings, episode, faults)
    faults.raise_all()
    return settings


@dataclass(frozen=True, slots=True)
class Bench:
    """A season as it stands while recordings arrive. `settings.runs` are the rows of runs.csv that can be used; `faults` are
    those of its other rows and of files that the pattern finds, which stop nobody at the bench."""

    settings: SeasonSettings
    pattern: Pattern | None
    known: Known
    faults: tuple[Fault, ...]


def read_bench(folder: Path) -> Bench:
    """Read a season folder as `read_settings` does, and go on with faulty runs set aside.

    Raises
    ------
    SettingsError
        With every fault of bench.toml and tools.csv.
    """
    folder = Path(folder)
    faults = Faults()
    document = read_document(folder, faults)
    tools = read_tools(folder, faults)
    if document is None:
        faults.raise_all()
        raise AssertionError("a document that cannot be read notes a fault")
    settings = _assemble(folder, document, tools, faults)
    aside = tuple(fault for fault in faults.found if _is_of_runs(fault))
    faults.found = [fault for fault in faults.found if fault not in aside]
    faults.raise_all()
    episodes = settings.episodes.values()
    known = _known(document, tools, [*episodes])
    runs = tuple(run for run in settings.runs if run.line is not None and _is_usable(run, known))
    return Bench(replace(settings, runs=runs), _pattern(document.model, known, Faults()), known, aside)


def _is_of_runs(fault: Fault) -> bool:
    return fault.file == RUNS or (fault.key or "").startswith(("recordings", "corrections"))


def _is_usable(run: RunEntry, known: Known) -> bool:
    """Whether tool, setup, protocol and logger of a run are there."""
    named = {"tool": run.tool, "setup": run.setup, "protocol": run.protocol, "logger": run.logger}
    return all(id and ((ids := known.of(kind)) is None or id in ids) for kind, id in named.items())


def _known(document: Document, tools: dict[str, Tool] | None, episodes: Sequence[Episode]) -> Known:
    named = tuple(dict.fromkeys(t for e in episodes for t in (*e.tools, *(tool for tool, _ in e.pairs))))
    return Known(
        tuple(tools) if tools is not None else None,
        document.ids("setups"),
        document.ids("protocols"),
        document.ids("loggers"),
        named,
    )


def _set_aside(settings: SeasonSettings, episode: str, faults: Faults) -> SeasonSettings:
    """Leave out the other episodes that have faults, and keep these faults as warnings."""
    others = [one for one in settings.episodes if one != episode]

    def owner(fault: Fault) -> str | None:
        key = fault.key or ""
        return next((one for one in others if key == f"episodes.{one}" or key.startswith(f"episodes.{one}.")), None)

    owners = {fault: owner(fault) for fault in faults.found}
    faults.found = [fault for fault in faults.found if owners[fault] is None]
    left_out = {one for one in owners.values() if one is not None}
    return replace(
        settings,
        episodes=frozen({id: one for id, one in settings.episodes.items() if id not in left_out}),
        set_aside=tuple(fault for fault, one in owners.items() if one is not None),
    )


def _assemble(folder: Path, document: Document, tools: dict[str, Tool] | None, faults: Faults) -> SeasonSettings:
    model = document.model
    reader = Reader(faults, ambient_pressure(document.raw))
    _check_all_ids(document, faults)
    known_protocols, known_setups = document.ids("protocols"), document.ids("setups")
    protocols = _protocols(model, reader)
    episodes = {e.id: to_episode(e, known_protocols) for e in model.episodes}
    known = _known(document, tools, [*episodes.values()])
    known_tools, named = known.tools, known.default_tools
    for episode, position in zip(model.episodes, document.positions, strict=True):
        converted = to_episode(episode, known_protocols)
        check_episode(converted, ("episodes", position), known_tools, known_setups, known_protocols, faults)
    runs = read_runs(folder, _pattern(model, known, faults), known, faults)
    if tools is None:
        tools = bare_tools(dict.fromkeys((*named, *(run.tool for run in runs))))
    corrections = tuple(to_correction(c) for c in model.corrections)
    for i, correction in enumerate(corrections):
        check_correction(correction, ("corrections", i), known_tools, [run.run for run in runs], faults)
    _check_files(folder, model, faults)
    sensors = {id: to_sensor(id, m, _measured(model, id), reader) for id, m in model.sensors.items()}
    scorecard = None
    if model.scorecard is not None:
        around = Around(
            setups=known_setups,
            supplies={id: to_setup(id, m, Faults()).supply for id, m in model.setups.items()},
            protocols=protocols,
            protocol_ids=known_protocols,
            columns=_columns(folder),
        )
        scorecard = to_scorecard(model.scorecard, around, reader)
    return SeasonSettings(
        folder=folder,
        name=model.bench.name,
        location=model.bench.location,
        ambient_temperature_degc=model.bench.ambient_temperature,
        ambient_pressure_pa_abs=model.bench.ambient_pressure,
        in_control_until=model.bench.in_control_until,
        display=to_display(model.display, faults),
        loggers=frozen({id: to_logger(id, m, document.ids("sensors"), faults) for id, m in model.loggers.items()}),
        sensors=with_lines(folder, sensors, faults),
        protocols=frozen(protocols),
        setups=frozen({id: to_setup(id, m, faults) for id, m in model.setups.items()}),
        episodes=frozen(episodes),
        tools=frozen(tools),
        runs=runs,
        corrections=corrections,
        logbook=_logbook(folder, model.bench.log, faults),
        scorecard=scorecard,
        digests=frozen(_digests(folder, model)),
        lines=frozen(_lines(faults)),
    )


def _check_all_ids(document: Document, faults: Faults) -> None:
    for table in _TABLES:
        found = document.raw.get(table)
        if isinstance(found, list):
            places = [i for i, e in enumerate(found) if isinstance(e, dict) and isinstance(e.get("id"), str)]
            check_ids(table, [found[i]["id"] for i in places], [(table, i, "id") for i in places], faults)
        elif isinstance(found, dict):
            check_ids(table, list(found), [(table, id) for id in found], faults)


def _protocols(model: models.DocumentModel, reader: Reader) -> dict[str, Protocol]:
    channels = tuple(dict.fromkeys(name for logger in model.loggers.values() for name in logger.channels))
    protocols = {id: to_protocol(id, m, channels, reader) for id, m in model.protocols.items()}
    for protocol in protocols.values():
        check_protocol(protocol, reader.faults)
    return protocols


def _measured(model: models.DocumentModel, sensor: str) -> str:
    """The quantity of the channels that name a sensor, empty where none does."""
    for logger in model.loggers.values():
        for name, channel in logger.channels.items():
            if channel.sensor == sensor and channel_quantity(name):
                return channel_quantity(name)
    return ""


def _pattern(model: models.DocumentModel, known: Known, faults: Faults) -> Pattern | None:
    if model.recordings is None or not check_pattern(model.recordings, faults):
        return None
    tools = known.tools if known.tools is not None else known.default_tools
    ids = {"tool": tools, "setup": known.setups, "protocol": known.protocols, "logger": known.loggers}
    return Pattern(model.recordings, ids)


def _columns(folder: Path) -> Mapping[str, Column]:
    """Columns of tools.csv, none where there is no such file; its faults are noted already."""
    table = read_table(folder, TOOLS, Faults())
    return table.columns if table is not None else {}


def _points(model: models.DocumentModel) -> list[tuple[tuple[str | int, ...], str]]:
    """Every file of calibration points that is named, with the key that names it."""
    found: list[tuple[tuple[str | int, ...], str]] = []
    for id, sensor in model.sensors.items():
        if sensor.points:
            found.append((("sensors", id, "points"), sensor.points))
        for i, certificate in enumerate(sensor.certificates):
            if certificate.points:
                found.append((("sensors", id, "certificates", i, "points"), certificate.points))
    return found


def _check_files(folder: Path, model: models.DocumentModel, faults: Faults) -> None:
    """Files that bench.toml names lie inside the season folder and exist."""
    named = _points(model)
    if model.bench.log is not None:
        named.append((("bench", "log"), model.bench.log))
    for path, file in named:
        problem = path_fault(file)
        if problem is None and not (folder / file.replace("\\", "/")).is_file():
            problem = f'"{file}" does not exist in the season folder'
        if problem:
            faults.bench(path, problem)


def _logbook(folder: Path, file: str | None, faults: Faults) -> tuple[LogbookEntry, ...]:
    """The bench's log: columns `date`, `changed` and, if wanted, `note`."""
    if file is None or path_fault(file):
        return ()
    table = read_table(folder, file.replace("\\", "/"), faults)
    if table is None:
        return ()
    changed = next((name for name in ("changed", "what_changed", "what", "change") if name in table.columns), None)
    for name, found in (("date", "date" in table.columns), ("changed", changed is not None)):
        if not found:
            table.fault(None, name, f'the column "{name}" is needed')
    entries: list[LogbookEntry] = []
    for row in table.rows if changed and "date" in table.columns else ():
        try:
            day = date.fromisoformat(row.text("date")[:10])
        except ValueError:
            table.fault(row, "date", f'"{row.text("date")}" is no date', "write it as 2026-05-31")
            continue
        entries.append(LogbookEntry(date=day, changed=row.text(changed or ""), note=row.text("note")))
    return tuple(sorted(entries, key=lambda entry: entry.date))


def _digests(folder: Path, model: models.DocumentModel) -> dict[str, str]:
    named = [file for _, file in _points(model)]
    if model.bench.log:
        named.append(model.bench.log)
    files = [BENCH, TOOLS, RUNS, *sorted({file.replace("\\", "/") for file in named if not path_fault(file)})]
    return {file: digest(folder / file) for file in files if (folder / file).is_file()}


def _lines(faults: Faults) -> Mapping[str, int]:
    return {faults.dotted(path): line for path, line in faults.lines.items()}
