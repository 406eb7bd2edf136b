"""What a failing cell is told as: one line, our own faults without their class, many of a kind counted."""

from __future__ import annotations

from toolbench.report.notebook import _cell_fault

MANY = "a.csv: no column is called 't'\n  did you mean 'Time'?\nb.csv: no column is called 't'\n  did you mean 'Time'?"


def test_many_faults_are_told_by_the_first_and_a_count() -> None:
    told = _cell_fault(4, "comparison = tb.compare(season)", "AnalysisError", MANY).message
    assert told == (
        "cell 4 (tb.compare): a.csv: no column is called 't'; did you mean 'Time'? (and 1 more, see toolbench check)"
    )


def test_one_fault_has_no_count() -> None:
    assert _cell_fault(4, "", "UsageError", MANY[: MANY.index("\nb")]).message.endswith("; did you mean 'Time'?")


def test_an_error_of_somebody_else_keeps_its_class_and_every_line() -> None:
    assert _cell_fault(None, "", "ValueError", "one\ntwo").message == "a cell: ValueError: one two"
