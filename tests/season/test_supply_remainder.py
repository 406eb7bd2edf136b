"""What the drive leaves of a difference, run by run."""

from __future__ import annotations

import numpy as np
import pytest

from toolbench.metrology import ItemRuns, coverage_factor
from toolbench.records.comparison import Component, Estimate
from toolbench.records.runs import Floats
from toolbench.season.supply.remainder import brought_to_mean, joint_scatter, remainder

N = 0.8
DRIVES = {"far": np.array([5.2, 5.5, 5.4, 5.3]), "near": np.array([6.1, 6.0, 5.8, 6.1])}
OWN = {"far": np.array([-1.0, 0.5, 1.5, -1.0]), "near": np.array([0.4, -0.8, 0.0, 0.4])}
"""What each run has besides its drive [percent of its item's level]; both add up to none."""


def torque(item: str, level: float) -> Floats:
    """Runs that follow their drive, in first order, and have a scatter of their own."""
    drive = DRIVES[item]
    return np.asarray(level * (1.0 + N * (drive / drive.mean() - 1.0) + OWN[item] / 100.0))


def samples(blocks: tuple[str, ...] = ()) -> dict[str, ItemRuns]:
    return {
        name: ItemRuns(id=name, values=torque(name, level)[:, None], blocks=blocks)
        for name, level in (("far", 950.0), ("near", 1000.0))
    }


def test_runs_brought_to_their_mean_drive_keep_their_own_scatter() -> None:
    # Constructed: torque is drive and own scatter, so the own scatter is what is left.
    assert brought_to_mean(torque("far", 950.0), DRIVES["far"], N) == pytest.approx(100.0 + OWN["far"])


def test_scatter_that_the_drive_makes_is_not_counted() -> None:
    # By hand, Welch: s of OWN 1.2247 (far) and 0.5657 (near) percent of 95; (1.2247^2 + 0.5657^2) / 4 = 0.6745^2.
    found = joint_scatter(samples(), DRIVES, ("far", "near"), N, 95.0, 0.95)
    assert found is not None
    assert found.standard_uncertainty == pytest.approx(0.95 * 0.67454, rel=1e-4)
    # Welch-Satterthwaite by hand: (1.5 + 0.32)^2 / ((1.5^2 + 0.32^2) / 3) = 4.224.
    assert found.degrees_of_freedom == pytest.approx(4.224, abs=1e-3)


def test_blocks_are_judged_by_their_differences() -> None:
    # By hand: OWN far less near is -1.4, 1.3, 1.5, -1.4; s = 1.6186, over root 4 = 0.8093, of the level 95.
    found = joint_scatter(samples(("b1", "b2", "b3", "b4")), DRIVES, ("far", "near"), N, 95.0, 0.95)
    assert found is not None
    assert found.standard_uncertainty == pytest.approx(0.95 * 0.80932, rel=1e-4)
    assert found.degrees_of_freedom == 3.0


def test_a_single_run_is_judged_by_the_other_items() -> None:
    both = samples()
    lone = {**both, "near": ItemRuns(id="near", values=both["near"].values[:1])}
    drives = {**DRIVES, "near": DRIVES["near"][:1]}
    found = joint_scatter(lone, drives, ("far", "near"), N, 95.0, 0.95)
    assert found is not None
    # The other's scatter 1.2247 % of its level is lent: 0.95 sqrt(1.5 / 4 + 1.5).
    assert found.standard_uncertainty == pytest.approx(0.95 * np.sqrt(1.875), rel=1e-6)


def test_runs_that_nothing_judges_have_no_joint_scatter() -> None:
    single = {name: ItemRuns(id=name, values=one.values[:1]) for name, one in samples().items()}
    drives = {name: one[:1] for name, one in DRIVES.items()}
    assert joint_scatter(single, drives, ("far", "near"), N, 95.0, 0.95) is None


def estimate(value: float, **parts: float) -> Estimate:
    components = (Component(source=name.replace("_", "/", 1), label=name, contribution=u) for name, u in parts.items())
    return Estimate(value=value, unit="%", components=tuple(components))


def test_the_remainder_has_the_joint_scatter_and_every_other_error_once() -> None:
    percent = estimate(-5.0, repeatability_torque=3.0, linearity_cell=0.3, departure_inlet=2.0, sitting_one=2.5)
    explained = estimate(-4.0, repeatability_drive=2.0, exponent_tool=0.4)
    found = remainder(percent, explained, estimate(0.1, repeatability_both=1.2))
    assert found.value == -1.0
    # By hand: sqrt(0.3^2 + 0.4^2 + 1.2^2) = 1.3; the pressure off its target is what the recorded pressure answers.
    assert found.standard_uncertainty == pytest.approx(1.3)


def test_without_a_joint_scatter_both_count_as_independent() -> None:
    found = remainder(estimate(-5.0, repeatability_torque=3.0), estimate(-4.0, repeatability_drive=4.0))
    # By hand: 3-4-5.
    assert found.standard_uncertainty == pytest.approx(5.0)


def test_intervals_of_what_is_left_cover_where_the_drive_scatters() -> None:
    # Oracle: 2,000 seasons of 4 and 4 runs, pressures scatter by 2 %, runs by 0.5 %, the law exact and known. Taken as
    # independent, both scatters together make intervals over three times as wide.
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(2000):
        drives = {name: mean * (1 + 0.02 * rng.standard_normal(4)) for name, mean in (("far", 5.4), ("near", 6.0))}
        runs = {name: (p / 6.0) ** N * (1 + 0.005 * rng.standard_normal(4)) for name, p in drives.items()}
        ratio = float(runs["far"].mean() / runs["near"].mean())
        power = float((drives["far"].mean() / drives["near"].mean()) ** N)
        items = {name: ItemRuns(id=name, values=t[:, None]) for name, t in runs.items()}
        found = joint_scatter(items, drives, ("far", "near"), N, 100 * ratio, power)
        assert found is not None
        held += abs(100 * (ratio - power)) <= coverage_factor(found.degrees_of_freedom) * found.standard_uncertainty
    assert 0.93 < held / 2000 < 0.98
