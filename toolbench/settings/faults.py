"""Faults are gathered while the three files are read and raised together."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

from toolbench.errors import Fault, SettingsError

ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that a misspelt one most likely means."""
    names = {candidate.casefold(): candidate for candidate in known}
    found = difflib.get_close_matches(name.casefold(), list(names), n=1, cutoff=0.6)
    return names[found[0]] if found else None


def did_you_mean(name: str, known: Iterable[str], *, none: str = "") -> str | None:
    """The mend for an unknown name: the nearest known one, or all of them where they are few."""
    names = list(dict.fromkeys(known))
    found = nearest(name, names)
    if found is not None:
        return f'did you mean "{found}"?'
    if not names:
        return none or None
    return f"known: {', '.join(names)}" if len(names) <= 24 else f"known are {len(names)} names, such as {names[0]}"


def shown(value: Any) -> str:
    """A value as it was written, short enough for a message."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 60 else f'"{value[:57]}..."'
    text = str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def id_fault(name: str) -> str | None:
    """What is wrong with an id, None where nothing is."""
    if not ID.fullmatch(name):
        return f'"{name}" is no id: ids are letters, digits, ".", "_" and "-", and begin with a letter or a digit'
    if "--" in name:
        return f'"{name}" is no id: "--" parts the names of report folders'
    return None


def control_sign(text: str) -> str | None:
    """The first control character of a text but for tab and line ends, as "U+001B"; None where there is none.

    A terminal obeys such a character, and neither a page nor a picture can show it.
    """
    found = _CONTROL.search(text)
    return f"U+{ord(found[0]):04X}" if found else None


class Faults:
    """A list that is filled while reading; keys of bench.toml find their line by themselves."""

    def __init__(self) -> None:
        self.found: list[Fault] = []
        self.lines: Mapping[tuple[str | int, ...], int] = {}
        self.document: Mapping[str, Any] = {}

    def add(
        self, message: str, *, file: str, line: int | None = None, key: str | None = None, mend: str | None = None
    ) -> None:
        """Note a fault; the same one twice is noted once."""
        fault = Fault(message, file=file, line=line, key=key, mend=mend)
        if fault not in self.found:
            self.found.append(fault)

    def bench(self, path: tuple[str | int, ...], message: str, mend: str | None = None) -> None:
        """A fault at a key of bench.toml."""
        self.add(message, file="bench.toml", line=self.line(path), key=self.dotted(path), mend=mend)

    def line(self, path: tuple[str | int, ...]) -> int | None:
        """Line of a path; of the first key below it where it is only implied; or of the nearest table that holds it."""
        for length in range(len(path), 0, -1):
            part = path[:length]
            if part in self.lines:
                return self.lines[part]
            below = [line for other, line in self.lines.items() if other[:length] == part]
            if below:
                return min(below)
        return None

    def dotted(self, path: tuple[str | int, ...]) -> str:
        """A path as people write it: a list position becomes the id that stands there, or a number from 1, and a short
        form (a text where a table or a list may stand) ends the path."""
        text = ""
        value: Any = self.document
        for part in path:
            if value is not None and not isinstance(value, Mapping | list):
                break
            value = _child(value, part)
            if isinstance(part, str):
                text += f".{part}" if text else part
            elif isinstance(value, Mapping) and isinstance(value.get("id"), str):
                text += f".{value['id']}"
            else:
                text += f"[{part + 1}]"
        return text

    def raise_all(self) -> None:
        """Raise SettingsError when anything was noted, in order of file and line."""
        if self.found:
            order = {"bench.toml": 0, "tools.csv": 1, "runs.csv": 2}
            raise SettingsError(sorted(self.found, key=lambda f: (order.get(f.file or "", 3), f.line or 0)))


def _child(value: Any, part: str | int) -> Any:
    try:
        return value[part]
    except (KeyError, IndexError, TypeError):
        return None
