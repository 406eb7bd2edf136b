"""What `inspect` prints about a recording: facts in lines, a table of its columns, and what was noticed."""

from __future__ import annotations

from typing import Any

from toolbench.cli.fitting import fact, table_lines
from toolbench.errors import SignalError
from toolbench.logs import Log
from toolbench.quantities import format_number, format_seconds

MOST = 3
MOST_FINDINGS = 12


def describe_onset(log: Log, column: str | None) -> dict[str, Any]:
    """Where the run starts by the default rule [s of the recording], or why that cannot be said."""
    from toolbench.signal.onset import find_onset

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


def described_lines(described: dict[str, Any], width: int | None = None) -> list[str]:
    """The facts of `logs.describe`, with `onset` and `response` added, as lines for a terminal or a pipe."""
    facts = [
        ("rows", f"{described['rows']} over {_seconds(described['duration_s'])}"),
        ("dialect", _dialect(described["dialect"])),
        *_time_facts(described["time"]),
        *_onset_facts(described),
        ("sha256", described["digest"]),
    ]
    lines = [fact(label, text, width) for label, text in facts if text]
    lines += ["", *_columns(described["columns"], width)]
    findings = described["findings"]
    if findings:
        lines.append("")
        lines += [_finding(finding, width) for finding in findings[:MOST_FINDINGS]]
        if len(findings) > MOST_FINDINGS:
            lines.append(f"and {len(findings) - MOST_FINDINGS} more findings; --json has them all")
    return lines


def _seconds(value: float | None) -> str:
    return format_seconds(None if value is None else float(f"{value:.6g}"))


def _dialect(dialect: dict[str, Any]) -> str:
    if dialect["container"]:
        group = dialect["extra"].get("group")
        return str(dialect["container"]) + (f", group {group!r}" if group else "") + ", rows counted from 1"
    names = f"names in line {dialect['header_line']}" if dialect["header_line"] else "no line of names"
    units = f", units in line {dialect['unit_line']}" if dialect["unit_line"] else ""
    return (
        f"{dialect['encoding']}, delimiter {_delimiter(dialect['delimiter'])}, decimal {_mark(dialect['decimal'])}, {names}{units},"
        f" data from line {dialect['first_data_line']}"
    )


def _delimiter(sign: str) -> str:
    return {"\t": "tab", " ": "space", ",": "comma", ";": "semicolon", "": "none"}.get(sign, sign)


def _mark(sign: str) -> str:
    return "comma" if sign == "," else "point"


def _time_facts(time: dict[str, Any]) -> list[tuple[str, str]]:
    rate = format_number(time["rate_hz"], 4, unit="Hz")
    unit = {"stamps": " (stamps)", "samples": ""}.get(time["unit"], f" in {time['unit']}")
    # A coarse clock says the same for many rows: their middle step is none, and only the mean rate means something.
    step = time["median_interval_s"]
    every = f"a sample every {_seconds(step)} ({rate})" if step else f"{rate} on average, several samples at each time"
    facts = [("time", f"{time['source']}{unit}, {every}")]
    facts.append(("started", time["start"]))
    gaps = [f"{_seconds(length)} before line {line}" for line, length in time["gaps"]]
    longest = max((length for _, length in time["gaps"]), default=0.0)
    more = f"; the longest {_seconds(longest)}" if len(gaps) > MOST else ""
    facts.append(("gaps", _listed(gaps) + more))
    for name, label in (("repeats", "repeats"), ("steps_back", "back")):
        if time[name]:
            facts.append((label, _listed([f"line {line}" for line in time[name]])))
    return facts


def _listed(texts: list[str]) -> str:
    more = f" and {len(texts) - MOST} more" if len(texts) > MOST else ""
    return "none" if not texts else f"{len(texts)}: {', '.join(texts[:MOST])}{more}"


def _onset_facts(described: dict[str, Any]) -> list[tuple[str, str]]:
    """Where the run starts, in which column, and how to name another where several could be the response."""
    onset, candidates = described["onset"], described["response"]["candidates"]
    others = [name for name in candidates if name != onset["column"]]
    if onset["column"] is None:
        named = ", ".join(map(repr, candidates[:8])) + (" or another" if len(candidates) > 8 else "")
        text = f"which column is the response: {named}? Say it with --response COLUMN" if candidates else onset["error"]
        return [("onset", text)]
    choice = ""
    if others and not described["response"]["stated"]:
        choice = f"; {', '.join(map(repr, others[:6]))} could be the response too: --response COLUMN"
    if "error" in onset:
        return [("onset", f"not found in {onset['column']}: {onset['error']}{choice}")]
    at = format_number(onset["time_s"], 6, unit="s")
    u = format_number(onset["standard_uncertainty_s"], 2, unit="s")
    text = f"{at} after the first sample, standard uncertainty {u} (in {onset['column']}, rule {onset['rule']})"
    return [("onset", text + choice)]


def _columns(columns: list[dict[str, Any]], width: int | None) -> list[str]:
    rows = [("column", "unit", "lowest", "highest", "missing", "channel")]
    for column in columns:
        number = column["kind"] == "number"
        low, high = (format_number(column[key]) if number else "" for key in ("lowest", "highest"))
        channel = f"{column['channel']}?" if column["channel"] else ("" if number else "text")
        missing = str(column["missing"]) if column["missing"] else ""
        rows.append((column["name"], column["unit"] or ("none" if number else ""), low, high, missing, channel))
    kept = [k for k in range(6) if k != 4 or any(row[4] for row in rows[1:])]
    shown = [tuple(row[k] for k in kept) for row in rows]
    return table_lines(shown, right=[k in (2, 3, 4) for k in kept], width=width)


def _finding(finding: dict[str, Any], width: int | None) -> str:
    line = finding["line"]
    said = line is None or any(f"{word} {line}" in finding["message"] for word in ("line", "lines", "row", "rows"))
    where = "" if said else f"line {line}: "
    mend = f" ({finding['mend']})" if finding["mend"] else ""
    return fact(f"{finding['severity']}:", f"{where}{finding['message']}{mend}", width)


def refused_lines(seen: dict[str, Any], width: int | None = None) -> list[str]:
    """What could be seen of a refused file: its encoding and first lines, or its groups."""
    lines = [fact("size", f"{seen['bytes']} bytes", width)] if "bytes" in seen else []
    if "container" in seen:
        lines.append(fact("file", seen["container"], width))
        lines += [
            fact("group", f"{one['group']!r}: {', '.join(one['columns'])}", width) for one in seen.get("groups", ())
        ]
    if "encoding" in seen:
        lines.append(fact("encoding", seen["encoding"], width))
    if "columns" in seen:
        lines.append(
            fact("cells", f"parted by {_delimiter(seen['delimiter'])}, decimal {_mark(seen['decimal'])}", width)
        )
        rows = [("column", "unit", "kind", "first values")]
        rows += [(c["name"], c["unit"] or "none", c["kind"], "  ".join(c["first"])[:40]) for c in seen["columns"]]
        lines += ["", *table_lines(rows, right=[False] * 4, width=width), ""]
    room = None if width is None else width - 10
    for number, text in seen.get("lines", ()):
        tidy = text.replace("\t", " \\t ")
        lines.append(f"{f'line {number}':<10}{tidy if room is None or len(tidy) <= room else tidy[: room - 3] + '...'}")
    return lines
