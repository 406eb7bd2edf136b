"""A logger's file in, a `Log` out: dialect, units and time base found by evidence, every doubt written down."""

from toolbench.logs.doors.recorded import Recorded, RecordedColumn
from toolbench.logs.glimpse import glimpse
from toolbench.logs.inspecting import describe, find_response, guess_channels, suggest_table
from toolbench.logs.log import Log
from toolbench.logs.reading import large_columns, read_log
from toolbench.logs.sketch import sketch

__all__ = [
    "Log", "Recorded", "RecordedColumn", "describe", "find_response", "glimpse", "guess_channels", "large_columns",
    "read_log", "sketch", "suggest_table",
]  # fmt: skip
