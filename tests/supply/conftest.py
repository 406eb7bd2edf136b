"""The demo's own physics, importable: it knows the truth behind its recordings."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "data_demo"))
