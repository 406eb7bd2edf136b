"""Every bad file gets its sentence: what was seen, where, and what would be right."""

from __future__ import annotations

import os
import pickle
from pathlib import Path

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import read_log
from toolbench.logs.source import open_source
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn

TABLE = "t [s],Torque [N*m]\n0,1.5\n1,2.5\n"

FILES = {
    "empty": (b"", "is empty (0 bytes)"),
    "header only": (b"t [s],F [N]\n", "holds only a header and no rows of numbers"),
    "blank lines": (b"\n\n \n", "holds blank lines only"),
    "prose": (b"Dear all,\nplease find\nnothing here.\n", "holds 3 lines of text and no rows of numbers"),
    "binary": (bytes(range(256)) * 20, "is not text"),
    "no time": (b"a [bar],F [N]\n0,1\n1,2\n", "no column can be told to be the time"),
    "names too few": (b"t [s],F [N]\n0,1,2\n1,2,3\n", "names 2 columns, but its rows (from line 2) hold 3 cells"),
    "names too many": (b"t [s],F [N],p [bar]\n0,1\n1,2\n", "names 3 columns, but its rows"),
    "thousands": (
        b"t [s]\tF [N]\n1\t1,234\n2\t2,345\n",
        "1.234 with a decimal comma, 1234 with a comma between thousands",
    ),
    "a year beyond": (b"time,F [N]\n2026-03-01T10:00:00,1\n2700-03-01T10:00:01,2\n", "outside the years 1678 to 2261"),
    "names in the middle": (
        b"1,2\n3,4\nt [s],F [N]\n0,1\n1,2\n2,3\n",
        "rows of numbers stand above these names (from line 1)",
    ),
    "ragged": (b"t [s],F [N]\n" + b"0,1\n" * 30 + b"0,1,2\n" * 20, "hold another number of cells"),
}


@pytest.mark.parametrize("kind", FILES)
def test_sentence(write, kind):
    content, sentence = FILES[kind]
    path = write(content)
    with pytest.raises(RecordingError) as caught:
        read_log(path)
    [fault] = caught.value.faults
    assert sentence in fault.message
    assert fault.file == str(path)
    assert len(str(caught.value).splitlines()) <= 3
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


def test_missing_file_names_the_nearest(write):
    path = write(TABLE, name="run-01.csv")
    with pytest.raises(RecordingError, match=r"does not exist\n.*did you mean 'run-01.csv'"):
        read_log(path.with_name("run-1.csv"))


def test_folder(tmp_path):
    with pytest.raises(RecordingError, match="is a folder"):
        read_log(tmp_path)


def test_path_through_a_file(write):
    with pytest.raises(RecordingError, match="is a file, not a folder"):
        read_log(write(TABLE) / "deeper.csv")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
def test_pipe_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    with pytest.raises(RecordingError, match="pipe or a device"):
        read_log(tmp_path / "pipe.csv")


def test_no_permission(write, monkeypatch):
    path = write(TABLE)

    def deny(self: Path, *args: object, **kwargs: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", deny)
    with pytest.raises(RecordingError, match="may not be read"):
        read_log(path)


def test_file_that_changes_while_it_is_read(write):
    path = write(TABLE)
    source = open_source(path)
    source.refuse_if_changed()
    with path.open("a") as stream:
        stream.write("2,3.5\n")
    with pytest.raises(RecordingError, match="changed while it was read"):
        source.refuse_if_changed()


def test_missing_column_names_the_nearest(write):
    with pytest.raises(RecordingError, match=r"no column is called 'Torqe'\n.*did you mean 'Torque'"):
        read_log(write(TABLE), columns=["Torqe"])


def test_column_with_another_unit_is_not_that_column(write):
    with pytest.raises(RecordingError, match="no column is called 'Torque"):
        read_log(write(TABLE), columns=["Torque [ft*lbf]"])


def test_column_that_stands_twice(write):
    with pytest.raises(RecordingError, match=r"2 columns are called 'p \[bar\]' \(columns 2, 3\)"):
        read_log(write("t [s],p [bar],p [bar]\n0,1,2\n1,1,2\n"), columns=["p [bar]"])


def test_time_column_of_words(write):
    with pytest.raises(RecordingError, match="holds no numbers and no stamps, but 'on'"):
        read_log(
            write("t [s],valve,F [N]\n0,on,1\n1,off,2\n"),
            logger=Logger(id="rig", time=TimeColumn(column="valve", unit="s")),
        )


@pytest.mark.parametrize(
    ("stated", "sentence"),
    [
        (DialectOverrides(encoding="utf-99"), "no encoding is called 'utf-99'"),
        (DialectOverrides(header_line=40), "no rows of numbers"),
        (DialectOverrides(delimiter=";"), "no rows of numbers"),
    ],
)
def test_override_that_does_not_fit(write, stated, sentence):
    with pytest.raises(RecordingError, match=sentence):
        read_log(write(TABLE), logger=Logger(id="rig", time=TimeColumn(), dialect=stated))
