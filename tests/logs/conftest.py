"""Tiny logger files, written by the tests themselves."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write text (or bytes) as a logger file and give its path."""

    def to_file(content: str | bytes, *, encoding: str = "utf-8", name: str = "run.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return to_file
