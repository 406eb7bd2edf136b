"""What all tests share: where the project lies, and a browser, if the machine has one."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from on_machine import need

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def root() -> Path:
    """The checkout."""
    return ROOT


@pytest.fixture(scope="session")
def demo(root: Path) -> Path:
    """The demo season as committed; tests read it and never write to it."""
    return root / "data_demo"


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of a Chromium."""
    return need(shutil.which("chromium") or shutil.which("chromium-browser"), "Chromium")
