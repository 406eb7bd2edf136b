"""The digest of a recording without reading it again: known by what the system says of the file.

An entry is trusted as version control trusts its index: device, inode, size and both times must be the same, and neither time
may have been near the moment of hashing, since a change within the resolution of the file system's clock would not show.
"""

from __future__ import annotations

import os
import stat
import time
from dataclasses import dataclass
from pathlib import Path

from toolbench.files import digest, digest_bytes
from toolbench.logs.kept.container import Kept
from toolbench.logs.kept.store import Store

NEAR_NS = 3_000_000_000
"""A file changed less than this before it was hashed is hashed again next time; the coarsest clock in use, FAT's, ticks every 2 s."""

State = tuple[int, int, int, int, int]


@dataclass(frozen=True, slots=True)
class Known:
    """A file in one state: device, inode, size and times as the system gives them, and the sha256 of its bytes.

    `is_settled`: it was not changed near the moment of hashing. Else it may have been written again since without a trace in
    its state, and what is then read of it may not be kept under this digest.
    """

    path: Path
    state: State
    digest: str
    is_settled: bool = True

    def is_as_it_was(self) -> bool:
        """Whether the file is still in this state."""
        return state_of(self.path) == self.state


def state_of(path: Path) -> State | None:
    """What tells one state of a regular file from another; None for anything else, and where there is none."""
    try:
        seen = os.stat(path)  # noqa: PTH116  (half the time of Path.stat, once per recording)
    except (OSError, ValueError):
        return None
    if not stat.S_ISREG(seen.st_mode):
        return None
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns


def find_digest(path: Path, store: Store) -> Known | None:
    """sha256 of a file as it is now, from the store where it is known; None where the file cannot be read undisturbed."""
    state = state_of(path)
    if state is None:
        return None
    # The path too: some file systems number their files anew whenever they are mounted.
    key = digest_bytes(repr((str(path.absolute()), state)).encode("utf-8", errors="surrogateescape"))
    kept = store.get("digest", key)
    if kept is not None:
        return Known(path, state, str(kept.facts["sha256"]))
    begun = time.time_ns()
    try:
        found = digest(path)
    except OSError:
        return None
    if state_of(path) != state:
        return None
    settled = begun - max(state[3], state[4]) > NEAR_NS
    if settled:
        store.put("digest", key, Kept({"sha256": found}))
    return Known(path, state, found, settled)
