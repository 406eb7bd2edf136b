"""Writing a season folder: a commented starter, or one inferred from folders of recordings."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from toolbench.errors import Fault, OutputError
from toolbench.files import write_text
from toolbench.quantities import channel_quantity
from toolbench.records.settings import Channel, Logger, RunEntry, TimeColumn
from toolbench.settings.document import BENCH
from toolbench.settings.reference import commented_bench
from toolbench.settings.runs import RUNS
from toolbench.settings.tools import TOOLS

_TOOLS = """\
tool,name,family,drive [mm],length [mm],mass [kg],price [EUR],rated_pressure [bar],specimen,obtained,role,status,note
wrench-a,Wrench A,,19.05,,,,,1,bought,,,the first tool under test
"""
_SENSORS: dict[str, tuple[str, ...]] = {
    "torque": (
        'range = ["0 N*m", "2000 N*m"]',
        'scale = { expanded = "0.6 %", k = 2 }',
        'zero = { expanded = "1 N*m", k = 2 }',
    ),
    "force": (
        'range = ["0 kN", "5 kN"]',
        'scale = { expanded = "0.5 %", k = 2 }',
        'zero = { expanded = "2 N", k = 2 }',
    ),
    "pressure": (
        'range = ["0 bar", "10 bar"]',
        'linearity = { limit = "0.5 %" }',
        'zero = { expanded = "0.02 bar", k = 2 }',
    ),
    "air_flow": ('range = ["0 L/s", "50 L/s"]', 'scale = { expanded = "2 %", k = 2 }'),
}
_RUN_COLUMNS = (
    "file",
    "run",
    "tool",
    "setup",
    "protocol",
    "logger",
    "block",
    "order",
    "started",
    "exclude",
    "reason",
    "note",
)


def write_starter(folder: Path) -> Path:
    """Write a starter season: bench.toml with every key shown, tools.csv, an empty runs.csv, a folder for recordings.

    Returns the folder. Raises OutputError where one of the files is there already: nothing is overwritten.
    """
    _refuse_existing(folder, (BENCH, TOOLS, RUNS))
    write_text(folder / BENCH, commented_bench())
    write_text(folder / TOOLS, _TOOLS)
    write_text(folder / RUNS, ",".join(_RUN_COLUMNS) + "\n")
    (folder / "recordings").mkdir(exist_ok=True)
    return folder


def write_season(
    folder: Path, *, loggers: Mapping[str, Logger], setups: Mapping[str, str] | Sequence[str], runs: Sequence[RunEntry],
    protocol: str = "as-recorded", protocol_label: str = "", episode: str = "comparison", title: str = "",
    question: str = "", tools: Sequence[str] = (), response: str | Sequence[str] = "torque", marks_s: Sequence[float] = (),
    duration_s: float | None = None, name: str = "", overwrite: bool = False, more_protocols: Sequence[str] = (),
    sensors: bool = False,
) -> Path:  # fmt: skip
    """Write a season that was inferred, ready to be refined: bench.toml with comments, and runs.csv.

    Parameters
    ----------
    folder : Path
        The season folder; the recordings already lie inside it.
    loggers : mapping of str to Logger
        What was found about the files.
    setups : mapping of id to label, or sequence of ids
        The first is the baseline.
    runs : sequence of RunEntry
        `file` relative to `folder`.
    protocol, protocol_label, episode, title, question : str
        The one protocol and the one episode.
    tools : sequence of str
        Default: those of the runs, in their order.
    response : str or sequence of str
        Channel or channels that are compared.
    marks_s, duration_s : seconds after the onset
        Empty and None: the defaults (25, 50, 100 % of the shortest run).
    overwrite : bool
        Whether an existing bench.toml and runs.csv are replaced.
    more_protocols : sequence of str
        Protocols beside the first, with the same response, marks and duration.
    sensors : bool
        Whether a sensor for each channel is shown as a comment to fill in.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    OutputError
        A file is there already and `overwrite` is not set, or cannot be written.
    """
    if not overwrite:
        _refuse_existing(folder, (BENCH, RUNS))
    labels = dict(setups) if isinstance(setups, Mapping) else dict.fromkeys(setups, "")
    named = list(tools) or list(dict.fromkeys(run.tool for run in runs))
    responses = [response] if isinstance(response, str) else list(response)
    protocols = {protocol: _protocol(protocol_label, responses, marks_s, duration_s)}
    protocols |= {id: _protocol("", responses, marks_s, duration_s) for id in more_protocols}
    text = _bench_text(
        loggers, labels, name=name, protocols=protocols, sensors=sensors,
        episode=_episode(episode, title, question, named, list(labels), list(protocols)),
    )  # fmt: skip
    write_text(folder / BENCH, re.sub(r"\n{3,}", "\n\n", text))
    write_text(folder / RUNS, runs_text(runs))
    return folder


def _refuse_existing(folder: Path, names: Sequence[str]) -> None:
    there = [name for name in names if (folder / name).exists()]
    if there:
        raise OutputError([Fault("is there already", file=name, mend="choose another folder") for name in there])


def _protocol(
    label: str, responses: Sequence[str], marks_s: Sequence[float], duration_s: float | None
) -> dict[str, Any]:
    values: dict[str, Any] = {"label": label} if label else {}
    values["response"] = responses[0] if len(responses) == 1 else list(responses)
    if duration_s is not None:
        values["duration"] = f"{duration_s:.9g} s"
    if marks_s:
        values["marks"] = [f"{mark:.9g} s" for mark in marks_s]
    return values


def _episode(
    id: str, title: str, question: str, tools: Sequence[str], setups: Sequence[str], protocols: Sequence[str]
) -> dict[str, Any]:
    values: dict[str, Any] = {"id": id}
    values.update({key: text for key, text in (("title", title), ("question", question)) if text})
    return {**values, "tools": list(tools), "setups": list(setups), "protocols": list(protocols)}


def _bench_text(
    loggers: Mapping[str, Logger], setups: Mapping[str, str], *, name: str, protocols: Mapping[str, dict[str, Any]],
    episode: Mapping[str, Any], sensors: bool,
) -> str:  # fmt: skip
    import tomlkit

    document = tomlkit.document()
    document.add(
        tomlkit.comment("Found in the recordings; refine it. Every key: a starter season shows them (toolbench new).")
    )
    document.add("format", tomlkit.item(1))
    if name:
        document.add("bench", _table({"name": name}))
    document.add(tomlkit.nl())
    document.add(
        tomlkit.comment("The data logger. State the sensors, and the uncertainty covers more than repeatability.")
    )
    document.add("loggers", _tables({id: _logger(logger) for id, logger in loggers.items()}))
    for line in _sensor_lines(loggers) if sensors else ():
        document.add(tomlkit.comment(line))
    if sensors:
        document.add(tomlkit.nl())
    document.add(
        tomlkit.comment("Times are counted from the onset. What was held, and the measurand, only you can say.")
    )
    document.add("protocols", _tables(protocols))
    document.add(
        tomlkit.comment("What a setup is made of tells setups apart: regulator, receiver, line; or pack; or lead.")
    )
    document.add("setups", _tables({id: {"label": label} if label else {} for id, label in setups.items()}))
    document.add(tomlkit.comment("The first setup is the baseline."))
    episodes = tomlkit.aot()
    episodes.append(_table(episode))
    document.add("episodes", episodes)
    return tomlkit.dumps(document)


def _sensor_lines(loggers: Mapping[str, Logger]) -> list[str]:
    """A sensor for each channel that the analysis knows, as comments: numbers to be replaced by those of its certificate."""
    channels = {channel.name: channel for logger in loggers.values() for channel in logger.channels.values()}
    lines: list[str] = []
    for name, channel in channels.items():
        example = _SENSORS.get(channel_quantity(name))
        if example is None:
            continue
        sensor = name.replace("_", "-")
        lines += [
            f'[sensors.{sensor}]   # then: channels.{name} = {{ column = {_toml(channel.column)}, ..., sensor = "{sensor}" }}',
            f'quantity = "{channel_quantity(name)}"',
            *example,
        ]
    return ["A sensor as its certificate states it, with the numbers to be replaced:", *lines] if lines else []


def _toml(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _table(values: Mapping[str, Any]) -> Any:
    import tomlkit

    table = tomlkit.table()
    for key, value in values.items():
        if key == "channels":
            table.add(tomlkit.nl())
            table.add(key, _table(value))
        else:
            table.add(key, _inline(value))
    if "channels" not in values:
        table.add(tomlkit.nl())
    return table


def _tables(entries: Mapping[str, Mapping[str, Any]]) -> Any:
    import tomlkit

    outer = tomlkit.table(is_super_table=True)
    for id, values in entries.items():
        outer.add(id, _table(values))
    return outer


def _inline(value: Any) -> Any:
    """A mapping as an inline table; anything else as it is."""
    import tomlkit

    if not isinstance(value, Mapping):
        return value
    table = tomlkit.inline_table()
    for key, inner in value.items():
        table.add(key, _inline(inner))
    return table


def _logger(logger: Logger) -> dict[str, Any]:
    """A logger as the keys of its table."""
    dialect = logger.dialect
    values: dict[str, Any] = {
        "time": _time(logger.time),
        "rig": logger.rig or None,
        "filter": logger.filter or None,
        "bandwidth": f"{logger.bandwidth_hz!r} Hz" if logger.bandwidth_hz is not None else None,
        "encoding": dialect.encoding,
        "delimiter": dialect.delimiter,
        "decimal": dialect.decimal,
        "header_line": dialect.header_line,
        "unit_line": dialect.unit_line,
        "skip_lines": list(dialect.skip_lines) or None,
        "missing": list(dialect.missing) if dialect.missing is not None else None,
        "group": dialect.group,
        "channels": {name: _channel(channel) for name, channel in logger.channels.items()} or None,
    }
    return {key: value for key, value in values.items() if value is not None}


def _time(time: TimeColumn) -> Any:
    if time.rate_hz is not None:
        return {"rate": f"{time.rate_hz!r} Hz"}
    column = list(time.column) if isinstance(time.column, tuple) else time.column
    stated: dict[str, Any] = {"column": column, "unit": time.unit, "format": time.format, "zone": time.zone}
    stated["spread"] = True if time.spread else None
    stated = {key: value for key, value in stated.items() if value is not None}
    return column if list(stated) == ["column"] and isinstance(column, str) else stated or None


def _channel(channel: Channel) -> Any:
    stated: dict[str, Any] = {"column": channel.column, "unit": channel.unit, "sensor": channel.sensor}
    if channel.arm is not None:
        stated["arm"] = {
            "length": f"{channel.arm.length_m!r} m", "expanded": f"{channel.arm.standard_uncertainty_m!r} m", "k": 1,
        }  # fmt: skip
    if channel.invert:
        stated["invert"] = True
    stated = {key: value for key, value in stated.items() if value is not None}
    return channel.column if list(stated) == ["column"] else stated


def runs_text(runs: Sequence[RunEntry]) -> str:
    """The text of a runs.csv: only the columns that hold something, UTF-8, comma, LF."""
    rows = [
        {
            "file": run.file, "run": run.run, "tool": run.tool, "setup": run.setup, "protocol": run.protocol,
            "logger": run.logger, "block": run.block, "order": "" if run.order is None else f"{run.order:g}",
            "started": run.started.isoformat() if run.started else "", "exclude": "yes" if run.excluded else "",
            "reason": run.reason, "note": run.note,
        }
        for run in runs
    ]  # fmt: skip
    needed = ("file", "run", "tool", "setup", "protocol")
    columns = [name for name in _RUN_COLUMNS if name in needed or any(row[name] for row in rows)]
    stream = io.StringIO()
    writer = csv.DictWriter(stream, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()
