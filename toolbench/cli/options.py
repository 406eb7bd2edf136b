"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

FOLDER = click.Path(exists=True, path_type=Path)
FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
ANY = click.Path(path_type=Path, readable=False)  # what cannot be read is the command's to say: it is no wrong usage


class OutFolder(click.Path):
    """A folder to write to; an empty text, as from a shell variable that is not set, is not the current folder."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if value == "":
            self.fail("the name is empty; write -o . for the current folder", param, ctx)
        return super().convert(value, param, ctx)


def out_option(function: F) -> F:
    """-o OUT, `reports` in the current folder by default."""
    return click.option(
        "-o",
        "--out",
        type=OutFolder(path_type=Path),
        default=Path("reports"),
        show_default=True,
        help="Folder for the reports.",
    )(function)


def debug_option(function: F) -> F:
    """--debug; it is read where errors are shown, so a command does not see it."""
    return click.option("--debug", is_flag=True, expose_value=False, help="Show a traceback when something fails.")(
        function
    )


def force_option(function: F) -> F:
    """--force."""
    return click.option("--force", is_flag=True, help="Overwrite files that toolbench did not write, too.")(function)


def json_option(function: F) -> F:
    """--json."""
    return click.option("--json", "as_json", is_flag=True, help="As JSON, for other programs.")(function)


def run_options(function: F) -> F:
    """How a run of reports goes: --jobs, --fresh, --timeout."""
    for option in (
        click.option("--timeout", type=click.FloatRange(min=1), default=1800.0, show_default=True, metavar="SECONDS", help="Longest time for one report."),
        click.option("--fresh", is_flag=True, help="Make every report again, changed or not."),
        click.option("--jobs", type=click.IntRange(min=1), help="Reports made at once; by default one per core."),
    ):  # fmt: skip
        function = option(function)
    return function
