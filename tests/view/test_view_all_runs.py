"""The table with all runs beside the runs used, from a record made by hand."""

from __future__ import annotations

import dataclasses

import view_records
from view_records import Compared

from toolbench import view
from toolbench.records.comparison import AllRuns, ExcludedRun

SLIPPED = ExcludedRun(item="far", run="far-r06", reason="socket slip")


def _compared(*excluded: ExcludedRun, half: float = 14.0) -> Compared:
    made = view_records.make(2)
    whole = tuple(
        view_records.difference(metric=row.metric, at=row.at, value=-8.1, half=half) for row in made.record.differences
    )
    put_back = whole if any(not one.failure for one in excluded) else ()
    all_runs = AllRuns(excluded=excluded, differences=put_back) if excluded else None
    return Compared(dataclasses.replace(made.record, all_runs=all_runs), made.settings)


def test_both_results_stand_beside_each_other() -> None:
    shown = view.show_caveats(_compared(SLIPPED))._repr_mimebundle_()[0]["text/html"]
    head, _, table = shown.partition("With all runs, also those excluded</h3>")
    assert head
    assert "far-r06 of far (socket slip)" in table
    assert "−8\u202f% ± 14\u202f%" in table  # to the two digits of its uncertainty
    assert table.count("<strong>not resolved</strong>") == 4
    assert "4 of 4 verdicts turn" in table


def test_where_nothing_turns_it_says_so() -> None:
    assert "No verdict turns." in str(view.show_caveats(_compared(SLIPPED, half=2.0))._repr_mimebundle_()[0])


def test_a_run_that_could_not_be_put_back_is_named_with_the_cause() -> None:
    lost = dataclasses.replace(SLIPPED, failure="no onset was found")
    shown = view.show_caveats(_compared(lost))._repr_mimebundle_()[0]["text/html"]
    assert "far-r06 of far (socket slip) cannot be put back: no onset was found." in shown
    assert "tb-all-runs" not in shown


def test_without_exclusions_there_is_no_table() -> None:
    assert "also those excluded" not in str(view.show_caveats(_compared())._repr_mimebundle_()[0])
