"""What other programs rely on: the names of the façade, and errors that survive the way out of a worker process."""

from __future__ import annotations

import pickle

import pytest

import toolbench as tb
from toolbench import errors
from toolbench.errors import Fault, ToolbenchError
from toolbench.quantities import QuantityError

NAMES = {
    # pinned: contract, section 4, and what the notebooks call
    "__version__", "ToolbenchError", "read_log", "open_season", "compare", "compare_folders", "load",
    "write_results", "write_notes", "save_figures",
    "plot_bands", "plot_intervals", "plot_report", "plot_runs", "plot_supply",
    "show_conditions", "show_result", "show_caveats", "show_table", "show_runs", "show_budget", "show_cautions", "show_origin",
    "open_line", "show_line", "plot_line", "plot_sweep",
    "check_bench", "show_standard", "show_supply", "show_rest", "show_sensors",
    "rank_tools", "show_standings", "plot_standings", "plot_criteria", "show_scorecard", "show_entries", "show_claims",
    "show_remarks", "show_what_if",
}  # fmt: skip


def test_the_public_names_are_these() -> None:
    assert set(tb.__all__) == NAMES
    assert len(tb.__all__) == len(NAMES)
    assert dir(tb) == sorted(NAMES)


@pytest.mark.parametrize("name", sorted(NAMES))
def test_a_public_name_is_there_and_says_what_it_is(name: str) -> None:
    found = getattr(tb, name)
    if name != "__version__":
        assert callable(found)
        assert found.__name__ == name
        assert (found.__doc__ or "").strip()


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="plot_band"):
        _ = tb.plot_band


def _below(kind: type[ToolbenchError]) -> list[type[ToolbenchError]]:
    return [kind, *(below for one in kind.__subclasses__() for below in _below(one))]


KINDS = _below(ToolbenchError)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_every_error_survives_pickling(kind: type[ToolbenchError]) -> None:
    faults = [Fault("is wrong", file="bench.toml", line=3, key="a.b", mend="say it right"), Fault("is wrong too")]
    back = pickle.loads(pickle.dumps(kind(faults)))
    assert type(back) is kind
    assert back.faults == tuple(faults)
    assert str(back) == "bench.toml:3: a.b: is wrong\n  say it right\nis wrong too"
    assert back.exit_status == kind.exit_status


def test_the_tree_is_the_one_drawn_in_errors() -> None:
    drawn = {
        word for line in (errors.__doc__ or "").splitlines() for word in line.split()[:2] if word.endswith("Error")
    }
    assert {kind.__name__ for kind in KINDS} == drawn
    # by hand from the contract: what could not run is 2, what ran and is wrong is 1
    assert {kind.__name__: kind.exit_status for kind in KINDS} == {
        "ToolbenchError": 2, "UsageError": 2, "SettingsError": 2, "OutputError": 2,
        "RecordingError": 1, "SignalError": 1, "AnalysisError": 1, "RenderError": 1,
    }  # fmt: skip


def test_the_error_of_a_unit_survives_pickling_too() -> None:
    back = pickle.loads(pickle.dumps(QuantityError("62 bananas is no pressure")))
    assert isinstance(back, ValueError)
    assert str(back) == "62 bananas is no pressure"
