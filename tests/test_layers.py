"""An import goes down the list of rooms only. The list is in pyproject.toml; import-linter holds it."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path


def test_the_rooms_import_downwards_only(root: Path, tmp_path: Path) -> None:
    code = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    arguments = ["--config", str(root / "pyproject.toml"), "--cache-dir", str(tmp_path)]
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], cwd=root, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


def test_every_room_is_in_the_list(root: Path) -> None:
    """By hand from the folders: nothing of the package may stand outside the list."""
    contracts = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]
    layers = next(one["layers"] for one in contracts if one["containers"] == ["toolbench"])
    listed = {name.strip(" ()") for layer in layers for name in layer.split("|")}
    rooms = {path.stem for path in (root / "toolbench").iterdir() if path.is_dir() and (path / "__init__.py").exists()}
    rooms |= {path.stem for path in (root / "toolbench").glob("*.py")} - {"__init__", "__main__"}
    assert rooms <= listed
