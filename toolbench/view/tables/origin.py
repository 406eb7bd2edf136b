"""Where a report comes from: inputs with their digests, versions, and how to run it again. No clock, user or path."""

from __future__ import annotations

from importlib.metadata import version

import toolbench
from toolbench.records.comparison import ComparisonRecord
from toolbench.records.settings import SeasonSettings
from toolbench.view.markup import Compared, Shown, render

_LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib")


def versions() -> list[tuple[str, str]]:
    """Name and version of toolbench and of the libraries that numbers and figures depend on."""
    return [("toolbench", toolbench.__version__), *((name, version(name)) for name in _LIBRARIES)]


def command(record: ComparisonRecord) -> str:
    """The command that makes this report again; SEASON stands for the season folder."""
    which = {"setups": f" --tool {record.subject}", "tools": f" --setup {record.subject}", "pairs": " --pairs"}
    check = record.monte_carlo
    asked = " --monte-carlo" if check else ""
    asked += " --t-inputs" if check and any(row.t_symmetric for row in check.rows) else ""
    named = f"--episode {record.episode.id}{which[record.axis]} --protocol {record.protocol.id}"
    return f"toolbench report SEASON {named}{asked}"


def inputs(record: ComparisonRecord, settings: SeasonSettings) -> list[tuple[str, str]]:
    """Relative path and sha256 of every input, sorted by path."""
    return sorted({**dict(settings.digests), **dict(record.digests)}.items())


def show_origin(comparison: Compared) -> Shown:
    """Digests of the inputs, versions, the notebook, and how to run the report again."""
    record, settings = comparison.record, comparison.settings
    found = inputs(record, settings)
    corrections = [
        (c.date.isoformat(), c.note)
        for c in settings.corrections
        if {*c.tools} & {i.tool for i in record.items} or {*c.runs} & {run.id for run in record.runs}
    ]
    values = {
        "inputs": found,
        "versions": versions(),
        "command": command(record),
        "path": record.path,
        "corrections": corrections,
    }
    lines = [command(record), *(f"{name} {number}" for name, number in versions())]
    lines += [f"{digest}  {path}" for path, digest in found]
    return Shown(html=render("origin", values), text="\n".join(lines))
