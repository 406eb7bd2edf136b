"""Time stamps of any spelling as fields: year, month, day, hour and so on, read for the whole column at once.

Cells that differ only in their digits have one shape ("00/00/0000 00:00"). A shape is understood once, by a grammar or by the
format that is stated; the digits of all its cells are then turned into numbers together. What the fields mean where they can mean
two things (day or month, decimals or counts) is decided elsewhere, on the whole column.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from toolbench.logs.clocks.stamp_grammar import Shape, of_form

Integers = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Bytes = npt.NDArray[np.uint8]

_WIDEST = 96
_PASSES = 48


@dataclass(slots=True)
class Fields:
    """Numbers of every stamp, by role; 0 where a stamp lacks the field. `good` says which cells were understood."""

    rows: int
    values: dict[str, Integers] = field(default_factory=dict)
    good: Mask = field(default_factory=lambda: np.empty(0, dtype=np.bool_))
    date: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    half: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    digits: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    """Digits of the fraction."""
    offset: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    """Seconds that the stamp's own zone is ahead of UTC; meaningful where `zoned`."""
    zoned: Mask = field(default_factory=lambda: np.empty(0, dtype=np.bool_))
    negative: Mask = field(default_factory=lambda: np.empty(0, dtype=np.bool_))
    """Which stamps lie before the zero of an elapsed time."""
    shape: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    shapes: list[Shape | None] = field(default_factory=list)

    def __getitem__(self, role: str) -> Integers:
        found = self.values.get(role)
        return np.zeros(self.rows, dtype=np.int64) if found is None else found

    def has(self, role: str) -> bool:
        """Whether any stamp carries the field."""
        return role in self.values

    @property
    def sign(self) -> Integers:
        """-1 for stamps before the zero of an elapsed time, else 1."""
        return np.where(self.negative, -1, 1)

    def keep(self, mask: Mask) -> Fields:
        """Only the rows where the mask is True."""
        kept = Fields(int(mask.sum()), {role: values[mask] for role, values in self.values.items()})
        for name in ("good", "date", "half", "digits", "offset", "zoned", "negative", "shape"):
            setattr(kept, name, getattr(self, name)[mask])
        kept.shapes = self.shapes
        return kept


def empty_fields(rows: int) -> Fields:
    """Fields of stamps that say nothing yet."""
    zeros = np.zeros(rows, dtype=np.int64)
    return Fields(
        rows,
        good=np.ones(rows, dtype=np.bool_),
        date=zeros.copy(),
        half=zeros - 1,
        digits=zeros.copy(),
        offset=zeros.copy(),
        zoned=np.zeros(rows, dtype=np.bool_),
        negative=np.zeros(rows, dtype=np.bool_),
        shape=zeros - 1,
    )


def read_fields(cells: Any, stated: str | None = None) -> Fields:
    """The fields of all stamps.

    Parameters
    ----------
    cells : sequence or Series of str
        Stamps as written.
    stated : str, optional
        The format, with the codes of strptime; `%L` is a count of milliseconds, where `%f` is a decimal fraction.
    """
    matrix = _matrix(cells)
    fields = empty_fields(len(matrix))
    fields.good[:] = False
    for shape, rows in _shapes(matrix, stated):
        fields.shape[rows] = len(fields.shapes)
        fields.shapes.append(shape)
        if shape is not None:
            _fill(fields, shape, rows, matrix)
    return fields


