"""Comparisons made by hand, as fixtures."""

from __future__ import annotations

import pytest
import view_records
from view_records import Compared


@pytest.fixture
def three() -> Compared:
    """Three setups with five runs each, caveats of every severity, a held inlet pressure."""
    return view_records.make(3)


@pytest.fixture(params=["two", "three", "six-long-names", "no-repeats", "all-failed", "no-findings"])
def any_comparison(request: pytest.FixtureRequest) -> Compared:
    """Every shape a comparison takes."""
    return {
        "two": lambda: view_records.make(2),
        "three": lambda: view_records.make(3),
        "six-long-names": lambda: view_records.make(6, long_names=True),
        "no-repeats": lambda: view_records.make(3, 1),
        "all-failed": lambda: view_records.make(3, failed=True),
        "no-findings": lambda: view_records.make(2, findings=(), compensated=False),
    }[request.param]()
