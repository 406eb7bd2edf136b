"""Air as an ideal gas, and the reference state in which free air is counted.

Pressures are absolute [Pa] and end in `_pa_abs`; flows are volumes of free air in the reference state ANR [m3/s], and
`RHO_ANR` times a flow is the mass that passes [kg/s]. Every function takes numbers or arrays that broadcast.

References
----------
ISO 8778: ANR is 100 kPa, 20 °C, 65 % relative humidity. The density printed with it, 1.185 kg/m3 (from memory, not seen), is a
convention: air at 65 % has 1.182, dry air 1.188.
At 7 bar and 20 °C the ideal gas is within 0.3 % of real air (compressibility 0.9975).
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from toolbench.records.runs import Floats

Numbers: TypeAlias = float | Floats
"""A number, or an array that broadcasts with the others."""

GAS_CONSTANT = 287.05
"""Of dry air [J/(kg*K)]."""
HEAT_RATIO = 1.4
P_ANR, T_ANR, RHO_ANR = 1e5, 293.15, 1.185
"""Reference state ANR: pressure [Pa abs], temperature [K], density [kg/m3]."""
ATMOSPHERE_PA_ABS = 101325.0

_SUTHERLAND_VISCOSITY, _SUTHERLAND_T, _SUTHERLAND_S = 1.716e-5, 273.15, 110.4


def density(pressure_pa_abs: Numbers, temperature_k: Numbers = T_ANR) -> Floats:
    """Density of dry air [kg/m3] at a pressure [Pa abs] and temperature [K]."""
    return np.asarray(pressure_pa_abs) / (GAS_CONSTANT * np.asarray(temperature_k))


def viscosity(temperature_k: Numbers = T_ANR) -> Floats:
    """Dynamic viscosity of air [Pa*s] by Sutherland's law; pressure adds 0.5 % at 7 bar, which is left out.

    References
    ----------
    Sutherland, Phil. Mag. 36 (1893) 507, with 17.16 µPa*s at 0 °C and 110.4 K: 18.13 at 20 °C.
    """
    t = np.asarray(temperature_k)
    return np.asarray(
        _SUTHERLAND_VISCOSITY * (t / _SUTHERLAND_T) ** 1.5 * (_SUTHERLAND_T + _SUTHERLAND_S) / (t + _SUTHERLAND_S)
    )


def mass_flow(flow_m3_s: Numbers) -> Floats:
    """Mass [kg/s] of a flow of free air [m3/s ANR]."""
    return RHO_ANR * np.asarray(flow_m3_s)
