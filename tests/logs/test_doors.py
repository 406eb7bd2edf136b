"""Recordings that are no text give the same Log as the CSV of the same numbers.

The expected values are those of the CSV beside them, or are constructed here.
"""

from __future__ import annotations

import decimal
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.feather as feather
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolbench.errors import RecordingError
from toolbench.files import digest
from toolbench.logs import Log, kinds, read_log
from toolbench.records.settings import Channel, DialectOverrides, Logger, TimeColumn

ROWS = 200


def table() -> pd.DataFrame:
    """Constructed: 100 Hz, a ramp of torque with 17-digit numbers, a pressure with one value missing, whole counts."""
    pressure = 6.3 - np.arange(ROWS) / 700
    pressure[17] = np.nan
    return pd.DataFrame(
        {
            "t [ms]": np.arange(ROWS) * 10,
            "Torque [N*m]": np.arange(ROWS) / 3,
            "Inlet pressure [bar]": pressure,
            "Count": np.arange(ROWS) + 2**60,
        }
    )


def timed(column: str | None = None, **stated: object) -> Logger:
    return Logger(id="rig", time=TimeColumn(column=column, **stated))  # type: ignore[arg-type]


def assert_same(log: Log, other: Log) -> None:
    pd.testing.assert_frame_equal(log.data, other.data, check_exact=True)
    assert log.units == other.units
    assert log.names == other.names
    assert log.time == other.time


@pytest.fixture
def of_csv(tmp_path: Path) -> Log:
    table().to_csv(tmp_path / "run.csv", index=False)
    return read_log(tmp_path / "run.csv")


def codes(log: Log) -> list[str]:
    return [finding.code for finding in log.findings]


@pytest.mark.filterwarnings("ignore:Feather V1:DeprecationWarning")
@pytest.mark.parametrize("kind", ["parquet", "feather", "feather-1", "stream"])
def test_columnar_files_are_read_as_the_csv_is(kind: str, tmp_path: Path, of_csv: Log) -> None:
    path = tmp_path / f"run.{kind.partition('-')[0] if kind != 'stream' else 'arrows'}"
    if kind == "parquet":
        table().to_parquet(path)
    elif kind == "stream":
        arrow = pa.Table.from_pandas(table())
        with pa.ipc.new_stream(path, arrow.schema) as stream:
            stream.write_table(arrow)
    else:
        arrow = pa.Table.from_pandas(table(), preserve_index=False)
        feather.write_feather(arrow, path, version=1 if kind == "feather-1" else 2)
    log = read_log(path)
    assert_same(log, of_csv)
    assert log.digest == digest(path)
    assert log.dialect.container == {"parquet": "Parquet", "feather-1": "Feather 1"}.get(kind, "Arrow IPC")
    assert (log.dialect.encoding, log.dialect.delimiter, log.dialect.decimal) == ("", "", "")
    missing = next(finding for finding in log.findings if finding.code == "cells-missing")
    assert missing.line == 18  # by hand: the eighteenth row, counted from 1


def test_a_frame_is_read_as_the_csv_is_and_never_touched(of_csv: Log) -> None:
    frame = table()
    log = read_log(frame)
    assert_same(log, of_csv)
    pd.testing.assert_frame_equal(frame, table())
    frame.iloc[:, 1] = -1.0
    frame.to_numpy()[:] = 0
    assert_same(log, of_csv)


def test_what_a_log_holds_can_be_written_without_touching_the_frame() -> None:
    frame = table()
    log = read_log(frame)
    log.data.loc[:, "Torque"] = 0.0
    log.data.iloc[0, 1] = 5.0
    pd.testing.assert_frame_equal(frame, table())


@pytest.mark.parametrize("index", ["float", "named", "duration", "stamps"])
def test_an_index_may_be_the_time(index: str, of_csv: Log) -> None:
    frame = table().drop(columns="t [ms]")
    milliseconds = np.arange(ROWS) * 10
    frame.index = {
        "float": pd.Index(milliseconds / 1000),
        "named": pd.Index(milliseconds, name="t [ms]"),
        "duration": pd.to_timedelta(milliseconds, unit="ms"),
        "stamps": pd.DatetimeIndex(pd.to_datetime(milliseconds, unit="ms", origin="2026-03-04", utc=True)),
    }[index]
    log = read_log(frame)
    pd.testing.assert_frame_equal(log.data, of_csv.data, check_exact=True)
    assert log.time.start == ("2026-03-04T00:00:00+00:00" if index == "stamps" else "")


