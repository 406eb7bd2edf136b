"""The parts of an air line beside the hose: regulator, couplers and fittings.

Every part says what is left of a pressure at a flow (`outlet_pressure`, nan where the part chokes before), what pressure drives a
flow against a pressure behind it (`inlet_pressure`, never nan), and how much it can pass (`largest_flow`). Numbers may be arrays.

References
----------
ISO 6358-1 (sonic conductance C, critical pressure ratio b; from memory): q = C p1 √(T0/T1) √(1 − ((p2/p1 − b)/(1 − b))²), choked at
p2/p1 <= b. IEC 60534-2-1 (flow coefficient; from memory), checked against the library `fluids`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from toolbench.quantities.tables import TABLE
from toolbench.records.runs import Floats
from toolbench.supply.air import GAS_CONSTANT, RHO_ANR, T_ANR, Numbers
from toolbench.supply.guards import require_not_negative, require_positive
from toolbench.supply.hose import Hose

ASSUMED_X_T = 0.7
"""Ratio of pressure drop to inlet pressure at which a fitting chokes, where nobody states one: assumed."""

_NOTHING = 1e-60


@dataclass(frozen=True, slots=True, kw_only=True)
class Restriction:
    """A part without length that ISO 6358 describes: a coupler, a filter, a swivel, a fitting.

    Raises ValueError unless the conductance is above zero and the critical pressure ratio lies in 0 to 1, below 1.
    """

    sonic_conductance: Numbers
    """C [m3/(s*Pa) ANR]; 1 L/(s*bar) is 1e-8."""
    critical_pressure_ratio: Numbers
    """b: outlet over inlet pressure below which the flow no longer rises."""
    rated_pa_abs: float | None = None
    label: str = "coupler"
    kind: Literal["coupler", "fitting"] = "coupler"
    """A coupler may be changed for another or left out; a fitting belongs where it is."""

    def __post_init__(self) -> None:
        require_positive(sonic_conductance=self.sonic_conductance)
        require_not_negative(critical_pressure_ratio=self.critical_pressure_ratio)
        if not np.all(np.asarray(self.critical_pressure_ratio) < 1):
            raise ValueError("critical_pressure_ratio must be below 1")

    def outlet_pressure(self, flow_m3_s: Numbers, inlet_pa_abs: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
        """Pressure [Pa abs] behind, for a flow [m3/s ANR] and the pressure before [Pa abs]; nan where it chokes before."""
        inlet, b = np.asarray(inlet_pa_abs), np.asarray(self.critical_pressure_ratio)
        share = self._choked_inlet(flow_m3_s, temperature_k) / np.maximum(inlet, _NOTHING)
        passed = np.sqrt(np.maximum(1.0 - share**2, 0.0))
        return np.where(share > 1.0, np.nan, inlet * (b + (1.0 - b) * passed))

    def inlet_pressure(self, flow_m3_s: Numbers, outlet_pa_abs: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
        """Pressure [Pa abs] before that drives a flow [m3/s ANR] against a pressure behind [Pa abs, may be 0]; never nan."""
        b = np.asarray(self.critical_pressure_ratio)
        least = self._choked_inlet(flow_m3_s, temperature_k)
        outlet = np.maximum(np.asarray(outlet_pa_abs), np.maximum(b * least, _NOTHING))
        # The ellipse is a quadratic in the inlet pressure; written so that b = 1/2 is no special case.
        root = np.sqrt(np.maximum(outlet**2 + (1.0 - 2.0 * b) * least**2, 0.0))
        return np.asarray((outlet**2 + ((1.0 - b) * least) ** 2) / (b * outlet + (1.0 - b) * root))

    def critical_outlet(self, flow_m3_s: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
        """Highest pressure [Pa abs] behind at which a flow still chokes."""
        return np.asarray(self.critical_pressure_ratio * self._choked_inlet(flow_m3_s, temperature_k))

    def largest_flow(self, inlet_pa_abs: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
        """Choked flow [m3/s ANR] at a pressure before [Pa abs]."""
        return np.asarray(
            self.sonic_conductance * np.asarray(inlet_pa_abs) * np.sqrt(T_ANR / np.asarray(temperature_k))
        )

    def _choked_inlet(self, flow_m3_s: Numbers, temperature_k: Numbers) -> Floats:
        """Lowest pressure before that passes the flow at all [Pa abs]."""
        return np.asarray(np.asarray(flow_m3_s) * np.sqrt(np.asarray(temperature_k) / T_ANR) / self.sonic_conductance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Regulator:
    """Holds its outlet at `set_pa_abs` at rest; it falls by `droop_pa_s_m3` with each m3/s ANR that flows."""

    set_pa_abs: Numbers
    droop_pa_s_m3: Numbers = 0.0
    rated_pa_abs: float | None = None
    label: str = "regulator"

    def __post_init__(self) -> None:
        require_positive(set_pressure=self.set_pa_abs)
        require_not_negative(droop=self.droop_pa_s_m3)

    def outlet_pressure(self, flow_m3_s: Numbers) -> Floats:
        """Pressure [Pa abs] behind the regulator at a flow [m3/s ANR]."""
        return np.asarray(self.set_pa_abs - np.asarray(flow_m3_s) * self.droop_pa_s_m3)


Element: TypeAlias = Hose | Restriction
"""What stands between regulator and tool."""


def from_flow_coefficient(
    flow_coefficient: Numbers, *, x_t: Numbers = ASSUMED_X_T, rated_pa_abs: float | None = None, label: str = "fitting"
) -> Restriction:
    """A fitting known by its flow coefficient Cv (US gallons a minute at 1 psi; Kv is 0.865 of it).

    C is the choked flow of IEC 60534, expansion factor 2/3, at ANR temperature: 3.9 L/(s*bar) per Cv with x_T = 0.7. b is chosen so
    that small losses agree exactly, 1 − (8/9) x_T: then the ellipse stays within 2 % of IEC 60534 in flow from no loss to choking. With
    1 − x_T, where IEC 60534 chokes, small losses would come out 13 % too high.
    """
    require_positive(flow_coefficient=flow_coefficient, x_t=x_t)
    kv = np.asarray(flow_coefficient) / TABLE["flow_coefficient"]["Kv"]
    # Kv is m3/h of water (1000 kg/m3) at 1 bar: the mass flow is this times √(dp rho).
    per_root = kv / 3600.0 * math.sqrt(1000.0 / 1e5)
    conductance = per_root * (2.0 / 3.0) * np.sqrt(x_t / (GAS_CONSTANT * T_ANR)) / RHO_ANR
    ratio = 1.0 - np.asarray(x_t) * (8.0 / 9.0)
    return Restriction(
        sonic_conductance=conductance,
        critical_pressure_ratio=ratio,
        rated_pa_abs=rated_pa_abs,
        label=label,
        kind="fitting",
    )
