"""What one cell of a logger file is: a number under one decimal mark, a time stamp, nothing, or text."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

MISSING = frozenset(
    (
        "",
        "na",
        "n/a",
        "#n/a",
        "nan",
        "-nan",
        "+nan",
        "null",
        "none",
        "<no data>",
        "no data",
        "nodata",
        "<na>",
        "*",
        "**",
        "***",
        "****",
        "*****",
        "x",
        "?",
        "-",
        "--",
        "---",
        "----",
        "#n/a n/a",
        "-1.#ind",
        "1.#qnan",
        "#value!",
        "#div/0!",
        "missing",
        "no value",
    )
)
# The spellings the parser is to take for a missing value in a column of numbers, in the cases that occur.
MISSING_SPELLINGS = sorted(
    {form for word in MISSING if word for form in (word, word.upper(), word.capitalize())}
    | {"NaN", "-NaN", "+NaN", "#N/A N/A", "<No Data>", "-1.#IND", "1.#QNAN", "NoData", "No Data", "No Value"}
)
NUMBERS = "ipckKg"
"""Codes of cells that are numbers by themselves, without a unit behind them."""
GROUPS = "kKg"
"""Codes of numbers with a mark between thousands."""
_EXPONENT = r"(?:[eE][+-]?\d{1,3})?"
# Fortran writes D; only behind a decimal mark, so that "12D5" stays a code.
_WIDE_EXPONENT = r"(?:[eEdD][+-]?\d{1,3})?"
# A sign may stand in a column of its own, "+  21.0", and a minus be the typographic one.
_SIGN = r"(?:[+\u2212-] *)?"
# No two parts of a pattern may both match the same digits: a cell of 80,000 of them would take minutes.
_BODY = {
    mark: rf"{_SIGN}(?:\d+{_EXPONENT}|(?:\d+{sign}\d*|{sign}\d+){_WIDE_EXPONENT})"
    for mark, sign in ((".", r"\."), (",", ","))
}
NUMBER = {mark: re.compile(body + r"\Z") for mark, body in _BODY.items()}
_FORTRAN = {mark: re.compile(rf"({re.escape(mark)}\d*)[dD](?=[+-]?\d)") for mark in _BODY}
_LOOSE_SIGN = re.compile(r"(?<=[+-]) +(?=[\d.,])")
GLUED = {mark: re.compile(f"({body})\\s*([^\\d\\s.,+-].*)\\Z") for mark, body in _BODY.items()}
# Groups of three parted by another sign than the decimal mark: certain only where the cell shows both, or two groups.
_GAPS = r"(?:['’ \u00a0\u2009\u202f]\d{3})+"
GROUPED = {
    ".": re.compile(rf"[+-]?\d{{1,3}}(?:(?:,\d{{3}})+|{_GAPS})(?:\.\d*)?\Z"),
    ",": re.compile(rf"[+-]?\d{{1,3}}(?:(?:\.\d{{3}})+|{_GAPS})(?:,\d*)?\Z"),
}
_MONTH = r"(?:jan|feb|mar|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-zé]*\.?"
_STAMP_BODY = (
    r"\d{4}-?\d\d-?\d\d[T ]\d\d:?\d\d|\d{4}-\d\d-\d\d\Z|\d{1,4}[./-]\d{1,2}[./-]\d{1,4}(?:[ T,_]|\Z)"
    r"|[-+−]?\d{1,4}:\d\d(?::\d\d)?"
    rf"|\d{{1,2}}[ ./-]?{_MONTH}[ ./-]?\d{{2,4}}\b|{_MONTH} \d{{1,2}},? \d{{4}}\b|(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*,? (?:{_MONTH} )?\d"
    r"|\d{4}年\d{1,2}月\d{1,2}日"
)
_STAMP = re.compile(_STAMP_BODY, re.IGNORECASE)
_CELL = re.compile(
    rf"(?P<i>{_SIGN}\d+{_EXPONENT})\Z|(?P<p>{_SIGN}(?:\d+\.\d*|\.\d+){_WIDE_EXPONENT})\Z"
    rf"|(?P<c>{_SIGN}(?:\d+,\d*|,\d+){_WIDE_EXPONENT})\Z|(?P<s>{_STAMP_BODY})"
    rf"|(?P<k>[+-]?\d{{1,3}}(?:(?:,\d{{3}})+\.\d+|(?:,\d{{3}}){{2,}}|{_GAPS}\.\d*))\Z"
    rf"|(?P<K>[+-]?\d{{1,3}}(?:(?:\.\d{{3}})+,\d+|{_GAPS},\d*))\Z|(?P<g>[+-]?\d{{1,3}}{_GAPS})\Z",
    re.IGNORECASE,
)
_WITH_UNIT = re.compile(
    r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?\s*(?P<unit>[^\d\s.,+:/-][^\s,;]{0,7}(?: [CFK])?)\Z"
)


def is_missing(cell: str) -> bool:
    """Whether a cell says that there is no value."""
    return cell.strip().lower() in MISSING


def is_stamp(cell: str) -> bool:
    """Whether a cell looks like a date, a clock time, or both."""
    return _STAMP.match(cell) is not None


def cell_code(cell: str) -> str:
    """What a stripped cell is, whatever the decimal mark.

    One letter: i whole number, p with a point, c with a comma, k with groups of three parted by a comma (or, before
    a decimal point, by a blank or an apostrophe), K the same with a decimal comma, g without decimals, u with a unit behind it, s stamp,
    e missing, t text.
    """
    found = _CELL.match(cell)
    if found:
        return found.lastgroup or "t"
    if is_missing(cell):
        return "e"
    if cell[0] in "0123456789+-.," and (glued := _WITH_UNIT.match(cell)) and _is_unit(glued["unit"]):
        return "u"
    return "t"


def _is_unit(text: str) -> bool:
    from toolbench.logs.names import looks_like_unit

    return looks_like_unit(text)


def split_line(line: str, delimiter: str) -> list[str]:
    """Cells of one line, stripped; quotes are honoured, blanks as a delimiter collapse."""
    if delimiter == " ":
        return line.split()
    if '"' in line:
        try:
            return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])]
        except csv.Error:
            pass
    return [cell.strip() for cell in line.split(delimiter)]


def to_float(cell: str, mark: str, *, grouped: bool = False) -> float | None:
    """The number in a cell, exact to the last printed digit; nan where the cell is missing, None where it is text.

    With `grouped`, groups of three digits may be parted by another sign than the decimal mark.
    """
    text = cell.strip()
    if NUMBER[mark].match(text):
        return float(plain_number(text, mark))
    if is_missing(text):
        return float("nan")
    if grouped and GROUPED[mark].match(text):
        return float(re.sub(r"[^\d.+-]" if mark == "." else r"[^\d,+-]", "", text).replace(",", "."))
    return None


def plain_number(text: str, mark: str) -> str:
    """Numbers in a text as Python spells them: a decimal point, E for Fortran's D, no blank behind a sign."""
    if "D" in text or "d" in text:
        text = _FORTRAN[mark].sub(r"\1e", text)
    text = text.replace("\u2212", "-")
    if "+ " in text or "- " in text:
        text = _LOOSE_SIGN.sub("", text)
    return text.replace(",", ".") if mark == "," else text


def common_unit(cells: Sequence[str], mark: str) -> str:
    """The unit glued to every number of a column ("21.5C"), or "" where it is not the same everywhere."""
    units = set()
    for cell in cells:
        if not is_missing(cell):
            match = GLUED[mark].match(cell.strip())
            units.add(match[2] if match else "")
    return units.pop() if len(units) == 1 else ""
