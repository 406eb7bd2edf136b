"""CSV files as spreadsheets write them: UTF-8 with or without mark, UTF-16 or cp1252; comma, semicolon or tab; decimal comma."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from toolbench.files import read_regular
from toolbench.quantities.units import QuantityError, exact_number, to_si, unit_factor
from toolbench.settings.faults import Faults, control_sign

_HEAD = re.compile(r"^(?P<name>.*?)\s*(?:\[(?P<square>[^\]]*)\]|\((?P<round>[^)]*)\))?$", re.DOTALL)
_GROUPED = re.compile(r"[+-]?\d{1,3}(,\d{3})+")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name in lower case, the unit in its header, and the header as written."""

    name: str
    unit: str
    written: str


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line in the file and its cells by column name."""

    line: int
    cells: Mapping[str, str]

    def text(self, name: str) -> str:
        return self.cells.get(name, "")


@dataclass(slots=True)
class Table:
    """A CSV file. `faults` is where cells that cannot be read are noted."""

    file: str
    columns: dict[str, Column]
    rows: list[Row]
    delimiter: str
    faults: Faults
    header_line: int = 1
    _said: set[str] = field(default_factory=set)

    def fault(self, row: Row | None, column: str, message: str, mend: str | None = None) -> None:
        line = row.line if row else self.header_line
        self.faults.add(message, file=self.file, line=line, key=column, mend=mend)

    def number(self, row: Row, column: str) -> float | None:
        """A plain number with a decimal point or comma; None where the cell is empty or no number (a fault)."""
        text = row.text(column)
        if not text:
            return None
        try:
            value = float(self._decimal(text))
        except ValueError:
            value = math.nan
        if math.isfinite(value):
            return value
        self.fault(row, column, f'"{text}" is not a number')
        return None

    def quantity(self, row: Row, column: str, quantity: str) -> float | None:
        """A cell in the unit of its header (or with its own unit) as SI; None where empty or faulty."""
        text = row.text(column)
        if not text:
            return None
        unit = self.columns[column].unit
        try:
            if not re.search(r"[A-Za-z%°\"']", re.sub(r"(?<=\d)[eE](?=[+-]?\d)", "", text)):
                if not unit:
                    self._no_unit(column, quantity)
                    return None
                factor = unit_factor(unit, quantity)
                return float(exact_number(self._decimal(text)) * Fraction(repr(float(factor.scale)))) + factor.offset
            return to_si(re.sub(r"(?<=\d),(?=\d)", ".", text), quantity)
        except QuantityError as error:
            self.fault(None if f'"{unit}"' in str(error) else row, column, str(error))
        except (ValueError, ZeroDivisionError, OverflowError):
            self.fault(row, column, f'"{text}" is not a number')
        return None

    def _no_unit(self, column: str, quantity: str) -> None:
        from toolbench.quantities.units import KINDS

        if column not in self._said:
            self._said.add(column)
            unit = KINDS[quantity].example.partition(" ")[2]
            self.fault(None, column, "the column names no unit", f'write it in the header: "{column} [{unit}]"')

    def _decimal(self, text: str) -> str:
        """A number as Python reads it. With commas between the cells, `1,234` could mean two numbers and is refused."""
        plain = re.sub(r"[\s\u00a0\u202f\u2009']", "", text).replace("\u2212", "-")
        if "," not in plain:
            return text.strip() if "/" in text else plain
        if "." in plain:
            last = max(plain.rfind(","), plain.rfind("."))
            return re.sub(r"[.,]", "", plain[:last]) + "." + plain[last + 1 :]
        if self.delimiter == "," and _GROUPED.fullmatch(plain):
            raise QuantityError(f'"{text}" can be read in two ways: write it without a comma')
        return plain.replace(",", ".")


def decoded(data: bytes) -> str:
    """Text of a file that a spreadsheet wrote."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1")


def read_table(folder: Path, file: str, faults: Faults) -> Table | None:
    """Read a CSV file of the season folder; None where it does not exist or holds no header (a fault)."""
    try:
        text = decoded(read_regular(folder / file))
    except FileNotFoundError:
        return None
    except OSError as error:
        faults.add(f"cannot be read: {error.strerror}", file=file)
        return None
    if sign := control_sign(text):
        line = next(n for n, one in enumerate(text.split("\n"), start=1) if control_sign(one))
        faults.add(
            f"holds the control character {sign}, which cannot be shown", file=file, line=line,
            mend="save it again as CSV (UTF-8), or take the character out",
        )  # fmt: skip
        return None
    delimiter, text = find_delimiter(text)
    records = _records(text, delimiter, file, faults)
    header = next(records, None)
    if header is None:
        faults.add("holds no header", file=file, line=1, mend="the first row names the columns")
        return None
    columns, order = _columns(header, file, faults)
    rows = [Row(line, _cells(cells, order, line, file, faults)) for line, cells in records]
    return Table(file, columns, rows, delimiter, faults, header[0])


def find_delimiter(text: str) -> tuple[str, str]:
    """The delimiter of the header, and the text; a first line `sep=;` says it outright and is blanked, lines still count."""
    first, _, rest = text.partition("\n")
    match = re.fullmatch(r'"?sep=(.)"?\s*', first)
    if match:
        return match[1], "\n" + rest
    head = re.sub(r'"[^"]*"', "", next((line for line in text.split("\n") if line.strip()), ""))
    return max(",;\t", key=head.count), text


def _records(text: str, delimiter: str, file: str, faults: Faults) -> Iterator[tuple[int, list[str]]]:
    """Rows that hold something, each with the line it begins on."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True, strict=True)
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield line, [cell.strip().strip("\u00a0") for cell in cells]
            line = reader.line_num + 1
    except csv.Error as error:
        if "end of data" in str(error):
            # Without this the rest of the file would be one long cell, and its rows gone without a word.
            faults.add("a quotation mark is opened on this line and never closed", file=file, line=line)
        else:
            faults.add(f"cannot be read as CSV: {error}", file=file, line=line)


def _columns(header: tuple[int, list[str]], file: str, faults: Faults) -> tuple[dict[str, Column], list[str]]:
    columns: dict[str, Column] = {}
    order: list[str] = []
    for written in header[1]:
        name, unit = split_head(written)
        if name in columns and name:
            faults.add(f'the column "{name}" stands twice', file=file, line=header[0], key=name)
        columns.setdefault(name, Column(name, unit, written))
        order.append(name)
    columns.pop("", None)
    return columns, order


def split_head(written: str) -> tuple[str, str]:
    """Name, in lower case, and unit of a column as its header writes them."""
    match = _HEAD.match(written)
    name = (match["name"] if match else written).strip().casefold().replace(" ", "_")
    return name, ((match["square"] or match["round"] or "") if match else "").strip()


def _cells(cells: list[str], order: list[str], line: int, file: str, faults: Faults) -> dict[str, str]:
    if any(cells[len(order) :]):
        faults.add(
            f"the row has {len(cells)} cells, the header {len(order)}", file=file, line=line,
            mend="put a cell that holds the delimiter in quotes",
        )  # fmt: skip
    return {name: cell for name, cell in reversed(list(zip(order, cells, strict=False))) if name}
