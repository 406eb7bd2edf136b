"""What is not known of a number: none in a table and null in JSON, never nan or infinite."""

from __future__ import annotations

import math


def known(value: float | None) -> float | None:
    """The number, None where it is missing, nan or infinite."""
    return value if value is not None and math.isfinite(value) else None
