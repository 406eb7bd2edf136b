"""What `inspect` prints about a recording: facts in lines, and the onset of the channel that looks like the response."""

from __future__ import annotations

from typing import Any

from toolbench.errors import SignalError
from toolbench.logs import Log, guess_channels
from toolbench.quantities import format_number, format_seconds

MOST = 5


def response_column(log: Log) -> str | None:
    """The column that looks like the response: torque, else force, else the only column of numbers, else None."""
    guessed = guess_channels(log)
    numbers = [name for name in log.data.columns if log.data[name].dtype.kind in "iuf"]
    return guessed.get("torque") or guessed.get("force") or (numbers[0] if len(numbers) == 1 else None)


def describe_onset(log: Log) -> dict[str, Any]:
    """Where the run starts by the default rule [s of the recording], or why that cannot be said."""
    from toolbench.signal.onset import find_onset

    column = response_column(log)
    if column is None:
        return {"column": None, "error": "no column looks like the response"}
    try:
        found = find_onset(log.data.index.to_numpy(dtype=float), log.data[column].to_numpy(dtype=float))
    except SignalError as error:
        return {"column": column, "error": str(error.faults[0].message)}
    except ValueError as error:
        return {"column": column, "error": str(error)}
    return {
        "column": column,
        "time_s": found.time_s,
        "standard_uncertainty_s": found.standard_uncertainty_s,
        "rule": found.rule,
    }


def described_lines(described: dict[str, Any]) -> list[str]:
    """The facts of `logs.describe`, with `onset` added, as lines for a terminal."""
    lines = [f"rows      {described['rows']}, {format_seconds(_short(described['duration_s']))}"]
    lines += _dialect_lines(described["dialect"]) + _time_lines(described["time"]) + _onset_lines(described["onset"])
    lines.append("columns")
    lines += [_column_line(column) for column in described["columns"]]
    return lines + [_finding_line(finding) for finding in described["findings"]]


def _short(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.6g}")


def _dialect_lines(dialect: dict[str, Any]) -> list[str]:
    delimiter = {"\t": "tab", " ": "space", ",": "comma", ";": "semicolon", "": "none"}.get(
        dialect["delimiter"], dialect["delimiter"]
    )
    names = f"names in line {dialect['header_line']}" if dialect["header_line"] else "no line of names"
    units = f", units in line {dialect['unit_line']}" if dialect["unit_line"] else ""
    mark = "comma" if dialect["decimal"] == "," else "point"
    return [
        f"dialect   {dialect['encoding']}, delimiter {delimiter}, decimal {mark}, {names}{units},"
        f" data from line {dialect['first_data_line']}"
    ]


def _time_lines(time: dict[str, Any]) -> list[str]:
    every = format_seconds(_short(time["median_interval_s"]))
    rate = format_number(time["rate_hz"], 4, unit="Hz")
    lines = [f"time      {time['source']} in {time['unit']}, a sample every {every} ({rate})"]
    if time["start"]:
        lines.append(f"started   {time['start']}")
    gaps = [f"{format_seconds(_short(length))} at line {line}" for line, length in time["gaps"]]
    lines.append(f"gaps      {_listed(gaps)}")
    for name, word in (("repeats", "repeats"), ("steps_back", "back")):
        if time[name]:
            lines.append(f"{word:<9} {_listed([f'line {line}' for line in time[name]])}")
    return lines


def _listed(texts: list[str]) -> str:
    more = f" and {len(texts) - MOST} more" if len(texts) > MOST else ""
    return "none" if not texts else f"{len(texts)}: {', '.join(texts[:MOST])}{more}"


def _onset_lines(onset: dict[str, Any]) -> list[str]:
    if "error" in onset:
        where = f" in {onset['column']}" if onset["column"] else ""
        return [f"onset     not found{where}: {onset['error']}"]
    at, u = (
        format_number(onset[name], digits, unit="s") for name, digits in (("time_s", 6), ("standard_uncertainty_s", 2))
    )
    return [
        f"onset     {at} after the first sample, standard uncertainty {u} (in {onset['column']}, rule {onset['rule']})"
    ]


def _column_line(column: dict[str, Any]) -> str:
    unit = f" [{column['unit']}]" if column["unit"] else ", no unit stated"
    if column["kind"] != "number":
        return f"  {column['name']}: text"
    reach = f", {format_number(column['lowest'])} to {format_number(column['highest'])}"
    missing = f", {column['missing']} values missing" if column["missing"] else ""
    channel = f" -> {column['channel']}?" if column["channel"] else ""
    return f"  {column['name']}{unit}{reach}{missing}{channel}"


def _finding_line(finding: dict[str, Any]) -> str:
    where = f"line {finding['line']}: " if finding["line"] is not None else ""
    mend = f" ({finding['mend']})" if finding["mend"] else ""
    return f"{finding['severity']}: {where}{finding['message']}{mend}"
