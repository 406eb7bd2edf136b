"""What can be seen of a file that `read_log` refuses: for a person who has to find out why. Nothing here decides anything."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from toolbench.errors import RecordingError
from toolbench.logs.kinds import find_container
from toolbench.logs.names import name_columns
from toolbench.logs.source import HEAD_SIZES, Source, open_source
from toolbench.logs.text.encoding import find_encoding
from toolbench.records.settings import DialectOverrides

MOST_LINES = 12
MOST_SIGNS = 200


def glimpse(path: str | os.PathLike[str]) -> dict[str, Any]:
    """Facts about a refused file, as far as there are any.

    Returns
    -------
    dict
        `bytes`; then for text `encoding`, where rows were found `delimiter`, `decimal` and `columns`, and `lines` (number and text of the first lines that are not blank, and of the
        first with numbers), for a file with groups `container` and `groups` (name and columns of each). Empty where the
        file cannot even be opened.
    """
    try:
        source = open_source(path)
    except RecordingError:
        return {}
    seen: dict[str, Any] = {"bytes": source.size}
    try:
        container = find_container(Path(path))
        if container is not None:
            seen["container"] = container.name
            seen["groups"] = [{"group": p.label, "columns": list(p.names)} for p in container.parts(Path(path))]
            return seen
        head = source.head(HEAD_SIZES[0])
        encoding = find_encoding(source, head, stated=None)
    except (RecordingError, OSError):
        return seen
    seen["encoding"] = encoding.name
    seen |= _layout(source)
    seen["lines"] = _telling(encoding.decode(head).splitlines())
    return seen


def _layout(source: Source) -> dict[str, Any]:
    """Names, units and first cells of the columns, where the rows could be found: what is refused then is the time."""
    from toolbench.logs.reading import look

    try:
        _, layout = look(source, DialectOverrides())
        columns = name_columns(layout.names, layout.unit_row, layout.kinds, layout.samples, layout.glued)
    except RecordingError:
        return {}
    shown = [{"name": c.name, "unit": c.unit, "kind": c.kind, "first": list(c.sample[:3])} for c in columns]
    return {"delimiter": layout.delimiter, "decimal": layout.decimal, "columns": shown}


def _telling(lines: list[str]) -> list[tuple[int, str]]:
    """The first lines, and the first ones with numbers where those stand further down."""
    filled = [(number, line) for number, line in enumerate(lines, 1) if line.strip(" \t,;\0\x1a")]
    shown = filled[: MOST_LINES // 2]
    numbers = [pair for pair in filled[MOST_LINES // 2 :] if _is_of_numbers(pair[1])]
    rest = filled[MOST_LINES // 2 : MOST_LINES]
    shown += numbers[: MOST_LINES // 2] or rest
    return [(number, line if len(line) <= MOST_SIGNS else line[:MOST_SIGNS] + " ...") for number, line in shown]


def _is_of_numbers(line: str) -> bool:
    digits = sum(sign.isdigit() for sign in line)
    letters = sum(sign.isalpha() for sign in line)
    return digits > 2 * letters
