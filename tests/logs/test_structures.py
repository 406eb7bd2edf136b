"""Where names, units and rows stand. Constructed: each file is written here, and what stands in it must come out."""

from __future__ import annotations

import pytest

from toolbench.errors import RecordingError
from toolbench.logs import Log, read_log

ROWS = "".join(f"{n / 100:.2f},{n},{n * 2}\n" for n in range(30))


def found(log: Log) -> dict[str, int | None]:
    return {finding.code: finding.line for finding in log.findings}


def refused(path) -> str:
    with pytest.raises(RecordingError) as caught:
        read_log(path)
    return str(caught.value)


def test_a_column_more_below_a_second_header_is_refused_with_both_places(write):
    short = "".join(f"{n / 100:.2f},{n}\n" for n in range(30))
    long = "".join(f"{n / 100:.2f},{n},{n}\n" for n in range(30, 90))
    told = refused(write("t [s],a [V]\n" + short + "t [s],a [V],b [V]\n" + long))
    assert "run.csv:32: skip_lines" in told
    assert "3 cells from line 33 on and 2 in lines 2 to 31" in told


def test_pairs_of_numbers_above_a_table_with_names_and_units_are_told(write):
    pairs = "".join(f"{n},{n}.5\n" for n in range(100))
    log = read_log(write(pairs + "t [s],M [Nm],p [bar]\n" + ROWS))
    assert log.data["M"].tolist() == list(range(30))
    assert log.units == {"M": "Nm", "p": "bar"}
    assert found(log) == {"numbers-above": 1}
    assert "lines 1 to 100" in log.findings[0].message


def test_a_last_name_for_remarks_that_were_never_made(write):
    log = read_log(write("X_Value [s],U [V],I [A],Comment\n" + ROWS))
    assert log.data["U"].tolist() == list(range(30))
    assert found(log) == {"header-misaligned": 1}
    assert "'Comment'" in log.findings[0].message


def test_more_names_than_cells_without_a_reason_is_refused(write):
    assert "names 4 columns, but its rows (from line 2) hold 3 cells" in refused(write("a,b [V],c [A],d\n" + ROWS))


def test_date_and_time_as_two_names_over_one_stamp(write):
    rows = "".join(f"2026-03-01 10:15:{n:02d},{n},{n * 3}\n" for n in range(30))
    log = read_log(write("Date,Time,M [Nm],p [bar]\n" + rows))
    assert log.data["M"].tolist() == list(range(30))
    assert log.data["p"].tolist() == [n * 3 for n in range(30)]
    assert log.data.index[-1] == 29.0


def test_a_line_break_inside_a_quoted_name_moves_no_line(write):
    log = read_log(write('"Time\n[s]","Torque\n[Nm]",p [bar]\n' + ROWS + "0.30,x,60\n"))
    assert log.names["Torque"] == "Torque [Nm]"
    assert log.units == {"Torque": "Nm", "p": "bar"}
    assert log.dialect.header_line == 1
    assert log.dialect.first_data_line == 4
    assert len(log.data) == 31


def test_units_above_the_names(write):
    log = read_log(write("s,Nm,bar\ntime,torque,pressure\n" + ROWS))
    assert log.units == {"torque": "Nm", "pressure": "bar"}
    assert (log.dialect.header_line, log.dialect.unit_line) == (2, 1)
    assert log.data.index[1] == 0.01


def test_units_behind_in_and_behind_a_stroke(write):
    log = read_log(write("Zeit in s,Druck in bar,F / N\n" + ROWS))
    assert log.units == {"Druck": "bar", "F": "N"}
    assert log.names == {"Druck": "Druck in bar", "F": "F / N"}


def test_names_parted_by_blanks_keep_the_units_in_brackets(write):
    rows = "".join(f"{n / 100:.3f}  {n}.5\n" for n in range(30))
    log = read_log(write("t [s]   F [N]\n" + rows))
    assert log.units == {"F": "N"}
    assert log.data["F"].iloc[29] == 29.5


