"""What a file is by its first bytes, and the readers of others that are installed."""

from __future__ import annotations

import contextlib
import math
import os
import stat
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbench.logs.doors.recorded import Part, Recorded, RecordedColumn
from toolbench.logs.source import refusal
from toolbench.records.findings import Finding

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

GROUP = "toolbench.readers"
TEXT_SUFFIXES = frozenset((".csv", ".tsv", ".txt", ".asc", ".log", ".prn", ""))


@dataclass(frozen=True, slots=True)
class Container:
    """A format that toolbench reads by itself: its name, the suffixes it goes by, and what opens it."""

    name: str
    suffixes: tuple[str, ...]
    parts: Callable[[Path], tuple[Part, ...]]


def _parquet(path: Path) -> tuple[Part, ...]:
    from toolbench.logs.doors.columnar import parquet_parts

    return parquet_parts(path)


def _arrow(path: Path) -> tuple[Part, ...]:
    from toolbench.logs.doors.columnar import arrow_parts

    return arrow_parts(path)


def _tdms(path: Path) -> tuple[Part, ...]:
    from toolbench.logs.doors.tdms import tdms_parts

    return tdms_parts(path)


def _mdf(path: Path) -> tuple[Part, ...]:
    from toolbench.logs.doors.mdf import mdf_parts

    return mdf_parts(path)


_PARQUET = Container("Parquet", (".parquet", ".pq"), _parquet)
_ARROW = Container("Arrow IPC", (".feather", ".arrow", ".ipc", ".arrows", ".ftr"), _arrow)
_TDMS = Container("TDMS", (".tdms",), _tdms)
_MDF = Container("MDF", (".mf4", ".mdf", ".mf3", ".dat"), _mdf)
_MAGIC: tuple[tuple[bytes, Container], ...] = (
    (b"PAR1", _PARQUET),
    (b"ARROW1", _ARROW),
    (b"FEA1", _ARROW),
    (b"\xff\xff\xff\xff", _ARROW),
    (b"TDSm", _TDMS),
    (b"MDF     ", _MDF),
    (b"UnFinMF ", _MDF),
)
# Files that people try and that hold no text: a sentence for each, unless a reader of others takes it.
_FOREIGN: tuple[tuple[bytes, str, str], ...] = (
    (b"PARE", "a Parquet file with an encrypted footer", "write it without encryption"),
    (b"TDSh", "the index of a TDMS file", "name the .tdms file beside it"),
    (b"PK\x03\x04", "a ZIP archive, perhaps a workbook (.xlsx)", "save the sheet as CSV, or unpack the archive first"),
    (b"\xd0\xcf\x11\xe0", "an old workbook (.xls) or another OLE file", "save the sheet as CSV"),
    (b"\x89HDF\r\n", "an HDF5 file", "export the recording as CSV or Parquet"),
    (b"MATLAB 5.0 MAT", "a MAT file", "export the recording as CSV or Parquet"),
    (b"\x1f\x8b", "compressed by gzip", "unpack it first"),
    (b"(\xb5/\xfd", "compressed by zstd", "unpack it first"),
    (b"\xfd7zXZ\0", "compressed by xz", "unpack it first"),
    (b"BZh91AY", "compressed by bzip2", "unpack it first"),
    (b"SQLite format 3\0", "an SQLite database", "export the recording as CSV"),
    (b"%PDF-", "a PDF", "export the recording as CSV"),
)
# Bytes that text has none of: a first column called PAR1 makes no Parquet file.
_CONTROL = frozenset(range(9)) | frozenset(range(14, 26)) | frozenset(range(27, 32))
OWN_SUFFIXES = {suffix: c for c in (_PARQUET, _ARROW, _TDMS, _MDF) for suffix in c.suffixes if suffix != ".dat"}


def find_container(path: Path) -> Container | None:
    """The reader for a file that is no text, None for text and for what the text reader has a sentence for.

    Raises
    ------
    RecordingError
        The file is of a known kind that is not read, or its plug-in cannot be loaded.
    """
    head = _head(path)
    binary = bool(_CONTROL.intersection(head))
    for magic, container in _MAGIC:
        if binary and head.startswith(magic) and (container is not _ARROW or _is_arrow(head)):
            return container
    suffix = path.suffix.lower()
    if suffix not in TEXT_SUFFIXES and suffix not in OWN_SUFFIXES and head:
        point = _installed().get(suffix[1:])
        if point is not None:
            return Container(f"plug-in {point.name}", (suffix,), lambda where: _of_plugin(where, point))
    for magic, what, mend in _FOREIGN:
        if head.startswith(magic) and (binary or len(magic) > 4):
            raise refusal(str(path), f"is {what}, which is not read", mend=mend)
    return None


