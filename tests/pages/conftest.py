"""The pages that are looked at: the demo's, and those of a season whose every text is markup."""

from __future__ import annotations

from pathlib import Path

import pytest
import shared_renders


@pytest.fixture(scope="session")
def reports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo season's reports."""
    return shared_renders.rendered_demo(tmp_path_factory)


@pytest.fixture(scope="session")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A report with its Monte Carlo check."""
    return shared_renders.rendered_checked(tmp_path_factory)


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Reports of a season whose every free text is markup."""
    return shared_renders.rendered_hostile(tmp_path_factory)
