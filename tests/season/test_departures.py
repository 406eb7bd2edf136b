"""The flowing pressure off its target: when its effect is known from the runs and enters, and when only its size is said."""

import math

import numpy as np
import pytest

from toolbench.records.runs import Conditions, Metric, Onset, Run
from toolbench.records.settings import Hold, Protocol, RunEntry
from toolbench.season.departures import departure_along, departure_parts, find_departure, find_sensitivity

HOLD = Hold(channel="inlet_pressure", at=6.2e5, within=0.2e5)
PROTOCOL = Protocol(id="held", label="held", hold=HOLD)
BAR = 1e5


def run(setup: str, pressure: float, torque: float) -> Run:
    onset = Onset(
        time_s=0.5, standard_uncertainty_s=0.01, rule="level", rest=0, rest_scatter=1, rest_length_s=0.5, highest=900
    )
    return Run(
        entry=RunEntry(run=f"{setup}-{pressure}", file="r.csv", tool="t", setup=setup, protocol="held", logger="l"),
        digest="d",
        onset=onset,
        sample_interval_s=0.005,
        available_s=5.0,
        grid_s=np.array([0.5]),
        traces={},
        metrics=(Metric(response="torque", metric="sustained", at=None, value=torque, unit="N*m"),),
        conditions=Conditions(hold_value=pressure),
    )


def cell(setup: str, level: float, departures: list[float], exponent: float, scatter: float = 0.0) -> list[Run]:
    """Torque as the pressure to the power of `exponent` (constructed)."""
    noise = scatter * np.resize([1.0, -1.0, -1.0, 1.0], len(departures))
    pressures = 6.2 + np.array(departures)
    return [run(setup, p * BAR, level * (p / 6.2) ** exponent * (1 + e)) for p, e in zip(pressures, noise, strict=True)]


def test_a_departure_by_hand() -> None:
    found = find_departure(cell("near", 500, [0.1, 0.2, 0.3], 0.8), HOLD)
    assert found is not None
    assert (found.mean, found.scatter, found.n) == (pytest.approx(0.2 * BAR), pytest.approx(0.1 * BAR), 3)
    assert not found.is_systematic  # by hand: 0.2 sqrt(3) / 0.1 = 3.46 under t(2) = 4.30
    assert find_departure(cell("near", 500, [0.1], 0.8), None) is None


def test_the_sensitivity_shows_in_runs_of_differing_pressure() -> None:
    groups = [cell(s, level, [-0.15, -0.05, 0.05, 0.15], 0.8, 0.001) for s, level in (("near", 500), ("far", 450))]
    found = find_sensitivity(groups, "torque", "sustained", None)
    assert found is not None
    assert found * 6.2 * BAR == pytest.approx(0.8, rel=0.05)


def test_what_scatter_hides_is_not_made_up() -> None:
    groups = [cell(s, 500, [-0.01, 0.0, 0.01, 0.02], 0.8, 0.04) for s in ("near", "far")]
    assert find_sensitivity(groups, "torque", "sustained", None) is None
    assert departure_parts(PROTOCOL, groups, groups[0], "torque", "sustained", None) == ()


def test_one_run_a_setup_shows_no_sensitivity() -> None:
    groups = [cell("near", 900.0, [0.1], 0.8), cell("far", 850.0, [-0.1], 0.8)]
    assert find_sensitivity(groups, "torque", "sustained", None) is None
    assert departure_parts(PROTOCOL, groups, groups[0], "torque", "sustained", None) == ()


def test_a_systematic_departure_enters_and_the_scattered_one_is_contained() -> None:
    near, far = cell("near", 500, [-0.05, 0.0, 0.05, 0.0], 0.8), cell("far", 450, [-0.22, -0.2, -0.18, -0.2], 0.8)
    (scattered,) = departure_parts(PROTOCOL, [near, far], near, "torque", "sustained", None)
    assert scattered.per_run
    parts = departure_parts(PROTOCOL, [near, far], far, "torque", "sustained", None)
    assert [part.per_run for part in parts] == [True, False]
    level = float(np.mean([r.metrics[0].value for r in far]))
    # by hand: a level 0.2 bar of 6.2 bar under its target at 0.8 is 2.6 % low, over sqrt(3)
    assert parts[1].absolute / level == pytest.approx(-0.8 * 0.2 / 6.2 / math.sqrt(3), rel=0.02)


@pytest.mark.parametrize(("metric", "response"), [("rise_time", "torque"), ("sustained", "inlet_pressure")])
def test_only_levels_of_the_response_depend_on_it(metric: str, response: str) -> None:
    far = cell("far", 450, [-0.22, -0.2, -0.18, -0.2], 0.8)
    assert departure_parts(PROTOCOL, [far], far, response, metric, None) == ()


def test_two_items_that_are_off_alike_differ_by_nothing() -> None:
    """The same source in both: what is the same share of both levels cancels in their ratio."""
    cells = [cell(s, level, [-0.22, -0.2, -0.18, -0.2], 0.8) for s, level in (("near", 500), ("far", 450))]
    first, second = (departure_parts(PROTOCOL, cells, one, "torque", "sustained", None)[1] for one in cells)
    assert first.source == second.source
    assert first.absolute / second.absolute == pytest.approx(500 / 450)


def test_along_a_curve_a_departure_is_what_it_is_in_a_level() -> None:
    """A curve of two times, the level and another one that no pressure moves; by hand nothing at the second."""
    near, far = cell("near", 500, [-0.05, 0.0, 0.05, 0.0], 0.8), cell("far", 450, [-0.22, -0.2, -0.18, -0.2], 0.8)

    def curve(run: Run) -> np.ndarray:
        return np.array([run.metrics[0].value, 300.0, math.nan])

    (level,) = [p for p in departure_parts(PROTOCOL, [near, far], far, "torque", "sustained", None) if not p.per_run]
    along = departure_along(PROTOCOL, [near, far], far, "torque", curve)
    assert list(along) == [level.source]
    assert along[level.source].size == pytest.approx([level.absolute, 0.0, 0.0], rel=1e-12)
    assert departure_along(PROTOCOL, [near, far], near, "torque", curve) == {}  # on its target
    assert departure_along(PROTOCOL, [near, far], far, "inlet_pressure", curve) == {}