def test_a_duration_has_its_own_unit_whatever_its_name_and_the_logger_say() -> None:
    frame = table()
    frame["t [ms]"] = pd.to_timedelta(frame["t [ms]"], unit="ms")
    assert read_log(frame).data.index[-1] == 1.99
    assert read_log(frame, logger=timed("t [ms]", unit="ms")).data.index[-1] == 1.99


def test_the_data_of_a_log_reads_back_as_itself(of_csv: Log) -> None:
    again = read_log(of_csv.data)
    pd.testing.assert_frame_equal(again.data, of_csv.data, check_exact=True)


def test_stamps_in_nanoseconds_with_a_zone_keep_every_digit() -> None:
    stamps = pd.DatetimeIndex(
        np.array([0, 1, 3], dtype="m8[ns]") + np.datetime64("2026-10-25T00:59:59.999999999", "ns")
    )
    frame = pd.DataFrame({"F [N]": [1.0, 2.0, 3.0]}, index=stamps.tz_localize("UTC").tz_convert("Europe/Berlin"))
    log = read_log(frame)
    assert log.data.index.tolist() == [0.0, 1e-9, 3e-9]
    assert log.time.start == "2026-10-25T02:59:59.999999999+02:00"


def same_numbers(values: object) -> list[float]:
    frame = pd.DataFrame({"t [s]": [0.0, 1.0, 2.0], "x": values})
    log = read_log(frame)
    assert log.data["x"].dtype.kind in "if"
    return [float(value) for value in log.data["x"]]


@pytest.mark.parametrize(
    "values",
    [
        pd.array([1, 2, 3], dtype="Int16"),
        pd.array([1, 2, 3], dtype="UInt64"),
        pd.array([1.0, 2.0, 3.0], dtype="Float32"),
        pd.array([1, 2, 3], dtype=pd.ArrowDtype(pa.int32())),
        pd.array(
            [decimal.Decimal(1), decimal.Decimal(2), decimal.Decimal(3)], dtype=pd.ArrowDtype(pa.decimal128(5, 2))
        ),
        np.array([1, 2, 3], dtype=np.float16),
        pd.Categorical([1, 2, 3]),
        pd.Categorical(["1", "2", "3"]),
        np.array([1, 2.0, decimal.Decimal(3)], dtype=object),
        ["1", " 2 ", "3"],
        np.array([b"1", b"2", b"3"]),
    ],
)
def test_numbers_of_any_type_are_numbers(values: object) -> None:
    assert same_numbers(values) == [1.0, 2.0, 3.0]


@pytest.mark.parametrize(
    "values",
    [
        pd.array([1, None, 3], dtype="Int64"),
        pd.array([1.0, None, 3.0], dtype="Float64"),
        pd.Categorical([1, None, 3]),
        pd.Categorical(["1", None, "3"]),
        np.array([1, None, decimal.Decimal(3)], dtype=object),
        ["1", "<no data>", "3"],
        pd.array([1, None, 3], dtype=pd.ArrowDtype(pa.uint8())),
        [1.0, np.inf, 3.0],
    ],
)
def test_what_is_missing_is_nan_and_said(values: object) -> None:
    log = read_log(pd.DataFrame({"t [s]": [0.0, 1.0, 2.0], "x": values}))
    assert log.data["x"].isna().tolist() == [False, True, False]
    found = [finding for finding in log.findings if finding.code in ("cells-missing", "cells-unreadable")]
    assert [finding.line for finding in found] == [2]


def test_numbers_that_mean_no_value_are_missing_as_in_text(tmp_path: Path) -> None:
    frame = table().fillna(6.0)
    frame.loc[40, "Inlet pressure [bar]"] = -999.9
    frame.to_csv(tmp_path / "run.csv", index=False)
    log = read_log(frame)
    assert_same(log, read_log(tmp_path / "run.csv"))
    assert np.isnan(log.data["Inlet pressure"].iloc[40])
    stated = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(missing=("OFF", "6.0")))
    states = pd.DataFrame({"t [s]": [0.0, 1.0, 2.0], "a": [1.0, 6.0, 2.0], "b": ["1", "2", "OFF"]})
    log = read_log(states, logger=stated)
    assert log.data.isna().to_numpy().tolist() == [[False, False], [True, False], [False, True]]


