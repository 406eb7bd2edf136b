"""Every trait of a dialect in a file of its own. Values are constructed: what is printed in the file is what must come out."""

from __future__ import annotations

import numpy as np
import pytest

from toolbench.logs import Log, read_log
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn

TIME = [0.0, 0.5, 1.0, 1.5]
TORQUE = [0.25, 101.5, 203.125, 198.0625]
PRESSURE = [6.3, 5.9, 5.75, 5.7]
TABLE = "t [s],Torque [N*m],p [bar]\n0,0.25,6.3\n0.5,101.5,5.9\n1,203.125,5.75\n1.5,198.0625,5.7\n"


def codes(log: Log) -> set[str]:
    return {finding.code for finding in log.findings}


def holds_the_table(log: Log) -> None:
    assert log.data.index.name == "time_s"
    assert log.data.index.tolist() == TIME
    assert list(log.data.columns) == ["Torque", "p"]
    assert log.data["Torque"].tolist() == TORQUE
    assert log.data["p"].tolist() == PRESSURE
    assert dict(log.units) == {"Torque": "N*m", "p": "bar"}


FOUND = TimeColumn()


def logger(*, time: TimeColumn = FOUND, **dialect: object) -> Logger:
    return Logger(id="rig", time=time, dialect=DialectOverrides(**dialect))  # type: ignore[arg-type]


def test_plain_file_has_no_findings(write):
    log = read_log(write(TABLE))
    holds_the_table(log)
    assert log.findings == ()
    assert log.names == {"Torque": "Torque [N*m]", "p": "p [bar]"}
    assert (log.dialect.encoding, log.dialect.delimiter, log.dialect.decimal) == ("utf-8", ",", ".")
    assert (log.dialect.header_line, log.dialect.unit_line, log.dialect.first_data_line) == (1, None, 2)
    assert log.time.median_interval_s == 0.5
    assert log.time.rate_hz == 2.0


def test_digest_is_sha256_of_the_bytes(write):
    # Published: FIPS 180-2 gives the digest of b"abc"; here only that the file's own bytes are hashed (hashlib as oracle).
    import hashlib

    path = write(TABLE)
    assert read_log(path).digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert read_log(path, with_digest=False).digest == ""


