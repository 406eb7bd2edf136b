"""Headers of every shape. Constructed: a name stands above the column whose values it must bring."""

from __future__ import annotations

from pathlib import Path

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import read_log

ROWS = "0,0.25,6.3\n0.5,101.5,5.9\n1,203.125,5.75\n"
TORQUE = [0.25, 101.5, 203.125]

HEADERS = {
    "name, unit and source": ("t,Torque,p\ns,N*m,bar\nAI0,AI1,AI2\n", 1, 2),
    "name, unit and processing": ("t,Torque,p\ns,N*m,bar\nSmp,Avg,Avg\n", 1, 2),
    "name, source and unit": ("t [s],Torque [N*m],p [bar]\nraw,raw,mean\n", 1, None),
    "units of which some say none": ("t,Torque,p\ns,Nm,-\n", 1, 2),
    "blank lines around": ("Bench: two\n\nt [s],Torque [N*m],p [bar]\n\n", 3, None),
    "comment as a whole in quotes": ('"# made by hand, once"\n"# t [s],Torque [N*m],p [bar]"\n', 2, None),
    "only the first cell a quoted comment": ('"#t [s]",Torque [N*m],p [bar]\n', 1, None),
    "listed one by one": ("# Column 1: t [s]\n# Column 2: Torque [N*m]\n# Column 3: p [bar]\n", None, None),
    "listed in one line": ("Columns: t [s]; Torque [N*m]; p [bar]\n\n", None, None),
}


@pytest.mark.parametrize("kind", HEADERS)
def test_names_and_units_come_from_their_rows(write, kind):
    above, header_line, unit_line = HEADERS[kind]
    log = read_log(write(above + ROWS))
    assert list(log.data.columns) == ["Torque", "p"]
    assert log.data["Torque"].tolist() == TORQUE
    assert log.units["Torque"] in ("N*m", "Nm")
    assert (log.dialect.header_line, log.dialect.unit_line) == (header_line, unit_line)


def test_numbers_in_cells_beyond_the_columns_are_facts(write):
    log = read_log(write("X,CH1,Start,Increment,\nSequence,Volt,-6.0E-03,2.0E-06\n0,1.25,\n1,1.5,\n2,1.75,\n"))
    assert log.data["CH1"].tolist() == [1.25, 1.5, 1.75]
    assert log.units["CH1"] == "Volt"
    assert log.dialect.preamble == ("Start,-6.0E-03", "Increment,2.0E-06")
    assert log.data.index.tolist() == pytest.approx([0.0, 2e-6, 4e-6], abs=0, rel=1e-12)


def test_names_that_are_channel_numbers(write):
    log = read_log(write("t [s],1,2,3\n0,1.5,2.5,3.5\n1,1.5,2.5,3.5\n"))
    assert list(log.data.columns) == ["1", "2", "3"]
    assert log.data["2"].tolist() == [2.5, 2.5]


def test_name_with_a_channel_number_above_units(write):
    log = read_log(write("x-axis,1\nsecond,Volt\n-5.0E-03,0.25\n-4.0E-03,0.5\n"))
    assert log.data["1"].tolist() == [0.25, 0.5]
    assert log.units["1"] == "Volt"


def test_cells_without_a_name_go_by_position(write):
    log = read_log(write("t [s],a [g],,\n0,1.5,3.5,4.5\n1,1.25,3.25,4.25\n"))
    assert list(log.data.columns) == ["a", "column 3", "column 4"]
    assert log.data["column 3"].tolist() == [3.5, 3.25]


def test_one_name_above_a_date_and_a_clock(write):
    log = read_log(write("Time,F [N]\n2026-03-01,10:00:00,1.5\n2026-03-01,10:00:01,2.5\n"))
    assert log.data["F"].tolist() == [1.5, 2.5]
    assert log.data.index.tolist() == [0.0, 1.0]
    assert "header-misaligned" in {finding.code for finding in log.findings}


def test_fewer_names_than_cells_leave_the_certain_one(write):
    path = write("t [s],acc [g]\n0,1.5,3.5,4.5\n1,1.25,3.25,4.25\n2,1.5,3.5,4.5\n")
    log = read_log(path)
    assert list(log.data.columns) == ["column 2", "column 3", "column 4"]
    assert log.data.index.tolist() == [0.0, 1.0, 2.0]
    assert ("header-misaligned", "doubtful", 1) in [(f.code, f.severity, f.line) for f in log.findings]
    with pytest.raises(RecordingError, match="cannot tell which column 'acc' is"):
        read_log(path, columns=["acc"])


