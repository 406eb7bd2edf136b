"""Which runs a tool's supply is learned from."""

from __future__ import annotations

from pathlib import Path

import toolbench as tb
from toolbench.season.supply.learning import learn_tool

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


def test_a_copy_and_a_run_in_another_unit_teach_nothing() -> None:
    # Planted in the demo (data_demo/truth.json, flaws): fennwhit-4 is the same bytes as fennwhit-3, quernel-2-2 reads ft*lbf.
    season = tb.open_season(DEMO)
    fennwhit, quernel = learn_tool(season, "fennwhit"), learn_tool(season, "quernel-2")
    assert fennwhit is not None
    assert quernel is not None
    learned = [one.run.id for one in fennwhit.runs]
    assert "ar-fennwhit-3" in learned
    assert "ar-fennwhit-4" not in learned
    assert "ar-quernel-2-1" in [one.run.id for one in quernel.runs]
    assert "ar-quernel-2-2" not in [one.run.id for one in quernel.runs]
