"""One row entered in a CSV file that a person keeps: every byte beside the cells that change stays as it is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from toolbench.errors import Fault, SettingsError
from toolbench.settings.runs import RUNS
from toolbench.settings.spreadsheet import find_delimiter, split_head

FRESH = ("run", "file", "tool", "setup", "protocol", "block", "order", "started", "exclude", "reason", "note")
"""Header of a runs.csv that is made here."""

_END = re.compile(r"\r\n|\n|\r")
_ENCODINGS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


@dataclass(frozen=True, slots=True)
class _Cell:
    """A cell's value and where it stands in the text, quotes included."""

    start: int
    end: int
    value: str


@dataclass(frozen=True, slots=True)
class _Record:
    line: int
    end: int
    cells: tuple[_Cell, ...]


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The text of a CSV file, and how it is written."""

    text: str
    mark: bytes
    encoding: str
    delimiter: str
    line_end: str
    names: tuple[str, ...]
    header: _Record
    rows: tuple[_Record, ...]

    @property
    def quotes_all(self) -> bool:
        """Whether every cell of the header stands in quotes, so that every new one does too."""
        return all(self.text[cell.start : cell.end].strip().startswith('"') for cell in self.header.cells)

    def value(self, row: _Record, name: str) -> str:
        place = self.names.index(name) if name in self.names else len(row.cells)
        return row.cells[place].value if place < len(row.cells) else ""

    def cell(self, value: str) -> str:
        """A value as it is written here."""
        risky = any(sign in value for sign in (self.delimiter, '"', "\r", "\n")) or value != value.strip()
        return '"' + value.replace('"', '""') + '"' if risky or self.quotes_all else value

    def encoded(self, text: str) -> bytes:
        try:
            return self.mark + text.encode(self.encoding)
        except UnicodeEncodeError as error:
            sign = error.object[error.start : error.end]
            raise SettingsError(
                Fault(f"its encoding, {self.encoding}, has no {sign!r}", file=RUNS, mend="save it as UTF-8")
            ) from None


def entered_rows(data: bytes | None) -> list[dict[str, str]]:
    """The rows of a file as they stand, each with its `line` beside its cells. Raises SettingsError as `with_row` does."""
    sheet = _sheet(data)
    if sheet is None:
        return []
    return [
        {"line": str(row.line), **{name: sheet.value(row, name) for name in reversed(sheet.names) if name}}
        for row in sheet.rows
    ]


def with_row(data: bytes | None, cells: Mapping[str, str], *, line: int | None = None) -> bytes:
    """A CSV file with one row more, or with some cells of one row altered.

    Parameters
    ----------
    data : bytes or None
        The file; None or nothing: it is made, in UTF-8 with commas.
    cells : mapping of column name to value
        A column that the file lacks is added at the end of its header where its value is not empty.
    line : int, optional
        Line of the row to alter; its other cells stay. None: a row is added at the end.

    Returns
    -------
    bytes
        In the encoding, with the delimiter, quotes and line ends of the file.

    Raises
    ------
    SettingsError
        The file cannot be read as CSV, or its encoding lacks a sign that is to be written.
    """
    sheet = _sheet(data)
    if sheet is None:
        made = _sheet(",".join(FRESH).encode() + b"\n")
        assert made is not None
        sheet = made
    if "file" in cells and "file" not in sheet.names:
        raise SettingsError(Fault('has no column "file" to name a recording in', file=RUNS, line=sheet.header.line))
    more = [name for name, value in cells.items() if value and name not in sheet.names]
    names = (*sheet.names, *more)
    if line is None:
        text = sheet.text + ("" if _ends_line(sheet.text) else sheet.line_end)
        text += sheet.delimiter.join(sheet.cell(cells.get(name, "")) for name in names) + sheet.line_end
    else:
        text = _altered(sheet, cells, names, line)
    if more:
        at = sheet.header.end
        text = text[:at] + "".join(sheet.delimiter + sheet.cell(name) for name in more) + text[at:]
    return sheet.encoded(text)


def _ends_line(text: str) -> bool:
    return text.endswith(("\n", "\r"))


def _altered(sheet: _Sheet, cells: Mapping[str, str], names: Sequence[str], line: int) -> str:
    row = next((row for row in sheet.rows if row.line == line), None)
    if row is None:
        raise SettingsError(Fault("no row begins on this line any more", file=RUNS, line=line))
    text, missing = sheet.text, list(names[len(row.cells) :])
    while missing and not cells.get(missing[-1]):
        missing.pop()
    added = "".join(sheet.delimiter + sheet.cell(cells.get(name, "")) for name in missing)
    text = text[: row.end] + added + text[row.end :]
    for name, cell in reversed(list(zip(names, row.cells, strict=False))):
        if name in cells and cells[name] != cell.value:
            text = text[: cell.start] + sheet.cell(cells[name]) + text[cell.end :]
    return text


def _sheet(data: bytes | None) -> _Sheet | None:
    """None where there is no header."""
    mark, encoding, text = _text(data or b"")
    delimiter, _ = find_delimiter(text)
    records = [record for record in _scan(text, delimiter) if any(cell.value for cell in record.cells)]
    if records and re.fullmatch(r'"?sep=.?"?\s*', text.split("\n", 1)[0]):
        records = records[1:]
    if not records:
        return None
    end = _END.search(text)
    names = tuple(split_head(cell.value)[0] for cell in records[0].cells)
    return _Sheet(text, mark, encoding, delimiter, end[0] if end else "\n", names, records[0], tuple(records[1:]))


def _text(data: bytes) -> tuple[bytes, str, str]:
    """Mark, encoding and text such that the text gives back the same bytes."""
    for mark, encoding in _ENCODINGS:
        if data.startswith(mark):
            try:
                return mark, encoding, data[len(mark) :].decode(encoding)
            except UnicodeDecodeError:
                raise SettingsError(Fault("holds bytes that its mark of encoding does not allow", file=RUNS)) from None
    for encoding in ("utf-8", "cp1252"):
        try:
            return b"", encoding, data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return b"", "latin-1", data.decode("latin-1")


def _scan(text: str, delimiter: str) -> list[_Record]:
    """Every record with its cells in place, read as `csv.reader` reads them."""
    stop = re.compile(f"[{re.escape(delimiter)}\r\n]")
    records: list[_Record] = []
    at, line = 0, 1
    while at < len(text):
        begin, cells = at, []
        while True:
            cell = _cell(text, at, stop, line)
            cells.append(cell)
            at = cell.end + 1
            if text[cell.end : at] != delimiter:
                break
        end = cells[-1].end
        at = end + (2 if text.startswith("\r\n", end) else 1)
        records.append(_Record(line, end, tuple(cells)))
        line += len(_END.findall(text[begin:at]))
    return records


def _cell(text: str, start: int, stop: re.Pattern[str], line: int) -> _Cell:
    first = start
    while text.startswith(" ", first):
        first += 1
    if not text.startswith('"', first):
        found = stop.search(text, first)
        end = found.start() if found else len(text)
        return _Cell(start, end, text[start:end].strip().strip("\u00a0"))
    last = text.find('"', first + 1)
    while last >= 0 and text.startswith('"', last + 1):
        last = text.find('"', last + 2)
    if last < 0:
        raise SettingsError(Fault("a quotation mark is opened in this row and never closed", file=RUNS, line=line))
    found = stop.search(text, last)
    end = found.start() if found else len(text)
    return _Cell(start, end, text[first + 1 : last].replace('""', '"').strip().strip("\u00a0"))
