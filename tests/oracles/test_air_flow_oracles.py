"""Friction, hoses and fittings against the library `fluids`, point by point."""

import numpy as np
import pytest
from fluids.compressible import P_isothermal_critical_flow, isothermal_gas
from fluids.control_valve import size_control_valve_g
from fluids.friction import friction_factor as their_friction
from fluids.friction import friction_factor_curved as their_coil
from scipy.special import lambertw

from toolbench.supply.air import GAS_CONSTANT, RHO_ANR, T_ANR, density, mass_flow, viscosity
from toolbench.supply.elements import from_flow_coefficient
from toolbench.supply.friction import friction_factor, friction_factor_coiled
from toolbench.supply.hose import Hose, _root

pytestmark = pytest.mark.oracle

RNG = np.random.default_rng(1)
REYNOLDS = 10 ** RNG.uniform(0, 8, 3000)
ROUGHNESS = np.where(RNG.random(3000) < 0.2, 0.0, 10 ** RNG.uniform(-8, -1.3, 3000))
CURVATURE = 10 ** RNG.uniform(-3, -0.5, 3000)


def test_friction_of_a_straight_pipe() -> None:
    """Laminar to rough, Reynolds numbers 1 to 1e8, roughness 0 and 1e-8 to 0.05 of the bore."""
    expected = [their_friction(re, e) for re, e in zip(REYNOLDS, ROUGHNESS, strict=True)]
    np.testing.assert_allclose(friction_factor(REYNOLDS, ROUGHNESS), expected, rtol=1e-12)


def test_friction_of_a_coil() -> None:
    """Schmidt's correlations, laminar and both turbulent branches."""
    expected = [their_coil(re, 1.0, 1 / c, e) for re, c, e in zip(REYNOLDS, CURVATURE, ROUGHNESS, strict=True)]
    np.testing.assert_allclose(friction_factor_coiled(REYNOLDS, ROUGHNESS, CURVATURE), expected, rtol=1e-12)


def their_friction_factor(hose: Hose, flow: float) -> float:
    reynolds = float(mass_flow(flow)) / (np.pi / 4 * float(hose.bore_m) * float(viscosity()))
    if hose.coil_diameter_m is None:
        return their_friction(reynolds, float(hose.roughness_m) / float(hose.bore_m))
    return their_coil(reynolds, float(hose.bore_m), float(hose.coil_diameter_m), float(hose.roughness_m))


@pytest.mark.parametrize("seed", range(40))
def test_a_hose_against_isothermal_gas(seed: int) -> None:
    """Mass flow between the pressures found here, and the closed form of the outlet. The density is that at the inlet."""
    random = np.random.default_rng(seed)
    coil = None if seed % 3 else random.uniform(0.06, 0.3)
    bore, length = random.uniform(0.006, 0.025), random.uniform(1, 60)
    hose = Hose(bore_m=bore, length_m=length, roughness_m=random.choice([0.0, 2e-6, 5e-5]), coil_diameter_m=coil)
    inlet = random.uniform(3e5, 11e5)
    flow = float(hose.largest_flow(inlet)) * random.uniform(0.05, 0.99)
    outlet = float(hose.outlet_pressure(flow, inlet))
    known = {"rho": float(density(inlet)), "fd": their_friction_factor(hose, flow), "L": length, "D": bore}
    assert isothermal_gas(P1=inlet, P2=outlet, **known) == pytest.approx(float(mass_flow(flow)), rel=1e-10)
    assert isothermal_gas(P1=inlet, m=float(mass_flow(flow)), **known) == pytest.approx(outlet, rel=1e-9)
    assert float(hose.inlet_pressure(flow, outlet)) == pytest.approx(inlet, rel=1e-12)
    assert float(hose.length_between(flow, inlet, outlet)) == pytest.approx(length, rel=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_where_a_hose_chokes(seed: int) -> None:
    """The pressure at its end at the largest flow, against P_isothermal_critical_flow."""
    random = np.random.default_rng(seed)
    hose = Hose(bore_m=random.uniform(0.004, 0.02), length_m=random.uniform(0.3, 40))
    flow = float(hose.largest_flow(8e5))
    expected = P_isothermal_critical_flow(8e5, their_friction_factor(hose, flow), hose.bore_m, hose.length_m)
    assert float(hose.critical_outlet(flow)) == pytest.approx(expected, rel=1e-9)
    assert np.isnan(hose.outlet_pressure(flow * 1.000001, 8e5))
    assert float(hose.outlet_pressure(flow * (1 - 1e-12), 8e5)) == pytest.approx(expected, rel=1e-4)
    assert float(hose.inlet_pressure(flow, 0.0)) == pytest.approx(8e5, rel=1e-12)


def test_the_root_against_lambert() -> None:
    """Where Lambert's function does not underflow, close to choking and far from it."""
    level = 1 + 10 ** np.linspace(-3, 2.8, 500)
    np.testing.assert_allclose(_root(level), -lambertw(-np.exp(-level), -1).real, rtol=1e-12)


def test_the_root_is_one_everywhere() -> None:
    level = 1 + np.concatenate([[0.0], 10 ** np.linspace(-15, 120, 800)])
    root = _root(level)
    np.testing.assert_allclose(root - np.log(root), level, rtol=1e-15)


@pytest.mark.parametrize("x_t", [0.5, 0.6, 0.7, 0.72, 0.8])
def test_a_fitting_against_iec_60534(x_t: float) -> None:
    """Cv found back from the flow here, from almost no loss to choking: within 2 %, and exact at both ends.

    `fluids` counts the flow at 0 °C and 101.325 kPa; the mass is the same.
    """
    part = from_flow_coefficient(1.0, x_t=x_t)
    inlet = 7e5
    for ratio in (0.9999, 0.99, 0.95, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.1):
        b = float(part.critical_pressure_ratio)
        passed = np.sqrt(max(0.0, 1 - max(0.0, (ratio - b) / (1 - b)) ** 2))
        flow = float(part.largest_flow(inlet)) * passed
        normal = flow * RHO_ANR * GAS_CONSTANT * 273.15 / 101325
        kv = size_control_valve_g(
            T=T_ANR,
            MW=8314.46 / GAS_CONSTANT,
            mu=1.8e-5,
            gamma=1.4,
            Z=1.0,
            P1=inlet,
            P2=ratio * inlet,
            Q=normal,
            xT=x_t,
        )
        tolerance = 0.002 if ratio in (0.9999, 0.1) else 0.02
        assert kv == pytest.approx(0.864978, rel=tolerance)
