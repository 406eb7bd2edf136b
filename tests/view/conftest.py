"""Comparisons made by hand, as fixtures; each is made once, for nothing in them can be changed."""

from __future__ import annotations

from functools import cache

import pytest
import view_records
from view_records import Compared

SHAPES = {
    "two": {"count": 2},
    "three": {"count": 3},
    "six-long-names": {"count": 6, "long_names": True},
    "no-repeats": {"count": 3, "runs": 1},
    "all-failed": {"count": 3, "failed": True},
    "no-findings": {"count": 2, "findings": (), "compensated": False},
}


@cache
def _made(shape: str) -> Compared:
    return view_records.make(**SHAPES[shape])  # type: ignore[arg-type]


@pytest.fixture
def three() -> Compared:
    """Three setups with five runs each, caveats of every severity, a held inlet pressure."""
    return _made("three")


@pytest.fixture(params=list(SHAPES))
def any_comparison(request: pytest.FixtureRequest) -> Compared:
    """Every shape a comparison takes."""
    return _made(request.param)
