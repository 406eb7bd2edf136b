"""A logger's file in, a `Log` out: dialect, units and time base found by evidence, every doubt written down."""

from toolbench.logs.inspecting import describe, guess_channels, suggest_table
from toolbench.logs.log import Log
from toolbench.logs.reading import read_log
from toolbench.logs.sketch import sketch

__all__ = ["Log", "describe", "guess_channels", "read_log", "sketch", "suggest_table"]
