"""Encodings are judged by the text they give. Constructed: the text written is the text that must come back."""

from __future__ import annotations

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import read_log

ROWS = "0,0.25\n1,101.5\n2,203.125\n"
TORQUE = [0.25, 101.5, 203.125]

NAMES = {
    ("cp932", "温度 [ﾟC]"),
    ("cp932", "ﾄﾙｸ [N]"),
    ("cp932", "圧力 [kPa]"),
    ("cp932", "温度 [℃]"),
    ("latin-1", "Température [°C]"),
    ("cp1252", "Größe [µm]"),
    ("cp850", "T [°C]"),
    ("utf-8", "温度 [ﾟC]"),
    ("utf-16-le", "Kraft [N]"),
    ("utf-16-be", "Kraft [N]"),
}


@pytest.mark.parametrize(("encoding", "name"), sorted(NAMES))
def test_name_comes_back(write, encoding, name):
    log = read_log(write(f"t [s],{name}\n{ROWS}", encoding=encoding))
    assert log.dialect.columns[1] == name
    assert log.data.iloc[:, 0].tolist() == TORQUE


def test_half_width_degree_alone_is_no_sharp_s(write):
    log = read_log(write(f"t [s],T [ﾟC]\n{ROWS}", encoding="cp932"))
    assert log.dialect.encoding == "cp932"
    assert log.units["T"] == "ﾟC"


def test_letters_that_fit_no_encoding_are_refused(write):
    with pytest.raises(RecordingError) as caught:
        read_log(write(f"Время [s],Давление в линии [bar]\n{ROWS}", encoding="cp1251"))
    [fault] = caught.value.faults
    assert fault.key == "encoding"
    assert "as cp1252" in fault.message


@pytest.mark.parametrize("junk", [b"\x00\xff\x01\x02\xfe" * 12, b"\xff\xff\xff\xff", b"\x07\x1b\x00"])
def test_junk_in_one_line_above_the_rows(write, junk):
    content = b"Serial: " + junk + b"\nt [s],F [N]\n" + ROWS.encode()
    log = read_log(write(content))
    assert log.data["F"].tolist() == TORQUE
    assert log.dialect.header_line == 2
    assert "undecodable-bytes" in {f.code for f in log.findings} or junk == b"\x07\x1b\x00"


@pytest.mark.parametrize("zeros", [1, 40, 5000, 70_000])
def test_zero_bytes_behind_the_last_row(write, zeros):
    log = read_log(write(f"t [s],F [N]\n{ROWS}".encode() + b"\0" * zeros))
    assert log.data["F"].tolist() == TORQUE


def test_file_of_zero_bytes_is_refused(write):
    with pytest.raises(RecordingError, match="zero bytes"):
        read_log(write(b"\0" * 5000))


def test_odd_bytes_of_a_small_file_are_counted_once(write):
    # Longer than the window at the beginning, shorter than the one at the end: both show the two bytes of the first line.
    rows = "".join(f"{k / 100:.2f},{k % 7}\n" for k in range(3000))
    log = read_log(write(b"time [s],couple mesur\x82 mesur\x82 [Nm]\n" + rows.encode()))
    (found,) = [one for one in log.findings if one.code == "undecodable-bytes"]
    assert found.message.startswith("2 bytes are no utf-8")
