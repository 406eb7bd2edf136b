"""bench.toml, tools.csv and runs.csv: what people write by hand, read into records, with every fault told at once."""

from toolbench.settings.document import bench_schema
from toolbench.settings.read import read_settings
from toolbench.settings.reference import commented_bench
from toolbench.settings.starter import runs_text, write_season, write_starter

__all__ = ["bench_schema", "commented_bench", "read_settings", "runs_text", "write_season", "write_starter"]
