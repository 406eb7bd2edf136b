"""Clocks of every spelling: seconds by hand, beside each file."""

from __future__ import annotations

import tomllib

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import read_log, suggest_table
from toolbench.records.settings import Logger, TimeColumn


def timed(**keys: object) -> Logger:
    return Logger(id="rig", time=TimeColumn(**keys))  # type: ignore[arg-type]


def stamped(stamps, name="Time", delimiter=","):
    rows = "".join(f"{stamp}{delimiter}{row}.5\n" for row, stamp in enumerate(stamps))
    return f"{name}{delimiter}F [N]\n{rows}"


def codes(log):
    return {finding.code for finding in log.findings}


# Seconds by hand: each file's stamps less its first.
@pytest.mark.parametrize(
    ("stamps", "seconds", "start"),
    [
        (["13/03/2026 11:59:59", "13/03/2026 12:00:01"], [0, 2], "2026-03-13T11:59:59"),
        (["03/13/2026 11:59:59 AM", "03/13/2026 12:00:00 PM", "03/13/2026 1:00:00 PM"], [0, 1, 3601], "2026-03-13T11:59:59"),
        (["13.03.26 10:15:03.25", "13.03.26 10:15:04.00"], [0, 0.75], "2026-03-13T10:15:03.250000"),
        (["2026/03/13 10:15", "2026/03/13 10:16"], [0, 60], "2026-03-13T10:15:00"),
        (["12-Mar-2026 23:59:59", "13-Mar-2026 00:00:00"], [0, 1], "2026-03-12T23:59:59"),
        (["31. Dezember 2025 23:59:59", "1. Januar 2026 00:00:00"], [0, 1], "2025-12-31T23:59:59"),
        (["28 févr. 2026 10:00:00", "1 mars 2026 10:00:00"], [0, 86400], "2026-02-28T10:00:00"),
        (["Sun Mar  1 10:15:03 2026", "Sun Mar  1 10:15:04 2026"], [0, 1], "2026-03-01T10:15:03"),
        (["20260301T101503Z", "20260301T101504.5Z"], [0, 1.5], "2026-03-01T10:15:03+00:00"),
        (["20260301101503", "20260301101504"], [0, 1], "2026-03-01T10:15:03"),
        (["2026-03-01_10-15-03", "2026-03-01_10-15-04"], [0, 1], "2026-03-01T10:15:03"),
        (["2026-03-01 23:59:59", "2026-03-01 24:00:00", "2026-03-02 00:00:01"], [0, 1, 2], "2026-03-01T23:59:59"),
        (["2026-02-28 24:00:00", "2026-03-01 00:00:00.5"], [0, 0.5], "2026-03-01T00:00:00"),
        (["2026-03-01T10:00:00.000000001", "2026-03-01T10:00:00.000000003"], [0, 2e-9], "2026-03-01T10:00:00.000000001"),
        (["午前 11:59:59", "午後 12:00:00", "午後 1:00:00"], [0, 1, 3601], ""),
        (["11:59:59 a.m.", "12:00:00 p.m.", "1:00:00 p.m."], [0, 1, 3601], ""),
        (["10:15:03:250", "10:15:03:500", "10:15:04:000"], [0, 0.25, 0.75], ""),
        (["1d 23:59:59", "2d 00:00:00"], [0, 1], ""),
        (["23:59:59", "24:00:00", "25:00:00"], [0, 1, 3601], ""),
        (["10:15:03", "10:15:03.25", "10:15:03.5", "10:15:04"], [0, 0.25, 0.5, 1], ""),
    ],
)  # fmt: skip
def test_one_cell(write, stamps, seconds, start):
    log = read_log(write(stamped(stamps)))
    assert log.data.index.tolist() == seconds
    assert log.time.start == start
    assert log.time.unit == "stamps"


def test_clock_of_minutes_and_seconds_passes_the_hour(write):
    log = read_log(write(stamped(["59:59.5", "00:00.0", "00:00.5"])))
    assert log.data.index.tolist() == [0, 0.5, 1.0]
    assert [(f.code, f.line) for f in log.findings] == [("clock-began-anew", 3)]


def test_midnight_adds_a_day_and_says_so(write):
    log = read_log(write(stamped(["23:59:59.5", "00:00:00.0", "00:00:00.5"])))
    assert log.data.index.tolist() == [0, 0.5, 1.0]
    assert [(f.code, f.severity, f.line) for f in log.findings] == [("midnight-crossed", "note", 3)]


def test_small_step_back_is_no_midnight(write):
    log = read_log(write(stamped(["10:00:02", "10:00:03", "10:00:01", "10:00:02"])))
    assert log.data.index.tolist() == [0, 1, -1, 0]
    assert log.time.steps_back == (4,)


