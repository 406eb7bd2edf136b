"""The page on the bench's health: made in this process, again only when a recording, the settings or the program changed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from toolbench.errors import ToolbenchError
from toolbench.report.index import render_page
from toolbench.report.keys import Inputs, bench_key
from toolbench.report.ledger import Ledger

PAGE = "bench-health.html"


def wants_health(season: Any) -> bool:
    """Whether there is anything to say of the bench: a check standard, or a sensor."""
    settings = season.settings
    return bool(settings.sensors) or any(tool.role == "check standard" for tool in settings.tools.values())


def write_health(season: Any, ledger: Ledger, templates: Path, inputs: Inputs, program: str) -> None:
    """Write bench-health.html where it is wanted and not up to date. Raises OutputError when it cannot be written."""
    if not wants_health(season):
        ledger.remove_page(PAGE)
        ledger.made.pop(PAGE, None)
        return
    key = bench_key(season.settings, inputs, program)
    if ledger.made.get(PAGE, {}).get("key") == key and ledger.as_written(PAGE):
        return
    try:
        page = health_page(season, templates)
    except ToolbenchError:
        # An older page stays, and the index says that it is one.
        ledger.made.pop(PAGE, None)
        return
    ledger.write_page(PAGE, page)
    read = {
        entry.file: value for entry in season.settings.runs if not entry.excluded and (value := inputs.of(entry.file))
    }
    ledger.made[PAGE] = {"key": key, "inputs": read}


def health_state(ledger: Ledger) -> str:
    """What the index says of the page: empty where there is none, `earlier` where it could not be made again."""
    if PAGE not in ledger.written:
        return ""
    return "made" if PAGE in ledger.made else "earlier"


def health_page(season: Any, templates: Path) -> str:
    """The page of bench-health.ipynb's pieces."""
    import toolbench as tb

    bench = tb.check_bench(season)
    pieces = [show(bench).html for show in (tb.show_standard, tb.show_rest, tb.show_sensors)]
    read = f"{bench.read} {'recording' if bench.read == 1 else 'recordings'} read"
    if bench.unreadable:
        read += f", {bench.unreadable} could not be (see toolbench check)"
    name = season.settings.name or "Season"
    return render_page(templates, "health.html.j2", title=f"Bench health: {name}", pieces=pieces, read=read)
