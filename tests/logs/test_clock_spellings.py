"""Stamps with a weekday, a zone and the year at the end, in several languages; elapsed times below zero. Seconds by hand."""

from __future__ import annotations

import pytest

from toolbench.logs import read_log
from toolbench.logs.clocks.months import MONTHS


def stamped(stamps, name="Time", delimiter=","):
    return f"{name}{delimiter}F [N]\n" + "".join(f"{stamp}{delimiter}{row}.5\n" for row, stamp in enumerate(stamps))


# 14 March 2022 is a Monday (Zeller's congruence, by hand).
@pytest.mark.parametrize(
    ("form", "start"),
    [
        ("Mon Mar 14 10:15:{} GMT+01:00 2022", "2022-03-14T10:15:{}+01:00"),
        ("Mon Mar 14 10:15:{} +0100 2022", "2022-03-14T10:15:{}+01:00"),
        ("Mon Mar 14 10:15:{} UTC 2022", "2022-03-14T10:15:{}+00:00"),
        ("Mon Mar 14 10:15:{} 2022", "2022-03-14T10:15:{}"),
        ("Mon Mar 14 10:15:{} PM 2022", "2022-03-14T22:15:{}"),
        ("Mo März 14 10:15:{} 2022", "2022-03-14T10:15:{}"),
        ("Mo. 14. März 2022 10:15:{}", "2022-03-14T10:15:{}"),
        ("Donnerstag 14 Juli 10:15:{} 2022", "2022-07-14T10:15:{}"),
        ("lun. mars 14 10:15:{} 2022", "2022-03-14T10:15:{}"),
        ("lunes 14 de marzo de 2022 10:15:{}", "2022-03-14T10:15:{}"),
        ("segunda-feira 14 de março de 2022 10:15:{}", "2022-03-14T10:15:{}"),
        ("pon. 14 marca 2022 10:15:{}", "2022-03-14T10:15:{}"),
        ("понедельник 14 марта 2022 10:15:{}", "2022-03-14T10:15:{}"),
        ("maanantai 14 maaliskuuta 2022 10:15:{}", "2022-03-14T10:15:{}"),
        ("2022年3月14日(月) 10:15:{}", "2022-03-14T10:15:{}"),
    ],
)
def test_weekday_in_front_year_anywhere(write, form, start):
    log = read_log(write(stamped([form.format(f"{second:02d}") for second in (3, 4, 6)])))
    assert log.data.index.tolist() == [0, 1, 3]
    assert log.time.start == start.format("03")
    assert not [finding for finding in log.findings if finding.code not in ("time-gaps",)]


def test_letters_of_a_zone_before_the_year_name_no_offset(write):
    log = read_log(write(stamped([f"Mon Mar 14 10:15:0{second} CET 2022" for second in (3, 4)])))
    assert log.time.start == "2022-03-14T10:15:03"
    assert [(finding.code, finding.line) for finding in log.findings] == [("zone-as-written", 2)]


@pytest.mark.parametrize(
    ("stamps", "seconds"),
    [
        (["-0:00:01.5", "-0:00:00.5", "0:00:00.5"], [0, 1, 2]),
        (["-00:00:01", "00:00:00", "00:00:01"], [0, 1, 2]),
        (["-00:01.250", "00:00.000", "00:01.250"], [0, 1.25, 2.5]),  # minutes and seconds
        (["\N{MINUS SIGN}1:00:00", "\N{MINUS SIGN}0:30:00", "0:00:00"], [0, 1800, 3600]),
        (["+00:00:01", "+00:00:02", "+00:00:04"], [0, 1, 3]),
    ],
)
def test_elapsed_time_that_begins_below_zero(write, stamps, seconds):
    log = read_log(write(stamped(stamps)))
    assert log.data.index.tolist() == seconds
    assert log.time.start == ""
    assert not [finding for finding in log.findings if finding.code not in ("time-gaps",)]


def test_no_name_of_a_month_stands_for_two():
    from toolbench.logs.clocks.months import _NAMES

    names = [name for line in _NAMES for name in line.split()]
    assert {name: names.count(name) for name in names if names.count(name) > 1} == {}
    assert len(MONTHS) == len(names)