def test_a_decimal_becomes_the_double_that_its_digits_name() -> None:
    digits = ["0.1", "12345678901234.567", "-3.000000000000001"]
    values = pd.array([decimal.Decimal(text) for text in digits], dtype=pd.ArrowDtype(pa.decimal128(38, 15)))
    assert same_numbers(values) == [float(text) for text in digits]


def test_whole_numbers_keep_every_digit_or_are_left_out() -> None:
    big = 2**60 + 1
    frame = pd.DataFrame({"t [s]": [0.0, 1.0], "a": pd.array([big, big + 2], dtype="Int64")})
    assert read_log(frame).data["a"].tolist() == [big, big + 2]
    frame["b"] = pd.array([big, None], dtype="Int64")
    log = read_log(frame)
    assert "b" not in log.data
    assert "2^53" in next(finding.message for finding in log.findings if finding.code == "column-left-out")
    with pytest.raises(RecordingError, match=r"2\^53"):
        read_log(frame, columns=["b"])


@pytest.mark.parametrize("cells", [[[1], [2]], [1j, 2j], pd.period_range("2026", periods=2), [{"a": 1}, {}]])
def test_a_column_of_something_else_is_left_out_and_said(cells: object) -> None:
    log = read_log(pd.DataFrame({"t [s]": [0.0, 1.0], "F [N]": [1.0, 2.0], "x": cells}))
    assert list(log.data) == ["F"]
    assert "'x' is left out" in log.findings[0].message


def test_booleans_stand_as_one_and_nought() -> None:
    log = read_log(pd.DataFrame({"t [s]": [0.0, 1.0], "Trigger": [False, True]}))
    assert log.data["Trigger"].tolist() == [0, 1]
    assert "1 and 0" in log.findings[0].message


def test_text_with_a_decimal_comma_is_no_number_until_that_is_stated() -> None:
    frame = pd.DataFrame({"t [s]": [0.0, 1.0], "F [N]": ["1,25", "2,5"]})
    log = read_log(frame)
    assert log.data["F"].tolist() == ["1,25", "2,5"]
    assert "decimal comma" in log.findings[0].message
    stated = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(decimal=","))
    assert read_log(frame, logger=stated).data["F"].tolist() == [1.25, 2.5]


def test_names_that_stand_twice_are_numbered() -> None:
    frame = pd.DataFrame([[0.0, 1.0, 2.0], [1.0, 3.0, 4.0]], columns=["t [s]", "p [bar]", "p [bar]"])
    log = read_log(frame)
    assert list(log.data) == ["p", "p (2)"]
    assert log.data["p (2)"].tolist() == [2.0, 4.0]
    assert "duplicate-names" in codes(log)


def test_a_second_level_of_names_may_hold_the_units() -> None:
    columns = pd.MultiIndex.from_tuples([("t", "ms"), ("Torque", "N*m")])
    log = read_log(pd.DataFrame([[0, 1.0], [5, 2.0]], columns=columns))
    assert (log.units, log.data.index[-1]) == ({"Torque": "N*m"}, 0.005)


@pytest.mark.parametrize(
    ("frame", "said"),
    [
        (table().set_index(["t [ms]", "Count"]), "2 levels"),
        (pd.DataFrame([[0, 1.0]], columns=pd.MultiIndex.from_tuples([("a", "x"), ("a", "y")])), "names of 2 levels"),
        (pd.DataFrame({"t [s]": []}), "0 rows"),
        (pd.DataFrame({"a": [1.0]}, index=pd.period_range("2026", periods=1)), "periods"),
        (pd.DataFrame({"F [N]": [1.0, 2.0]}), "no column can be told to be the time"),
    ],
)
def test_frames_that_are_no_recording_are_refused(frame: pd.DataFrame, said: str) -> None:
    with pytest.raises(RecordingError, match=said):
        read_log(frame)


