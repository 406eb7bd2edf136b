"""bench.toml, tools.csv and runs.csv: what people write by hand, read into records, with every fault told at once."""

from toolbench.settings.read import read_settings

__all__ = ["read_settings"]
