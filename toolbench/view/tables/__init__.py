"""The pieces of a report that are text and tables; each takes a comparison and shows itself in a notebook."""

from toolbench.view.tables.budget import show_budget
from toolbench.view.tables.conditions import show_conditions
from toolbench.view.tables.numbers import show_table
from toolbench.view.tables.origin import show_origin
from toolbench.view.tables.reminders import show_cautions
from toolbench.view.tables.result import show_caveats, show_result
from toolbench.view.tables.runs import show_runs
from toolbench.view.tables.sensors import show_sensors
from toolbench.view.tables.written import write_notes, write_results

__all__ = [
    "show_budget",
    "show_cautions",
    "show_caveats",
    "show_conditions",
    "show_origin",
    "show_result",
    "show_runs",
    "show_sensors",
    "show_table",
    "write_notes",
    "write_results",
]
