"""A logger that hung, clocks that are apart, dials of twelve hours with a date, serial days, dates above the rows."""

from __future__ import annotations

import tomllib

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import read_log, suggest_table
from toolbench.logs.clocks.offsets import duration_text
from toolbench.records.settings import Logger, TimeColumn


def stamped(stamps, name="Time"):
    return f"{name},F [N]\n" + "".join(f"{stamp},{row}.5\n" for row, stamp in enumerate(stamps))


def timed(**keys: object) -> Logger:
    return Logger(id="rig", time=TimeColumn(**keys))  # type: ignore[arg-type]


def told(log):
    return [(finding.code, finding.severity, finding.line) for finding in log.findings]


def test_clock_that_stands_still_to_the_end(write):
    log = read_log(write(stamped([f"2022-03-14 10:15:{min(n, 20):02d}" for n in range(50)])))
    assert told(log) == [("clock-stands-still", "doubtful", 23)]  # row 20 stands in line 22, row 49 in line 51
    assert (
        "29 rows while the values change: lines 23 to 51, the end of the recording, have the time of line 22"
        in log.findings[0].message
    )
    assert len(log.time.repeats) == 29
    assert log.data.index[-1] == 20


def test_clock_that_stands_still_for_a_while(write):
    rows = "".join(f"{n if n < 20 else 20 if n < 60 else n - 39},{n}.5\n" for n in range(100))
    log = read_log(write("Time [s],F [N]\n" + rows))
    assert told(log) == [("clock-stands-still", "doubtful", 23)]
    assert "39 rows while the values change: lines 23 to 61 have the time of line 22" in log.findings[0].message
    assert "the end" not in log.findings[0].message


@pytest.mark.parametrize(
    "stamps",
    [
        [f"2022-03-14 10:15:{n // 20:02d}" for n in range(200)],  # a coarse clock: even groups of 20
        [f"2022-03-14 10:15:{(n + 13) // 20:02d}" for n in range(200)],
        [f"2022-03-14 10:15:{n // 12:02d}" for n in range(100)],
    ],
)
def test_even_groups_of_a_coarse_clock_are_no_standstill(write, stamps):
    log = read_log(write(stamped(stamps)))
    assert [code for code, _, _ in told(log)] == ["time-repeats"]


def test_repeated_rows_are_no_standstill(write):
    rows = "".join(f"{min(n, 20)},{min(n, 20)}.5\n" for n in range(50))
    assert [code for code, _, _ in told(read_log(write("Time [s],F [N]\n" + rows)))] == ["time-repeats"]


def test_rows_of_a_standstill_are_not_spread(write):
    stamps = [f"2022-03-14 10:15:{min(n // 2, 20):02d}" for n in range(100)]  # two rows a second, then 60 rows in one
    log = read_log(write(stamped(stamps)), logger=timed(column="Time", spread=True))
    assert log.data.index[:5].tolist() == [0, 0.5, 1, 1.5, 2]
    assert log.data.index[40:].tolist() == [20] * 60
    assert "clock-stands-still" in {code for code, _, _ in told(log)}


# 1647249300 is 2022-03-14 09:15:00 UTC (date -u -d @1647249300).
@pytest.mark.parametrize(
    ("names", "row", "text"),
    [
        ("epoch,stamp", "{epoch},2022-03-14 10:15:{n:02d}", "'epoch' is 1 h behind it"),
        ("stamp,epoch", "2022-03-14 14:45:{n:02d},{epoch}", "'epoch' is 5 h 30 min behind it"),
        ("stamp,clock", "2022-03-14 13:15:{n:02d},1:15:{n:02d}", "'clock' is 12 h apart from it"),
        ("stamp,clock", "2022-03-14 13:15:{n:02d},13:17:{n:02d}", "'clock' is 2 min ahead of it"),
    ],
)
def test_clocks_that_are_apart(write, names, row, text):
    rows = "".join(row.format(n=n, epoch=1647249300 + n) + f",{n}\n" for n in range(20))
    [finding] = read_log(write(f"{names},F [N]\n" + rows)).findings
    assert finding.code == "several-clocks"
    assert finding.message.endswith(text)


def test_clocks_that_agree_say_no_offset(write):
    rows = "".join(f"2022-03-14 09:15:{n:02d},{1647249300 + n},{n}\n" for n in range(20))
    [finding] = read_log(write("stamp,epoch,F [N]\n" + rows)).findings
    assert finding.message == "'stamp' is taken as the time; 'epoch' could be it too"


@pytest.mark.parametrize(
    ("ns", "text"), [(3_600 * 10**9, "1 h"), (90_061_500_000_000, "1 d 1 h 1 min 1.5 s"), (1, "0.000000001 s")]
)
def test_lengths_of_time(ns, text):
    assert duration_text(ns) == text


def dial(day, minutes):
    return f"{day}/03/2022 {(minutes // 60 - 1) % 12 + 1}:{minutes % 60:02d}:00"


def test_dated_dial_over_noon(write):
    log = read_log(write(stamped([dial(14, 11 * 60 + n) for n in range(240)])))
    assert log.data.index.tolist() == [60 * n for n in range(240)]
    assert log.time.start == "2022-03-14T11:00:00"
    assert told(log) == [("twelve-hour-dial", "note", 122)]  # 1:00 is row 120


