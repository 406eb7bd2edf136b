"""Numbers as loggers and spreadsheets write them. Constructed: what is printed is what must come out, or nothing."""

from __future__ import annotations

import numpy as np
import pytest

from toolbench.errors import RecordingError
from toolbench.logs import Log, read_log
from toolbench.logs.columns.numbers import read_numbers
from toolbench.logs.columns.points import find_lost
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn


def codes(log: Log) -> list[str]:
    return [finding.code for finding in log.findings]


def stating(missing: tuple[str, ...]) -> Logger:
    return Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(missing=missing))


def column(cells: list[str], delimiter: str = ";") -> str:
    return f"t [s]{delimiter}F [N]\n" + "".join(f"{n}{delimiter}{cell}\n" for n, cell in enumerate(cells))


def test_quoted_decimal_commas_between_commas(write):
    log = read_log(write('"t [s]","F [N]"\n"0,5","1,25"\n"1,0","3,75"\n'))
    assert log.dialect.decimal == ","
    assert log.data["F"].tolist() == [1.25, 3.75]


def test_whole_numbers_in_a_file_with_decimal_commas(write):
    log = read_log(write("t [s]\tn\tF [N]\n0\t5\t1,5\n1\t6\t2,5\n"))
    assert log.data["n"].tolist() == [5, 6]
    assert log.data["F"].tolist() == [1.5, 2.5]


def test_one_column_with_another_decimal_mark(write):
    log = read_log(write("t [s]\tF [N]\tp [bar]\n" + "".join(f"{n}.5\t{n},5\t{n}.25\n" for n in range(9))))
    assert log.data["F"].tolist() == [n + 0.5 for n in range(9)]
    assert log.data["p"].tolist() == [n + 0.25 for n in range(9)]


@pytest.mark.parametrize("cell", ["+1.500E+003", "1.5e3", "1500", "+1500.", "0001500.0", "15.0E2"])
def test_spellings_of_one_number(write, cell):
    assert read_log(write(column(["0.25", cell, "0.5", "1e2"]))).data["F"].tolist() == [0.25, 1500.0, 0.5, 100.0]


def test_units_behind_every_number(write):
    log = read_log(write("t;T;p\n0.0 s;21.5 °C;6.25bar\n0.5 s;21.75 °C;6.5bar\n"))
    assert log.data["T"].tolist() == [21.5, 21.75]
    assert dict(log.units) == {"T": "°C", "p": "bar"}
    assert log.data.index.tolist() == [0.0, 0.5]


def test_groups_of_three_are_read_where_both_marks_stand(write):
    points = [f"1.{n + 100},5" for n in range(9)]
    assert read_log(write(column(points))).data["F"].tolist() == [1100.5 + n for n in range(9)]
    commas = [f'"1,{n + 100}.5"' for n in range(9)]
    assert read_log(write(column(commas, ","))).data["F"].tolist() == [1100.5 + n for n in range(9)]


def test_state_words_in_a_column_of_numbers_are_unreadable_cells(write):
    log = read_log(write(column(["OFF", "OFF", *[f"{n}.5" for n in range(30)], "OVER"])))
    assert log.data["F"].isna().sum() == 3
    [found] = [f for f in log.findings if f.code == "cells-unreadable"]
    assert "lines 2, 3 and 34" in found.message


def test_words_that_are_stated_are_missing(write):
    log = read_log(write(column(["OFF", "1.5", "2.5"])), logger=stating(("off",)))
    assert codes(log) == ["cells-missing"]
    np.testing.assert_array_equal(log.data["F"], [np.nan, 1.5, 2.5])