SHAPES = {
    "semicolon and decimal comma": (TABLE.replace(",", ";").replace(".", ","), ";", ","),
    "semicolon and decimal point": (TABLE.replace(",", ";"), ";", "."),
    "tab and decimal comma": (TABLE.replace(",", "\t").replace(".", ","), "\t", ","),
    "bar": (TABLE.replace(",", "|"), "|", "."),
    "blanks": ("t_s Torque_Nm p_bar\n" + TABLE.partition("\n")[2].replace(",", "  "), " ", "."),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_decimal_mark_and_delimiter_are_independent(write, shape):
    text, delimiter, decimal = SHAPES[shape]
    log = read_log(write(text))
    assert (log.dialect.delimiter, log.dialect.decimal) == (delimiter, decimal)
    assert log.data.index.tolist() == TIME
    assert log.data.iloc[:, 0].tolist() == TORQUE
    assert log.data.iloc[:, 1].tolist() == PRESSURE


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings(write, encoding):
    log = read_log(write("Raum: 21 °C\n" + TABLE.replace("p [", "p hinten ["), encoding=encoding))
    assert log.dialect.encoding == encoding
    assert log.dialect.preamble == ("Raum: 21 °C",)
    assert list(log.data.columns) == ["Torque", "p hinten"]
    assert log.data["Torque"].tolist() == TORQUE


def test_byte_order_mark_is_no_part_of_the_first_name(write):
    assert read_log(write(TABLE, encoding="utf-8-sig")).dialect.columns[0] == "t [s]"


def test_shift_jis_is_judged_by_the_text_it_gives(write):
    log = read_log(write(TABLE.replace("Torque", "トルク").replace("t [s]", "時間 [s]"), encoding="cp932"))
    assert log.dialect.encoding == "cp932"
    assert log.data["トルク"].tolist() == TORQUE


@pytest.mark.parametrize("footer", ["End, 21 °C, peak 203\n", "End of record at 21 °C\n"])
def test_one_odd_byte_in_a_footer(write, footer):
    log = read_log(write(TABLE + footer, encoding="cp1252"))
    holds_the_table(log)
    assert log.dialect.encoding == "cp1252"
    [found] = [finding for finding in log.findings if finding.code == "footer"]
    assert found.line == 6


def test_mostly_utf8_with_one_stray_byte_stays_utf8(write):
    log = read_log(write("Raum: 21 °C, Prüfer µ\n".encode() + b"odd \xff byte\n" + TABLE.encode()))
    holds_the_table(log)
    assert log.dialect.encoding == "utf-8"
    assert "undecodable-bytes" in codes(log)


@pytest.mark.parametrize("ends", ["\r\n", "\r", "\r\r\n"])
def test_line_ends(write, ends):
    log = read_log(write(TABLE.replace("\n", ends)))
    holds_the_table(log)
    assert log.dialect.first_data_line == 2


def test_crlf_header_over_lf_rows_and_no_last_newline(write):
    holds_the_table(read_log(write(TABLE.replace("\n", "\r\n", 1).rstrip("\n"))))


PREAMBLES = {
    "key: value": "Operator: A. Nyone\nSet: 6,2 bar\nRate: 1000 per run\n\n",
    "key,value": "Operator,A. Nyone\nGain,1000\n",
    "padded": "Operator,A. Nyone,\nGain,1000,\n",
    "comments": "# made by hand\n# 1, 2, 3\n",
    "an open quote": 'Hose: 1/2" by 30 m\n\n',
    "a number row": "1,2,3\n",
}


@pytest.mark.parametrize("kind", PREAMBLES)
def test_preambles(write, kind):
    above = PREAMBLES[kind]
    log = read_log(write(above + TABLE))
    holds_the_table(log)
    assert log.dialect.header_line == above.count("\n") + 1
    assert log.dialect.preamble == tuple(above.rstrip("\n").split("\n")) + ("",) * above.endswith("\n\n")


def test_preamble_of_many_hundred_lines(write):
    above = "".join(f"Setting {n}: value {n * 7}\n" for n in range(2000))
    log = read_log(write(above + TABLE))
    holds_the_table(log)
    assert log.dialect.header_line == 2001


def test_names_behind_a_comment_sign(write):
    holds_the_table(read_log(write("# " + TABLE)))


@pytest.mark.parametrize("units", ["s,N*m,bar", "[s],[N*m],[bar]", "(s),(N*m),(bar)"])
def test_unit_row(write, units):
    log = read_log(write(TABLE.replace("t [s],Torque [N*m],p [bar]", f"t,Torque,p\n{units}")))
    holds_the_table(log)
    assert (log.dialect.header_line, log.dialect.unit_line) == (1, 2)


def test_blank_line_between_names_and_rows(write):
    holds_the_table(read_log(write(TABLE.replace("\n", "\n\n", 1))))


def test_trailing_delimiter_on_every_line(write):
    holds_the_table(read_log(write(TABLE.replace("\n", ",\n"))))


def test_trailing_delimiter_on_rows_only(write):
    head, _, rows = TABLE.partition("\n")
    holds_the_table(read_log(write(head + "\n" + rows.replace("\n", ",\n"))))


def test_trailing_delimiter_on_the_header_only(write):
    holds_the_table(read_log(write(TABLE.replace("\n", ",\n", 1))))


def test_trailing_delimiter_on_all_rows_but_the_last(write):
    holds_the_table(read_log(write(TABLE.replace("\n", ",\n")[:-2] + "\n")))


def test_empty_cell_at_the_end_beside_a_trailing_delimiter(write):
    log = read_log(write("t [s],F [N],p [bar],\n0,1,6\n1,2,6,\n2,3,,\n3,4,6,\nend,of,record,\n4,5,6,\n"))
    assert log.data["F"].tolist() == [1, 2, 3, 4, 5]
    assert ("rows-dropped", 6) in [(f.code, f.line) for f in log.findings]


def test_everything_quoted(write):
    text = "\n".join(",".join(f'"{c}"' for c in line.split(",")) for line in TABLE.rstrip("\n").split("\n")) + "\n"
    holds_the_table(read_log(write(text)))


def test_every_line_in_one_pair_of_quotes(write):
    holds_the_table(read_log(write("".join(f'"{line}"\n' for line in TABLE.rstrip("\n").split("\n")))))


def test_padded_cells(write):
    holds_the_table(read_log(write(TABLE.replace(",", " , "))))


def test_no_header_is_said(write):
    log = read_log(write(TABLE.partition("\n")[2]), logger=logger(time=TimeColumn(column="column 1", unit="s")))
    assert log.data["column 2"].tolist() == TORQUE
    assert "no-header" in codes(log)


def test_repeated_header_is_dropped_and_the_step_back_is_wrong(write):
    log = read_log(write(TABLE + TABLE))
    assert log.data["Torque"].tolist() == TORQUE * 2
    assert [(f.code, f.line) for f in log.findings] == [("rows-dropped", 6), ("time-steps-back", 7)]


def test_short_first_block_is_not_lost_before_a_repeated_header(write):
    head, _, rows = TABLE.partition("\n")
    log = read_log(write(f"{head}\n-1,0,6.4\n{head}\n{rows}"))
    assert log.data["Torque"].tolist() == [0.0, *TORQUE]
    assert [(f.code, f.line) for f in log.findings] == [("rows-dropped", 3), ("time-gaps", 4)]


def test_row_cut_short_at_the_end(write):
    log = read_log(write(TABLE + "2,19"))
    holds_the_table(log)
    assert [(f.code, f.line) for f in log.findings] == [("cut-last-row", 6)]


def test_row_cut_inside_its_last_number(write):
    rows = "".join(f"{n / 1000:.3f},{n}.125\n" for n in range(40))
    log = read_log(write("t [s],F [N]\n" + rows + "0.040,40.1"))
    assert len(log.data) == 40
    assert [(f.code, f.line) for f in log.findings] == [("cut-last-row", 42)]


def test_last_row_without_line_end_is_kept_when_whole(write):
    rows = "".join(f"{n / 1000:.3f},{n}.125\n" for n in range(40)).rstrip("\n")
    log = read_log(write("t [s],F [N]\n" + rows))
    assert len(log.data) == 40
    assert log.findings == ()


@pytest.mark.parametrize("position", [2, 3, 6])
def test_cell_that_is_no_number_is_nan_with_its_line(write, position):
    lines = [*TABLE.rstrip("\n").split("\n"), "2,190,5.7"]
    cells = lines[position - 1].split(",")
    lines[position - 1] = ",".join([cells[0], "oops", cells[2]])
    log = read_log(write("\n".join(lines) + "\n"))
    expected = [*TORQUE, 190.0]
    expected[position - 2] = np.nan
    np.testing.assert_array_equal(log.data["Torque"], expected)
    [found] = log.findings
    assert (found.code, found.line) == ("cells-unreadable", position)
    assert "'oops'" in found.message


@pytest.mark.parametrize("spelling", ["", " ", "NA", "nan", "None", "<no data>", "***", "X", "--"])
def test_missing_values(write, spelling):
    log = read_log(write(TABLE.replace("101.5", spelling)))
    np.testing.assert_array_equal(log.data["Torque"], [0.25, np.nan, 203.125, 198.0625])
    assert [(f.code, f.line) for f in log.findings] == [("cells-missing", 3)]


def test_rows_of_another_width_are_left_out_with_their_lines(write):
    rows = [f"{n},{n}.5,6" for n in range(400)]
    rows[100] = "100,100.5"
    rows[200] = "200,200.5,6,7"
    log = read_log(write("t [s],Torque [N*m],p [bar]\n" + "\n".join(rows) + "\n"))
    assert len(log.data) == 398
    [dropped] = [f for f in log.findings if f.code == "rows-dropped"]
    assert dropped.line == 102
    assert "lines 102 and 202" in dropped.message
    # The two holes show as gaps too, at the rows after them.
    assert [line for line, _ in log.time.gaps] == [103, 203]


def test_state_column_stays_text(write):
    log = read_log(write("t [s],valve,F [N]\n0,open,1.5\n1,shut,2.5\n2,open,3.5\n"))
    assert log.data["valve"].tolist() == ["open", "shut", "open"]
    assert log.data["F"].tolist() == [1.5, 2.5, 3.5]


def test_units_glued_to_the_numbers(write):
    log = read_log(write("t [s],T\n0,21.5degC\n1,21.75degC\n"))
    assert log.data["T"].tolist() == [21.5, 21.75]
    assert log.units["T"] == "degC"
    assert "units-glued" in codes(log)


def test_duplicate_and_empty_names(write):
    log = read_log(write("t [s],p [bar],p [bar],,Ch[0],Force (rear) (N)\n0,1,2,3,4,5\n1,1,2,3,4,5\n"))
    assert list(log.data.columns) == ["p", "p (2)", "column 4", "Ch[0]", "Force (rear)"]
    assert dict(log.units) == {"p": "bar", "p (2)": "bar", "column 4": "", "Ch[0]": "", "Force (rear)": "N"}
    assert "duplicate-names" in codes(log)


def test_columns_are_found_with_and_without_unit(write):
    path = write(TABLE)
    assert list(read_log(path, columns=["p"]).data.columns) == ["p"]
    assert list(read_log(path, columns=["p [bar]", "Torque [N*m]"]).data.columns) == ["Torque", "p"]


def test_trouble_in_a_column_that_is_not_wanted_is_no_finding(write):
    log = read_log(write(TABLE.replace("5.9", "oops")), columns=["Torque"])
    assert log.data["Torque"].tolist() == TORQUE
    assert log.findings == ()


def test_overrides_are_believed(write):
    text = "1;2;3\nignored;names;here\nt;Torque;p\ns;N*m;bar\n" + TABLE.partition("\n")[2].replace(",", ";")
    stated = logger(delimiter=";", decimal=".", header_line=3, unit_line=4, encoding="latin-1", skip_lines=(6,))
    log = read_log(write(text), logger=stated)
    assert log.data["Torque"].tolist() == [0.25, 203.125, 198.0625]
    assert log.dialect.encoding == "latin-1"
    assert [f.code for f in log.findings] == []


def test_stated_decimal_comma_settles_thousands(write):
    log = read_log(write("t [s]\tF [N]\n1\t1,234\n2\t2,345\n"), logger=logger(decimal=","))
    assert log.data["F"].tolist() == [1.234, 2.345]


def test_seventeen_digits_are_exact(write):
    # Constructed: repr of a double reads back to the same double (Python's shortest round trip as oracle).
    values = (np.random.default_rng(5).random(500) * 10.0 ** np.random.default_rng(6).integers(-12, 12, 500)).tolist()
    rows = "".join(f"{n},{value:.17g}\n" for n, value in enumerate(values))
    assert read_log(write("t [s],F [N]\n" + rows)).data["F"].tolist() == values
    assert read_log(write("t [s],F [N]\n" + rows + "end\n")).data["F"].tolist() == values


def test_exponents_signs_and_leading_zeros(write):
    log = read_log(write("t [s],F [N]\n0,1.5E+3\n1,-00.0125\n2,+2e-1\n3,.5\n"))
    assert log.data["F"].tolist() == [1500.0, -0.0125, 0.2, 0.5]
