"""Time stamps of any spelling as fields: year, month, day, hour and so on, read for the whole column at once.

Cells that differ only in their digits have one shape ("00/00/0000 00:00"). A shape is understood once, by a grammar or by the
format that is stated; the digits of all its cells are then turned into numbers together. What the fields mean where they can mean
two things (day or month, decimals or counts) is decided elsewhere, on the whole column.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

Integers = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Bytes = npt.NDArray[np.uint8]

NO_DATE, YEAR_FIRST, YEAR_LAST, DOTTED, SHORT_YEAR, NAMED, DAY_OF_YEAR = range(7)
ROLES = ("Y", "M", "D", "a", "b", "c", "h", "mi", "s", "f", "zh", "zm", "days")
_WIDEST = 96
_PASSES = 48

_MONTHS: dict[str, int] = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar janvier janv enero ene gennaio gen jän jänner",
            "feb february februar février févr fev fév febrero febbraio fevr fevrier",
            "mar march mär märz mrz mars marzo mrt maart marz maerz",
            "apr april avr avril abril abr aprile",
            "may mai mayo maggio mag mei maj",
            "jun june juni juin junio giugno giu",
            "jul july juli juil juillet julio luglio lug",
            "aug august août aout agosto ago augustus",
            "sep sept september septembre septiembre settembre set",
            "oct october okt oktober octobre octubre ottobre ott",
            "nov november novembre noviembre",
            "dec december dez dezember déc décembre decembre diciembre dic",
        ),
        1,
    )
    for name in names.split()
}
_DATE = r"""(?:
    (?P<Y1>0000)(?P<p1>[-/.\s])(?P<M1>00?)(?P=p1)(?P<D1>00?)
  | (?P<Y2>0000)(?P<M2>00)(?P<D2>00)
  | (?P<Y3>0000)年\s?(?P<M3>00?)月\s?(?P<D3>00?)日
  | (?P<a1>00?)(?P<p2>[-/.\s])\s?(?P<b1>00?)(?P=p2)\s?(?P<c1>0000|00)
  | (?P<D4>00?)[-/.\s]*(?P<mon1>[^\W\d_]{3,10})[-/.,\s]*(?P<Y4>0000|00)
  | (?P<mon2>[^\W\d_]{3,10})[-.\s]*(?P<D5>00?),?[-\s]+(?P<Y5>0000)
  | (?P<Y6>0000)[-/\s](?P<mon3>[^\W\d_]{3,10})[-/.\s]+(?P<D6>00?)
)"""
_HALF = r"[AaPp]\s?\.?\s?[Mm]\b\.?|午前|午後|上午|下午|오전|오후|[ap]\b"
_CLOCK = rf"""(?:
    (?P<half1>{_HALF})?\s*
    (?:
        (?:(?P<days>0{{1,5}})\s?(?:d|day|days|Tage?|[-.])[\s,:]*)?(?P<h1>0{{1,4}}):(?P<mi1>00?)(?::(?P<s1>00?))?(?:(?P<mark>[.,:;])(?P<f1>0{{1,12}}))?
      | (?P<h3>00?)[hH時]\s?(?P<mi3>00?)(?:[m分′']\s?(?:(?P<s3>00?)(?:[.,](?P<f3>0{{1,9}}))?\s?[s秒″"]*)?)?
    )
    (?:\s*(?P<half2>{_HALF}))?
)"""
_CLOCK_BEHIND_DATE = (
    r"(?:(?P<h2>00)(?P<mi2>00)(?:(?P<s2>00)(?:[.,](?P<f2>0{1,9}))?)?|(?P<h4>00?)(?P<p4>[-.])(?P<mi4>00)(?P=p4)(?P<s4>00)"
    r"(?:[.,](?P<f4>0{1,9}))?)"
)
_ZONE = r"\s*(?:(?P<zulu>[Zz])|(?:UTC|GMT)?\s*(?P<sign>[-+−])(?P<zh>00?):?(?P<zm>00)?(?:\s*\((?P<abbr2>[^()]*)\))?|[\[(]?(?P<abbr>[A-Z][A-Za-z]{1,4})[\])]?)?"
_WEEKDAY = r"(?:[^\W\d_]{2,10}\.?,?\s+)?"
_GRAMMAR = tuple(
    re.compile(pattern, re.VERBOSE)
    for pattern in (
        rf"{_WEEKDAY}{_DATE}(?:[T_,;:\-/\s]+(?:{_CLOCK}|{_CLOCK_BEHIND_DATE}){_ZONE})?",
        rf"{_CLOCK}{_ZONE}",
        rf"{_CLOCK}[,;\s]+{_DATE}",
        rf"{_WEEKDAY}(?P<mon4>[^\W\d_]{{3,10}})\s+(?P<D7>00?)\s+(?P<h5>00?):(?P<mi5>00):(?P<s5>00)(?:\.(?P<f5>0{{1,9}}))?\s+(?P<Y7>0000)",
        r"(?P<Y8>0000)(?P<M8>00)(?P<D8>00)(?P<h8>00)(?P<mi8>00)(?P<s8>00)?(?:[.,]?(?P<f8>0{1,9}))?",
    )
)
_CODES = {
    "Y": "(?P<Y>0000)",
    "y": "(?P<Y>00)",
    "m": "(?P<M>00?)",
    "d": "(?P<D>00?)",
    "b": r"(?P<mon>[^\W\d_]{3,10})\.?",
    "B": r"(?P<mon>[^\W\d_]{3,10})",
    "j": "(?P<D>0{1,3})",
    "H": "(?P<h>00?)",
    "I": "(?P<h>00?)",
    "M": "(?P<mi>00?)",
    "S": "(?P<s>00?)",
    "f": "(?P<f>0{1,9})",
    "L": "(?P<f>0{1,9})",
    "p": rf"(?P<half>{_HALF})",
    "z": r"(?:(?P<zulu>[Zz])|(?P<sign>[-+−])(?P<zh>00):?(?P<zm>00)?)",
    "Z": r"(?P<abbr>[A-Za-z]{1,5})?",
    "a": r"[^\W\d_]+\.?",
    "A": r"[^\W\d_]+",
    "%": "%",
}


def words(text: str) -> frozenset[str]:
    """Words parted by blanks."""
    return frozenset(text.split())


@dataclass(frozen=True, slots=True)
class Shape:
    """Where the fields of a stamp stand, in bytes, and what its letters say."""

    spans: Mapping[str, tuple[int, int]]
    date: int
    month: int = 0
    half: int = -1
    """0 before noon, 1 after it, -1 on a clock of 24 hours."""
    sign: int = 0
    zone: str = ""
    mark: str = ""
    """What stands in front of the fraction."""

    @property
    def manner(self) -> tuple[int, int, bool, bool]:
        """What must not change without a word: kind of date, kind of clock."""
        return self.date, min(self.half, 0), "h" in self.spans, bool(self.sign or self.zone)


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
    shape: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    shapes: list[Shape | None] = field(default_factory=list)

    def __getitem__(self, role: str) -> Integers:
        found = self.values.get(role)
        return np.zeros(self.rows, dtype=np.int64) if found is None else found

    def has(self, role: str) -> bool:
        """Whether any stamp carries the field."""
        return role in self.values

    def keep(self, mask: Mask) -> Fields:
        """Only the rows where the mask is True."""
        kept = Fields(int(mask.sum()), {role: values[mask] for role, values in self.values.items()})
        for name in ("good", "date", "half", "digits", "offset", "zoned", "shape"):
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


def understand(cell: str, stated: str | None = None) -> Shape | None:
    """What one stamp is, or None where it is none."""
    return _understand(re.sub(r"[0-9]", "0", cell.strip()), stated)


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
    return _understand(form.tobytes().rstrip(b"\0").decode("utf-8", errors="replace"), stated)


@lru_cache(maxsize=4096)
def _understand(text: str, stated: str | None) -> Shape | None:
    bare = text.strip(" \t\"'[]\u00a0\u202f")
    ahead = len(text[: text.find(bare)].encode())
    patterns = _GRAMMAR if stated is None else (_of_format(stated),)
    for pattern in patterns:
        match = pattern.fullmatch(bare)
        if match:
            shape = _to_shape(match, ahead, stated)
            if shape is not None:
                return shape
    return None


@lru_cache(maxsize=64)
def _of_format(stated: str) -> re.Pattern[str]:
    """The grammar that a stated format is. Raises ValueError where it holds a code that is unknown or comes twice."""
    parts = []
    for code, other in re.findall(r"%(.)|(\s+|[^%])", stated.replace("%T", "%H:%M:%S").replace("%F", "%Y-%m-%d")):
        if code and code not in _CODES:
            raise ValueError(f"%{code} is no code of a time stamp")
        parts.append(_CODES[code] if code else (r"\s+" if other.isspace() else re.escape(other)))
    try:
        return re.compile("".join(parts))
    except re.error:
        raise ValueError("a field stands in it twice") from None


def _to_shape(match: re.Match[str], ahead: int, stated: str | None) -> Shape | None:
    text = match.string
    found: dict[str, str] = {}
    spans: dict[str, tuple[int, int]] = {}
    for group, value in match.groupdict().items():
        if value is None:
            continue
        role = group if group in ROLES else group.rstrip("0123456789")
        found[role] = value
        if role in ROLES:
            start = ahead + len(text[: match.start(group)].encode())
            spans[role] = (start, start + len(value))
    month = 0
    if "mon" in found:
        month = _MONTHS.get(found["mon"].casefold().rstrip("."), 0)
        if not month:
            return None
    half = -1
    if "half" in found:
        half = int(found["half"][:1] in "Pp" or found["half"] in ("午後", "下午", "오후"))
    if "h" in spans and "s" not in spans and "f" in spans and found.get("mark") in (":", ";"):
        return None
    abbreviation = found.get("abbr", "")
    zone = "UTC" if "zulu" in found or abbreviation in ("UTC", "GMT", "Z") else abbreviation
    sign = {"": 0, "+": 1}.get(found.get("sign", ""), -1)
    mark = "L" if stated and "%L" in stated else found.get("mark", ".") if "f" in spans else ""
    return Shape(spans, _kind_of_date(found, spans, stated), month, half, sign, "" if sign else zone, mark)


def _kind_of_date(found: Mapping[str, str], spans: Mapping[str, Any], stated: str | None) -> int:
    if stated and "%j" in stated:
        return DAY_OF_YEAR
    if "mon" in found:
        return NAMED
    if "a" in spans:
        if found.get("p") == ".":
            return DOTTED
        return YEAR_LAST if len(found["c"]) == 4 else SHORT_YEAR
    return YEAR_FIRST if "D" in spans or "M" in spans else NO_DATE


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
    fields.zoned[rows] = bool(shape.sign) or shape.zone == "UTC"
    if shape.sign:
        fields.offset[rows] = shape.sign * (fields["zh"][rows] * 3600 + fields["zm"][rows] * 60)
