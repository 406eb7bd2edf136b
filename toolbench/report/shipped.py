"""Finds the notebooks, templates and the demo season that come with the program.

A checkout's own folders come first: an editable install leaves a frozen copy of them in site-packages that must not be
found, so nothing here looks along sys.path.
"""

from __future__ import annotations

import sys
from pathlib import Path

from toolbench.errors import Fault, RenderError

PACKAGE = Path(__file__).resolve().parent.parent


def find_shipped(name: str) -> Path:
    """Folder `notebooks`, `templates` or `data_demo` as it came with this very package.

    Raises
    ------
    RenderError
        When neither the checkout nor the installed package has it.
    """
    root = PACKAGE.parent
    if (root / "pyproject.toml").is_file() and (root / "notebooks").is_dir():
        folder = root / name
    else:
        folder = PACKAGE / "_shipped" / name
    if not folder.is_dir():
        raise RenderError(
            Fault(
                f"the folder {name} that comes with toolbench is not there",
                file=str(folder),
                mend="install toolbench-reports again, from a wheel or a whole checkout",
            )
        )
    return folder


def find_notebook(name: str) -> Path:
    """One notebook that came with the package, e.g. `compare.ipynb`. Raises RenderError."""
    path = find_shipped("notebooks") / name
    if not path.is_file():
        raise RenderError(Fault("this notebook does not come with toolbench", file=str(path)))
    return path


def python_path() -> str | None:
    """What a child process needs on PYTHONPATH to import this very package; None when it is installed.

    site-packages itself is never put there: PYTHONPATH comes before the standard library.
    """
    root = PACKAGE.parent
    return None if {"site-packages", "dist-packages"} & set(root.parts) else str(root)


def interpreter() -> str:
    """The running Python interpreter."""
    return sys.executable