def test_something_else_than_a_path_or_a_frame_is_refused() -> None:
    with pytest.raises(RecordingError, match="a list: is no recording"):
        read_log([1, 2, 3])  # type: ignore[arg-type]


def test_a_step_back_is_told_by_its_row(tmp_path: Path) -> None:
    frame = table()
    frame.loc[50, "t [ms]"] = 3
    frame.to_parquet(tmp_path / "run.parquet")
    log = read_log(tmp_path / "run.parquet")
    assert log.time.steps_back == (51,)  # by hand: index 50 is row 51
    assert "row 51" in next(finding.message for finding in log.findings if finding.code == "time-steps-back")


def test_rows_without_a_time_are_left_out_and_told() -> None:
    frame = table().astype({"t [ms]": "Int64"})
    frame.loc[3, "t [ms]"] = pd.NA
    log = read_log(frame)
    assert len(log.data) == ROWS - 1
    assert "row 4" in next(finding.message for finding in log.findings if finding.code == "rows-dropped")


def test_units_and_a_rate_stand_in_the_metadata(tmp_path: Path) -> None:
    fields = [
        pa.field("Torque", pa.float64(), metadata={"unit": "N*m"}),
        pa.field("p (tool)", pa.float64(), metadata={"Units": '"bar"'}),
    ]
    schema = pa.schema(fields, metadata={"sample_rate": "2000 Hz", "logger": "Tamsel 4"})
    pq.write_table(pa.table([[1.0, 2.0, 3.0], [6.0, 6.1, 6.2]], schema=schema), tmp_path / "run.parquet")
    log = read_log(tmp_path / "run.parquet")
    assert log.units == {"Torque": "N*m", "p (tool)": "bar"}
    assert log.time.rate_hz == 2000.0
    assert "logger: Tamsel 4" in log.dialect.preamble


def test_units_in_the_attributes_of_a_frame_count(tmp_path: Path) -> None:
    frame = pd.DataFrame({"t": [0, 5], "Torque": [1.0, 2.0]})
    frame.attrs["units"] = {"t": "ms", "Torque": "N*m"}
    frame.to_parquet(tmp_path / "run.parquet")
    for log in (read_log(frame), read_log(tmp_path / "run.parquet")):
        assert (log.units, log.data.index[-1]) == ({"Torque": "N*m"}, 0.005)


@pytest.mark.parametrize(
    "index", [pd.Index([0.0, 0.5]), pd.Index([0, 500], name="t [ms]"), pd.to_timedelta([0, 500], unit="ms")]
)
def test_pandas_keeps_its_index_in_a_parquet_file(index: pd.Index, tmp_path: Path) -> None:
    pd.DataFrame({"F [N]": [1.0, 2.0]}, index=index).to_parquet(tmp_path / "run.parquet")
    log = read_log(tmp_path / "run.parquet")
    assert list(log.data) == ["F"]
    assert log.data.index.tolist() == [0.0, 0.5]


def test_an_index_of_counts_is_no_channel(tmp_path: Path) -> None:
    frame = table().iloc[::2]
    frame.to_parquet(tmp_path / "run.parquet")
    assert list(read_log(tmp_path / "run.parquet").data) == ["Torque", "Inlet pressure", "Count"]
    assert list(read_log(frame).data) == ["Torque", "Inlet pressure", "Count"]


def test_a_wrong_suffix_is_noted(tmp_path: Path, of_csv: Log) -> None:
    table().to_parquet(tmp_path / "odd.csv")
    log = read_log(tmp_path / "odd.csv")
    assert_same(log, of_csv)
    assert ".csv and holds Parquet" in log.findings[0].message
    table().to_csv(tmp_path / "odd.parquet", index=False)
    log = read_log(tmp_path / "odd.parquet")
    assert_same(log, of_csv)
    assert ".parquet and holds text" in log.findings[0].message


