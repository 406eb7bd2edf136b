"""Time bases: units, stamps, epochs and rates; and gaps, repeats and steps back, reported and never mended."""

from __future__ import annotations

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import read_log
from toolbench.records.settings import Logger, TimeColumn


def timed(**keys: object) -> Logger:
    return Logger(id="rig", time=TimeColumn(**keys))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "seconds"),
    [
        ("t [s]", 2.0),
        ("t (msec)", 0.002),
        ("Zeit [µs]", 2e-6),
        ("elapsed_ms", 0.002),
        ("time_us", 2e-6),
        ("time_min", 120.0),
        ("t_h", 7200.0),
        ("Time (Deg) [min]", 120.0),
    ],
)
def test_unit_of_a_number(write, name, seconds):
    log = read_log(write(f"{name},F [N]\n10,1\n12,2\n14,3\n"))
    assert log.data.index.tolist() == [0.0, seconds, 2 * seconds]
    assert log.dialect.extra["time_of_first_row"] == "10"


def test_stated_unit_and_column_win(write):
    log = read_log(write("t [s],tick,F [N]\n0,0,1\n1,500,2\n"), logger=timed(column="tick", unit="ms"))
    assert log.data.index.tolist() == [0.0, 0.5]
    assert list(log.data.columns) == ["t", "F"]


def test_unsettled_unit_names_the_key(write):
    with pytest.raises(RecordingError) as caught:
        read_log(write("t,F [N]\n0,1\n10,2\n"))
    [fault] = caught.value.faults
    assert fault.key == "time"
    assert 'time = { column = "t", unit = "ms" }' in str(fault)


def test_unit_that_is_none_of_time(write):
    with pytest.raises(RecordingError, match="no unit of time"):
        read_log(write("t,F [N]\n0,1\n10,2\n"), logger=timed(column="t", unit="bar"))


def test_iso_stamps_with_zone_across_a_clock_change(write):
    # By hand: 02:59:59.5+02:00 and 02:00:00+01:00 on 25 October 2026 are half a second apart, not an hour.
    log = read_log(write("time,F [N]\n2026-10-25T02:59:59.500+02:00,1\n2026-10-25T02:00:00.000+01:00,2\n"))
    assert log.data.index.tolist() == [0.0, 0.5]
    assert log.findings == ()


def test_iso_stamps_without_zone(write):
    log = read_log(write("time;F [N]\n2026-03-01 23:59:59,750;1\n2026-03-02 00:00:00,250;2\n"))
    assert log.data.index.tolist() == [0.0, 0.5]
    assert log.time.start == "2026-03-01T23:59:59.750000"


def test_zone_that_is_stated(write):
    text = "time,F [N]\n2026-03-29T01:59:59,1\n2026-03-29T03:00:00,2\n"
    # By hand: clocks went from 02:00 to 03:00 in Berlin on 29 March 2026, so one second passed.
    log = read_log(write(text), logger=timed(column="time", zone="Europe/Berlin"))
    assert log.data.index.tolist() == [0.0, 1.0]
    assert log.time.start == "2026-03-29T01:59:59+01:00"
    with pytest.raises(RecordingError, match="cannot be placed in zone"):
        read_log(write(text.replace("03:00:00", "02:30:00")), logger=timed(column="time", zone="Europe/Berlin"))


def test_stamps_with_and_without_zone_are_refused(write):
    with pytest.raises(RecordingError, match="some stamps"):
        read_log(write("time,F [N]\n2026-03-01T10:00:00Z,1\n2026-03-01T10:00:01,2\n"))


def test_day_and_month_are_never_guessed(write):
    path = write("time,F [N]\n03/04/2026 10:00:00,1\n04/04/2026 10:00:00,2\n")
    with pytest.raises(RecordingError) as caught:
        read_log(path)
    text = str(caught.value)
    assert "day 03 of month 04" in text
    assert "day 04 of month 03" in text
    assert "format" in text
    # By hand: a day, or a month of 31 days (March to April in 2026).
    assert read_log(path, logger=timed(column="time", format="%d/%m/%Y %H:%M:%S")).data.index[1] == 86400.0
    assert read_log(path, logger=timed(column="time", format="%m/%d/%Y %H:%M:%S")).data.index[1] == 31 * 86400.0


@pytest.mark.parametrize(("digits", "unit"), [(0, "s"), (3, "ms"), (6, "us"), (9, "ns")])
def test_epochs_keep_their_last_digit(write, digits, unit):
    first = 1772359200 * 10**digits + (1 if digits else 0)  # 2026-03-01T10:00:00Z, by hand from 20513 days of 86400 s
    log = read_log(write(f"timestamp,F [N]\n{first},1\n{first + 1},2\n{first + 3},3\n"))
    assert log.data.index.tolist() == [0.0, 1 / 10**digits, 3 / 10**digits]
    assert log.time.unit == unit
    assert log.time.start.startswith("2026-03-01T10:00:00")
    assert "epoch-inferred" in {finding.code for finding in log.findings}


