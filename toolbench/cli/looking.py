"""`inspect` and `check`: the commands that look and say, and write nothing."""

from __future__ import annotations

import json
import shutil
import sys
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from toolbench.cli import fitting
from toolbench.cli.options import ANY, FOLDER, debug_option, json_option
from toolbench.cli.wrapping import told
from toolbench.errors import Fault, RecordingError, UsageError, shown

if TYPE_CHECKING:
    from toolbench.logs import Log

MOST_PLOT = 64
LEAST_PLOT = 16
AXIS_ROOM = 14
INSPECTED_BYTES = 150_000_000
"""Most that the values of a large file may take; it is averaged to that."""


@click.command()
@click.argument("file", type=ANY)
@click.option("--response", metavar="COLUMN", help="The column to plot and to find the onset in.")
@click.option("--group", metavar="NAME", help="The group meant in a file that holds several (TDMS, MDF).")
@json_option
@debug_option
def inspect(file: Path, response: str | None, group: str | None, as_json: bool) -> int:
    """What the logger file FILE holds: dialect, columns, units, time base, gaps, onset; and the table to paste."""
    from toolbench import logs

    try:
        log = logs.read_log(file, group=group, budget=INSPECTED_BYTES)
    except RecordingError as error:
        return _refused(file, error, as_json)
    column, candidates = logs.find_response(log)
    if response is not None:
        column = _named(log, response, file)
    from toolbench.cli.described import describe_onset, described_lines

    stated = {"column": column, "candidates": list(candidates), "stated": response is not None}
    described = logs.describe(log) | {"response": stated, "onset": describe_onset(log, column)}
    if as_json:
        click.echo(fitting.as_json(described | {"table": logs.suggest_table(log)}))
        return 0
    width = fitting.line_width()
    click.echo(fitting.spelt("\n".join([shown(log.source), "", *described_lines(described, width)])))
    if column is not None:
        _draw(log, column, described["onset"].get("time_s"))
    click.echo(f"\nto paste into bench.toml:\n\n{fitting.escaped_toml(logs.suggest_table(log))}", nl=False)
    return 0


def _draw(log: Log, column: str, onset_s: float | None) -> None:
    from toolbench.logs import sketch

    times, values = log.data.index.to_numpy(dtype=float), log.data[column].to_numpy(dtype=float)
    plain = not fitting.stream_can("█▀▄│└─▲")
    unit = f" [{log.units[column]}]" if log.units[column] else ""
    mark = "" if onset_s is None else f", {'^' if plain else '▲'} the onset"
    drawn = sketch(times, values, width=_sketch_width(), plain=plain, mark_s=onset_s)
    click.echo(fitting.spelt(f"\n{column}{unit}{mark}\n{drawn}"))


def _named(log: Log, response: str, file: Path) -> str:
    """The column of numbers that --response names. Raises UsageError."""
    for name, written in log.names.items():
        if response.strip() in (name, written) and log.data[name].dtype.kind in "iuf":
            return name
    numbers = [name for name in log.data.columns if log.data[name].dtype.kind in "iuf"]
    near = get_close_matches(response, numbers, n=1)
    mend = f"did you mean {near[0]!r}?" if near else f"its columns of numbers: {', '.join(map(repr, numbers))}"
    raise UsageError(Fault(f"has no column of numbers {response!r}", file=str(file), mend=mend))


def _refused(file: Path, error: RecordingError, as_json: bool) -> int:
    """The refusal, and what could be seen all the same: it is then that a person needs it."""
    from toolbench.cli.described import refused_lines
    from toolbench.logs import glimpse

    seen = glimpse(file)
    if as_json:
        faults = [
            {key: getattr(fault, key) for key in ("message", "file", "line", "key", "mend")} for fault in error.faults
        ]
        click.echo(fitting.as_json({"source": file.name, "faults": faults, "seen": seen}))
    for fault in error.faults:
        told(str(fault), err=True)
    if seen and not as_json:
        click.echo(fitting.spelt("\n".join(["what can be seen of it:", *refused_lines(seen, fitting.line_width())])))
    return error.exit_status


def _sketch_width() -> int:
    """Characters of the plot: what a terminal has beside the axis, 64 at most and in a pipe."""
    room = shutil.get_terminal_size().columns - AXIS_ROOM if sys.stdout.isatty() else MOST_PLOT
    return max(LEAST_PLOT, min(MOST_PLOT, room))


@click.command()
@click.argument("season", type=FOLDER)
@json_option
@debug_option
def check(season: Path, as_json: bool) -> int:
    """Everything that is wrong or doubtful in SEASON, each with file, line or run, and the mend."""
    from toolbench.season import check_season, open_season

    report = check_season(open_season(season))
    if as_json:
        click.echo(json.dumps(_check_json(report), indent=1, ensure_ascii=False))
        return int(report.exit_status)
    for finding in report.findings:
        told(finding_text(finding))
    told("looked at: " + "; ".join(report.looked_at))
    if not report.findings:
        click.echo("nothing wrong or doubtful was found")
    return int(report.exit_status)


def _check_json(report: Any) -> dict[str, Any]:
    from toolbench.season.results import finding_row

    return {
        "findings": [finding_row(finding) for finding in report.findings],
        "looked_at": list(report.looked_at),
        "exit_status": report.exit_status,
    }


def finding_text(finding: Any) -> str:
    """One finding in one or two lines: how bad, where, what; the mend indented below."""
    from toolbench.view.wording.printed import name_some

    place = shown(finding.file) + (f":{finding.line}" if finding.file and finding.line is not None else "")
    where = place or name_some(finding.subjects)
    text = f"{finding.severity}: " + (f"{where}: " if where else "") + finding.message
    return f"{text}\n  {finding.mend}" if finding.mend else text
