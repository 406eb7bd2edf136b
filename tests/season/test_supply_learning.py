"""What a season's recordings teach of one tool, and what their uncertainty rests on."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest

import toolbench as tb
from toolbench.season.supply.learning import UNSTATED_FLOW, Learned, learn_tool
from toolbench.supply.exponent import LOWEST_PA

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@cache
def learned() -> Learned:
    found = learn_tool(tb.open_season(DEMO), "quernel-1")
    assert found is not None
    return found


def test_no_run_counts_twice_in_the_scatter_of_the_exponent() -> None:
    # By count: the runs at 3 bar and more, less one level per block (per day, where there is no block) and one slope.
    fit = learn_tool(tb.open_season(DEMO), "quernel-1", without=frozenset(stepped()))
    assert fit is not None
    assert fit.exponent is not None
    assert fit.exponent.from_runs is not None
    assert fit.exponent.law_fits
    used = [one.run.entry for one in fit.runs if one.run.id not in stepped() and one.inlet_pressure >= LOWEST_PA]
    groups = {(one.protocol, one.block or str(one.started.date() if one.started else "")) for one in used}
    own = len(used) - len(groups) - 1
    # The gauge's zero is known exactly, so the effective number is a little higher, never lower.
    assert own <= fit.exponent.from_runs.degrees_of_freedom < 1.1 * own


def stepped() -> list[str]:
    """Runs of the middle pressure of the stepped episode, one in each of its blocks: no repeats. The law fits the others."""
    return [one.run.id for one in learned().runs if one.run.entry.setup == "at-5"]


def test_the_demand_carries_the_scale_and_the_zero_of_the_gauge() -> None:
    # By hand, from bench.toml: 0.5 % and 0.02 bar expanded, k = 2; the lowest pressure is 3.26 bar gauge and 1.013 bar.
    demand = learned().demand
    assert demand is not None
    lowest = min(one.inlet_pressure for one in learned().runs) + 1.013e5
    assert lowest == pytest.approx(4.27e5, rel=0.02)
    least = math.hypot(0.0025, 1000.0 / lowest)
    assert least <= demand.fitted.relative_uncertainty < 1.05 * least


def test_a_demand_read_without_a_calibration_says_so() -> None:
    # bench.toml states no sensor for the air flow.
    demand = learned().demand
    assert demand is not None
    assert UNSTATED_FLOW in demand.fitted.note