@pytest.mark.parametrize(
    ("head", "said"),
    [
        (b"PK\x03\x04", "workbook"),
        (b"\x1f\x8b", "gzip"),
        (b"\x89HDF\r\n\x1a\n", "HDF5"),
        (b"TDSh", "index of a TDMS"),
        (b"PARE", "encrypted"),
        (b"PAR1", "is Parquet by its first bytes, but cannot be read"),
        (b"ARROW1", "is Arrow by its first bytes, but cannot be read"),
    ],
)
def test_files_that_hold_something_else_are_named(head: bytes, said: str, tmp_path: Path) -> None:
    (tmp_path / "run.csv").write_bytes(head + bytes(range(200)))
    with pytest.raises(RecordingError, match=said):
        read_log(tmp_path / "run.csv")


@pytest.mark.parametrize("first", ["PAR1", "ARROW1", "FEA1", "TDSm", "MDF     ", "BZh", "PARE"])
def test_text_that_begins_like_something_else_is_text(first: str, tmp_path: Path) -> None:
    (tmp_path / "run.csv").write_text(f"{first},t [s]\n1,0\n2,1\n3,2\n", encoding="utf-8")
    assert read_log(tmp_path / "run.csv").data.iloc[:, 0].tolist() == [1, 2, 3]


def test_junk_of_ones_is_no_arrow_stream(tmp_path: Path) -> None:
    (tmp_path / "run.csv").write_bytes(
        b"\xff" * 9 + b"\x01\nF [N],t [s]\n" + b"".join(b"%d,%d\n" % (k, k) for k in range(30))
    )
    assert len(read_log(tmp_path / "run.csv").data) == 30


def test_the_digest_of_a_frame_is_that_of_its_numbers() -> None:
    frame = table()
    known = read_log(frame).digest
    assert known == read_log(frame.astype({"Torque [N*m]": "Float64"})).digest
    frame.loc[5, "Torque [N*m]"] += 1e-12
    assert read_log(frame).digest != known
    assert read_log(frame, with_digest=False).digest == ""


def test_text_keys_of_a_logger_say_nothing_about_a_frame() -> None:
    stated = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(delimiter=";", header_line=4))
    log = read_log(table(), logger=stated)
    assert "delimiter, header_line" in next(f.message for f in log.findings if f.code == "dialect-not-used")


READER = """
from toolbench.logs.doors.recorded import Recorded, RecordedColumn
def read(path):
    text = path.read_text()
    if text == "not mine":
        return None
    if text == "broken":
        raise KeyError("block 7")
    if text == "wrong":
        return {"F": [1, 2]}
    if text == "exits":
        raise SystemExit(7)
    if text == "prints":
        print("working")
    if text == "flat":
        return Recorded(container="Rec 2", columns=(RecordedColumn(name="F", values=[[1.0], [2.0]]),), rate_hz=1.0)
    if text == "no text":
        return Recorded(container="Rec 2", columns=(RecordedColumn(name="F", values=[1.0, 2.0]),), rate_hz=1.0, start=5)
    columns = [RecordedColumn(name="F", values=[1.0, 2.0, 4.0][: 2 if text == "short" else 3], unit="N")]
    columns.append(RecordedColumn(name="p [bar]", values=[6.0, 6.1, 6.2]))
    return Recorded(container="Rec 2", columns=tuple(columns), rate_hz=100.0, start="2026-03-04T09:00:00")
"""


