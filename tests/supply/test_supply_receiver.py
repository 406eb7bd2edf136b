"""Receiver, compressor and the three regimes of a run, against the demo's own step by step course and against scipy."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from bench_line import demand, flowing_inlet, inlet_behind
from bench_model import regulator_setting, steady_drive
from bench_parts import ATMOSPHERE, BAR, COMPRESSOR, REGULATOR_DROOP, REGULATOR_MARGIN, SETUPS, TOOLS, Cell
from demo_lines import demo_line
from scipy.integrate import solve_ivp

from toolbench.errors import AnalysisError
from toolbench.records.runs import Floats
from toolbench.supply.air import P_ANR
from toolbench.supply.line import Demand
from toolbench.supply.receiver import REGIMES, Receiver, Transient, run_steady, run_transient
from toolbench.supply.regimes import KnownSupply, earliest_fall_s, known_supply, which_regime

C = 2.9e-8


def straight(pressures: Floats) -> tuple[Floats, Floats]:
    """A tool right behind the regulator, which loses nothing."""
    return pressures, C * pressures


def demo_steady(tool: str, setup: str):
    """The demo's own line as steady states (another implementation than the package's)."""

    def steady(pressures: Floats) -> tuple[Floats, Floats]:
        inlet = np.array([inlet_behind(tool, setup, p / BAR - ATMOSPHERE) for p in pressures])
        flow = np.array([demand(TOOLS[tool], p) for p in inlet])
        return (inlet + ATMOSPHERE) * BAR, flow * 1e-3

    return steady


def demo_course(setup: str, start_bar: float = 9.2, **more: float) -> Transient:
    tool, cell = "quernel-1", Cell("quernel-1", setup, "long")
    regulator = regulator_setting(cell)
    flow = demand(TOOLS[tool], flowing_inlet(tool, setup, regulator))
    return run_steady(
        demo_steady(tool, setup),
        Receiver(volume_m3=SETUPS[setup].receiver_l * 1e-3, free_air_m3_s=COMPRESSOR * 1e-3),
        start_pa_abs=(start_bar + ATMOSPHERE) * BAR,
        held_pa_abs=(regulator - REGULATOR_DROOP * flow + ATMOSPHERE) * BAR,
        lowest_pa_abs=(1.0 + ATMOSPHERE) * BAR,
        duration_s=12.0,
        margin_pa=REGULATOR_MARGIN * BAR,
        running=True,
        **more,
    )


@pytest.mark.parametrize("setup", ["bay-receiver", "small-receiver"])
def test_course_of_the_demo_is_met(setup: str) -> None:
    """The demo steps its receiver with droop at every step; ours holds the flowing pressure, so they differ by its little."""
    course = demo_course(setup)
    expected, _ = steady_drive(Cell("quernel-1", setup, "long"), course.time_s)
    assert (course.inlet_pa_abs / BAR - ATMOSPHERE)[5:] == pytest.approx(expected[5:], abs=0.03)


@pytest.mark.parametrize("setup", ["bay-receiver", "small-receiver"])
def test_a_line_behind_a_receiver_meets_the_demo(setup: str) -> None:
    """Expected: the demo's own course, from other formulas; the first half second is the line's and the regulator's."""
    course = run_transient(
        demo_line(setup),
        Demand(conductance=C),
        Receiver(volume_m3=SETUPS[setup].receiver_l * 1e-3, free_air_m3_s=COMPRESSOR * 1e-3),
        start_pa_abs=(9.2 + ATMOSPHERE) * BAR,
        duration_s=12.0,
        margin_pa=REGULATOR_MARGIN * BAR,
        running=True,
    )
    expected, _ = steady_drive(Cell("quernel-1", setup, "long"), course.time_s)
    late = course.time_s > 0.5
    assert (course.inlet_pa_abs / BAR - ATMOSPHERE)[late] == pytest.approx(expected[late], abs=0.03)
    assert course.inlet_pa_abs[0] / BAR - ATMOSPHERE == pytest.approx(6.9)
    assert (course.sag_begins_s is None) == (setup == "bay-receiver")
    # By hand: 12 m of 13 mm hold 1.593 L; half of 1.13 bar between rest and inlet, at 19.7 L/s.
    assert course.inventory_s == pytest.approx(1.593 * 0.69 / 19.7, rel=0.15)


@pytest.mark.oracle
def test_receiver_agrees_with_adaptive_integration() -> None:
    receiver = Receiver(volume_m3=0.04, free_air_m3_s=0.009)
    course = run_steady(
        straight, receiver, start_pa_abs=1e6, held_pa_abs=7e5, lowest_pa_abs=2e5, duration_s=12.0, running=True
    )

    def slope(_: float, p: Floats) -> Floats:
        return P_ANR / 0.04 * (0.009 - C * np.minimum(p, 7e5))

    exact = solve_ivp(slope, (0, 12), [1e6], t_eval=course.time_s, rtol=1e-9, atol=1e-3, max_step=0.02).y[0]
    assert course.receiver_pa_abs == pytest.approx(exact, abs=20.0)


