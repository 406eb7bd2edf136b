"""What all tests share: where the project lies, and a browser, if the machine has one."""

from __future__ import annotations

import os

# Two test processes share two cores: a thread pool of linear algebra in each makes them many times slower. Before numpy is loaded.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import shutil
from collections.abc import Iterator
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


@pytest.fixture(scope="session", autouse=True)
def cache_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """No test sees or fills the cache of whoever runs it."""
    before = os.environ.get("TOOLBENCH_CACHE")
    folder = tmp_path_factory.mktemp("cache")
    os.environ["TOOLBENCH_CACHE"] = str(folder)
    yield folder
    if before is None:
        del os.environ["TOOLBENCH_CACHE"]
    else:
        os.environ["TOOLBENCH_CACHE"] = before
