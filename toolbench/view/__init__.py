"""What a notebook cell calls: pieces of a report, figures, notes. Names are imported when they are first used."""

from __future__ import annotations

from importlib import import_module
from typing import Any

_WHERE = {
    "show_conditions": "toolbench.view.tables",
    "show_result": "toolbench.view.tables",
    "show_caveats": "toolbench.view.tables",
    "show_table": "toolbench.view.tables",
    "show_runs": "toolbench.view.tables",
    "show_budget": "toolbench.view.tables",
    "show_cautions": "toolbench.view.tables",
    "show_origin": "toolbench.view.tables",
    "show_standard": "toolbench.view.figures",
    "show_rest": "toolbench.view.figures",
    "show_sensors": "toolbench.view.tables",
    "write_notes": "toolbench.view.tables",
    "write_results": "toolbench.view.tables",
    "plot_bands": "toolbench.view.figures",
    "plot_intervals": "toolbench.view.figures",
    "plot_runs": "toolbench.view.figures",
    "plot_supply": "toolbench.view.figures",
    "show_supply": "toolbench.view.figures",
    "plot_line": "toolbench.view.figures",
    "plot_sweep": "toolbench.view.figures",
    "show_line": "toolbench.view.figures",
    "plot_report": "toolbench.view.figures",
    "save_figures": "toolbench.view.figures",
    "show_standings": "toolbench.view.figures",
    "plot_standings": "toolbench.view.figures",
    "plot_criteria": "toolbench.view.figures",
    "show_scorecard": "toolbench.view.tables",
    "show_entries": "toolbench.view.tables",
    "show_claims": "toolbench.view.tables",
    "show_moves": "toolbench.view.tables",
    "show_remarks": "toolbench.view.tables",
    "show_what_if": "toolbench.view.tables",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'toolbench.view' has no attribute {name!r}")
    return getattr(import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return __all__
