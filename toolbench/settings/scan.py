"""Where each key of a TOML text stands: the parser of the standard library gives values without lines.

The scanner walks a text that the parser has already accepted, so it needs no error handling of its own.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from collections.abc import Iterator

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')
_LONG = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}', re.DOTALL)
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\n]+")


def key_lines(text: str) -> dict[Path, int]:
    """Line (from 1) of every table, key and list element of a valid TOML text, by its path of keys and list positions."""
    lines: dict[Path, int] = {}
    for path, line in _Scanner(text).walk():
        lines.setdefault(path, line)  # a list of tables stands where its first table stands
    return lines


class _Scanner:
    """A reading position in a TOML text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.counts: dict[Path, int] = {}
        self._newlines = [match.start() for match in re.finditer("\n", text)]

    def line(self) -> int:
        return bisect_left(self._newlines, self.at) + 1

    def skip(self) -> None:
        match = _BLANK.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def take(self, sign: str) -> bool:
        if self.text.startswith(sign, self.at):
            self.at += len(sign)
            return True
        return False

    def key(self) -> tuple[str, ...]:
        """A dotted key, its quoted parts without their quotes."""
        parts: list[str] = []
        while True:
            self._spaces()
            match = _QUOTED.match(self.text, self.at) or _BARE.match(self.text, self.at)
            if match is None:
                return tuple(parts)
            self.at = match.end()
            part = match.group()
            parts.append(str(tomllib.loads(f"x = {part}")["x"]) if part[0] in "\"'" else part)
            self._spaces()
            if not self.take("."):
                return tuple(parts)

    def _spaces(self) -> None:
        while self.at < len(self.text) and self.text[self.at] in " \t":
            self.at += 1

    def walk(self) -> Iterator[tuple[Path, int]]:
        table: Path = ()
        while True:
            self.skip()
            if self.at >= len(self.text):
                return
            line = self.line()
            if self.take("[["):
                table = self._element(self._inside(self.key()), line)
                self.take("]]")
                yield table[:-1], line
                yield table, line
            elif self.take("["):
                table = self._inside(self.key())
                self.take("]")
                yield table, line
            else:
                yield from self.pair(table)

    def _inside(self, key: tuple[str, ...]) -> Path:
        """The path a header means: below a list of tables it means the last one."""
        path: Path = ()
        for part in key[:-1]:
            path = (*path, part)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        return (*path, *key[-1:])

    def _element(self, path: Path, line: int) -> Path:
        position = self.counts.get(path, 0)
        self.counts[path] = position + 1
        return (*path, position)

    def pair(self, table: Path) -> Iterator[tuple[Path, int]]:
        line = self.line()
        path = table
        key = self.key()
        for part in key:
            path = (*path, part)
            yield path, line
        self._spaces()
        self.take("=")
        yield from self.value(path)
        if not key:  # never on a valid text; keeps a faulty one from looping
            self.at += 1

    def value(self, path: Path) -> Iterator[tuple[Path, int]]:
        self._spaces()
        if self.take("["):
            yield from self._list(path)
        elif self.take("{"):
            self.skip()
            while self.at < len(self.text) and not self.take("}"):
                yield from self.pair(path)
                self.skip()
                self.take(",")
                self.skip()
        else:
            match = (
                _LONG.match(self.text, self.at)
                or _QUOTED.match(self.text, self.at)
                or _SCALAR.match(self.text, self.at)
            )
            self.at = match.end() if match else self.at + 1

    def _list(self, path: Path) -> Iterator[tuple[Path, int]]:
        position = 0
        self.skip()
        while self.at < len(self.text) and not self.take("]"):
            yield (*path, position), self.line()
            yield from self.value((*path, position))
            position += 1
            self.skip()
            self.take(",")
            self.skip()
