"""The bytes of one recording: what the file is, its first and last kilobytes, and the refusals before any parsing."""

from __future__ import annotations

import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolbench.errors import Fault, RecordingError

HEAD_SIZES = (16_384, 262_144, 4_194_304)
TAIL_SIZE = 65_536
LONGEST_QUOTE = 60
# A quote as repr writes it: what is inside never holds the sign that closes it, unless behind a backslash.
_QUOTED = re.compile(r"""(?<![\w'"])(['"])((?:\\.|(?!\1)[^\\])*)\1""", re.S)
_WORD = re.compile(r"\S{200,}")


@dataclass(frozen=True, slots=True)
class Source:
    """A regular, readable, non-empty file: its state when opened, the first bytes of it and the last."""

    path: Path
    size: int
    state: tuple[int, ...]
    tail: bytes

    @property
    def name(self) -> str:
        """The path as it was given, for messages."""
        return str(self.path)

    def head(self, size: int) -> bytes:
        """The first `size` bytes."""
        with self.path.open("rb") as stream:
            found = stream.read(size)
        if len(found) < min(size, self.size):
            raise changed(self.name)
        return found

    def everything(self) -> bytes:
        """All bytes. The careful way of reading needs them, and rows with odd cells."""
        return self.path.read_bytes()

    def for_parser(self) -> Any:
        """What the parser reads from: a path, or an open stream."""
        return self.path

    def refuse_if_changed(self) -> None:
        """Raises RecordingError when the file is not what it was when reading began."""
        if _state(self.path.stat()) != self.state:
            raise changed(self.name)


def _state(seen: os.stat_result) -> tuple[int, ...]:
    """What tells one content of a file from another: a copy with the size and the date of the first has another inode or ctime."""
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns


def changed(file: str) -> RecordingError:
    """The refusal of a file that was written to while it was read."""
    return refusal(file, "changed while it was read", mend="read it again when the logger has closed it")


def lost(path: str | os.PathLike[str], error: OSError) -> RecordingError:
    """The refusal of a file that could be opened, and then was removed, replaced by a folder, or failed to be read."""
    said = error.strerror or str(error)
    return refusal(
        str(path), f"could not be read to its end: {said}", mend="see that it stays in place while it is read"
    )


def refusal(
    file: str,
    message: str,
    *,
    line: int | None = None,
    key: str | None = None,
    mend: str | None = None,
    code: str = "",
) -> RecordingError:
    """A RecordingError with one fault: what was seen, where, and what would be right.

    Cells and names that it quotes are cut: a cell may be as long as the file.
    """
    mend = None if mend is None else with_short_quotes(mend)
    return RecordingError(Fault(with_short_quotes(message), file=file, line=line, key=key, mend=mend, code=code))


def with_short_quotes(text: str) -> str:
    """A sentence in which nothing that stands in quotes, and no single word, is longer than a line can show.

    >>> with_short_quotes(f"column {'x' * 1000!r} is empty")
    "column 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx...' is empty"
    """
    if len(text) <= LONGEST_QUOTE:
        return text
    short = _QUOTED.sub(lambda found: found[1] + _cut(found[2]) + found[1], text)
    return _WORD.sub(lambda found: _cut(found[0]), short)


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST_QUOTE else text[: LONGEST_QUOTE - 3] + "..."


def open_source(path: str | os.PathLike[str]) -> Source:
    """Look at a file without parsing it.

    Raises
    ------
    RecordingError
        The file is missing, a folder, a pipe or device, may not be read, or is empty.
    """
    where = Path(path)
    try:
        state = where.stat()
        if stat.S_ISDIR(state.st_mode):
            raise refusal(str(where), "is a folder, not a recording", mend="name one file in it")
        if not stat.S_ISREG(state.st_mode):
            raise refusal(str(where), "is a pipe or a device, not a file", mend="save the recording to a file first")
        if state.st_size == 0:
            raise refusal(str(where), "is empty (0 bytes)", mend="export it again from the logger")
        with where.open("rb") as stream:
            stream.seek(max(0, state.st_size - TAIL_SIZE))
            tail = stream.read(TAIL_SIZE)
    except FileNotFoundError:
        raise refusal(str(where), "does not exist", mend=_neighbour(where)) from None
    except NotADirectoryError:
        raise refusal(str(where), "does not exist: a part of its path is a file, not a folder") from None
    except PermissionError:
        raise refusal(str(where), "may not be read", mend="give yourself the permission to read it") from None
    except (OSError, ValueError) as error:
        raise refusal(str(where), f"cannot be opened: {getattr(error, 'strerror', None) or error}") from None
    return Source(where, state.st_size, _state(state), tail)


def _neighbour(path: Path) -> str | None:
    """The nearest name in the same folder, if one is near."""
    from difflib import get_close_matches

    try:
        names = [entry.name for entry in path.parent.iterdir()]
    except OSError:
        return f"its folder {str(path.parent)!r} does not exist either"
    if path.name in names:
        return "it is a link to a file that is not there"
    near = get_close_matches(path.name, names, n=1)
    return f"did you mean {near[0]!r}?" if near else None
