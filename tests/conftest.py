"""What all tests share: where the project lies, and a browser, if the machine has one."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def root() -> Path:
    """The checkout."""
    return ROOT


@pytest.fixture(scope="session")
def demo(root: Path) -> Path:
    """The demo season as committed; tests read it and never write to it."""
    return root / "data_demo"


def need(found: str | None, what: str) -> str:
    """Skip with a reason where a program is missing; under CI that skip is a failure."""
    if found:
        return found
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing, and CI must have it")
    pytest.skip(f"{what} is not on this machine")


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of a Chromium."""
    return need(shutil.which("chromium") or shutil.which("chromium-browser"), "Chromium")
