"""Receivers that blow down: published and recomputed times (sources beside each)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from toolbench.supply.receiver import Receiver, blow_down_s, line_inventory_s, run_steady

pytestmark = pytest.mark.published

PSI = 6894.757
ANR_DENSITY = 1e5 / (287.0 * 293.15)


def orifice(diameter_m: float) -> float:
    """Conductance of an ideal nozzle at 20 degC: 0.040418 p A / sqrt(T) over the density of free air (general formula)."""
    return 0.040418 * math.pi / 4 * diameter_m**2 / math.sqrt(293.15) / ANR_DENSITY


TYRE = {
    "volume_m3": 0.3048**3,
    "conductance": orifice(0.0938 * 0.0254),
    "from_pa_abs": 50 * PSI,
    "temperature_k": 294.26,
}


def test_bd1_a_tyre_that_leaks() -> None:
    # Fluid Mechanics and Thermodynamics text, Ex 16.8, as in FOSSEE 3831/CH16/EX16.8 (V): unchokes at 13.1 psig, 18.7 s.
    unchoked = 14.7 / 0.52828
    assert unchoked - 14.7 == pytest.approx(13.1, abs=0.05)
    found = blow_down_s(to_pa_abs=27.826 * PSI, **TYRE)
    assert found == pytest.approx(18.7, abs=0.05)
    # Recomputed without rounding on the way (R): 18.724 s, the time constant 31.90 to 31.92 s by the gas constant taken.
    assert found == pytest.approx(18.724, rel=1e-3)
    assert found / math.log(50 / 27.826) == pytest.approx(31.91, abs=0.03)


def test_bd2_the_same_tyre_without_heat_exchange() -> None:
    # Recomputed (R): 13.950 s.
    assert blow_down_s(to_pa_abs=27.826 * PSI, adiabatic=True, **TYRE) == pytest.approx(13.950, rel=1e-3)


def test_bd3_a_receiver_that_feeds_for_a_quarter_of_an_hour() -> None:
    # Formula V = t Vn pn Tr / (Tn dp) seen on public pages (V); 50 Nm3/h for 15 min from 9 to 6 bar at 278.15 K: 4.298 m3 (R).
    normal = 1.013e5 / 273.15 / (1e5 / 293.15)
    free_air = 50 / 3600 * normal
    found = line_inventory_s(4.298, free_air, 10.013e5, 7.013e5, temperature_k=278.15)
    assert found == pytest.approx(900.0, rel=2e-4)


def test_bd4_choked_and_isothermal() -> None:
    # Constructed: 0.1 m3, 1 dm3/(s bar), 8 to 5 bar abs: 47.0004 s.
    given = {"volume_m3": 0.1, "conductance": 1e-8, "from_pa_abs": 8e5, "to_pa_abs": 5e5}
    assert blow_down_s(**given) == pytest.approx(47.0004, abs=1e-4)
    course = run_steady(
        lambda p: (p, 1e-8 * p),
        Receiver(volume_m3=0.1),
        start_pa_abs=8e5,
        held_pa_abs=9e5,
        lowest_pa_abs=1e5,
        duration_s=50.0,
    )
    assert float(np.interp(-5e5, -course.receiver_pa_abs, course.time_s)) == pytest.approx(47.0004, abs=2e-3)


def test_air_in_a_hose_feeds_a_tool_for_a_moment() -> None:
    # Derived from the volume: 15 m of 1/4 inch, 12 L/s, 10 to 6.2 bar: 0.15 s.
    volume = math.pi / 4 * 0.00635**2 * 15.0
    assert line_inventory_s(volume, 0.012, 10e5, 6.2e5) == pytest.approx(0.15, abs=0.005)
