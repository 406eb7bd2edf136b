"""`inspect` and `check`: the commands that look and say, and write nothing."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path
from typing import Any

import click

from toolbench.cli.options import FILE, FOLDER, debug_option, json_option
from toolbench.cli.wrapping import told

MOST_PLOT = 64
LEAST_PLOT = 16
AXIS_ROOM = 14


@click.command()
@click.argument("file", type=FILE)
@json_option
@debug_option
def inspect(file: Path, as_json: bool) -> int:
    """What the logger file FILE holds: dialect, columns, units, time base, gaps, onset; and the table to paste."""
    from toolbench import logs
    from toolbench.cli.described import describe_onset, described_lines, response_column

    log = logs.read_log(file)
    described = logs.describe(log) | {"onset": describe_onset(log)}
    if as_json:
        described["table"] = logs.suggest_table(log)
        click.echo(json.dumps(described, indent=1, ensure_ascii=False, allow_nan=False))
        return 0
    told("\n".join(described_lines(described)))
    column = response_column(log)
    if column is not None:
        plain = (getattr(sys.stdout, "encoding", None) or "").lower().replace("-", "") != "utf8"
        times, values = log.data.index.to_numpy(dtype=float), log.data[column].to_numpy(dtype=float)
        click.echo(f"\n{column}\n{logs.sketch(times, values, width=_sketch_width(), plain=plain)}")
    click.echo(f"\nto paste into bench.toml:\n\n{logs.suggest_table(log)}", nl=False)
    return 0


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
    place = finding.file + (f":{finding.line}" if finding.file and finding.line is not None else "")
    where = place or ", ".join(finding.subjects)
    text = f"{finding.severity}: " + (f"{where}: " if where else "") + finding.message
    return f"{text}\n  {finding.mend}" if finding.mend else text
