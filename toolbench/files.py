"""The only room that writes: whole files by rename, sha256 digests, and a lock for an output folder."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import stat
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from toolbench.errors import Fault, OutputError


def read_regular(path: Path) -> bytes:
    """All bytes of a file. Raises OSError; a pipe or a device too, which could be waited for or read without end."""
    mode = path.stat().st_mode
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
        raise OSError(errno.EINVAL, "it is a pipe or a device, not a file", str(path))
    return path.read_bytes()


def digest(path: Path) -> str:
    """sha256 of a file's bytes, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def digest_bytes(data: bytes) -> str:
    """sha256 of bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def write_bytes(path: Path, data: bytes, *, durable: bool = True) -> None:
    """Write a whole file or nothing: a temporary neighbour, then a rename. Raises OutputError.

    With `durable` the bytes are on the disk before the rename, so that no loss of power leaves half of them; without, it is faster.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                if durable:
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
    lock = folder / ".toolbench.lock"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _take(lock, folder)
    except OSError as error:
        reason = "is a file; reports need a folder" if folder.is_file() else f"cannot be written: {error.strerror}"
        raise OutputError(Fault(reason, file=str(folder), mend="choose another folder with -o")) from error
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)


def _take(lock: Path, folder: Path) -> None:
    """Make the lock ours."""
    mine = f"{os.getpid()} {_process_started(os.getpid())}"
    for attempt in range(10):
        try:
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
        except FileExistsError:
            try:
                pid, _, started = lock.read_text(encoding="ascii").strip().partition(" ")
            except OSError:
                continue
            if not pid and attempt < 8:
                # Its owner has made it and is about to write its number, or died between the two.
                time.sleep(0.2)
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
        try:
            with os.fdopen(handle, "w", encoding="ascii") as stream:
                stream.write(mine)
        except OSError:
            lock.unlink(missing_ok=True)
            raise
        return
    raise OutputError(Fault("the lock of this folder cannot be taken", file=str(lock)))
