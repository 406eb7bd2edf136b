"""One row entered, all other bytes kept. Expected bytes are written by hand."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbench.errors import SettingsError
from toolbench.settings import Faults, entered_rows, with_row
from toolbench.settings.spreadsheet import read_table

NEW = {"file": "recordings/r2.csv", "tool": "a", "setup": "near", "protocol": "held"}


@pytest.mark.parametrize(
    ("before", "added"),
    [
        (b"file,tool,setup,protocol\nr1.csv,a,near,held\n", b"recordings/r2.csv,a,near,held\n"),
        (b"file;tool;setup;protocol\r\nr1.csv;a;near;held\r\n", b"recordings/r2.csv;a;near;held\r\n"),
        (b"file\ttool\tsetup\tprotocol\rr1.csv\ta\tnear\theld\r", b"recordings/r2.csv\ta\tnear\theld\r"),
        (b"sep=;\nfile;note;tool;setup;protocol\n", b"recordings/r2.csv;;a;near;held\n"),
        (b'"file","tool","setup","protocol"\n', b'"recordings/r2.csv","a","near","held"\n'),
        ("\ufefftool,file,setup,protocol,Größe\n".encode(), b"a,recordings/r2.csv,near,held,\n"),
        ("file,tool,setup,protocol,Größe\n".encode("cp1252"), b"recordings/r2.csv,a,near,held,\n"),
    ],
    ids=["comma", "semicolon-crlf", "tab-cr", "sep", "quoted", "marked", "cp1252"],
)
def test_a_row_is_added_in_the_files_own_way(before: bytes, added: bytes) -> None:
    assert with_row(before, NEW) == before + added


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_keeps_its_mark(encoding: str) -> None:
    text = "\ufefffile,tool,setup,protocol\r\n"
    assert with_row(text.encode(encoding), NEW) == (text + "recordings/r2.csv,a,near,held\r\n").encode(encoding)


def test_a_missing_last_line_end_is_added_first() -> None:
    assert with_row(b"file,tool\nr1.csv,a", {"file": "r2.csv"}) == b"file,tool\nr1.csv,a\nr2.csv,\n"


def test_a_column_that_is_missing_is_added_to_the_header_only() -> None:
    before = b"file,tool\nr1.csv,a\n"
    assert with_row(before, {"file": "r2.csv", "exclude": "yes", "reason": ""}) == (
        b"file,tool,exclude\nr1.csv,a\nr2.csv,,yes\n"
    )


def test_cells_of_one_row_are_altered_and_nothing_else() -> None:
    before = b'file , tool,note,exclude,reason\n"r1.csv",a,"two ""words"",\nand a line",,\n r2.csv, b , mine,yes,x\n'
    after = with_row(
        before, {"exclude": "yes", "reason": "socket slip, once", "note": 'two "words",\nand a line'}, line=2
    )
    assert after == before.replace(b'line",,', b'line",yes,"socket slip, once"')


def test_a_short_row_is_filled_up() -> None:
    before = b"file,tool,exclude,reason\nr1.csv,a\nr2.csv,b\n"
    assert with_row(before, {"exclude": "yes", "reason": "clipped"}, line=2) == (
        b"file,tool,exclude,reason\nr1.csv,a,yes,clipped\nr2.csv,b\n"
    )
    assert with_row(before, {"exclude": "", "reason": ""}, line=2) == before


def test_a_file_is_made_where_there_is_none() -> None:
    lines = with_row(None, NEW).decode().splitlines()
    assert lines[0].split(",")[:5] == ["run", "file", "tool", "setup", "protocol"]
    assert with_row(b"", NEW) == with_row(None, NEW)


def test_what_cannot_be_written_is_refused() -> None:
    with pytest.raises(SettingsError, match="has no 'Ω'"):
        with_row("file,Größe\n".encode("cp1252"), {"file": "Ω.csv"})
    with pytest.raises(SettingsError, match="never closed"):
        with_row(b'file\n"r1.csv\n', {"file": "r2.csv"})
    with pytest.raises(SettingsError, match='no column "file"'):
        with_row(b"fil,tool\nr1.csv,a\n", {"file": "r2.csv"})
    with pytest.raises(SettingsError, match="no row begins"):
        with_row(b"file\nr1.csv\n", {"file": "r2.csv"}, line=7)


CELL = st.text(
    st.characters(codec="utf-8", exclude_characters="\x00\ufeff", exclude_categories=["Cs", "Cc"]), max_size=8
)


@given(
    rows=st.lists(st.tuples(CELL, CELL, CELL), max_size=5),
    delimiter=st.sampled_from(",;\t"),
    line_end=st.sampled_from(["\n", "\r\n"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    new=CELL.map(str.strip).filter(bool),
)
def test_every_other_byte_stays_and_the_cell_comes_back(
    rows: list[tuple[str, str, str]], delimiter: str, line_end: str, quoting: int, new: str
) -> None:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator=line_end, quoting=quoting)  # type: ignore[arg-type]
    writer.writerows([("file", "tool", "note"), *rows])
    before = out.getvalue().encode()
    after = with_row(before, {"file": "new.csv", "note": new})
    assert after.startswith(before)
    (row,) = list(csv.reader(io.StringIO(after[len(before) :].decode(), newline=""), delimiter=delimiter))
    assert row == ["new.csv", "", new]


@given(rows=st.lists(st.tuples(CELL, CELL), min_size=1, max_size=5), delimiter=st.sampled_from(",;\t"))
def test_rows_are_those_that_read_settings_sees(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, str]], delimiter: str
) -> None:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows([("file", "tool"), *rows])
    folder: Path = tmp_path_factory.mktemp("t")
    (folder / "runs.csv").write_bytes(out.getvalue().encode())
    table = read_table(folder, "runs.csv", Faults())
    assert table is not None
    mine = [(int(row["line"]), row["file"], row["tool"]) for row in entered_rows(out.getvalue().encode())]
    assert mine == [(row.line, row.text("file"), row.text("tool")) for row in table.rows]