def _matrix(cells: Any) -> npt.NDArray[np.uint8]:
    """One row of bytes per cell, filled with zeros to a multiple of eight."""
    laid = laid_out(cells) if hasattr(cells, "dtype") else None
    if laid is not None:
        data, size = laid
        matrix = np.zeros((len(cells), max(8, -(-min(size, _WIDEST) // 8) * 8)), dtype=np.uint8)
        matrix[:, : min(size, _WIDEST)] = data.reshape(-1, size)[:, :_WIDEST]
        return matrix
    joined = "\n".join(cells)
    if joined.count("\n") != len(cells) - 1:
        joined = "\n".join(cell.replace("\n", " ") for cell in cells)
    data = np.frombuffer(joined.encode("utf-8", errors="replace") + b"\n", dtype=np.uint8)
    ends = np.flatnonzero(data == 10)
    starts = np.concatenate(([0], ends[:-1] + 1))
    lengths = np.minimum(ends - starts, _WIDEST)
    width = max(8, -(-int(lengths.max(initial=1)) // 8) * 8)
    matrix = np.zeros((len(starts), width), dtype=np.uint8)
    if len(lengths) and lengths.min() == lengths.max():
        size = int(lengths[0])
        matrix[:, :size] = data.reshape(len(starts), -1)[:, :size]
        return matrix
    padded = np.concatenate((data, np.zeros(width, dtype=np.uint8)))
    for place in range(width):
        inside = place < lengths
        matrix[inside, place] = padded[starts[inside] + place]
    return matrix


def laid_out(cells: Any) -> tuple[Bytes, int] | None:
    """The bytes of a column of text end to end and the width of a cell; None where widths differ or a cell is missing."""
    array = pa.array(cells)
    if isinstance(array, pa.ChunkedArray):
        array = array.combine_chunks()
    if not len(array) or array.null_count or array.type not in (pa.string(), pa.large_string()):
        return None
    kind = np.int64 if array.type == pa.large_string() else np.int32
    _, offsets, data = array.buffers()
    edges = np.frombuffer(offsets, dtype=kind)[array.offset : array.offset + len(array) + 1]
    width = int(edges[1] - edges[0])
    if width == 0 or int(edges[-1] - edges[0]) != width * len(array) or not (np.diff(edges) == width).all():
        return None
    return np.frombuffer(data, dtype=np.uint8)[edges[0] : edges[-1]], width


def _shapes(matrix: npt.NDArray[np.uint8], stated: str | None) -> Iterator[tuple[Shape | None, npt.NDArray[np.intp]]]:
    """Every shape with the rows that have it, in order of appearance."""
    form = matrix.copy()
    form[(matrix >= 48) & (matrix <= 57)] = 48
    words = form.view(np.uint64)
    left = np.arange(len(matrix))
    for _ in range(_PASSES):
        if not len(left):
            return
        first = words[left[0]]
        same = words[left, 0] == first[0]
        for place in range(1, words.shape[1]):
            same &= words[left, place] == first[place]
        yield _of_bytes(form[left[0]], stated), left[same]
        left = left[~same]
    rest, inverse = np.unique(words[left], axis=0, return_inverse=True)
    for number, row in enumerate(rest):
        yield _of_bytes(row.view(np.uint8), stated), left[inverse.reshape(-1) == number]


def _of_bytes(form: npt.NDArray[np.uint8], stated: str | None) -> Shape | None:
    return of_form(form.tobytes().rstrip(b"\0").decode("utf-8", errors="replace"), stated)


def _fill(fields: Fields, shape: Shape, rows: npt.NDArray[np.intp], matrix: npt.NDArray[np.uint8]) -> None:
    """Enter the digits of all cells of one shape."""
    every = len(rows) == fields.rows
    cells = matrix if every else matrix[rows]
    for role, (start, end) in shape.spans.items():
        number = np.zeros(len(rows), dtype=np.int64)
        for place in range(start, end):
            number *= 10
            number += cells[:, place] - np.uint8(48)
        fields.values.setdefault(role, np.zeros(fields.rows, dtype=np.int64))[rows] = number
    if shape.month:
        fields.values.setdefault("M", np.zeros(fields.rows, dtype=np.int64))[rows] = shape.month
    for role in ("Y", "c"):
        start, end = shape.spans.get(role, (0, 4))
        if end - start == 2:
            years = fields.values[role][rows]
            fields.values[role][rows] = years + np.where(years < 70, 2000, 1900)
    fields.good[rows] = True
    fields.date[rows] = shape.date
    fields.half[rows] = shape.half
    start, end = shape.spans.get("f", (0, 0))
    fields.digits[rows] = end - start
    fields.negative[rows] = shape.negative
    fields.zoned[rows] = bool(shape.sign) or shape.zone == "UTC"
    if shape.sign:
        fields.offset[rows] = shape.sign * (fields["zh"][rows] * 3600 + fields["zm"][rows] * 60)
