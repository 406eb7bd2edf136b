"""Conversion factors as published.

Source: NIST SP 811 (2008), appendix B.8, seven digits as printed there; read in a transcription of that appendix (the
R package NISTunits), not in the document itself, except where a line says otherwise.
"""

import pytest

from toolbench.quantities import unit_factor

pytestmark = pytest.mark.published

# (unit, quantity, factor as printed, one unit in the last printed digit)
PRINTED = [
    ("ft*lbf", "torque", 1.355818, 1e-6),
    ("in*lbf", "torque", 1.129848e-1, 1e-7),
    ("psi", "pressure", 6.894757e3, 1e-3),
    ("inHg", "pressure", 3.386389e3, 1e-3),  # conventional
    ("inHg_32F", "pressure", 3.38638e3, 1e-2),
    ("inHg_60F", "pressure", 3.37685e3, 1e-2),
    ("ft3/min", "air_flow", 4.719474e-4, 1e-10),
    ("hp", "power", 7.456999e2, 1e-4),  # 550 ft*lbf/s
    ("kgf*m", "torque", 9.80665, 0),  # exact
    ("kgf/cm2", "pressure", 9.80665e4, 0),  # exact
    ("lb", "mass", 4.535924e-1, 1e-7),  # from memory, not seen
    ("lbf", "force", 4.44822, 1e-5),  # seen on a public training page, six digits
]


@pytest.mark.parametrize(("unit", "quantity", "factor", "digit"), PRINTED, ids=[row[0] for row in PRINTED])
def test_factor_is_the_printed_one(unit: str, quantity: str, factor: float, digit: float) -> None:
    assert unit_factor(unit, quantity).scale == pytest.approx(factor, rel=1e-15, abs=digit)


def test_one_scfm_in_litres_of_anr_air() -> None:
    # by hand: 0.4719474 L/s * (101.325 kPa / 100 kPa), both at 20 °C (68 °F): 0.47820
    assert unit_factor("scfm", "air_flow").scale == pytest.approx(0.47820e-3, abs=0.5e-8)


def test_one_normal_cubic_metre_an_hour() -> None:
    # by hand: 101.325/100 * 293.15/273.15 = 1.08744 m3 ANR, over 3600 s
    assert unit_factor("Nm3/h", "air_flow").scale * 3600 == pytest.approx(1.08744, abs=0.5e-5)


def test_fourteen_gauge_wire() -> None:
    # from memory of the American wire gauge tables: 14 AWG is 2.08 mm2
    from toolbench.quantities import to_si

    assert to_si("14 AWG", "area") == pytest.approx(2.08e-6, abs=0.005e-6)


def test_kv_of_a_cv() -> None:
    # published: Kv = 0.865 Cv (seen on a valve maker's public page)
    assert 1 / unit_factor("Kv", "flow_coefficient").scale == pytest.approx(0.865, abs=0.5e-3)
