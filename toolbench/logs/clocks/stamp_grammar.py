"""The spellings of a time stamp: what a cell is whose digits are not looked at yet ("00/00/0000 00:00")."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from toolbench.logs.clocks.months import MONTHS

NO_DATE, YEAR_FIRST, YEAR_LAST, DOTTED, SHORT_YEAR, NAMED, DAY_OF_YEAR = range(7)
ROLES = ("Y", "M", "D", "a", "b", "c", "h", "mi", "s", "f", "zh", "zm", "days")

_DATE = r"""(?:
    (?P<Y1>0000)(?P<p1>[-/.\s])(?P<M1>00?)(?P=p1)(?P<D1>00?)
  | (?P<Y2>0000)(?P<M2>00)(?P<D2>00)
  | (?P<Y3>0000)年\s?(?P<M3>00?)月\s?(?P<D3>00?)日(?:\s?[(（]?[月火水木金土日](?:曜日?)?[)）]?(?=[\s\d]|$))?
  | (?P<a1>00?)(?P<p2>[-/.\s])\s?(?P<b1>00?)(?P=p2)\s?(?P<c1>0000|00)
  | (?P<D4>00?)[-/.\s]*(?:de\s+)?(?P<mon1>[^\W\d_]{3,12})[-/.,\s]*(?:de\s+)?(?P<Y4>0000|00)
  | (?P<mon2>[^\W\d_]{3,12})[-.\s]*(?P<D5>00?),?[-\s]+(?P<Y5>0000)
  | (?P<Y6>0000)[-/\s](?P<mon3>[^\W\d_]{3,12})[-/.\s]+(?P<D6>00?)
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
_WEEKDAY = r"(?:[^\W\d_]{2,13}(?:-feira)?\.?,?\s+)?"
_GRAMMAR = tuple(
    re.compile(pattern, re.VERBOSE)
    for pattern in (
        rf"{_WEEKDAY}{_DATE}(?:[T_,;:\-/\s]+(?:{_CLOCK}|{_CLOCK_BEHIND_DATE}){_ZONE})?",
        rf"(?P<minus>[-−+])?{_CLOCK}{_ZONE}",
        rf"{_CLOCK}[,;\s]+{_DATE}",
        rf"{_WEEKDAY}(?P<mon4>[^\W\d_]{{3,12}})\.?\s+(?P<D7>00?)[.,]?\s+{_CLOCK}{_ZONE}\s+(?P<Y7>0000)",
        rf"{_WEEKDAY}(?P<D9>00?)\.?\s+(?P<mon5>[^\W\d_]{{3,12}})\.?\s+{_CLOCK}{_ZONE}\s+(?P<Y9>0000)",
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
    negative: bool = False
    """Whether it stands before the zero of an elapsed time ("-0:00:01.5")."""
    mark: str = ""
    """What stands in front of the fraction."""

    @property
    def manner(self) -> tuple[int, int, bool, bool]:
        """What must not change without a word: kind of date, kind of clock."""
        return self.date, min(self.half, 0), "h" in self.spans, bool(self.sign or self.zone)


def understand(cell: str, stated: str | None = None) -> Shape | None:
    """What one stamp is, or None where it is none."""
    return of_form(re.sub(r"[0-9]", "0", cell.strip()), stated)


@lru_cache(maxsize=4096)
def of_form(text: str, stated: str | None) -> Shape | None:
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
        month = MONTHS.get(found["mon"].casefold().rstrip("."), 0)
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
    minus = found.get("minus", "+") != "+"
    mark = "L" if stated and "%L" in stated else found.get("mark", ".") if "f" in spans else ""
    return Shape(spans, _kind_of_date(found, spans, stated), month, half, sign, "" if sign else zone, minus, mark)


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
