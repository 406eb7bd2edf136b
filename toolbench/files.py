"""The only room that writes: whole files by rename, sha256 digests, and a lock for an output folder."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from toolbench.errors import Fault, OutputError


def digest(path: Path) -> str:
    """sha256 of a file's bytes, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def digest_bytes(data: bytes) -> str:
    """sha256 of bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def write_bytes(path: Path, data: bytes) -> None:
    """Write a whole file or nothing: a temporary neighbour, then a rename. Raises OutputError."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            umask = os.umask(0)
            os.umask(umask)
            Path(name).chmod(0o666 & ~umask)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise OutputError(Fault(f"cannot be written: {error.strerror}", file=str(path))) from error


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 without mark and with LF line ends, whole or not at all."""
    write_bytes(path, text.encode("utf-8"))


def write_json(path: Path, value: object) -> None:
    """Write JSON with sorted keys and shortest round-trip numbers; nan and infinity are refused, use None."""
    write_text(path, json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n")


def _process_started(pid: int) -> str:
    """The kernel's start time of a process, so a reused number is not mistaken for the old owner; empty where unknown."""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()[19]
    except (OSError, IndexError):
        return ""


def _is_alive(pid: int, started: str) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return not started or _process_started(pid) == started


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold an output folder for one process. Raises OutputError that names the other; a dead owner's lock is taken over."""
    folder.mkdir(parents=True, exist_ok=True)
    lock = folder / ".toolbench.lock"
    mine = f"{os.getpid()} {_process_started(os.getpid())}"
    for _ in range(2):
        try:
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
        except FileExistsError:
            try:
                pid, _, started = lock.read_text(encoding="ascii").strip().partition(" ")
            except OSError:
                continue
            if pid.isdigit() and _is_alive(int(pid), started):
                raise OutputError(
                    Fault(
                        f"another toolbench (process {pid}) is writing here",
                        file=str(folder),
                        mend="wait until it ends, or choose another folder with -o",
                    )
                ) from None
            lock.unlink(missing_ok=True)
            continue
        with os.fdopen(handle, "w", encoding="ascii") as stream:
            stream.write(mine)
        break
    else:
        raise OutputError(Fault("the lock of this folder cannot be taken", file=str(lock)))
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)
