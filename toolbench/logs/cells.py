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
        "null",
        "none",
        "<no data>",
        "no data",
        "<na>",
        "***",
        "x",
        "-",
        "--",
        "---",
    )
)
# The spellings the parser is to take for a missing value in a column of numbers, in the cases that occur.
MISSING_SPELLINGS = sorted(
    {form for word in MISSING if word for form in (word, word.upper(), word.capitalize())}
    | {"NaN", "-NaN", "#N/A N/A", "<No Data>", "-1.#IND", "1.#QNAN"}
)
_BODY = {
    ".": r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?",
    ",": r"[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d{1,3})?",
}
NUMBER = {mark: re.compile(body + r"\Z") for mark, body in _BODY.items()}
GLUED = {mark: re.compile(f"({body})\\s*([^\\d\\s.,+-].*)\\Z") for mark, body in _BODY.items()}
_STAMP = re.compile(
    r"\d{4}-?\d\d-?\d\d[T ]\d\d:?\d\d|\d{4}-\d\d-\d\d\Z|\d{1,4}[./-]\d{1,2}[./-]\d{1,4}(?:[ T,]|\Z)|\d{1,2}:\d\d(?::\d\d)?"
)


def is_missing(cell: str) -> bool:
    """Whether a cell says that there is no value."""
    return cell.strip().lower() in MISSING


def is_stamp(cell: str) -> bool:
    """Whether a cell looks like a date, a clock time, or both."""
    return _STAMP.match(cell) is not None


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


def to_float(cell: str, mark: str) -> float | None:
    """The number in a cell, exact to the last printed digit; nan where the cell is missing, None where it is text."""
    text = cell.strip()
    if NUMBER[mark].match(text):
        return float(text.replace(",", "."))
    return float("nan") if is_missing(text) else None


def common_unit(cells: Sequence[str], mark: str) -> str:
    """The unit glued to every number of a column ("21.5C"), or "" where it is not the same everywhere."""
    units = set()
    for cell in cells:
        if not is_missing(cell):
            match = GLUED[mark].match(cell.strip())
            units.add(match[2] if match else "")
    return units.pop() if len(units) == 1 else ""
