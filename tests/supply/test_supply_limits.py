"""What is refused, in which words, and what is let through."""

from dataclasses import replace

import pytest

from toolbench.errors import AnalysisError
from toolbench.supply.elements import Regulator, Restriction
from toolbench.supply.hose import Hose
from toolbench.supply.limits import chokes, lowest_rating, over_rating, require_supported, too_low, unrated
from toolbench.supply.line import Demand, Line, find_operating_point

AMBIENT = 1.0e5
HOSE = Hose(bore_m=0.010, length_m=15.0, rated_pa_abs=10e5 + AMBIENT, label="yellow hose")
PAIR = Restriction(sonic_conductance=9e-8, critical_pressure_ratio=0.35)
LINE = Line(regulator=Regulator(set_pa_abs=7e5 + AMBIENT), elements=(PAIR, HOSE), ambient_pa_abs=AMBIENT)
TOOL = Demand(conductance=2e-8, rated_pa_abs=6.3e5 + AMBIENT)


def set_to(gauge_bar: float) -> Line:
    return replace(LINE, regulator=Regulator(set_pa_abs=gauge_bar * 1e5 + AMBIENT))


def test_every_part_above_its_rating_is_named_with_both_pressures() -> None:
    faults = [str(fault) for fault in over_rating(set_to(12), TOOL)]
    assert [text.split(",")[0] for text in faults] == [
        "at rest yellow hose stands at 12.0\u2009bar",
        "at rest tool stands at 12.0\u2009bar",
    ]
    assert "above its rated 6.30" in faults[1]


def test_a_rating_may_be_reached_and_not_passed() -> None:
    assert over_rating(set_to(6.3), TOOL) == ()
    assert len(over_rating(set_to(6.31), TOOL)) == 1


def test_the_lowest_rating_and_who_states_none() -> None:
    rating = lowest_rating(LINE, TOOL)
    assert rating is not None
    assert rating == (7.3e5, "tool")
    assert unrated(LINE, TOOL) == ("coupler",)
    bare = replace(LINE, elements=(PAIR,))
    assert lowest_rating(bare, replace(TOOL, rated_pa_abs=None)) is None


def test_a_part_that_chokes_is_named_with_what_it_passes() -> None:
    """By hand: 1 L/(s bar) at 8 bar abs passes 8 L/s."""
    narrow = Restriction(sonic_conductance=1e-8, critical_pressure_ratio=0.3, label="old coupler")
    point = find_operating_point(replace(LINE, elements=(narrow,)), Demand(conductance=5e-8))
    (fault,) = chokes(point)
    assert str(fault).startswith("old coupler chokes: no more than 8.00\u2009L/s ANR passes")
    assert chokes(find_operating_point(LINE, TOOL)) == ()


def test_three_bar_at_the_inlet_is_the_least() -> None:
    (fault,) = too_low(find_operating_point(set_to(3.1), TOOL))
    assert "below 3\u2009bar the power law is not supported" in str(fault)
    assert too_low(find_operating_point(set_to(3.6), TOOL)) == ()


def test_what_is_supported_comes_back_as_a_point_and_the_rest_is_refused_by_name() -> None:
    assert float(require_supported(set_to(6), TOOL).inlet_pa_abs) > 4e5
    with pytest.raises(AnalysisError, match="far: at rest tool stands"):
        require_supported(LINE, TOOL, "far")
    with pytest.raises(AnalysisError, match=r"far: .* is left at the inlet"):
        require_supported(set_to(3.1), TOOL, "far")