def test_rate_that_is_stated(write):
    log = read_log(write("F [N],p [bar]\n1,6\n2,6\n3,6\n"), logger=timed(rate_hz=1000.0))
    assert log.data.index.tolist() == [0.0, 0.001, 0.002]
    assert log.time.rate_hz == 1000.0


def test_rate_with_an_index_shows_lost_samples(write):
    log = read_log(write("Sample,F [N]\n5,1\n6,2\n9,3\n10,4\n"), logger=timed(rate_hz=100.0))
    assert log.data.index.tolist() == [0.0, 0.01, 0.04, 0.05]
    assert [line for line, _ in log.time.gaps] == [4]


@pytest.mark.parametrize("line", ["Sample rate: 2 kHz", "Sampling interval: 0.5 ms", "# sampling frequency = 2000 Hz"])
def test_rate_from_the_preamble_is_said(write, line):
    log = read_log(write(f"{line}\nF [N],p [bar]\n1,6\n2,6\n3,6\n"))
    assert log.data.index.tolist() == [0.0, 0.0005, 0.001]
    assert [(f.code, f.line) for f in log.findings] == [("rate-from-preamble", 1)]


def test_two_rates_that_differ_are_refused(write):
    with pytest.raises(RecordingError, match="2 rates that differ"):
        read_log(write("Sample rate: 2 kHz\nScan rate: 1 kHz\nF [N],p [bar]\n1,6\n2,6\n"))


def test_row_left_out_of_a_counted_time_is_wrong(write):
    rows = [f"{n},6" for n in range(50)]
    rows[20] = "20"
    log = read_log(write("F [N],p [bar]\n" + "\n".join(rows) + "\n"), logger=timed(rate_hz=100.0))
    assert [(f.code, f.severity, f.line) for f in log.findings] == [("rows-dropped", "wrong", 22)]


def test_gap(write):
    log = read_log(write("t [s],F [N]\n0,1\n1,2\n2,3\n5,4\n6,5\n"))
    assert log.time.gaps == ((5, 3.0),)
    assert log.data.index.tolist() == [0.0, 1.0, 2.0, 5.0, 6.0]
    assert [(f.code, f.severity, f.line) for f in log.findings] == [("time-gaps", "doubtful", 5)]


def test_jitter_of_ten_percent_is_no_gap(write):
    log = read_log(write("t [s],F [N]\n0,1\n1.1,2\n2,3\n2.9,4\n4,5\n"))
    assert log.time.gaps == ()
    assert log.findings == ()


def test_repeats_stay(write):
    log = read_log(write("t [s],F [N]\n0,1\n1,2\n1,2\n2,3\n3,4\n"))
    assert log.time.repeats == (4,)
    assert log.data["F"].tolist() == [1, 2, 2, 3, 4]
    assert [(f.code, f.severity, f.line) for f in log.findings] == [("time-repeats", "doubtful", 4)]


def test_steps_back_stay_and_are_wrong(write):
    log = read_log(write("t [s],F [N]\n0,1\n1,2\n2,3\n0.5,4\n1.5,5\n2.5,6\n"))
    assert log.time.steps_back == (5,)
    assert log.data["F"].tolist() == [1, 2, 3, 4, 5, 6]
    assert [(f.code, f.severity, f.line) for f in log.findings] == [("time-steps-back", "wrong", 5)]


def test_row_without_readable_time_is_left_out_with_its_line(write):
    log = read_log(write("t [s],F [N]\n0,1\noops,2\n2,3\n3,4\n"))
    assert log.data["F"].tolist() == [1, 3, 4]
    assert ("rows-dropped", 3) in [(f.code, f.line) for f in log.findings]


def test_time_before_zero_counts_from_the_first_sample(write):
    log = read_log(write("t [s],F [N]\n-0.5,1\n0,2\n0.5,3\n"))
    assert log.data.index.tolist() == [0.0, 0.5, 1.0]
    assert log.dialect.extra["time_of_first_row"] == "-0.5"


def test_second_clock_is_named(write):
    log = read_log(write("t [s],time [ms],F [N]\n0,0,1\n1,1000,2\n"))
    assert log.time.source == "t [s]"
    assert "'time [ms]'" in next(f.message for f in log.findings if f.code == "several-clocks")


def test_lines_are_right_behind_preamble_blank_and_dropped_lines(write):
    log = read_log(write("a: b\n\nt [s],F [N]\n0,1\n\n1,2\nend,of part\n2,3\n7,4\n"))
    assert log.time.gaps == ((9, 5.0),)
