"""A large file in pieces of whole lines, each of which the readers of a small file can take for one."""

from __future__ import annotations

import codecs
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from toolbench.logs.source import HEAD_SIZES, TAIL_SIZE, Source, refusal
from toolbench.logs.text.encoding import Encoding

PIECE_BYTES = 10_000_000
"""About the size of a piece; the careful way of reading takes some ten times as much while it looks at one."""

_LONGEST_LINE = 4
"""A line longer than this many pieces is no line of a table."""

_LOOKED_BACK = 200
"""Lines looked at for a place to cut."""

_LONE_CR = re.compile(rb"\r(?!\n)")


@dataclass(frozen=True, slots=True)
class Piece(Source):
    """Whole lines of a file as a source of their own. `first_line` is the line of the file that it begins with."""

    data: bytes = b""
    first_line: int = 1
    is_last: bool = True

    def head(self, size: int) -> bytes:
        return self.data[:size]

    def everything(self) -> bytes:
        return self.data

    def for_parser(self) -> io.BytesIO:
        return io.BytesIO(self.data)


def read_pieces(source: Source, encoding: Encoding) -> Iterator[tuple[Piece, Encoding]]:
    """The file from beginning to end, each piece with its encoding; wide encodings are handed over as UTF-8.

    The pieces are about equally long, so that the last one is as good a sample as the others.

    Raises
    ------
    RecordingError
        The file has no line ends, or is not as long as it was.
    """
    wide = encoding.name.startswith(("utf-16", "utf-32"))
    decoder = codecs.getincrementaldecoder(encoding.name)("replace") if wide else None
    each = -(-source.size // max(1, round(source.size / PIECE_BYTES)))
    mark = b"\n" if wide or b"\n" in source.head(HEAD_SIZES[-1]) else b"\r"
    line, left = 1, source.size
    rest = b""
    with source.path.open("rb") as stream:
        while left > 0:
            raw = _read(stream, min(each, left), source)
            left -= len(raw)
            data = rest + (raw if decoder is None else _as_utf8(decoder.decode(raw, final=left == 0), first=line == 1))
            cut = len(data) if left == 0 else last_line_end(data, mark)
            if cut == 0 and len(data) > _LONGEST_LINE * each:
                raise refusal(source.name, f"holds a line of more than {len(data)} bytes, which is no row", line=line)
            data, rest = data[:cut], data[cut:]
            if not data:
                continue
            tail = data[-TAIL_SIZE:]
            piece = Piece(source.path, len(data), source.state, tail, data=data, first_line=line, is_last=left == 0)
            yield piece, encoding if decoder is None else Encoding("utf-8")
            line += count_lines(data)


def _read(stream: BinaryIO, size: int, source: Source) -> bytes:
    raw = stream.read(size)
    if len(raw) < size:
        raise refusal(source.name, "was cut while it was read", mend="read it again when the logger has closed it")
    return raw


def _as_utf8(text: str, *, first: bool) -> bytes:
    return (text.removeprefix("\ufeff") if first else text).encode("utf-8", errors="replace")


def last_line_end(data: bytes, mark: bytes) -> int:
    """Where to cut: between two rows of numbers, as near to the end as may be; 0 where no line ends.

    Names of a second table, remarks and blank lines are judged by what stands around them, so they are kept together with it.
    """
    last = data.rfind(mark) + 1
    after, cut = b"", last
    for _ in range(_LOOKED_BACK):
        begin = data.rfind(mark, 0, max(cut - 1, 0)) + 1
        line = data[begin:cut]
        if cut < last and _is_like_a_row(line) and _is_like_a_row(after):
            return cut
        after, cut = line, begin
        if cut == 0:
            break
    return last


def _is_like_a_row(line: bytes) -> bool:
    digits = sum(48 <= sign <= 57 for sign in line)
    return digits > sum(65 <= (sign & 0xDF) <= 90 for sign in line)


def count_lines(data: bytes) -> int:
    """Line ends as an editor shows them: CR LF, CR CR LF, LF or CR is one."""
    if b"\r" not in data:
        return data.count(b"\n")
    plain = data.replace(b"\r\r\n", b"\n").replace(b"\r\n", b"\n")
    return plain.count(b"\n") + len(_LONE_CR.findall(plain))
