"""Where reduced recordings are kept between calls: a bounded folder of small files in the user's cache folder.

It may be removed at any time, also while a program runs: whatever is missing, damaged or cannot be written is worked out again.
Files are written by rename and read whole, so processes need no lock. The folder is parted in sixteen; each part keeps within
its share of the bound by letting go what was not used for longest.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from toolbench.errors import OutputError
from toolbench.files import write_bytes
from toolbench.logs.kept.container import Kept, pack, unpack

BOUND_BYTES = 1_000_000_000
"""What is kept at most, on the disk."""

PLACE = "reduced"
"""Subfolder of the cache folder that holds everything; nothing outside it is ever touched."""

PARTS = "0123456789abcdef"
_KEPT = re.compile(r"[0-9a-f]{63}\.(?:digest|start|run)\Z")
_LEFT = re.compile(r"\.[0-9a-f]{30,}.*\.part\Z")
"""A temporary neighbour whose writer was ended between writing and renaming."""

_LEFT_AFTER_S = 3600.0
_USED_AFTER_S = 600.0
"""A file is marked as used at most this often [s], so that reading seldom writes."""


@dataclass(frozen=True, slots=True)
class Held:
    """What a cache folder holds: files by kind, bytes on the disk, the bound."""

    folder: Path
    counts: dict[str, int]
    size: int
    bound: int


def cache_folder() -> Path | None:
    """The user's cache folder for toolbench: `$TOOLBENCH_CACHE`, else where the platform has it; None: nothing is kept.

    `TOOLBENCH_CACHE=off` keeps nothing.
    """
    stated = os.environ.get("TOOLBENCH_CACHE", "")
    if stated:
        return None if stated == "off" else Path(stated).absolute()
    try:
        return _platform_folder() / "toolbench"
    except RuntimeError:  # no home
        return None


def _platform_folder() -> Path:
    if sys.platform == "win32":
        local = os.environ.get("LOCALAPPDATA", "")
        return Path(local) if local else Path.home() / "AppData" / "Local"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    stated = os.environ.get("XDG_CACHE_HOME", "")
    # A relative one is to be passed over (XDG Base Directory Specification).
    return Path(stated) if Path(stated).is_absolute() else Path.home() / ".cache"


@dataclass(slots=True)
class Store:
    """Kept things by kind and key (sha256 in hexadecimal). Nothing here raises because of the disk."""

    folder: Path
    bound: int = BOUND_BYTES
    writable: bool = field(default=True, init=False)
    """False after the first write that failed: an unwritable or full disk is not tried again for every recording."""

    def path(self, kind: str, key: str) -> Path:
        return self.folder / PLACE / key[0] / f"{key[1:]}.{kind}"

    def get(self, kind: str, key: str) -> Kept | None:
        """What was kept, or None where there is nothing whole under this key."""
        path = self.path(kind, key)
        try:
            found = path.stat()
            # A pipe would be waited for, and what is larger than a part may be was not written here.
            if not stat.S_ISREG(found.st_mode) or found.st_size > self.bound // len(PARTS):
                return None
            used = found.st_mtime
            kept = unpack(key, path.read_bytes())
        except OSError:
            return None
        if kept is not None and time.time() - used > _USED_AFTER_S:
            with contextlib.suppress(OSError):
                os.utime(path)
        return kept

    def put(self, kind: str, key: str, kept: Kept) -> None:
        """Keep it, if it can be kept."""
        if not self.writable:
            return
        try:
            data = pack(key, kept)
        except (TypeError, ValueError):
            return  # nothing of JSON and float64: it is worked out each time
        try:
            write_bytes(self.path(kind, key), data, durable=False)
        except OutputError:
            self.writable = False
            return
        if key.endswith("0"):  # every sixteenth write on average, however few a process makes
            self.prune(key[0])

    def prune(self, part: str) -> None:
        """Bring one of the sixteen parts within its share of the bound: what was not used for longest goes first."""
        found = sorted((state.st_mtime, room_of(state), path) for path, state in _files(self.folder, part))
        left = sum(size for _, size, _ in found)
        for used, size, path in found:
            is_old = path.name.startswith(".") and time.time() - used > _LEFT_AFTER_S
            if left <= self.bound // len(PARTS) and not is_old:
                continue
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
                left -= size

    def held(self) -> Held:
        """Count what is there."""
        counts: dict[str, int] = {"run": 0, "start": 0, "digest": 0}
        size = 0
        for path, state in self._everything():
            size += room_of(state)
            if not path.name.startswith("."):
                counts[path.suffix[1:]] += 1
        return Held(self.folder, counts, size, self.bound)

    def clear(self) -> Held:
        """Remove what was kept, and nothing else; say what went."""
        counts: dict[str, int] = {"run": 0, "start": 0, "digest": 0}
        size = 0
        for path, state in list(self._everything()):
            try:
                path.unlink()
            except OSError:
                continue  # gone already, or not ours to remove: not counted
            size += room_of(state)
            if not path.name.startswith("."):
                counts[path.suffix[1:]] += 1
        for folder in (*(self.folder / PLACE / part for part in PARTS), self.folder / PLACE):
            with contextlib.suppress(OSError):  # a folder that holds anything else stays
                folder.rmdir()
        return Held(self.folder, counts, size, self.bound)

    def _everything(self) -> Iterator[tuple[Path, os.stat_result]]:
        for part in PARTS:
            yield from _files(self.folder, part)


def _files(folder: Path, part: str) -> Iterator[tuple[Path, os.stat_result]]:
    """The regular files of one part that bear our names. A folder that is a link is not followed."""
    place = folder / PLACE / part
    try:
        if place.is_symlink() or place.parent.is_symlink():
            return
        with os.scandir(place) as entries:
            for entry in entries:
                if not (_KEPT.match(entry.name) or _LEFT.match(entry.name)):
                    continue
                with contextlib.suppress(OSError):
                    state = entry.stat(follow_symlinks=False)
                    if stat.S_ISREG(state.st_mode):
                        yield place / entry.name, state
    except OSError:
        return


def room_of(state: os.stat_result) -> int:
    """Bytes that a file takes on the disk."""
    blocks: int | None = getattr(state, "st_blocks", None)
    return -(-state.st_size // 4096) * 4096 if blocks is None else max(blocks * 512, state.st_size)


_stores: dict[Path, Store] = {}


def open_store() -> Store | None:
    """The store of this user, one per folder and process; None where nothing is to be kept."""
    folder = cache_folder()
    if folder is None:
        return None
    return _stores.setdefault(folder, Store(folder))
