"""Values of tools.csv that a metric is divided by: exact numbers, or the reason why there is none."""

from __future__ import annotations

import math

from toolbench.records.settings import Tool
from toolbench.settings.spreadsheet import split_head
from toolbench.settings.tools import TOOLS

_FIELDS = {
    "price": "price",
    "drive": "drive_m",
    "length": "length_m",
    "mass": "mass_kg",
    "claimed_torque": "claimed_torque",
    "claim_pressure": "claim_pressure_pa",
    "rated_pressure": "rated_pressure_pa",
    "air_consumption": "air_consumption_m3_s",
}


def column_value(tool: Tool, column: str) -> float | str:
    """The number of a column for one tool [SI; a price in its currency], or a sentence that says why it divides nothing."""
    place = f"{TOOLS} line {tool.line}: " if tool.line is not None else f"{TOOLS}: "
    if column in _FIELDS:
        value: float | None = getattr(tool, _FIELDS[column])
        written = "" if value is None else f"{value:g}"
    else:
        written = next((cell for head, cell in tool.extra.items() if split_head(head)[0] == column), "")
        value = _number(written)
    if not written:
        return f"{place}{column} is not stated"
    if value is None:
        return f'{place}{column} "{written}" is not a number'
    return value if value > 0 else f"{place}{column} is {written}; what a value is divided by must be greater than zero"


def _number(text: str) -> float | None:
    """A plain number with a decimal point or comma; of a column that only the scorecard knows."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None
