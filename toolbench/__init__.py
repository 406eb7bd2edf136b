"""Reproducible test reports for bench-tested power tools.

The façade: names are imported when they are first used, so `import toolbench` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_WHERE = {
    "read_log": "toolbench.logs",
    "open_season": "toolbench.season",
    "compare": "toolbench.season",
    "compare_folders": "toolbench.season",
    "load": "toolbench.season",
    "write_results": "toolbench.view",
    "write_notes": "toolbench.view",
    "plot_bands": "toolbench.view",
    "plot_intervals": "toolbench.view",
    "plot_report": "toolbench.view",
    "plot_runs": "toolbench.view",
    "plot_supply": "toolbench.view",
    "show_supply": "toolbench.view",
    "save_figures": "toolbench.view",
    "show_conditions": "toolbench.view",
    "show_result": "toolbench.view",
    "show_caveats": "toolbench.view",
    "show_table": "toolbench.view",
    "show_runs": "toolbench.view",
    "show_budget": "toolbench.view",
    "show_cautions": "toolbench.view",
    "show_origin": "toolbench.view",
    "open_line": "toolbench.season",
    "show_line": "toolbench.view",
    "plot_line": "toolbench.view",
    "plot_sweep": "toolbench.view",
    "check_bench": "toolbench.season",
    "show_standard": "toolbench.view",
    "show_rest": "toolbench.view",
    "show_sensors": "toolbench.view",
    "rank_tools": "toolbench.season",
    "show_standings": "toolbench.view",
    "plot_standings": "toolbench.view",
    "plot_criteria": "toolbench.view",
    "show_scorecard": "toolbench.view",
    "show_entries": "toolbench.view",
    "show_claims": "toolbench.view",
    "show_remarks": "toolbench.view",
    "show_what_if": "toolbench.view",
    "ToolbenchError": "toolbench.errors",
}

__all__ = ["__version__", *_WHERE]


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'toolbench' has no attribute {name!r}")
    return getattr(import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
