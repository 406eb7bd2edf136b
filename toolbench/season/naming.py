"""Which tool, setup and protocol a recording belongs to, guessed from the names of its folders and its file.

Guesses for a person to look at: what differs between the names tells items apart, what is the same everywhere does not.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

TOOL = "tool"
PROTOCOL = "as-recorded"
# Words that name a way of supply rather than a tool.
_SETUP_WORDS = frozenset(
    [
        "near",
        "far",
        "short",
        "long",
        "hose",
        "line",
        "coupler",
        "couplers",
        "receiver",
        "regulator",
        "inlet",
        "bar",
        "psi",
        "kpa",
        "pack",
        "packs",
        "battery",
        "lead",
        "mains",
        "supply",
        "setup",
        "wall",
        "end",
        "thin",
        "thick",
        "cold",
        "warm",
        "hot",
        "fresh",
        "low",
        "high",
        "mid",
        "half",
        "full",
    ]
)
_SIZE = re.compile(r"\d+(?:[.,p]\d+)?(?:mm|cm|m|ft|in|bar|psi|kpa|v|ah|l|mm2)\Z", re.IGNORECASE)
_RUN = re.compile(
    r"(?:^|[-_ .]+)(?:(?:run|rec|recording|test|take|trial|shot|log|data|meas|measurement|messung|versuch|lauf|no|nr|r|n)[-_ .]?)?\d+\Z",
    re.IGNORECASE,
)
_LETTER = re.compile(r"([A-Za-z])\d+\Z")
_STAMP = re.compile(r"(?:19|20)\d\d-?\d\d-?\d\d(?:[T_ -]?\d\d[-_:.]?\d\d(?:[-_:.]?\d\d)?)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What a recording's name says of it, as ids."""

    tool: str
    setup: str
    protocol: str


def guess_places(files: Sequence[Path]) -> dict[Path, Place]:
    """Tool, setup and protocol of every file.

    Folders come before names of files: two levels that differ are tool and setup, as in the pattern of a season; one is the
    setup, unless the names of the files speak of setups (a length, a pressure, near and far). A third thing that differs is
    the protocol, and one word that all files share is.

    Parameters
    ----------
    files
        Paths of recordings; a number at the end of a name counts the run, a date in it is passed over.
    """
    folders = _folders(files)
    words = _words(files)
    levels = [[folders[file][k] for file in files] for k in range(len(folders[files[0]]))]
    tokens = [[words[file][k] for file in files] for k in range(len(words[files[0]]))]
    from_folders = [level for level in levels if _differs(level)]
    from_names = [token for token in tokens if _differs(token) and _is_item(token)]
    tools, setups, protocols = _assigned(from_folders, from_names)
    shared = sorted({token[0] for token in tokens if not _differs(token) and token[0] and not _STAMP.match(token[0])})
    held = shared[0] if protocols is None and len(shared) == 1 and setups is not None else PROTOCOL
    default = files[0].resolve().parent.name
    return {
        file: Place(
            tool=identifier(tools[k] if tools else TOOL, TOOL),
            setup=identifier(setups[k] if setups else default, "setup"),
            protocol=identifier(protocols[k] if protocols else held, PROTOCOL),
        )
        for k, file in enumerate(files)
    }


Words = list[str]


def _assigned(folders: list[Words], names: list[Words]) -> tuple[Words | None, Words | None, Words | None]:
    """Tools, setups and protocols out of what differs: in the folders, then in the names."""
    every = [*folders, *names]
    if not every:
        return None, None, None
    if len(every) == 1:
        return None, every[0], None
    first, second = every[:2]
    third = every[2] if len(every) > 2 else None
    if len(folders) == 1 and not (_is_setup(second) and not _is_setup(first)):
        return second, first, third
    if len(folders) != 1 and _is_setup(first) and not _is_setup(second):
        return second, first, third
    return first, second, third


def _is_setup(words: Sequence[str]) -> bool:
    """Whether any of the words names a way of supply."""
    parts = {part for word in words for part in re.split(r"[-_ .]+", word.casefold())}
    return bool(parts & _SETUP_WORDS) or any(_SIZE.match(part) for part in parts)


def _differs(values: Sequence[str]) -> bool:
    return len({value.casefold() for value in values}) > 1


def _is_item(values: Sequence[str]) -> bool:
    """Whether a word in the names tells items apart: it comes more than once, or there are few files."""
    return all(values) and (len(set(values)) < len(values) or len(values) <= 3)


def _folders(files: Sequence[Path]) -> dict[Path, tuple[str, ...]]:
    """Names of the folders below the one that holds all files, the same number for each."""
    parents = {file: file.resolve().parent for file in files}
    common = Path(os.path.commonpath([str(parent) for parent in parents.values()]))
    below = {file: parent.relative_to(common).parts for file, parent in parents.items()}
    if len({len(parts) for parts in below.values()}) == 1:
        return below
    return {file: ("-".join(parts) or common.name,) for file, parts in below.items()}


def _words(files: Sequence[Path]) -> dict[Path, tuple[str, ...]]:
    """Words of the files' names without the run's number, the same number for each."""
    stems = {file: _RUN.sub("", _STAMP.sub("", file.stem).strip("-_ .")).strip("-_ .") for file in files}
    letters = {match[1].casefold() if (match := _LETTER.match(stem)) else stem for stem in stems.values()}
    if len(letters) == 1 and _differs([*stems.values()]):
        return dict.fromkeys(files, ())  # b1, b2, b3: one letter for all, and the run's number
    split = {file: tuple(part for part in re.split(r"[-_ ]+", stem) if part) for file, stem in stems.items()}
    if len({len(parts) for parts in split.values()}) == 1:
        return split
    return {file: (stem,) for file, stem in stems.items()}


def identifier(text: str, default: str = "setup") -> str:
    """An id out of a name: letters, digits, dot, underscore and single dashes."""
    cleaned = re.sub(r"-{2,}", "-", re.sub(r"[^A-Za-z0-9._-]+", "-", text)).strip("-._")
    return cleaned or default