def test_a_row_of_units_that_says_time_again_over_the_time(write):
    rows = "".join(f"{n + 1},2026/03/01 10:15:{n:02d},{n},{n * 2}\n" for n in range(30))
    log = read_log(write("番号,日時,CH1,CH2\nNO.,Time,degC,V\n" + rows))
    assert log.units == {"番号": "", "CH1": "degC", "CH2": "V"}
    assert log.data["CH2"].iloc[29] == 58.0


def test_a_value_beside_a_clock_keeps_the_name_in_the_file(write):
    rows = "".join(f"10:15:{n:02d} {n}.25;{n}\n" for n in range(30))
    log = read_log(write("Time Torque [N*m];p [bar]\n" + rows))
    assert log.units == {"Time Torque": "N*m", "p": "bar"}
    assert log.data["Time Torque"].iloc[29] == 29.25


def test_two_rows_above_the_same_names_and_one_more_are_not_lost(write):
    told = refused(write("t [s],a [V]\n0.00,1\n0.01,2\nt [s],a [V],b [V]\n" + ROWS))
    assert "3 cells from line 5 on and 2 in lines 2 to 3" in told


def test_a_line_of_facts_with_names_of_its_own_is_no_table(write):
    log = read_log(write("Gain,Offset\n1.5,0.25\nt [s],a [V],b [V]\n" + ROWS))
    assert log.data["b"].tolist() == [2 * n for n in range(30)]
    assert found(log) == {}


def test_names_again_in_another_order_are_refused(write):
    later = "".join(f"{n / 100:.2f},{n},{n * 2}\n" for n in range(30, 60))
    told = refused(write("t [s],a [V],b [A]\n" + ROWS + "t [s],b [A],a [V]\n" + later))
    assert "run.csv:32: names the columns again in another order or unit: 't [s]', 'b [A]', 'a [V]'" in told


def test_names_again_in_the_same_order_only_interrupt(write):
    later = "".join(f"{n / 100:.2f},{n},{n * 2}\n" for n in range(30, 60))
    log = read_log(write("t [s],a [V],b [A]\n" + ROWS + "t [s],a [V],b [A]\n" + later))
    assert log.data["b"].tolist() == [2 * n for n in range(60)]
    assert found(log) == {"rows-dropped": 32}


def test_a_column_without_a_name_that_rises_by_the_stated_interval_is_the_time(write):
    rows = [f",,,{n * 4e-5 - 0.05:.8f},{n}.5" for n in range(60)]
    rows[0] = f"Record Length,2.5e+03,,{-0.05:.8f},0.5"
    rows[1] = f"Sample Interval,4.0e-05,,{-0.04996:.8f},1.5"
    rows[2] = f"Horizontal Units,s,,{-0.04992:.8f},2.5"
    log = read_log(write("\n".join(rows) + "\n"))
    assert list(log.data.columns) == ["column 5"]
    assert log.data.index[59] == pytest.approx(59 * 4e-5, abs=1e-12)


def test_names_again_with_another_unit_are_refused(write):
    later = "".join(f"{n / 100:.2f},{n},{n * 2}\n" for n in range(30, 60))
    told = refused(write("t [s],p [bar],b [A]\n" + ROWS + "t [s],p [kPa],b [A]\n" + later))
    assert "run.csv:32" in told
    assert "'p [kPa]'" in told


def test_a_name_and_a_row_of_units_that_contradict_each_other(write):
    log = read_log(write("t [s],p [bar],b\ns,kPa,A\n" + ROWS))
    assert log.units == {"p": "kPa", "b": "A"}
    assert found(log) == {"units-differ": 2}


def test_a_row_of_units_above_names_that_have_their_own_is_none(write):
    log = read_log(write("s,Nm,bar\ntime [ms],torque,pressure\n" + ROWS))
    assert log.units == {"torque": "", "pressure": ""}
    assert log.data.index[29] == pytest.approx(0.29e-3, abs=1e-15)
