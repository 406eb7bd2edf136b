"""Words on the command line, turned into one call. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import sys

from toolbench.cli.main import toolbench


def main() -> None:
    """Entry point of the command `toolbench`."""
    from toolbench.cli.running import run

    sys.exit(run(toolbench))


__all__ = ["main", "toolbench"]
