"""What the supply section says of a remainder, by the interval that holds for all of the report's differences at once."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import toolbench as tb
from toolbench.records.comparison import ComparisonRecord, Interval
from toolbench.records.supply import SupplyExplained
from toolbench.view.wording.supply import explained_sentence

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@cache
def compared() -> tuple[ComparisonRecord, SupplyExplained]:
    record = tb.compare(tb.open_season(DEMO), episode="far-end", tool="fennwhit", protocol="static").record
    assert record.supply is not None
    return record, record.supply


def said(alone: tuple[float, float], together: tuple[float, float]) -> str:
    """The sentence on the first difference, its intervals replaced (constructed)."""
    record, supply = compared()
    one = supply.differences[0]
    left = replace(one.left, interval=Interval(lower=alone[0], upper=alone[1]))
    family = Interval(lower=together[0], upper=together[1])
    return explained_sentence(record, supply, replace(one, left=left, family_interval=family))


def test_a_remainder_is_told_only_where_all_intervals_together_leave_zero() -> None:
    assert "something else differs, or the runs err" in said((-7.0, -1.0), (-7.5, -0.5))
    assert "is not told apart from zero over all 2 explained differences together." in said((-7.0, -0.5), (-8.0, 0.5))
    assert said((-7.0, 1.0), (-8.0, 2.0)).endswith("is not told apart from zero.")


def test_every_number_of_the_model_is_called_modelled() -> None:
    # Two of the three percentages are the model's: what it explains and what that leaves.
    assert said((-7.0, 1.0), (-8.0, 2.0)).count("modelled") == 2


def test_intervals_that_hold_together_are_wider_than_those_that_hold_alone() -> None:
    _, supply = compared()
    assert len(supply.differences) == 2
    for one in supply.differences:
        assert one.family_interval.lower < one.left.interval.lower < one.left.interval.upper < one.family_interval.upper
