"""The demo season's own modules are scripts beside the data, so their folder goes on the path."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "data_demo"))