def test_regimes_follow_each_other() -> None:
    # By hand: held at 7 bar abs the tool draws 20.3 L/s, the compressor gives 9: 40 L fall by 0.2825 bar a second, and
    # from 10 bar abs to 7.5 takes 8.85 s.
    course = run_steady(
        straight,
        Receiver(volume_m3=0.04, free_air_m3_s=0.009),
        start_pa_abs=1e6,
        held_pa_abs=7e5,
        lowest_pa_abs=2e5,
        duration_s=12.0,
        rest_pa_abs=7.5e5,
        inventory_s=0.1,
        margin_pa=0.5e5,
        running=True,
    )
    assert course.sag_begins_s == pytest.approx(8.85, abs=0.02)
    order = [REGIMES[k] for k in dict.fromkeys(course.regime.tolist())]
    assert order == ["line inventory", "flow-limited", "compressor-limited"]
    assert course.inlet_pa_abs[0] == pytest.approx(7.5e5)
    assert course.inlet_pa_abs[400] == pytest.approx(7e5, abs=1.0)


def test_the_compressor_starts_and_stops() -> None:
    # By hand: 20.3 L/s out of 100 L: from 9.5 to 9 bar abs in 2.463 s; then 30 - 20.3 in, 1 bar up takes 10.309 s.
    receiver = Receiver(volume_m3=0.1, free_air_m3_s=0.030, cut_in_pa_abs=9e5, cut_out_pa_abs=1e6)
    course = run_steady(straight, receiver, start_pa_abs=9.5e5, held_pa_abs=7e5, lowest_pa_abs=2e5, duration_s=20.0)
    turns = course.time_s[1:][np.diff(course.compressor.astype(int)) != 0]
    assert turns[:2] == pytest.approx([2.463, 2.463 + 10.309], abs=0.03)


def test_air_without_heat_exchange_falls_faster() -> None:
    # By hand at the start: 1.4 times as fast; from 10.2 bar abs 40 L reach the same margin sooner.
    isothermal, adiabatic = demo_course("small-receiver"), demo_course("small-receiver", polytropic_exponent=1.4)
    slopes = [float(np.diff(one.receiver_pa_abs[:2])[0]) for one in (adiabatic, isothermal)]
    assert slopes[0] / slopes[1] == pytest.approx(1.4, rel=0.01)
    assert adiabatic.sag_begins_s < isothermal.sag_begins_s


def test_a_receiver_that_keeps_up_shows_no_sag() -> None:
    assert demo_course("bay-receiver").sag_begins_s is None


def test_a_receiver_without_volume_is_refused() -> None:
    with pytest.raises(ValueError, match="volume must be above zero"):
        Receiver(volume_m3=0.0)
    with pytest.raises(ValueError, match="cut_in lies above cut_out"):
        Receiver(volume_m3=0.1, cut_in_pa_abs=9e5, cut_out_pa_abs=8e5)


# ---- which regime a recorded sag belongs to -------------------------------------------------------------------------

RNG = np.random.default_rng(4)
TIME = np.arange(-0.5, 12.0, 0.005)


def recorded(course: Floats) -> Floats:
    """Noise of 1 kPa on an inlet pressure given from the onset on; 6.9 bar at rest."""
    running = np.interp(TIME, np.linspace(0, 12, course.size), course)
    return np.where(TIME < 0, 6.9e5, running) + RNG.normal(0, 1e3, TIME.size)


def supply(**more: object) -> KnownSupply:
    given: dict = {
        "line_volume_m3": 1.6e-3,
        "flow_m3_s": 0.020,
        "held_pa_abs": 7.5e5,
        "receiver": Receiver(volume_m3=0.04, free_air_m3_s=0.009, cut_in_pa_abs=9e5, cut_out_pa_abs=11e5),
        "start_pa_abs": 10.2e5,
        "margin_pa": 0.5e5,
    }
    return KnownSupply(**{**given, **more})


PLATEAU = np.full(1201, 5.8e5)
LATE = PLATEAU - np.interp(np.linspace(0, 12, 1201), [8.0, 12.0], [0.0, 1.0e5])


def test_a_plateau_is_the_lines_own_and_shows_no_late_sag() -> None:
    sags = which_regime(TIME, recorded(PLATEAU), supply())
    assert sags[0].verdict == "line inventory, then flow-limited"
    assert [sag.when for sag in sags] == ["early"]
    assert "compressor-limited" not in sags[0].possible
    assert "flow-limited" in sags[0].possible


def test_a_late_sag_fits_a_small_receiver() -> None:
    # By hand: 40 L at 20 L/s fall 0.5 bar a second at most, and 2.2 bar above the need take 4.4 s: a sag from 8 s on fits.
    early, late = which_regime(TIME, recorded(LATE), supply())
    assert early.when == "early"
    assert late.verdict == "compressor-limited"
    assert late.drop_pa == pytest.approx(0.94e5, abs=0.05e5)
    assert late.begins_s == pytest.approx(8.4, abs=0.2)
    # By hand: 1.6 L of line at 20 L/s over the whole fall from rest, 2.0 bar.
    assert "feeds the tool for 0.16" in dict(late.excluded)["line inventory"]