@pytest.mark.parametrize("sentinel", ["-99.9", "-999", "9.9E37", "-2147483648", "32767", "9999"])
def test_known_spelling_far_outside_is_missing_and_said(write, sentinel):
    cells = [f"{20 + n / 100:.2f}" for n in range(40)]
    cells[3] = cells[9] = sentinel
    log = read_log(write(column(cells)))
    assert np.flatnonzero(log.data["F"].isna()).tolist() == [3, 9]
    [found] = [f for f in log.findings if f.code == "sentinel-missing"]
    assert (found.severity, found.line) == ("doubtful", 5)
    assert "lines 5 and 11" in found.message
    assert "missing = [" in found.mend
    assert read_log(write(column(cells)), logger=stating(())).data["F"].tolist() == [float(cell) for cell in cells]


def test_known_spelling_among_its_likes_is_a_number(write):
    cells = [f"{-150 + 10 * n:.1f}" for n in range(30)]
    cells[4] = "-99.9"
    log = read_log(write(column(cells)))
    assert log.data["F"].tolist() == [float(cell) for cell in cells]


@pytest.mark.parametrize(
    ("around", "known"),
    [
        # By hand: 79 below a span of 40, less than three spans.
        ([f"{-20 + n:.1f}" for n in range(41)], "-99"),
        # 989 above a span of 10, but less than half the level: a peak, as far as anybody can tell.
        ([f"{9000 + n / 4:.2f}" for n in range(41)], "9999"),
    ],
    ids=["within three spans", "within half the level"],
)
def test_known_spelling_near_the_rest_is_a_number(write, around, known):
    cells = [*around[:7], known, *around[7:]]
    log = read_log(write(column(cells)))
    assert log.data["F"].tolist() == [float(cell) for cell in cells]
    assert codes(log) == []


def test_whole_numbers_that_no_float_holds_are_not_changed_for_a_known_spelling(write):
    cells = [str(2**53 + 1 + n) for n in range(20)]
    cells[3] = "-9999"
    log = read_log(write(column(cells)))
    assert [int(value) for value in log.data["F"]] == [int(cell) for cell in cells]
    assert codes(log) == ["sentinel-kept"]


def test_stated_number_is_missing_wherever_it_lies(write):
    cells = ["-150.5", "-99.9", "20.5"]
    log = read_log(write(column(cells)), logger=stating(("-99.9",)))
    np.testing.assert_array_equal(log.data["F"], [-150.5, np.nan, 20.5])
    assert codes(log) == ["missing-stated"]


def test_seventeen_digits_beside_a_bad_cell(write):
    values = (np.random.default_rng(7).random(300) * 1e3).tolist()
    cells = [f"{value:.17g}" for value in values]
    cells[100] = "bad"
    log = read_log(write(column(cells, ",")))
    values[100] = np.nan
    np.testing.assert_array_equal(log.data["F"], values)


LOST = {
    "every cell had three decimals": [
        f"{12 + n * 0.013:.3f}".replace(".", "" if n % 7 == 0 else ".") for n in range(60)
    ],
    "only those with three decimals": ["12.25", "12.3", "12345", "12.4321", "12.5", "12611", "12.75", "12.8"],
    "a second point": ["12.25", "12.345.678", "12.3", "12.5"],
    "a second point everywhere": [f"12.{n:03d}.678" for n in range(20)],
}


@pytest.mark.parametrize("kind", LOST)
def test_lost_decimal_points_are_refused_with_the_lines(write, kind):
    path = write("t [s];F [N];p [bar]\n" + "".join(f"{n};{cell};6.25\n" for n, cell in enumerate(LOST[kind])))
    with pytest.raises(RecordingError, match="decimal mark") as caught:
        read_log(path)
    assert caught.value.faults[0].line in range(2, 5)
    assert len(str(caught.value).splitlines()) <= 3
    assert set(read_log(path, columns=["p"]).data["p"]) == {6.25}


def test_what_only_looks_like_lost_points():
    # A printout without trailing zeros, a jump, and a spike: nothing was taken away.
    assert find_lost(["0.5", "1", "1.5", "150", "151.5", "153", "0.5"], ".") is None
    assert find_lost(["1.5", "1.5", "100", "1.5", "1.25", "1.5"], ".") is None
    assert find_lost([f"{n}.125" for n in range(30)] + ["900"], ".") is None


