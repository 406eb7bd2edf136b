"""The pieces of a report that are text and tables; each takes a comparison and shows itself in a notebook."""

from toolbench.view.tables.budget import show_budget
from toolbench.view.tables.conditions import show_conditions
from toolbench.view.tables.numbers import show_table
from toolbench.view.tables.origin import show_origin
from toolbench.view.tables.reminders import show_cautions
from toolbench.view.tables.result import show_caveats, show_result
from toolbench.view.tables.runs import show_runs
from toolbench.view.tables.sensors import show_sensors
from toolbench.view.tables.standings import (
    show_claims,
    show_entries,
    show_moves,
    show_remarks,
    show_scorecard,
    show_what_if,
)
from toolbench.view.tables.written import write_notes, write_results

__all__ = [
    "show_budget",
    "show_cautions",
    "show_caveats",
    "show_claims",
    "show_conditions",
    "show_entries",
    "show_moves",
    "show_origin",
    "show_remarks",
    "show_result",
    "show_runs",
    "show_scorecard",
    "show_sensors",
    "show_table",
    "show_what_if",
    "write_notes",
    "write_results",
]