def test_two_numbers_are_refused_unless_something_tells(write):
    with pytest.raises(RecordingError) as caught:
        read_log(write(stamped(["10:15", "10:16", "10:17"])))
    assert "hours and minutes, or minutes and seconds" in str(caught.value)
    assert caught.value.faults[0].key == "time"
    assert read_log(write(stamped(["10:15", "10:16"], "hh:mm"))).data.index.tolist() == [0, 60]
    stated = read_log(write(stamped(["10:15", "10:16"])), logger=timed(column="Time", format="%M:%S"))
    assert stated.data.index.tolist() == [0, 1]
    assert read_log(write(stamped(["30:15", "30:16"]))).data.index.tolist() == [0, 1]


def test_dial_of_twelve_hours_without_a_mark(write):
    log = read_log(write(stamped(["11:59:59", "12:00:00", "12:59:59", "1:00:00"])))
    assert log.data.index.tolist() == [0, 1, 3600, 3601]
    assert "twelve-hour-dial" in codes(log)


# Ten rows a second, written as a count of milliseconds: the steps are 0.1 s by construction.
@pytest.mark.parametrize("form", ["10:15:{:02d}.{:04d}", "10:15:{:02d}.{}", "2026-03-01 10:15:{:02d}.{}"])
def test_fraction_that_is_a_count(write, form):
    log = read_log(write(stamped([form.format(3 + n // 10, n % 10 * 100 + 7) for n in range(40)])))
    assert log.data.index.tolist() == [n * 100 / 1000 for n in range(40)]
    assert "fraction-is-count" in codes(log)


def test_fraction_that_can_be_both_is_refused(write):
    stamps = [f"10:15:03.{n:04d}" for n in range(0, 100, 10)]  # decimals: 1 ms apart; milliseconds: 10 ms apart
    path = write(stamped(stamps))
    with pytest.raises(RecordingError, match="decimals, or a count of milliseconds"):
        read_log(path)
    assert read_log(path, logger=timed(column="Time", format="%H:%M:%S.%f")).data.index[1] == 0.001
    assert read_log(path, logger=timed(column="Time", format="%H:%M:%S.%L")).data.index[1] == 0.01


def test_format_that_changes_on_the_way(write):
    log = read_log(write(stamped(["11:59:59 am", "12:00:00 PM", "12:00:01 PM", "12:00:02", "13:00:00"])))
    assert log.data.index.tolist() == [0, 1, 2, 3, 3601]
    assert [(f.code, f.line) for f in log.findings if f.code == "time-format-changes"] == [("time-format-changes", 5)]


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("Date,Time,F [N]\n13/03/2026,23:59:59.5,1\n14/03/2026,00:00:00.0,2\n", ["Date", "Time"]),
        ("Datum;Uhrzeit;F [N]\n13.03.2026;23:59:59,5;1\n14.03.2026;00:00:00,0;2\n", ["Datum", "Uhrzeit"]),
        ("Time,Date,F [N]\n23:59:59.5,2026-03-13,1\n00:00:00.0,2026-03-14,2\n", ["Date", "Time"]),
        ("Date,Time,ms,F [N]\n13/03/2026,23:59:59,500,1\n14/03/2026,00:00:00,0,2\n", ["Date", "Time", "ms"]),
        ("Date,Time,µs,F [N]\n13/03/2026,23:59:59,500000,1\n14/03/2026,00:00:00,0,2\n", ["Date", "Time", "µs"]),
        ("Date,Time,,F [N]\n3/13/2026,11:59:59.5,PM,1\n3/14/2026,12:00:00.0,AM,2\n", ["Date", "Time", "column 3"]),
        ("Y,M,D,h,m,s,F [N]\n2026,3,13,23,59,59.5,1\n2026,3,14,0,0,0.0,2\n", ["Y", "M", "D", "h", "m", "s"]),
        ("Date,Time,F [N]\n20260313,235959.5,1\n20260314,0.0,2\n", ["Date", "Time"]),
    ],
)  # fmt: skip
def test_clock_in_several_columns_reads_back_as_suggested(write, text, columns):
    path = write(text)
    log = read_log(path)
    assert log.data.index.tolist() == [0, 0.5]
    assert log.time.start.startswith("2026-03-13T23:59:59")
    assert list(log.data.columns) == ["F"]
    stated = tomllib.loads(suggest_table(log))["loggers"]["rig"]["time"]
    assert stated == {"column": columns}
    again = read_log(path, logger=timed(column=tuple(stated["column"])))
    assert again.data.index.tolist() == [0, 0.5]
    assert again.time == log.time


def test_day_and_month_decided_by_a_later_row(write):
    log = read_log(write(stamped(["03/04/2026 23:59:59", "04/04/2026 00:00:00", "13/04/2026 00:00:00"])))
    assert log.time.start == "2026-04-03T23:59:59"


def test_day_and_month_decided_by_what_rises(write):
    # By hand: 30 June is no month; 12/06 then 01/07 falls as month/day (6 December, 7 January of the same year).
    log = read_log(write(stamped(["12/06/2026 10:00:00", "01/07/2026 10:00:00"])))
    assert log.data.index[1] == 19 * 86400
    assert "date-order-inferred" in codes(log)


def test_day_and_month_decided_by_an_even_rate(write):
    stamps = [f"{4 + n // 24:02d}/03/2026 {n % 24:02d}:00:00" for n in range(50)]
    log = read_log(write(stamped(stamps)))
    assert log.data.index.tolist() == [3600.0 * n for n in range(50)]
    assert "date-order-inferred" in codes(log)


def test_ambiguous_day_is_read_and_takes_no_side(write):
    log = read_log(write(stamped(["03/04/2026 10:00:00", "03/04/2026 10:00:01"])))
    assert log.data.index.tolist() == [0, 1]
    assert log.time.start == ""
    [found] = log.findings
    assert found.code == "date-ambiguous"
    assert "format" in found.mend


def test_order_that_changes_is_refused_with_both_lines(write):
    with pytest.raises(RecordingError) as caught:
        read_log(write(stamped(["03/04/2026 10:00:00", "13/04/2026 10:00:00", "04/14/2026 10:00:00"])))
    assert "line 3" in str(caught.value)
    assert "line 4" in str(caught.value)


def test_zone_in_the_name_and_letters_that_are_none(write):
    named = read_log(write(stamped(["2026-03-13 10:15:03", "2026-03-13 10:15:04"], '"Time, GMT+01:00"')))
    assert named.time.start == "2026-03-13T10:15:03+01:00"
    letters = read_log(write(stamped(["2026-03-13 10:15:03 MESZ", "2026-03-13 10:15:04 MESZ"])))
    assert letters.time.start == "2026-03-13T10:15:03"
    assert "zone-as-written" in codes(letters)
    with pytest.raises(RecordingError, match="changes"):
        read_log(write(stamped(["2026-10-25 02:59:59 MESZ", "2026-10-25 02:00:00 MEZ"])))


def test_clock_put_back_in_a_stated_zone(write):
    # By hand: 02:59:59 summer time and 02:00:00 winter time in Berlin on 25 October 2026 are one second apart.
    stamps = ["2026-10-25 01:59:59", "2026-10-25 02:59:59", "2026-10-25 02:00:00", "2026-10-25 03:00:00"]
    log = read_log(write(stamped(stamps)), logger=timed(column="Time", zone="Europe/Berlin"))
    assert log.data.index.tolist() == [0, 3600, 3601, 7201]
    assert log.time.start == "2026-10-25T01:59:59+02:00"


def test_repeated_hour_that_nothing_settles(write):
    alone = ["2026-10-25 02:10:00", "2026-10-25 02:10:01"]
    log = read_log(write(stamped(alone)), logger=timed(column="Time", zone="Europe/Berlin"))
    assert log.data.index.tolist() == [0, 1]
    assert log.time.start == ""
    far = ["2026-10-24 12:00:00", "2026-10-25 02:10:00", "2026-10-25 12:00:00"]
    with pytest.raises(RecordingError, match="that hour comes twice"):
        read_log(write(stamped(far)), logger=timed(column="Time", zone="Europe/Berlin"))


@pytest.mark.parametrize("between", [" ", " -> "])
def test_clock_glued_to_the_first_value_is_parted(write, between):
    text = f"A [V],B [V]\n10:15:03.250{between}0.123,4\n10:15:03.500{between}-1.5e-3,5\n"
    log = read_log(write(text))
    assert log.data.index.tolist() == [0, 0.25]
    assert log.data["A"].tolist() == [0.123, -0.0015]
    assert log.data["B"].tolist() == [4, 5]
    assert log.units["A"] == "V"
    assert "clock-parted" in codes(log)


def test_decimal_epoch_keeps_its_printed_digits(write):
    log = read_log(write("timestamp,F [N]\n1772359200.123456,1\n1772359200.133457,2\n"))
    assert log.data.index.tolist() == [0, 0.010001]


def test_equal_stamps_are_spread_only_when_asked(write):
    # Four rows a second on a clock of whole seconds; the first second holds two, the last three.
    stamps = [f"10:00:{second:02d}" for second, count in ((0, 2), (1, 4), (2, 4), (3, 3)) for _ in range(count)]
    path = write(stamped(stamps))
    plain = read_log(path)
    assert plain.data.index.tolist()[:3] == [0, 0, 1]
    assert "time-repeats" in codes(plain)
    spread = read_log(path, logger=timed(column="Time", spread=True))
    assert spread.data.index.tolist() == [0.25 * n for n in range(13)]
    assert "time-spread" in codes(spread)
    assert spread.time.spread


@pytest.mark.parametrize("lost", ["", "?", "timestamp,F [N]"])
def test_an_epoch_in_nanoseconds_keeps_its_last_digit_beside_a_row_that_is_lost(write, lost):
    first = 1772359200000000001
    rows = [f"{first + n},{n}.5" for n in range(9)]
    rows[4] = lost if "," in lost else f"{lost},4.5"
    log = read_log(write("timestamp,F [N]\n" + "\n".join(rows) + "\n"))
    assert log.data.index.tolist() == [n / 10**9 for n in range(9) if n != 4]
