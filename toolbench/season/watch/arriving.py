"""Which recordings have arrived: a folder looked at again and again, and files that stand still and end with a whole row.

Only changes are looked at, never the clock of the machine that wrote the file; waiting is counted by the caller's clock.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

QUIET_S = 0.6
"""A file whose size and time stood still for so long is complete."""

PATIENT_S = 1.3
"""One that looks unfinished all the same (it ends inside a row, it is too short, it has no onset) is held back until it stood still
for so long: loggers that write once a second are among them."""

LONGEST_S = 5.0
"""A logger that was seen to pause between two writes is waited for a little longer than it paused, if it was not more than this."""

SUFFIXES = frozenset(
    (".csv", ".tsv", ".txt", ".dat", ".asc", ".log", ".lvm", ".prn", ".parquet", ".feather", ".arrow", ".tdms", ".mf4")
)
"""Files that loggers and their export write; others below recordings/ are left alone where the pattern does not name them."""

_ROWS = frozenset((".csv", ".tsv", ".txt", ".dat", ".asc", ".log", ".lvm", ".prn"))
_UNFINISHED_NAMES = (".part", ".partial", ".tmp", ".temp", ".crdownload", ".filepart", ".swp", ".swx", ".lock", "~")
Signature = tuple[int, int]


@dataclass(slots=True)
class _Seen:
    """A file as it was last seen: size and time of change, since when it stands so, and whether it was handed over."""

    signature: Signature
    since: float
    done: bool = False
    growing: bool = False
    held: bool = False


@dataclass(frozen=True, slots=True)
class Look:
    """What one look at the folder found: recordings complete now, in the order in which they came to rest; files gone."""

    complete: tuple[str, ...]
    gone: tuple[tuple[str, Signature], ...]


class Arrivals:
    """Recordings below some folders of a season.

    Parameters
    ----------
    folder : the season folder; files are named relative to it, with `/`
    roots : folders to look through, relative to it; one that is not there yet is waited for
    fits : whether a file of a suffix that is not among SUFFIXES is a recording all the same
    """

    def __init__(
        self, folder: Path, roots: Iterable[str] = ("recordings",), fits: Callable[[str], bool] = lambda file: False
    ) -> None:
        self.folder = folder
        self.roots = tuple(roots)
        self.fits = fits
        self.pause_s = 0.0
        """Longest pause that a logger here was seen to make between two writes to one file."""
        self._seen: dict[str, _Seen] = {}

    def pass_over(self, files: Iterable[str]) -> None:
        """Files that are entered already: told of only when they change from now on."""
        for file in files:
            signature = self.signature(file)
            if signature is not None:
                self._seen[file] = _Seen(signature, 0.0, done=True)

    def look(self, now: float) -> Look:
        """Look once; `now` [s] is of a clock that only goes on."""
        found = dict(self._files())
        gone = tuple((file, seen.signature) for file, seen in self._seen.items() if file not in found)
        complete: list[tuple[float, int, str]] = []
        for file, signature in found.items():
            seen = self._seen.get(file)
            if seen is None:
                self._seen[file] = _Seen(signature, now)
            elif seen.signature != signature:
                self._grown(seen, signature, now)
            elif not seen.done and signature[0] and now - seen.since >= self._wait(seen):
                seen.done = True
                complete.append((seen.since, signature[1], file))
        for file, _ in gone:
            del self._seen[file]
        return Look(tuple(file for _, _, file in sorted(complete)), gone)

    def hold(self, file: str) -> bool:
        """Hand a file over once more when it stood still for longer; False where it was held before."""
        seen = self._seen.get(file)
        if seen is None or seen.held:
            return False
        seen.held, seen.done = True, False
        return True

    def again(self, file: str, now: float) -> None:
        """Wait for a file once more: it changed while it was judged."""
        signature = self.signature(file)
        if signature is not None and file in self._seen:
            self._seen[file] = _Seen(signature, now, growing=True)

    def is_unchanged(self, file: str) -> bool:
        """Whether a file is still as it was when it came to rest."""
        return file in self._seen and self.signature(file) == self._seen[file].signature

    def waiting(self) -> tuple[str, ...]:
        """Files that are there and not complete yet."""
        return tuple(file for file, seen in self._seen.items() if not seen.done)

    def is_empty(self, file: str) -> bool:
        """Whether a file holds nothing yet: a logger may hold it open for the whole run."""
        signature = self.signature(file)
        return signature is None or signature[0] == 0

    def is_whole(self, file: str) -> bool:
        """Whether the file ends with the end of a line; of one that holds no lines nobody can say."""
        if Path(file).suffix.lower() not in _ROWS:
            return True
        try:
            with (self.folder / file).open("rb") as stream:
                stream.seek(-min(2, os.fstat(stream.fileno()).st_size), os.SEEK_END)
                return stream.read(2).strip(b"\x00")[-1:] in (b"\n", b"\r")
        except OSError:
            return False

    def signature(self, file: str) -> Signature | None:
        """Size and time of change; None where there is no such file."""
        try:
            # The entry of the folder may lag behind a file that is still open, so the file itself is asked.
            state = (self.folder / file).stat()
        except OSError:
            return None
        return (state.st_size, state.st_mtime_ns) if stat.S_ISREG(state.st_mode) else None

    def _grown(self, seen: _Seen, signature: Signature, now: float) -> None:
        more = signature[0] > seen.signature[0] > 0
        if more and (seen.growing or seen.done or seen.held) and now - seen.since <= LONGEST_S:
            self.pause_s = max(self.pause_s, now - seen.since)
        seen.signature, seen.since, seen.done, seen.growing, seen.held = signature, now, False, more, False

    def _wait(self, seen: _Seen) -> float:
        return max(PATIENT_S if seen.held else QUIET_S, 1.2 * self.pause_s if seen.growing else 0.0)

    def _files(self) -> Iterator[tuple[str, Signature]]:
        for root in self.roots:
            yield from self._below(root)

    def _below(self, folder: str) -> Iterator[tuple[str, Signature]]:
        try:
            with os.scandir(self.folder / folder) as entries:
                found = sorted(entries, key=lambda entry: entry.name)
        except OSError:
            return
        for entry in found:
            name = f"{folder}/{entry.name}" if folder not in ("", ".") else entry.name
            try:
                inside = entry.is_dir(follow_symlinks=False)
            except OSError:
                continue
            if entry.name.startswith("."):
                continue
            if inside:
                yield from self._below(name)
                continue
            taken = is_recording_name(entry.name) or (is_finished_name(entry.name) and self.fits(name))
            if taken and (signature := self.signature(name)) is not None:
                yield name, signature


@lru_cache(maxsize=10_000)
def is_finished_name(name: str) -> bool:
    """Whether a file of this name is neither hidden nor temporary."""
    lower = name.lower()
    return not lower.startswith((".", "~", "#")) and not lower.endswith(_UNFINISHED_NAMES)


@lru_cache(maxsize=10_000)
def is_recording_name(name: str) -> bool:
    """Whether a file of this name may be a finished recording: no hidden, temporary or foreign file."""
    return is_finished_name(name) and Path(name).suffix.lower() in SUFFIXES


def is_cut(path: Path) -> bool:
    """Whether the last line of a text file lacks cells that the line before it has: the logger was cut off."""
    if path.suffix.lower() not in _ROWS:
        return False
    try:
        with path.open("rb") as stream:
            stream.seek(-min(4096, os.fstat(stream.fileno()).st_size), os.SEEK_END)
            tail = stream.read().replace(b"\x00", b"")
    except OSError:
        return False
    lines = tail.replace(b"\r", b"\n").split(b"\n")
    if not lines[-1].strip() or len(lines) < 3:
        return False
    whole = next((line for line in reversed(lines[:-1]) if line.strip()), b"")
    return any(lines[-1].count(sign) < whole.count(sign) for sign in (b",", b";", b"\t"))


def has_lines(path: Path, fewest: int) -> bool:
    """Whether a file has so many line ends in its first part; a file that is no text counts as one that has."""
    if path.suffix.lower() not in _ROWS:
        return True
    try:
        with path.open("rb") as stream:
            head = stream.read(65536)
    except OSError:
        return False
    return max(head.count(b"\n"), head.count(b"\r")) >= fewest