def test_settings_beside_the_first_samples(write):
    beside = ["Setting,Value,,t [s],F [N]", "Gain,1.5,,0,0.25", "Probe,rear,,1,0.5", "Scale,12 N,,2,0.75"]
    rows = [f",,,{n},{n / 4}" for n in range(3, 40)]
    log = read_log(write("\n".join([*beside, *rows]) + "\n"))
    assert list(log.data.columns) == ["F"]
    assert log.data["F"].tolist() == [0.25, 0.5, 0.75, *(n / 4 for n in range(3, 40))]
    assert log.dialect.preamble == ("Setting,Value", "Gain,1.5", "Probe,rear", "Scale,12 N")
    assert "settings-beside-rows" in {finding.code for finding in log.findings}


def test_long_preamble_of_keys_and_numbers_is_no_table(write):
    above = "".join(f"Setting {n},{n * 7}\n" for n in range(3000))
    log = read_log(write(above + "t [s],Torque [N*m],p [bar]\n" + ROWS * 1))
    assert log.dialect.header_line == 3001
    assert log.data["Torque"].tolist() == TORQUE


def test_table_of_mostly_words(write):
    rows = "".join(f"{n},on,off,run,idle,{n / 2}\n" for n in range(6))
    log = read_log(write("t [s],a,b,c,d,F [N]\n" + rows))
    assert log.data["F"].tolist() == [n / 2 for n in range(6)]
    assert set(log.data["c"]) == {"run"}


SHAPES = {
    "transposed": (
        "t [s]," + ",".join(map(str, range(40))) + "\nF [N]," + ",".join(map(str, range(40))) + "\n",
        "run across",
    ),
    "transposed stamps": (
        "Time," + ",".join(f"2026-03-01 10:00:{n:02d}" for n in range(40)) + "\nF [N]," + ",".join("1" * 40) + "\n",
        "run across",
    ),
    "side by side": (
        "t [s],F [N],t [s],F [N]\n" + "".join(f"{n},{n},{n + 0.1},{n}\n" for n in range(30)),
        "2 runs side by side",
    ),
    "side by side, one shorter": (
        "t [s],F [N],t [s],F [N]\n"
        + "".join(f"{n},{n},{n},{n}\n" for n in range(30))
        + "".join(f"{n},{n},,\n" for n in range(30, 60)),
        "2 runs side by side",
    ),
    "delimiter and decimal mark the same": (
        "t [s],F [N]\n0,5,1,25\n1,0,3,75\n1,5,2,05\n",
        "a comma seems to part the cells and the decimals",
    ),
    "another table from some line on": (
        "t [s],F [N]\n" + "".join(f"{n},1\n" for n in range(40)) + "".join(f"{n},1,2\n" for n in range(40, 70)),
        "the table changes here",
    ),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_shapes_that_are_refused(write, shape):
    text, sentence = SHAPES[shape]
    with pytest.raises(RecordingError, match=sentence):
        read_log(write(text))


def test_a_stated_time_settles_runs_side_by_side(write):
    from toolbench.records.settings import Logger, TimeColumn

    text, _ = SHAPES["side by side"]
    log = read_log(write(text), logger=Logger(id="rig", time=TimeColumn(column="t (2)")), columns=["F (2)"])
    assert log.data["F (2)"].tolist() == list(range(30))


def test_runs_side_by_side_on_the_same_times_are_refused(tmp_path: Path) -> None:
    """Every run begins at zero, so equal times do not make two runs one recording; the names repeat as a block."""
    rows = [f"{i / 100:.2f},{2 * i},{i / 100:.2f},{3 * i}" for i in range(40)]
    path = tmp_path / "two.csv"
    path.write_text("\n".join(["Time [s],Torque [Nm],Time [s],Torque [Nm]", *rows]) + "\n", encoding="utf-8")
    with pytest.raises(RecordingError, match="2 runs side by side") as caught:
        read_log(path)
    assert caught.value.faults[0].key == "time"


def test_channels_each_with_the_same_clock_are_one_recording(tmp_path: Path) -> None:
    rows = [f"{i / 100:.2f},{2 * i},{i / 100:.2f},{3 * i}" for i in range(40)]
    path = tmp_path / "one.csv"
    path.write_text("\n".join(["Time [s],Torque [Nm],Time [s],Force [N]", *rows]) + "\n", encoding="utf-8")
    assert read_log(path).data["Force"].tolist() == [3 * i for i in range(40)]