def suffix_differs(path: Path, container: str = "text", suffixes: Sequence[str] = ()) -> tuple[Finding, ...]:
    """A note where a file's suffix says something else than its bytes."""
    suffix = path.suffix.lower()
    named = OWN_SUFFIXES.get(suffix)
    foreign = suffix not in suffixes and (named is not None or (suffixes and suffix in (".csv", ".tsv", ".txt")))
    if not foreign:
        return ()
    message = f"the file is named {suffix} and holds {container}; it is read as what it holds"
    return (Finding(code="suffix-differs", severity="note", kind="data", message=message, file=path.name),)


def is_no_text(path: Any) -> bool:
    """Whether a recording is to be read through a door: what is no path, and files with other bytes than text."""
    return not isinstance(path, (str, os.PathLike)) or find_container(Path(path)) is not None


def _is_arrow(head: bytes) -> bool:
    """A stream of Arrow begins with a mark of ones, which junk may be too, and the length of its schema, a multiple of 8."""
    length = int.from_bytes(head[4:8], "little")
    return not head.startswith(b"\xff") or (0 < length < 1 << 28 and length % 8 == 0)


def _head(path: Path) -> bytes:
    """The first bytes of a regular file; b"" for anything else, which the caller has sentences for."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return b""
        with path.open("rb") as stream:
            return stream.read(32)
    except (OSError, ValueError):
        return b""


@lru_cache(maxsize=1)
def _installed() -> dict[str, EntryPoint]:
    """Readers of others, by suffix without the dot."""
    from importlib.metadata import entry_points

    return {point.name.lower().lstrip("."): point for point in entry_points(group=GROUP)}


def is_read_by_others(path: Path) -> bool:
    """Whether a file of this name may go to a reader of others, of whose code nothing is known here."""
    suffix = path.suffix.lower()
    return suffix not in TEXT_SUFFIXES and suffix not in OWN_SUFFIXES and suffix[1:] in _installed()


def _of_plugin(path: Path, point: EntryPoint) -> tuple[Part, ...]:
    """What a reader of others gives. No parts: it says that the file is none of its own."""
    whose = f"the reader {point.name!r}" + (f" of {point.dist.name}" if point.dist else "") + f" ({point.value})"
    file = str(path)
    try:
        # What it prints does not belong into what is asked for here, which may be JSON.
        with contextlib.redirect_stdout(sys.stderr):
            found = point.load()(path)
    except (Exception, SystemExit) as error:  # noqa: BLE001  (anything may go wrong in somebody else's code)
        said = (str(error).strip().splitlines() or [""])[0]
        raise refusal(
            file,
            f"{whose} failed: {type(error).__name__}" + (f": {said}" if said else ""),
            mend="tell its author, or export the recording as CSV",
        ) from None
    if found is None:
        return ()
    if not isinstance(found, Recorded) or not _is_whole(found):
        raise refusal(
            file,
            f"{whose} gave {_seen(found)}, not a Recorded with columns of one length",
            mend="tell its author: toolbench.logs.doors.recorded says what a reader gives",
        )
    names = tuple(column.name for column in found.columns)
    return (Part(label="", names=names, load=lambda: found),)


def _is_whole(found: Recorded) -> bool:
    try:
        columns = tuple(found.columns)
        lengths = {len(column.values) for column in columns}
        good = all(
            isinstance(c, RecordedColumn) and isinstance(c.name, str) and isinstance(c.unit, str) for c in columns
        )
        flat = all(np.ndim(column.values) == 1 for column in columns)
        clock = found.clock is None or 0 <= found.clock < len(columns)
        rate = found.rate_hz is None or 0 < found.rate_hz < math.inf
        said = (found.container, found.start, *found.metadata, *found.remarks, *found.doubts)
        texts = all(isinstance(text, str) for text in said)
    except Exception:  # noqa: BLE001  (columns of somebody else's making may raise anything when looked at)
        return False
    return good and flat and texts and clock and rate and len(lengths) == 1 and lengths != {0}


def _seen(found: Any) -> str:
    if not isinstance(found, Recorded):
        return f"a {type(found).__name__}"
    try:
        return f"columns of {', '.join(str(len(column.values)) for column in found.columns)} rows"
    except Exception:  # noqa: BLE001
        return "columns of the wrong kind"
