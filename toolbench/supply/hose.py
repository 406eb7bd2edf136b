"""A hose: isothermal compressible flow with Darcy friction, up to where it chokes.

Along a hose of constant bore and temperature the mass flux G, hence the Reynolds number and the friction factor f, are the same
everywhere, and the momentum equation integrates to

    p1² − p2² = G² R T (f L/d + ΣK + 2 ln(p1/p2)).

**Choking.** For given G and p1 the hose is longest that ends at p2² = G² R T, a Mach number of 1/√γ = 0.845. No more than that G passes,
however low the pressure behind; the hose then ends at G √(R T), and the pressure falls to that behind it outside the hose. Adiabatic
(Fanno) flow chokes at Mach 1 instead and passes more through the same hose: 0.5 % at f L/d = 67, 1.6 % at 15, 6 % at 1. The isothermal
limit is taken because it asks for no temperature along the hose and errs towards less flow.

**Solution.** With z = p1²/(G² R T) and y = p2²/(G² R T) the equation is z − ln z = y − ln y + f L/d + ΣK, which is solved to the last digit
in closed form either way.

A flow stands for its mass: `RHO_ANR` times m3/s ANR. Pressures are static ones in the hose; the dynamic head between parts is left
out (0.05 bar in an 8 mm bore at 12 L/s).

References
----------
Shapiro, The Dynamics and Thermodynamics of Compressible Fluid Flow I (1953), chapter 6 (isothermal flow in long ducts; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolbench.records.runs import Floats
from toolbench.supply.air import GAS_CONSTANT, RHO_ANR, T_ANR, Numbers, mass_flow, viscosity
from toolbench.supply.crossing import find_crossing
from toolbench.supply.friction import friction_factor, friction_factor_coiled
from toolbench.supply.guards import require_not_negative, require_positive

_STILL = 1e-60
"""Mass flux [kg/(s*m2)] and Reynolds number that stand for none: the formulas divide by them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hose:
    """A hose. Every number may be an array that broadcasts with the others: then the hose stands for many.

    Raises ValueError where a bore, a length or a scale is not above zero or a roughness or loss is below it.
    """

    bore_m: Numbers
    length_m: Numbers
    roughness_m: Numbers = 0.0
    """Height of equivalent sand [m]; 0 is smooth."""
    coil_diameter_m: Numbers | None = None
    """Of the coil, between tube centres [m]; None: straight."""
    loss_coefficient: Numbers = 0.0
    """Sum of K of bends and ends inside the hose, counted on its own velocity."""
    friction_scale: Numbers = 1.0
    """Factor on the friction factor; published charts scatter about it by a factor of 1.3 (one standard deviation)."""
    rated_pa_abs: float | None = None
    """Pressure that the hose may not exceed [Pa abs]; None: not stated."""
    label: str = "hose"

    def __post_init__(self) -> None:
        require_positive(bore=self.bore_m, length=self.length_m, friction_scale=self.friction_scale)
        require_not_negative(roughness=self.roughness_m, loss_coefficient=self.loss_coefficient)
        if self.coil_diameter_m is not None:
            require_positive(coil_diameter=self.coil_diameter_m)

    def outlet_pressure(self, flow_m3_s: Numbers, inlet_pa_abs: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
        """Pressure [Pa abs] at the end, for a flow [m3/s ANR] and the pressure at the start [Pa abs]; nan where it chokes before."""
        flux2 = self._flux_squared(flow_m3_s, temperature_k)
        inlet2 = np.asarray(inlet_pa_abs) ** 2 / flux2
        with np.errstate(divide="ignore"):
            level = inlet2 - np.log(inlet2) - self._resistance(flow_m3_s, temperature_k)
        chokes = (level < 1.0) | (inlet2 < 1.0)
        return np.where(chokes, np.nan, np.sqrt(flux2 * _root(np.where(chokes, 1.0, level))))

    def inlet_pressure(self, flow_m3_s: Numbers, outlet_pa_abs: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
        """Pressure [Pa abs] at the start that drives a flow [m3/s ANR] against a pressure behind the end [Pa abs, may be 0]; never nan.

        Behind a hose that chokes the pressure may be anything below `critical_outlet`: the start does not feel it.
        """
        flux2 = self._flux_squared(flow_m3_s, temperature_k)
        outlet2 = np.maximum(np.asarray(outlet_pa_abs) ** 2 / flux2, 1.0)
        return np.sqrt(flux2 * _root(outlet2 - np.log(outlet2) + self._resistance(flow_m3_s, temperature_k)))

    def critical_outlet(self, flow_m3_s: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
        """Highest pressure [Pa abs] behind the end at which a flow still chokes: G √(R T), the lowest that the end itself has."""
        return np.sqrt(self._flux_squared(flow_m3_s, temperature_k))

    def largest_flow(self, inlet_pa_abs: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
        """Flow [m3/s ANR] at which the hose chokes, for a pressure at the start [Pa abs]."""
        inlet = np.asarray(inlet_pa_abs, dtype=float)
        frictionless = self._area() * inlet / np.sqrt(GAS_CONSTANT * np.asarray(temperature_k)) / RHO_ANR

        def miss(flow_squared: Floats) -> Floats:
            needed = self.inlet_pressure(np.sqrt(flow_squared), 0.0, temperature_k)
            return np.asarray((needed / inlet) ** 2 - 1.0)

        return np.sqrt(find_crossing(miss, np.asarray(frictionless**2)))

    def length_between(
        self, flow_m3_s: Numbers, inlet_pa_abs: Numbers, outlet_pa_abs: Numbers, temperature_k: Numbers = T_ANR
    ) -> Floats:
        """Length [m] of hose like this one that brings one pressure down to another; negative or nan where there is none."""
        flux2 = self._flux_squared(flow_m3_s, temperature_k)
        high, low = np.asarray(inlet_pa_abs) ** 2 / flux2, np.asarray(outlet_pa_abs) ** 2 / flux2
        per_metre = self._friction(flow_m3_s, temperature_k) / np.asarray(self.bore_m)
        length = (high - low - np.log(high / low) - self.loss_coefficient) / per_metre
        return np.where(low < 1.0, np.nan, length)

    def _area(self) -> Floats:
        return np.asarray(math.pi / 4.0 * np.asarray(self.bore_m) ** 2)

    def _flux_squared(self, flow_m3_s: Numbers, temperature_k: Numbers) -> Floats:
        """G² R T [Pa²]."""
        flux = np.maximum(mass_flow(flow_m3_s) / self._area(), _STILL)
        return np.asarray(flux**2 * GAS_CONSTANT * temperature_k)

    def _friction(self, flow_m3_s: Numbers, temperature_k: Numbers) -> Floats:
        bore = np.asarray(self.bore_m)
        reynolds = np.maximum(mass_flow(flow_m3_s) / (math.pi / 4.0 * bore * viscosity(temperature_k)), _STILL)
        if self.coil_diameter_m is None:
            return self.friction_scale * friction_factor(reynolds, self.roughness_m / bore)
        return self.friction_scale * friction_factor_coiled(
            reynolds, self.roughness_m / bore, bore / self.coil_diameter_m
        )

    def _resistance(self, flow_m3_s: Numbers, temperature_k: Numbers) -> Floats:
        """f L/d + ΣK."""
        along = self._friction(flow_m3_s, temperature_k) * self.length_m / np.asarray(self.bore_m)
        return np.asarray(along + self.loss_coefficient)


def _root(level: Floats) -> Floats:
    """The root z >= 1 of z − ln z = level >= 1, to the last digit: three of Newton's steps from a close lower bound.

    It is −W₋₁(−exp(−level)) of Lambert's function, whose argument underflows where the loss of a hose is small.
    The bound is Chatzigeorgiou's, IEEE Commun. Lett. 17 (2013) 1505.
    """
    over = level - 1.0
    z = 1.0 + np.sqrt(2.0 * over) + over / 1.5
    for _ in range(3):
        z = z - (z - np.log(z) - level) * (z / np.maximum(z - 1.0, 1e-300))
    return np.maximum(z, 1.0)
