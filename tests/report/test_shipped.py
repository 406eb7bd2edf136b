"""Where the notebooks, templates and the demo season are found: beside the checkout's package, else inside the package."""

from __future__ import annotations

from pathlib import Path

import pytest

from toolbench.errors import RenderError
from toolbench.report import shipped


def test_a_checkout_is_preferred_to_a_frozen_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "toolbench"
    for folder in (tmp_path / "notebooks", tmp_path / "templates", package / "_shipped" / "templates"):
        folder.mkdir(parents=True)
    monkeypatch.setattr(shipped, "PACKAGE", package)
    assert shipped.find_shipped("templates") == package / "_shipped" / "templates"
    (tmp_path / "pyproject.toml").write_text("")
    assert shipped.find_shipped("templates") == tmp_path / "templates"


def test_what_is_missing_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shipped, "PACKAGE", tmp_path / "toolbench")
    with pytest.raises(RenderError, match="data_demo"):
        shipped.find_shipped("data_demo")


def test_site_packages_never_come_before_the_standard_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shipped, "PACKAGE", Path("/somewhere/lib/python3.11/site-packages/toolbench"))
    assert shipped.python_path() is None
