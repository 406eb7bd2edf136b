"""Files that are no recordings, or hardly: what they cost is bounded, and what is said of them fits in a few lines."""

from __future__ import annotations

import pandas as pd
import pytest

from toolbench.errors import RecordingError, shown
from toolbench.logs import names, read_log, reading
from toolbench.logs.clocks import parts
from toolbench.logs.columns import blank_runs
from toolbench.logs.doors import columnar
from toolbench.logs.source import LONGEST_QUOTE, with_short_quotes
from toolbench.logs.text import beside

ROWS = "".join(f"{k / 100:.2f},{k % 7}.5\n" for k in range(60))
TABLE = "t [s],Torque [N*m]\n" + ROWS


def refused(path) -> str:
    with pytest.raises(RecordingError) as caught:
        read_log(path)
    return str(caught.value)


def test_names_are_taken_apart_once_each(monkeypatch):
    """Twice as many columns are twice the work, not four times."""
    calls = []
    monkeypatch.setattr(names, "split_unit", lambda text: calls.append(text) or (text, ""))
    written = [f"valve {k}_A" for k in range(300)]
    found = names.name_columns(written, (), ["number"] * 300, [()] * 300)
    assert [column.unit for column in found] == ["A"] * 300  # constructed: no valve of these has another letter
    assert len(calls) == 300  # constructed: one for each name


def test_a_letter_that_tells_columns_apart_is_no_unit():
    found = names.name_columns(["valve_A", "valve_B", "motor_A"], (), ["number"] * 3, [()] * 3)
    assert [column.unit for column in found] == ["", "", "A"]  # constructed: B is no unit, so A is a valve


def test_equal_names_become_unique_beside_names_that_look_numbered():
    found = names.name_columns(["p (2)", "p", "p", "p", "p (2)"], (), ["number"] * 5, [()] * 5)
    assert [column.name for column in found] == ["p (2)", "p", "p (3)", "p (4)", "p (2) (2)"]  # by hand


def test_columns_that_begin_no_date_are_looked_at_once_each(monkeypatch):
    """Six columns may be year to second: the first that is no year ends the comparison."""
    calls = []
    real = parts.numbers_of
    monkeypatch.setattr(parts, "numbers_of", lambda column: calls.append(column) or real(column))
    columns = [names.Column(k, f"c{k}", f"c{k}", "", "number", ("0.5", "0.7")) for k in range(100)]
    assert list(parts.group_stamps(columns)) == []
    assert len(calls) <= 100  # constructed: at most one for each column


def small_windows(monkeypatch):
    monkeypatch.setattr(reading, "HEAD_SIZES", (64, 256, 1024))


def test_blank_lines_without_end_are_said_and_what_is_behind_them_not_denied(write, monkeypatch):
    small_windows(monkeypatch)
    text = refused(write("\n" * 2000 + TABLE))
    assert "begins with more than 1024 blank lines" in text  # constructed: the largest window
    assert "only" not in text


def test_rows_behind_blank_lines_are_read_where_a_window_reaches_them(write, monkeypatch):
    small_windows(monkeypatch)
    log = read_log(write("\n" * 500 + TABLE))
    assert len(log.data) == 60  # constructed
    assert log.dialect.first_data_line == 502  # by hand: 500 blank lines and the names


def test_blank_lines_part_no_rows_and_are_no_rows(write):
    lines = TABLE.splitlines()
    log = read_log(write("\n".join(lines[:30]) + "\n" * 400 + "\n".join(lines[30:]) + "\n" * 400))
    assert len(log.data) == 60  # constructed
    [blank] = [finding for finding in log.findings if finding.code == "blank-lines"]
    assert blank.line == 31  # by hand: the names and 29 rows stand above
    assert "and 391 more" in blank.message  # by hand: 399 blank lines between, eight of them named


@pytest.mark.parametrize("line", ["7" * 400, "1.5," * 100])
def test_a_line_too_long_for_a_table_is_refused_before_its_cells_are_looked_at(write, monkeypatch, line):
    monkeypatch.setattr(reading, "LONGEST_LINE", 300)
    monkeypatch.setattr(reading, "find_layout", lambda *_, **__: pytest.fail("its cells are looked at"))
    assert "holds more than 300 characters in this line" in refused(write(f"t,x\n{line}\n"))


def test_one_byte_is_a_letter_of_plain_text(write):
    text = refused(write("1"))
    assert "\ufffd" not in text


def test_a_column_that_never_holds_a_number_is_no_second_run(write):
    rows = "".join(f"{k / 100:.2f},1e999,{k}\n" for k in range(60))
    log = read_log(write("t [s],T [s],p [bar]\n" + rows))
    assert log.time.source == "t [s]"
    log = read_log(write("t [s],T [N*m],p [bar]\n" + rows))
    assert log.time.source == "t [s]"
    assert log.data["T"].isna().all()  # constructed


def test_a_refusal_quotes_the_beginning_of_a_long_name(write):
    text = refused(write(f"a,{'b' * 3000}\n" + "".join(f"{k % 3},{k % 5}\n" for k in range(60))))
    assert "'" + "b" * (LONGEST_QUOTE - 3) + "...'" in text
    assert len(text) < 600


