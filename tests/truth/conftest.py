"""The demo's own physics, importable: it knows the truth that its recordings were drawn from."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "data_demo"))
