"""TDMS and MDF files, each written here by the library that reads it; without it the test says what is missing.

The expected values are the numbers written.
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from toolbench.errors import RecordingError
from toolbench.files import digest
from toolbench.logs import read_log
from toolbench.records.settings import Channel, DialectOverrides, Logger, TimeColumn

TORQUE = np.arange(50) / 3
WAVE = {"wf_increment": 0.002, "wf_start_offset": 0.5, "wf_start_time": np.datetime64("2026-03-04T09:00:00")}


def write_tdms(path: Path, *channels: tuple[str, str, Any, dict[str, Any]]) -> Path:
    nptdms = pytest.importorskip("nptdms")
    with nptdms.TdmsWriter(path) as writer:
        writer.write_segment([nptdms.ChannelObject(g, name, values, properties=p) for g, name, values, p in channels])
    return path


def logger(*columns: str, group: str | None = None) -> Logger:
    channels = {f"c{k}": Channel(name=f"c{k}", column=column) for k, column in enumerate(columns)}
    return Logger(id="rig", time=TimeColumn(), channels=channels, dialect=DialectOverrides(group=group))


def test_a_waveform_brings_its_unit_its_rate_and_its_start(tmp_path: Path) -> None:
    path = write_tdms(tmp_path / "run.tdms", ("Run 1", "Torque", TORQUE, WAVE | {"unit_string": "N*m"}))
    log = read_log(path)
    assert log.data["Torque"].tolist() == TORQUE.tolist()
    assert log.units == {"Torque": "N*m"}
    assert log.data.index.tolist() == [k / 500.0 for k in range(50)]  # the CSV's rule at a rate of 500 Hz
    assert log.time.start == "2026-03-04T09:00:00.5+00:00"
    assert (log.dialect.container, log.dialect.extra["group"]) == ("TDMS", "Run 1")
    assert log.digest == digest(path)


def test_the_index_of_another_recording_beside_a_file_changes_nothing(tmp_path: Path) -> None:
    nptdms = pytest.importorskip("nptdms")

    def write(name: str, *order: str) -> Path:
        values = {"Torque": TORQUE, "Pressure": TORQUE + 1000}
        with nptdms.TdmsWriter(str(tmp_path / name), index_file=True) as writer:
            writer.write_segment([nptdms.ChannelObject("g", one, values[one], properties=WAVE) for one in order])
        return tmp_path / name

    path, other = write("run.tdms", "Torque", "Pressure"), write("other.tdms", "Pressure", "Torque")
    # As long as the right one, with the channels the other way round: it passes for the index of this file.
    other.with_suffix(".tdms_index").replace(path.with_suffix(".tdms_index"))
    log = read_log(path)
    assert log.data["Torque"].tolist() == TORQUE.tolist()
    assert log.data["Pressure"].tolist() == (TORQUE + 1000).tolist()


@pytest.mark.parametrize(
    "properties",
    [
        {"wf_increment": "soon"},
        {"wf_increment": float("nan")},
        {"wf_increment": 1e-320},
        {"wf_increment": 0.002, "wf_start_offset": "late"},
        {"wf_increment": 0.002, "wf_start_offset": 1e300, "wf_start_time": np.datetime64("9999-01-01")},
    ],
    ids=str,
)
def test_a_property_that_no_logger_means_is_passed_over(properties: dict[str, Any], tmp_path: Path) -> None:
    time_s = np.arange(50) / 500.0
    path = write_tdms(tmp_path / "run.tdms", ("g", "t [s]", time_s, {}), ("g", "T [N*m]", TORQUE, properties))
    log = read_log(path)
    assert log.data.index.tolist() == time_s.tolist()
    assert log.time.start in ("", None)


def test_a_channel_of_time_goes_before_a_waveform_and_must_agree_with_it(tmp_path: Path) -> None:
    time = ("Run 1", "t [ms]", np.arange(50) * 2, {})
    log = read_log(write_tdms(tmp_path / "good.tdms", time, ("Run 1", "F [N]", TORQUE, WAVE)))
    assert (log.time.source, log.data.index[-1]) == ("t [ms]", 0.098)
    odd = ("Run 1", "F [N]", TORQUE, WAVE | {"wf_increment": 1.0})
    path = write_tdms(tmp_path / "odd.tdms", time, odd)
    with pytest.raises(RecordingError, match=r"state 1 Hz, its column 't \[ms\]' gives 500 Hz"):
        read_log(path)
    stated = Logger(id="rig", time=TimeColumn(column="t [ms]"))
    assert read_log(path, logger=stated).data.index[-1] == 0.098


def test_several_groups_are_refused_until_one_is_meant(tmp_path: Path) -> None:
    path = write_tdms(
        tmp_path / "run.tdms", ("Run 1", "Torque", TORQUE, WAVE), ("Run 2", "Torque", TORQUE + 1, WAVE),
        ("Run 2", "Flow", TORQUE, WAVE), ("Empty", "Flow", np.empty(0), {}),
    )  # fmt: skip
    with pytest.raises(RecordingError, match=r"2 groups that cannot stand in one table: 'Run 1' .*'Run 2'"):
        read_log(path)
    with pytest.raises(RecordingError, match="2 groups"):
        read_log(path, logger=logger("Torque"))
    assert read_log(path, group="Run 2").data["Torque"].iloc[0] == 1.0
    assert read_log(path, logger=logger(group="Run 1")).data["Torque"].iloc[0] == 0.0
    by_name = read_log(path, logger=logger("Torque", "Flow"))
    assert by_name.data["Torque"].iloc[0] == 1.0
    assert "'Run 2' is read, 'Run 1' not" in by_name.findings[0].message
    with pytest.raises(RecordingError, match="did you mean 'Run 1'"):
        read_log(path, group="Run1")


def test_channels_of_different_rates_do_not_stand_in_one_table(tmp_path: Path) -> None:
    slow = ("Run 1", "p", TORQUE[:25], WAVE | {"wf_increment": 0.004})
    path = write_tdms(tmp_path / "run.tdms", ("Run 1", "Torque", TORQUE, WAVE), slow)
    with pytest.raises(RecordingError, match=r"'Run 1 \(500 Hz, 50 rows\)'.*'Run 1 \(250 Hz, 25 rows\)'"):
        read_log(path)
    assert read_log(path, columns=["p"]).time.rate_hz == 250.0


def test_a_damaged_tdms_file_is_a_sentence(tmp_path: Path) -> None:
    pytest.importorskip("nptdms")
    (tmp_path / "run.tdms").write_bytes(b"TDSm" + bytes(range(255)) * 3)
    with pytest.raises(RecordingError, match="TDMS"):
        read_log(tmp_path / "run.tdms")


def test_a_tdms_file_that_ends_early_is_doubtful(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = write_tdms(tmp_path / "run.tdms", ("Run 1", "F [N]", TORQUE, WAVE))
    path.write_bytes(path.read_bytes()[:-80])
    log = read_log(path)
    assert log.data["F"].tolist() == TORQUE[:40].tolist()  # by hand: 80 bytes are ten numbers
    assert log.findings[0].code == "reader-doubts"
    assert "less data than expected" in log.findings[0].message
    assert capfd.readouterr().err == ""


def write_mdf(path: Path, groups: list[tuple[str, list[tuple[str, str, Any]], float]], version: str = "4.10") -> Path:
    asammdf = pytest.importorskip("asammdf")
    with asammdf.MDF(version=version) as file:
        file.header.start_time = datetime.datetime(2026, 3, 4, 9, 0, tzinfo=datetime.UTC)
        for name, channels, interval in groups:
            signals = [
                asammdf.Signal(values, np.arange(len(values)) * interval, name=called, unit=unit)
                for called, unit, values in channels
            ]
            file.append(signals, acq_name=name)
        file.save(path, overwrite=True)
    return path


FAST = ("fast", [("Torque", "N*m", TORQUE), ("Count", "", np.arange(50, dtype=np.uint16))], 0.01)
SLOW = ("slow", [("p", "bar", TORQUE[:5])], 0.1)


@pytest.mark.parametrize("version", ["4.10", "3.30"])
def test_an_mdf_group_brings_units_and_its_master_time(version: str, tmp_path: Path) -> None:
    path = write_mdf(tmp_path / ("run.mf4" if version > "4" else "run.mdf"), [FAST], version)
    log = read_log(path)
    assert log.data["Torque"].tolist() == TORQUE.tolist()
    assert log.data["Count"].tolist() == list(range(50))
    assert log.units == {"Torque": "N*m", "Count": ""}
    assert log.data.index.tolist() == (np.arange(50) * 0.01).tolist()
    assert log.dialect.container == f"MDF {version}"
    assert log.time.start.startswith("2026-03-04T09:00:00") or version < "4"
    assert log.digest == digest(path)


def test_mdf_groups_of_different_rates_are_refused_until_one_is_meant(tmp_path: Path) -> None:
    path = write_mdf(tmp_path / "run.mf4", [FAST, SLOW])
    with pytest.raises(RecordingError, match=r"'fast' with .*'Torque'.*'slow' with .*'p'"):
        read_log(path)
    assert read_log(path, logger=logger("p")).data["p"].tolist() == TORQUE[:5].tolist()
    assert list(read_log(path, group="fast").data) == ["Torque", "Count"]


def test_a_damaged_mdf_file_is_a_sentence(tmp_path: Path) -> None:
    good = write_mdf(tmp_path / "run.mf4", [FAST]).read_bytes()
    (tmp_path / "cut.mf4").write_bytes(good[:150])
    with pytest.raises(RecordingError, match="is MDF by its first bytes, but cannot be read"):
        read_log(tmp_path / "cut.mf4")


def test_a_channel_that_reaches_beyond_its_record_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    path = write_mdf(tmp_path / "run.mf4", [FAST])
    with asammdf.MDF(path) as opened:
        channel = opened.groups[0].channels[1]
        # ASAM MDF 4: a head of 24 bytes, the links, then four bytes of types before the channel's byte offset
        place = channel.address + 24 + 8 * channel.links_nr + 4
    data = bytearray(path.read_bytes())
    assert int.from_bytes(data[place : place + 4], "little") == 8  # behind the time
    data[place : place + 4] = (1 << 30).to_bytes(4, "little")
    path.write_bytes(data)
    with pytest.raises(RecordingError, match="'Torque' reaches beyond its record"):
        read_log(path)


@pytest.mark.parametrize(
    ("head", "module", "extra"), [(b"TDSm", "nptdms", "tdms"), (b"MDF     4.10    ", "asammdf", "mdf")]
)
def test_without_its_library_a_sentence_names_the_extra(
    head: bytes, module: str, extra: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, module, None)
    (tmp_path / "run.bin").write_bytes(head + bytes(100))
    with pytest.raises(RecordingError, match=rf"pip install \"toolbench-reports\[{extra}\]\""):
        read_log(tmp_path / "run.bin")
