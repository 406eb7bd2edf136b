"""Programs that some tests need and that not every machine has."""

from __future__ import annotations

import os

import pytest


def need(found: str | None, what: str) -> str:
    """Skip with a reason where a program is missing; under CI that skip is a failure."""
    if found:
        return found
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing, and CI must have it")
    pytest.skip(f"{what} is not on this machine")
