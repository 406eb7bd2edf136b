"""Text made to fit where it is shown: signs that a stream lacks, columns of a table, lines of a terminal."""

from __future__ import annotations

import json
import re
import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Sequence

_SPELT = {
    "\u2212": "-", "\u2013": "-", "\u2009": " ", "\u202f": " ", "\u00a0": " ", "·": "*", "°": "deg ", "µ": "u", "μ": "u",
    "±": "+/-", "…": "...", "²": "2", "³": "3", "Ω": "ohm", "→": "->", "×": "x",
}  # fmt: skip
_QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"')


def stream_can(text: str) -> bool:
    """Whether standard output can show every sign of a text."""
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def spelt(text: str) -> str:
    """The text as standard output can show it: everyday signs are spelt in ASCII where it lacks them."""
    return text if stream_can(text) else "".join(s if stream_can(s) else _SPELT.get(s, s) for s in text)


def escaped_toml(text: str) -> str:
    """TOML with the signs that standard output lacks as escapes within its strings: a name is pasted as it is, or not at all."""
    return text if stream_can(text) else _QUOTED.sub(lambda match: _escaped(match[0]), text)


def _escaped(quoted: str) -> str:
    def one(sign: str) -> str:
        return sign if sign.isascii() else f"\\u{ord(sign):04x}" if ord(sign) < 0x10000 else f"\\U{ord(sign):08x}"

    return "".join(map(one, quoted))


def line_width() -> int | None:
    """Signs in a line of the terminal; None in a pipe or a file, where every line stays whole."""
    return max(shutil.get_terminal_size().columns, 30) if sys.stdout.isatty() else None


def display_width(text: str) -> int:
    """Cells that a text takes on a terminal: wide signs take two, marks above a letter none."""
    return sum(
        0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in text
    )


def shortened(text: str, width: int) -> str:
    """A text cut to so many cells, the cut shown."""
    if display_width(text) <= width:
        return text
    kept = ""
    for sign in text:
        if display_width(kept + sign) > width - 3:
            break
        kept += sign
    return kept + "..."


def padded(text: str, width: int, *, right: bool = False) -> str:
    blanks = " " * max(0, width - display_width(text))
    return blanks + text if right else text + blanks


def fact(label: str, text: str, width: int | None, *, indent: int = 10) -> str:
    """A labelled line, broken at words where a terminal is narrower, the rest under its beginning."""
    text = spelt(text)
    line = f"{label:<{indent}}{text}"
    if width is None or display_width(line) <= width:
        return line
    return textwrap.fill(
        text, width, initial_indent=f"{label:<{indent}}", subsequent_indent=" " * indent, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def table_lines(rows: Sequence[Sequence[str]], *, right: Sequence[bool], width: int | None) -> list[str]:
    """Rows as aligned columns; the first column gives way where a terminal is too narrow."""
    rows = [[spelt(cell) for cell in row] for row in rows]
    widths = [max(display_width(row[k]) for row in rows) for k in range(len(rows[0]))]
    if width is not None:
        widths[0] = max(8, min(widths[0], width - sum(widths[1:]) - 2 * (len(widths) - 1)))
    return [
        "  ".join(
            padded(shortened(cell, w) if k == 0 else cell, w, right=right[k])
            for k, (cell, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def as_json(value: object) -> str:
    """JSON for another program; signs that standard output lacks are escaped."""
    text = json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False)
    return text if stream_can(text) else json.dumps(value, indent=1, allow_nan=False)