def test_torn_row_before_lost_bytes(write):
    log = read_log(write(b"t [s],F [N]\n0,1.5\n1,2.5\n2,3.5\n3,4\0\0\0\0\0"))
    assert log.data["F"].tolist() == [1.5, 2.5, 3.5]
    assert set(codes(log)) == {"cut-last-row", "zero-bytes"}


@pytest.mark.parametrize("between", ["\n", "Results\n", "\n\n"])
def test_small_second_table_is_a_footer(write, between):
    rows = "".join(f"{n},{n}.5,6.25\n" for n in range(40))
    log = read_log(write(f"t [s],F [N],p [bar]\n{rows}{between}Cycle,Peak,Mean\n1,203,198\n2,204,199\n"))
    assert len(log.data) == 40
    assert "footer" in codes(log)


def test_rows_of_numbers_behind_the_last_row_are_no_footer(write):
    rows = "".join(f"{n},{n}.5\n" for n in range(80)) + "".join(f"{n},{n}.5,1\n" for n in range(80, 86))
    log = read_log(write("t [s],F [N]\n" + rows))
    assert [(f.code, f.line) for f in log.findings] == [("rows-dropped", 82)]


@pytest.mark.parametrize(
    ("cells", "values"),
    [
        (["600'000.5", "601'001.5", "1'602'002.5"], [600000.5, 601001.5, 1602002.5]),
        (["600’000,5", "601’001,5", "602’002,5"], [600000.5, 601001.5, 602002.5]),
        (["600 000,5", "601 001,5", "602 002,5"], [600000.5, 601001.5, 602002.5]),
        (["600\u00a0000", "601\u00a0001", "602\u00a0002"], [600000.0, 601001.0, 602002.0]),
        (["1\u2009600.25", "1\u2009601.25", "999.25"], [1600.25, 1601.25, 999.25]),
    ],
)
@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_a_blank_or_an_apostrophe_between_thousands(write, cells, values, delimiter):
    log = read_log(write(column(cells, delimiter)))
    assert log.data["F"].tolist() == values
    assert codes(log) == ["thousands-parted"]


def test_a_sign_and_blanks_before_the_number(write):
    log = read_log(write(column(["+  21.0", "-  0.5", "+ 1.25"])))
    assert log.data["F"].tolist() == [21.0, -0.5, 1.25]
    assert codes(log) == []


def test_exponents_as_fortran_writes_them(write):
    rows = "".join(f"{n}.5D-01 {n}.25D+02\n" for n in range(9))
    log = read_log(write("t [s] F [N]\n" + rows))
    assert log.data["F"].tolist() == [float(f"{n}.25e2") for n in range(9)]
    assert log.data.index[1] == pytest.approx(0.1, abs=1e-15)


def test_a_code_with_a_d_inside_is_no_number(write):
    log = read_log(write(column(["12D5", "13D6", "14D7"])))
    assert log.data["F"].tolist() == ["12D5", "13D6", "14D7"]


def test_points_that_may_part_thousands_beside_decimal_commas_are_refused(write):
    with pytest.raises(RecordingError, match=r"decimal: column 2 holds '6\.120': .* a point between thousands"):
        read_log(write("t [s];p [Pa]\n0,5;6.120\n1,0;6.240\n1,5;7.125\n"))


def test_a_typographic_minus(write):
    log = read_log(write(column(["\u22120.5", "\u2212 1.5", "2.5"])))
    assert log.data["F"].tolist() == [-0.5, -1.5, 2.5]


def test_a_cell_that_holds_an_end_of_line_moves_no_other():
    # A quote left open joins two lines: the cell is no number, those behind it stay in their rows.
    values, bad = read_numbers(["1.5", "2\n", "3\n4", "5"], ".")
    assert values[[0, 1, 3]].tolist() == [1.5, 2.0, 5.0]
    assert bad == [(2, "3\n4")]
