"""Lines broken at words on a terminal; in a pipe or a file every line stays whole, for programs that read it."""

from __future__ import annotations

import shutil
import sys
import textwrap

import click

HANG = "  "
NARROWEST = 20


def told(text: str, *, err: bool = False) -> None:
    """Print sentences: broken at words to the width of a terminal, a broken line's rest indented below it."""
    stream = sys.stderr if err else sys.stdout
    click.echo(wrapped(text, shutil.get_terminal_size().columns) if stream.isatty() else text, err=err)


def wrapped(text: str, width: int) -> str:
    """Every line of `text` broken at spaces; a word longer than the line, such as a path, stays whole."""
    return "\n".join(_wrapped_line(line, max(width, NARROWEST)) for line in text.split("\n"))


def _wrapped_line(line: str, width: int) -> str:
    if len(line) <= width:
        return line
    indent = line[: len(line) - len(line.lstrip(" "))]
    return textwrap.fill(
        line.strip(" "),
        width,
        initial_indent=indent,
        subsequent_indent=indent + HANG,
        break_long_words=False,
        break_on_hyphens=False,
    )
