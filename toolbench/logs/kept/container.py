"""One kept thing as bytes: facts as JSON and arrays of float64, with a checksum of all of it inside.

    toolbench kept 1\\n | sha256 of all that follows (32 bytes) | length of the head (8 bytes) | head, padded to 8 | arrays

The head is JSON (nan and infinity allowed) and names the key that the bytes were kept under, so neither a file cut short nor
one that was moved answers for another. Reading never runs anything: there is no pickle.
"""

from __future__ import annotations

import hashlib
import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbench.records.runs import Floats

MAGIC = b"toolbench kept 1\n"
_LENGTH = struct.Struct("<Q")
_START = len(MAGIC) + 32


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """Facts (whatever JSON holds) and arrays, shape (n,) each."""

    facts: Mapping[str, Any]
    arrays: Sequence[Floats] = ()


def pack(key: str, kept: Kept) -> bytes:
    """Bytes to keep under `key`. Raises TypeError or ValueError for what JSON or float64 cannot hold exactly."""
    for array in kept.arrays:
        if array.dtype != np.float64 or array.ndim != 1:
            raise ValueError(f"an array of {array.dtype} with {array.ndim} axes cannot be kept")
    head = {"key": key, "lengths": [len(array) for array in kept.arrays], "facts": kept.facts}
    text = json.dumps(head, ensure_ascii=False, separators=(",", ":"), default=_plain).encode("utf-8")
    text += b" " * (-len(text) % 8)
    body = b"".join(
        [_LENGTH.pack(len(text)), text, *(array.astype("<f8", copy=False).tobytes() for array in kept.arrays)]
    )
    return MAGIC + hashlib.sha256(body).digest() + body


def unpack(key: str, data: bytes) -> Kept | None:
    """What `pack` was given, or None for bytes that are damaged, cut, of another format or of another key."""
    body = memoryview(data)[_START:]
    if not data.startswith(MAGIC) or hashlib.sha256(body).digest() != data[len(MAGIC) : _START]:
        return None
    # The checksum holds: from here on the bytes are as they were packed.
    (length,) = _LENGTH.unpack_from(body)
    head = json.loads(str(body[_LENGTH.size : _LENGTH.size + length], "utf-8"))
    if head["key"] != key:
        return None
    arrays: list[Floats] = []
    at = _LENGTH.size + length
    for count in head["lengths"]:
        # A copy: it lies in memory as a fresh array does, and the bytes of the file are let go.
        arrays.append(np.frombuffer(body, dtype="<f8", count=count, offset=at).astype(np.float64))
        at += 8 * count
    return Kept(head["facts"], arrays)


def _plain(value: Any) -> Any:
    """numpy's own numbers as Python's, bit for bit."""
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"{type(value).__name__} cannot be kept")