def test_what_is_known_of_a_supply_comes_from_its_line() -> None:
    # By hand: 12 m of 13 mm hold 1.593 L; what the regulator holds is its setting less 0.02 bar per L/s.
    known = known_supply(demo_line("small-receiver"), Demand(conductance=C), None)
    assert known.line_volume_m3 == pytest.approx(1.593e-3, rel=1e-3)
    assert known.held_pa_abs == pytest.approx((6.9 + ATMOSPHERE) * BAR - 0.02e8 * known.flow_m3_s, rel=1e-9)
    # By hand: from 9.0 bar abs to 7.519 + 0.5 in 40 L at 19.7 L/s.
    small = Receiver(volume_m3=0.04, cut_in_pa_abs=9e5)
    least = earliest_fall_s(replace(known, margin_pa=0.5e5), small)
    assert least == pytest.approx((9.0 - 7.519 - 0.5) * 40 / 19.7, rel=0.01)
    assert earliest_fall_s(replace(known, flow_m3_s=0.0), small) == math.inf


def test_a_late_sag_does_not_fit_a_large_receiver() -> None:
    # By hand: 500 L fall 0.04 bar a second at most: 2.2 bar take 55 s.
    big = Receiver(volume_m3=0.5, free_air_m3_s=0.009, cut_in_pa_abs=9e5, cut_out_pa_abs=11e5)
    late = which_regime(TIME, recorded(LATE), supply(receiver=big))[1]
    assert late.verdict == "none of the three"
    assert "55 s" in dict(late.excluded)["compressor-limited"].replace("\u2009", " ").replace("\u202f", " ")


def test_a_sag_too_soon_for_the_receiver_is_not_its() -> None:
    soon = PLATEAU - np.interp(np.linspace(0, 12, 1201), [1.2, 2.2], [0.0, 0.5e5])
    late = which_regime(TIME, recorded(soon), supply())[1]
    assert "compressor-limited" not in late.possible


def test_a_fall_faster_than_the_tool_draws_is_not_the_receivers() -> None:
    steep = PLATEAU - np.interp(np.linspace(0, 12, 1201), [11.0, 11.3], [0.0, 3e5])
    late = which_regime(TIME, recorded(steep), supply(start_pa_abs=15.5e5))[1]
    assert "bar at most" in dict(late.excluded)["compressor-limited"].replace("\u202f", " ").replace("\u2009", " ")


def test_a_compressor_that_gives_more_than_the_tool_draws_is_not_it() -> None:
    strong = Receiver(volume_m3=0.04, free_air_m3_s=0.030, cut_in_pa_abs=9e5, cut_out_pa_abs=11e5)
    late = which_regime(TIME, recorded(LATE), supply(receiver=strong, start_pa_abs=8.9e5))[1]
    assert "gives more" in dict(late.excluded)["compressor-limited"]


def test_without_a_receiver_stated_it_cannot_be_ruled_out() -> None:
    early, late = which_regime(TIME, recorded(LATE), supply(receiver=None))
    assert late.possible == ("compressor-limited",)
    assert (early.verdict, late.verdict) == ("cannot be told", "cannot be told")


def test_a_flat_record_has_no_sag() -> None:
    assert which_regime(TIME, recorded(np.full(1201, 6.9e5)), supply()) == ()


def test_a_record_without_rest_is_refused() -> None:
    with pytest.raises(AnalysisError, match="of rest and 2 s"):
        which_regime(TIME[TIME > 0], recorded(LATE)[TIME > 0], supply())


@pytest.mark.parametrize("volume_m3", [1e-3, 1e-4, 1e-5])
def test_a_receiver_whose_air_lasts_no_step_settles_where_the_compressor_gives_what_is_drawn(volume_m3: float) -> None:
    """Without a volume to speak of the receiver stands where outflow equals what the compressor gives, by hand."""
    drawn = 2e-8  # m3/(s*Pa) of the pressure ahead of the line
    small = Receiver(volume_m3=volume_m3, free_air_m3_s=0.009, cut_in_pa_abs=9e5, cut_out_pa_abs=11e5)
    for exponent in (1.0, 1.4):
        run = run_steady(
            lambda p: (0.9 * p, drawn * p), small,
            start_pa_abs=11e5, held_pa_abs=7e5, lowest_pa_abs=1.75e5, duration_s=5.0, polytropic_exponent=exponent,
        )  # fmt: skip
        assert np.isfinite(run.receiver_pa_abs).all()
        assert run.receiver_pa_abs.max() <= 11e5
        assert run.receiver_pa_abs[-1] == pytest.approx(0.009 / drawn, rel=1e-3)
