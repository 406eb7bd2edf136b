"""What a logger file holds, as read: values in the file's own units, and everything that was inferred on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

import pandas as pd

from toolbench.errors import shown
from toolbench.records.findings import Finding
from toolbench.records.runs import Dialect, TimeBase


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Thinned:
    """How a large recording was averaged: groups of `every` neighbours out of `rows` rows; their lowest and highest values.

    `low` and `high` have the index of the data and its columns of numbers; `missing` counts the rows without a value in each.
    The last row stands at `last_s` [s].
    """

    every: int
    rows: int
    low: pd.DataFrame
    high: pd.DataFrame
    missing: Mapping[str, int]
    last_s: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Log:
    """One recording as read.

    Attributes
    ----------
    data : DataFrame
        One column per channel in file order, values in the file's own units, index `time_s` [s] from the first sample.
        Rows stand as in the file: nothing is sorted, filled or mended.
    units : mapping of column to unit text
        "" where the file names none.
    names : mapping of column to the name as written in the file
    time : TimeBase
        Source, interval, rate, gaps, repeats and steps back of the time base, with lines of the file.
    dialect : Dialect
        Encoding, delimiter, decimal mark and the lines where names, units and data stand; or the `container` of a file
        that is no text, where a row stands for a line.
    findings : tuple of Finding
        What was inferred, dropped or doubtful, with lines.
    digest : str
        sha256 of the file's bytes; of a DataFrame, over its names, units and values.
    thinned : Thinned, optional
        None unless neighbouring rows were averaged, as in a file that is too large to be held.
    """

    data: pd.DataFrame
    units: Mapping[str, str]
    names: Mapping[str, str]
    time: TimeBase
    dialect: Dialect
    findings: tuple[Finding, ...] = ()
    digest: str = ""
    source: str = ""
    thinned: Thinned | None = None

    def _facts(self) -> list[tuple[str, str]]:
        rows = len(self.data)
        averaged = f", averages of {self.thinned.every} out of {self.thinned.rows}" if self.thinned else ""
        last = float(self.data.index[-1]) if rows else 0.0
        interval = self.time.median_interval_s
        columns = ", ".join(f"{name} [{self.units[name]}]" if self.units[name] else name for name in self.data.columns)
        facts = [
            ("Rows", f"{rows} over {last:.6g} s{averaged}"),
            ("Time", f"{self.time.source} in {self.time.unit}, every {interval:.6g} s"),
            ("Columns", columns or "none"),
            ("Written as", written_as(self.dialect)),
        ]
        if self.time.start:
            facts.append(("Starts", self.time.start))
        return facts

    def __repr__(self) -> str:
        lines = [f"Log of {shown(self.source)}" if self.source else "Log"]
        lines += [f"  {name}: {text}" for name, text in self._facts()]
        lines += [f"  {_sentence(finding)}" for finding in self.findings]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        facts = "".join(
            f'<tr><th scope="row" style="text-align:left">{escape(name)}</th><td style="text-align:left">{escape(text)}</td></tr>'
            for name, text in self._facts()
        )
        found = "".join(f"<li>{escape(_sentence(finding))}</li>" for finding in self.findings)
        head = f"<table><caption>{escape(self.source or 'Log')}</caption>{facts}</table>"
        return head + (f"<ul>{found}</ul>" if found else "<p>Nothing doubtful was found.</p>")


def _sentence(finding: Finding) -> str:
    said = (
        finding.line is None or f"line {finding.line}" in finding.message or f"lines {finding.line}" in finding.message
    )
    place = "" if said else f" (line {finding.line})"
    return f"{finding.severity}: {finding.message}{place}"


def written_as(dialect: Dialect) -> str:
    """One line for people: encoding, delimiter, decimal mark and where the rows begin."""
    if dialect.container:
        group = dialect.extra.get("group")
        return dialect.container + (f", group {group!r}" if group else "") + ", rows counted from 1"
    delimiter = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blanks"}.get(
        dialect.delimiter, dialect.delimiter
    )
    decimal = "decimal comma" if dialect.decimal == "," else "decimal point"
    header = f"names in line {dialect.header_line}" if dialect.header_line else "no names"
    units = f", units in line {dialect.unit_line}" if dialect.unit_line else ""
    return f"{dialect.encoding}, {delimiter}, {decimal}, {header}{units}, rows from line {dialect.first_data_line}"