@pytest.fixture
def plugin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A package of somebody else, installed as far as Python can tell: a module and its dist-info."""
    home = tmp_path / "site"
    info = home / "rec_reader-1.0.dist-info"
    info.mkdir(parents=True)
    (home / "rec_reader.py").write_text(READER, encoding="utf-8")
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: rec-reader\nVersion: 1.0\n", encoding="utf-8")
    (info / "entry_points.txt").write_text(
        "[toolbench.readers]\nrec = rec_reader:read\ngone = rec_gone:read\ncsv = rec_reader:read\n", encoding="utf-8"
    )
    monkeypatch.syspath_prepend(str(home))
    kinds._installed.cache_clear()
    yield tmp_path
    kinds._installed.cache_clear()
    sys.modules.pop("rec_reader", None)


def test_a_reader_of_others_is_found_by_the_suffix(plugin: Path) -> None:
    (plugin / "run.REC").write_text("good", encoding="utf-8")
    log = read_log(plugin / "run.REC")
    assert log.data["F"].tolist() == [1.0, 2.0, 4.0]
    assert log.data.index.tolist() == [0.0, 0.01, 0.02]
    assert (log.units, log.dialect.container) == ({"F": "N", "p": "bar"}, "Rec 2")
    assert log.time.start == "2026-03-04T09:00:00"
    assert log.digest == digest(plugin / "run.REC")


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("run.rec", "broken", r"'rec' of rec-reader \(rec_reader:read\) failed: KeyError: 'block 7'"),
        ("run.rec", "wrong", "gave a dict, not a Recorded"),
        ("run.rec", "short", "gave columns of 2, 3 rows"),
        ("run.rec", "exits", "failed: SystemExit: 7"),
        ("run.rec", "flat", "gave columns of 2 rows, not a Recorded"),
        ("run.rec", "no text", "gave columns of 2 rows, not a Recorded"),
        ("run.gone", "good", "failed: ModuleNotFoundError: No module named 'rec_gone'"),
    ],
)
def test_a_faulty_reader_of_others_is_a_sentence(name: str, text: str, said: str, plugin: Path) -> None:
    (plugin / name).write_text(text, encoding="utf-8")
    with pytest.raises(RecordingError, match=said):
        read_log(plugin / name)


def test_what_a_reader_of_others_prints_stays_out_of_the_output(
    plugin: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (plugin / "run.rec").write_text("prints", encoding="utf-8")
    read_log(plugin / "run.rec")
    told = capsys.readouterr()
    assert (told.out, set(told.err.split())) == ("", {"working"})


def test_what_a_reader_of_others_declines_is_read_as_text(plugin: Path) -> None:
    (plugin / "run.rec").write_text("not mine", encoding="utf-8")
    with pytest.raises(RecordingError, match="no rows of numbers"):
        read_log(plugin / "run.rec")


def test_formats_of_our_own_win(plugin: Path, of_csv: Log) -> None:
    assert_same(read_log(plugin / "run.csv"), of_csv)
    table().to_parquet(plugin / "run.rec")
    assert read_log(plugin / "run.rec").dialect.container == "Parquet"


def test_a_group_named_in_vain_says_nothing_about_a_single_table() -> None:
    channel = Channel(name="torque", column="Torque [N*m]")
    logger = Logger(id="rig", time=TimeColumn(), channels={"torque": channel}, dialect=DialectOverrides(group="Run 1"))
    assert len(read_log(table(), logger=logger).data) == ROWS


NUMBERS = st.floats(allow_nan=True, allow_infinity=False, width=64) | st.integers(-(2**53), 2**53).map(float)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    values=st.lists(st.tuples(NUMBERS, st.integers(-(2**63), 2**63 - 1)), min_size=3, max_size=12),
    steps=st.lists(st.integers(1, 10**6), min_size=12, max_size=12),
)
def test_any_numbers_come_through_every_door_unaltered(
    values: list[tuple[float, int]], steps: list[int], tmp_path: Path
) -> None:
    frame = pd.DataFrame(values, columns=["x [N]", "n"])
    frame.insert(0, "t [us]", np.cumsum(steps[: len(frame)]))
    frame.to_parquet(tmp_path / "run.parquet")
    frame.to_feather(tmp_path / "run.feather")
    stated = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(missing=()))
    for where in (frame, tmp_path / "run.parquet", tmp_path / "run.feather"):
        log = read_log(where, logger=stated)
        assert log.data["n"].tolist() == frame["n"].tolist()
        np.testing.assert_array_equal(log.data["x"].to_numpy(), frame["x [N]"].to_numpy())
        assert log.data.index.tolist() == [int(n) / 10**6 for n in frame["t [us]"] - frame["t [us]"].iloc[0]]


def test_without_pyarrow_a_sentence_says_what_is_needed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table().to_parquet(tmp_path / "run.parquet")
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with pytest.raises(RecordingError, match="needs pyarrow"):
        read_log(tmp_path / "run.parquet")


def test_text_that_no_encoding_has_is_left_out() -> None:
    cells = pd.Series(["a\udcff"] * 3, dtype=object)
    log = read_log(pd.DataFrame({"t [s]": [0.0, 0.1, 0.2], "F [N]": [1.0, 2.0, 4.0], "note": cells}))
    assert list(log.data) == ["F"]
    assert "lone surrogates" in next(one.message for one in log.findings if one.code == "column-left-out")