@pytest.mark.parametrize(
    ("text", "short"),
    [
        (
            "the logger's own " + repr("it's " + "x" * 900) + " here",
            "the logger's own \"it's " + "x" * 52 + '..." here',
        ),
        (repr("a\"b'" + "\\" * 99) + " is 'short'", repr("a\"b'" + "\\" * 99)[1:58] + "...' is 'short'"),
        ("x" * 900 + " stands alone", "x" * 57 + "... stands alone"),
        ("a sentence " * 30, "a sentence " * 30),
    ],
)
def test_quotes_are_cut_and_sentences_are_not(text, short):
    """By hand: 57 letters and three dots, the same quotes around them."""
    assert with_short_quotes(text).lstrip("'") == short.lstrip("'")


def test_a_million_blank_lines_among_the_rows_are_refused_and_behind_them_not(write, monkeypatch):
    monkeypatch.setattr(blank_runs, "MOST_BLANK", 4000)
    monkeypatch.setattr(blank_runs, "HEAD_SIZES", (4000,))
    monkeypatch.setattr(blank_runs, "TAIL_SIZE", 1600)
    text = refused(write(TABLE + "\n" * 9000 + ROWS))
    assert "holds more than 4000 blank lines among its rows" in text
    assert len(read_log(write(TABLE + "\n" * 9000)).data) == 60  # constructed
    assert len(read_log(write(TABLE.replace("\n", "\n\n"))).data) == 60  # constructed: double-spaced


def test_a_name_below_a_blank_line_still_begins_a_second_table(write):
    """The first line of a second table is told by what stands above it, at the top of the file too."""
    text = refused(write(TABLE + "\nU [V],I [A]\n" + ROWS))
    assert "second table" in text
    assert ":63:" in text  # by hand: names, 60 rows, a blank line


def test_text_that_repeats_is_counted_before_it_is_unfolded(tmp_path, monkeypatch):
    path = tmp_path / "run.parquet"
    frame = pd.DataFrame({"t [s]": [k / 10 for k in range(100)], "p [bar]": 1.5, "note": "x" * 5000})
    frame.to_parquet(path, index=False)
    assert path.stat().st_size < 100_000  # what is refused below is in the file once
    assert read_log(path).data["note"].tolist() == ["x" * 5000] * 100  # constructed
    monkeypatch.setattr(columnar, "TEXT_BYTES", 499_999)  # by hand: 100 cells of 5000
    monkeypatch.setattr(columnar, "_recorded", lambda *_: pytest.fail("it is unfolded"))
    assert "of text in its columns of words" in refused(path)


def test_text_with_gaps_comes_through_a_dictionary_as_it_was(tmp_path):
    path = tmp_path / "run.parquet"
    notes = ["a", None, "b", "", "a"] * 10
    pd.DataFrame({"t [s]": [k / 10 for k in range(50)], "note": notes}).to_parquet(path, index=False)
    assert read_log(path).data["note"].tolist() == [note or "" for note in notes]  # pinned: no word is an empty one


def test_a_file_name_is_shown_in_one_line(tmp_path):
    path = tmp_path / "run\n7\x1b[31m\u202e.csv"
    try:
        path.write_text(TABLE)
    except OSError:
        pytest.skip("no file may be called so here")
    assert repr(read_log(path)).splitlines()[0].endswith(r"run\n7\x1b[31m\u202e.csv")
    path.write_text("no rows")
    first = refused(path).splitlines()[0]
    assert r"run\n7\x1b[31m\u202e.csv" in first
    assert first.isprintable()


def test_a_usual_name_is_shown_as_it_is():
    assert shown("Prüfstand 5\u3000測定 (2).csv") == "Prüfstand 5\u3000測定 (2).csv"


def test_text_that_repeats_is_counted_in_arrow_files_too(tmp_path, monkeypatch):
    path = tmp_path / "run.feather"
    frame = pd.DataFrame({"t [s]": [k / 10 for k in range(100)], "p [bar]": 1.5, "note": "x" * 5000})
    frame.to_feather(path, compression="zstd")
    assert read_log(path).data["note"].tolist() == ["x" * 5000] * 100  # constructed
    monkeypatch.setattr(columnar, "TEXT_BYTES", 499_999)  # by hand: 100 cells of 5000
    monkeypatch.setattr(columnar, "_recorded", lambda *_: pytest.fail("it is unfolded"))
    assert "of text in its columns of words" in refused(path)


def test_names_of_clocks_are_compared_by_their_stems_once_each(monkeypatch):
    calls = []
    real = beside._stem
    monkeypatch.setattr(beside, "_stem", lambda column: calls.append(column) or real(column))
    columns = [names.Column(k, f"time {k}", f"time {k} [s]", "s", "number") for k in range(50)]
    assert len(beside.like_clocks(columns)) == 50  # constructed: all are "time"
    assert len(calls) == 50  # constructed
