"""A second clock in the same file settles a missing unit, contradicts a wrong one, or takes over."""

from __future__ import annotations

import tomllib

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import read_log, suggest_table
from toolbench.records.settings import Logger, TimeColumn


def found(log, code):
    return next(finding for finding in log.findings if finding.code == code)


def test_minutes_settled_by_a_coarse_wall_clock(write):
    # Constructed: a row every 3 s, written in minutes; the wall clock shows whole minutes.
    rows = "".join(f"{n * 0.05:.2f},2026-03-01 10:{n // 20:02d}:00,{n}\n" for n in range(200))
    path = write("Time,Date_Time,V [V]\n" + rows)
    log = read_log(path)
    assert log.time.source == "Time"
    assert log.time.unit == "min"
    assert log.data.index[1] == pytest.approx(3.0, rel=1e-15)
    assert "9.95 there" in found(log, "unit-by-second-clock").message
    assert tomllib.loads(suggest_table(log))["loggers"]["rig"]["time"] == {"column": "Time", "unit": "min"}


@pytest.mark.parametrize(
    "preamble",
    [
        "Sample Rate: 2 Hz\n",
        "Interval,0.5,s\n",
        "Start time: 10:15:00\nEnd time: 10:15:30\n",
        "Begin,13.03.2026 10:15:00\nEnd,13.03.2026 10:15:30\n",
        "Duration: 30 s\n",
    ],
)
def test_milliseconds_settled_by_the_preamble(write, preamble):
    log = read_log(write(preamble + "Time,V [V]\n" + "".join(f"{n * 500},{n}\n" for n in range(61))))
    assert log.time.unit == "ms"
    assert log.data.index[-1] == 30.0
    assert "unit-by-second-clock" in {finding.code for finding in log.findings}


def test_unit_that_no_clock_fits_is_refused_with_both_numbers(write):
    rows = "".join(f"{n * 7},{n}\n" for n in range(61))
    with pytest.raises(RecordingError) as caught:
        read_log(write("Duration: 30 s\nTime,V [V]\n" + rows))
    assert "420 there, 30 s" in str(caught.value)
    assert caught.value.faults[0].key == "time"


def test_seconds_that_another_clock_says_are_milliseconds_are_refused(write):
    rows = "".join(f"{n * 500},2026-03-01 10:00:{n // 2:02d},{n}\n" for n in range(60))
    path = write("Time [s],Date_Time,V [V]\n" + rows)
    with pytest.raises(RecordingError) as caught:
        read_log(path)
    [fault] = caught.value.faults
    assert fault.key == "time"
    assert "29500 s" in fault.message
    assert "29 s" in fault.message
    assert 'unit = "ms"' in str(fault)
    # Whoever states a unit is believed.
    for unit, seconds in (("s", 500.0), ("ms", 0.5)):
        stated = Logger(id="rig", time=TimeColumn(column="Time [s]", unit=unit))
        assert read_log(path, logger=stated).data.index[1] == seconds


def test_clocks_that_disagree_are_both_named(write):
    rows = "".join(f"{n},2026-03-01 10:{3 * n // 60:02d}:{3 * n % 60:02d},{n}\n" for n in range(60))
    log = read_log(write("Time [s],Date_Time,V [V]\n" + rows))
    assert "59 s" in found(log, "clocks-disagree").message
    assert "177 s" in found(log, "clocks-disagree").message


def test_clock_that_steps_back_yields_to_one_that_does_not(write):
    rows = "".join(f"{n % 10},{n},{n}\n" for n in range(30))
    log = read_log(write("Step Time [s],Test Time [s],V [V]\n" + rows))
    assert log.time.source == "Test Time [s]"
    assert "steps back 2 times" in found(log, "clock-chosen").message


@pytest.mark.parametrize(
    ("preamble", "rate"),
    [
        ("XInc,1.0E-6\n", 1e6),
        ("dt = 0.001\n", 1000.0),
        ("Delta_X\t0.01\n", 100.0),
        ("Abtastrate;500;Hz\n", 500.0),
        ("Sampling interval: 0.5 ms\nX0: 0\n", 2000.0),
        ("サンプリング周期,10ms\n", 100.0),
        ("Scan Rate [Hz],250\n", 250.0),
        ("Sample Interval,4.0e-9,s\nRecord Length,2500,Points\n", 2.5e8),
        ("dt,0.00033\nSample rate,3000 Hz\n", 3000.0),
    ],
)
def test_rate_in_the_preamble(write, preamble, rate):
    log = read_log(write(preamble + "index,V [V]\n" + "".join(f"{n},{n}.5\n" for n in range(5))))
    assert log.time.rate_hz == pytest.approx(rate, rel=1e-12)
    assert log.time.unit == "samples"


@pytest.mark.parametrize("name", ["Milliseconds", "elapsed ms", "timeMs", "millis()", "Time.ms"])
def test_unit_that_the_name_ends_in(write, name):
    log = read_log(write(f"{name},V [V]\n0,1\n250,2\n500,3\n"))
    assert log.data.index.tolist() == [0, 0.25, 0.5]
    assert list(log.data.columns) == ["V"]
    assert log.time.unit == "ms"


@pytest.mark.parametrize("line", ["Time unit: ms", "Horizontal Units,ms", "Zeiteinheit = ms", "# X Unit\tms"])
def test_unit_in_the_preamble(write, line):
    log = read_log(write(f"{line}\nTime,V [V]\n0,1\n250,2\n500,3\n"))
    assert log.data.index.tolist() == [0, 0.25, 0.5]
    assert found(log, "unit-from-preamble").line == 1


def test_start_and_increment_in_extra_cells_of_the_names(write):
    rows = "".join(f"{n},{n}.5,,\n" for n in (0, 1, 2, 5, 6))
    log = read_log(write("X,CH1,Start,Increment\nSequence,Volt,-1.2e-03,2.0e-06\n" + rows))
    assert log.time.rate_hz == pytest.approx(5e5, rel=1e-12)
    assert log.data.index.tolist() == pytest.approx([0, 2e-6, 4e-6, 10e-6, 12e-6], rel=1e-12)  # two samples are missing
    assert [line for line, _ in log.time.gaps] == [6]


def test_x_values_that_step_by_the_stated_interval_are_the_time(write):
    rows = "".join(f"{x},{x}\n" for x in ("0.000", "0.001", "0.002", "0.003", "0.005"))
    log = read_log(write("Delta_X,0.001\nX_Value,Voltage\n" + rows))
    assert log.data.index.tolist() == pytest.approx([0, 0.001, 0.002, 0.003, 0.005], abs=1e-15)
    assert list(log.data.columns) == ["Voltage"]


def test_column_without_a_name_counts_milliseconds_of_the_clock_before_it(write):
    rows = "".join(f"13/03/2026,10:15:{3 + n // 4:02d},{n % 4 * 250},{n}.5\n" for n in range(9))
    log = read_log(write("Date,Time,,F [N]\n" + rows))
    assert log.data.index.tolist() == [0.25 * n for n in range(9)]
    assert list(log.data.columns) == ["F"]