def test_dated_dial_over_two_days(write):
    log = read_log(write(stamped([dial(14 + n // 1440, n % 1440) for n in range(0, 2880, 10)])))
    assert log.data.index.tolist() == [60 * n for n in range(0, 2880, 10)]
    assert log.time.start == "2022-03-14T00:00:00"
    assert told(log) == [("twelve-hour-dial", "note", 8)]


def test_dated_dial_whose_half_day_is_unknown_leaves_the_start_open(write):
    log = read_log(write(stamped([dial(14, 12 * 60 + 30 + n) for n in range(60)])))
    assert log.data.index.tolist() == [60 * n for n in range(60)]
    assert log.time.start == ""
    assert "not known" in log.findings[0].message


@pytest.mark.parametrize(
    "stamps",
    [
        ["14/03/2022 12:58:00", "14/03/2022 12:59:00", "14/03/2022 1:30:00", "14/03/2022 1:31:00"],  # half an hour on
        ["14/03/2022 0:58:00", "14/03/2022 12:59:00", "14/03/2022 1:00:00", "14/03/2022 1:01:00"],  # an hour of 0
        ["14/03/2022 11:58:00", "14/03/2022 11:59:00", "14/03/2022 12:00:00", "14/03/2022 11:00:00"],
    ],
)
def test_step_back_that_no_dial_explains_stays_wrong(write, stamps):
    log = read_log(write(stamped(stamps)))
    assert ("time-steps-back", "wrong") in [(code, severity) for code, severity, _ in told(log)]
    assert "twelve-hour-dial" not in {code for code, _, _ in told(log)}


# By hand: 44634 days from 1899-12-30 are 2022-03-14; 0.4272 of a day is 36,910.08 s, 10:15:10.08.
@pytest.mark.parametrize("name", ["Date/Time", "Timestamp", "Time"])
def test_serial_days_of_a_spreadsheet(write, name):
    path = write(f"{name},F [N]\n" + "".join(f"{44634.4272 + n / 86400:.10f},{n}\n" for n in range(20)))
    log = read_log(path)
    assert log.time.start == "2022-03-14T10:15:10.080000"
    assert log.data.index.tolist() == pytest.approx(list(range(20)), abs=1e-5)
    assert [code for code, _, _ in told(log)] == ["serial-days-inferred"]
    stated = tomllib.loads(suggest_table(log))["loggers"]["rig"]["time"]
    assert stated == {"column": name, "unit": "d"}
    again = read_log(path, logger=timed(**stated))
    assert again.time == log.time
    assert again.findings == ()


@pytest.mark.parametrize(
    ("name", "start", "step", "places"),
    [
        ("Time", 44634.4272, 0.5, 4),  # can be seconds
        ("Time", 44634.4272, 0.001, 4),
        ("Date", 44634, 0, 0),  # no clock in it
        ("Date/Time", 30000.5, 1 / 86400, 8),  # 1982
    ],
)
def test_numbers_that_are_no_serial_days_beyond_doubt_are_refused(write, name, start, step, places):
    rows = "".join(f"{start + n * step:.{places}f},{n}\n" for n in range(20))
    with pytest.raises(RecordingError) as caught:
        read_log(write(f"{name},F [N]\n" + rows))
    assert caught.value.faults[0].key == "time"


def test_epoch_shows_the_digits_that_the_file_has(write):
    log = read_log(write("epoch,F [N]\n" + "".join(f"{1647253000 + n}.123456,{n}\n" for n in range(3))))
    assert log.time.start == "2022-03-14T10:16:40.123456+00:00"


def test_format_that_changes_once(write):
    log = read_log(write(stamped(["11:59:59 am", "12:00:00 PM", "12:00:01 PM", "12:00:02", "12:00:03"])))
    [message] = [finding.message for finding in log.findings if finding.code == "time-format-changes"]
    assert "change their format once, from '12:00:01 PM' to '12:00:02'" in message


CLOCK = stamped([f"10:15:{second:02d}" for second in range(3, 8)])


@pytest.mark.parametrize(
    "line",
    [
        "Date: 2022-03-14",
        "Date,14.03.2022",
        "Datum\t14. März 2022",
        "Start time: 2022-03-14 10:15:03",
        "# 2022/03/14 10:15",
    ],
)
def test_date_above_completes_the_start(write, line):
    log = read_log(write(f"Logger: seven\n{line}\nCalibrated: 2021-05-06\n" + CLOCK))
    assert log.time.start == "2022-03-14T10:15:03"
    assert told(log) == [("date-from-preamble", "note", 2)]


@pytest.mark.parametrize(
    "lines",
    [
        "Date: 03/04/2022\n",  # day and month
        "Date: 2022-03-14\nTested: 2022-03-15\n",
        "Calibrated: 2022-03-14\n",
        "Start: 2022-03-14 23:59:58\n",  # midnight may lie between
        "Serial: 20220314\n",
    ],
)
def test_date_above_that_is_in_doubt_is_left_alone(write, lines):
    log = read_log(write("Logger: seven\n" + lines + CLOCK))
    assert log.time.start == ""
    assert "date-from-preamble" not in {code for code, _, _ in told(log)}


@pytest.mark.parametrize("first", ["00:00:00", "-0:00:05"])
def test_elapsed_time_gets_no_date(write, first):
    log = read_log(write("Date: 2022-03-14\n" + stamped([first, "00:00:05", "00:00:10"])))
    assert log.time.start == ""


def test_date_with_dots_is_taken_day_first_and_said(write):
    log = read_log(write(stamped([f"03.04.2026 10:15:{second:02d}" for second in range(3, 6)])))
    assert log.time.start == "2026-04-03T10:15:03"
    assert told(log) == [("date-order-inferred", "note", 2)]
    assert told(read_log(write(stamped(["13.04.2026 10:15:03", "13.04.2026 10:15:04"])))) == []
