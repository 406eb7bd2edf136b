"""bench.toml, tools.csv and runs.csv: what people write by hand, read into records, with every fault told at once."""

from toolbench.settings.document import bench_schema
from toolbench.settings.entering import entered_rows, with_row
from toolbench.settings.faults import Faults
from toolbench.settings.read import Bench, read_bench, read_settings
from toolbench.settings.recordings import clean, path_fault
from toolbench.settings.reference import commented_bench
from toolbench.settings.runs import RUNS, read_sheet
from toolbench.settings.spreadsheet import split_head
from toolbench.settings.starter import runs_text, write_season, write_starter

__all__ = [
    "RUNS",
    "Bench",
    "Faults",
    "bench_schema",
    "clean",
    "commented_bench",
    "entered_rows",
    "path_fault",
    "read_bench",
    "read_settings",
    "read_sheet",
    "runs_text",
    "split_head",
    "with_row",
    "write_season",
    "write_starter",
]
