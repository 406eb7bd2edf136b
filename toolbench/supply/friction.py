"""Darcy friction factor of a hose: laminar to rough, straight or coiled, for whole arrays at once.

The straight pipe is Colebrook's equation solved to machine precision, below the transition Poiseuille's law; the coil is Schmidt's
correlation, one of a list that differs twofold and one of those in the middle of it. The same formulas stand in the library
`fluids`, which takes one number at a time: tests hold every branch to it within 1e-12.

References
----------
Colebrook, J. Inst. Civ. Eng. 11 (1939) 133. Clamond, Ind. Eng. Chem. Res. 48 (2009) 3665 (the solution used).
Avila et al., Science 333 (2011) 192 (transition at 2040). Schmidt, Chem. Ing. Tech. 39 (1967) 781 (coils; his data reach
to a Reynolds number of 150,000 and a bore of 0.14 of the coil).
"""

from __future__ import annotations

import math

import numpy as np

from toolbench.records.runs import Floats
from toolbench.supply.air import Numbers

TRANSITION = 2040.0
_COIL_CHANGE = 2.2e4
_LOG_10 = math.log(10.0)
_K = _LOG_10 / 18.574
_X2 = math.log(_LOG_10 / 5.02)


def friction_factor(reynolds: Numbers, relative_roughness: Numbers = 0.0) -> Floats:
    """Darcy friction factor of a straight round pipe. `reynolds` positive; `relative_roughness` is roughness over bore."""
    re = np.asarray(reynolds)
    return np.where(re < TRANSITION, 64.0 / re, _turbulent(np.maximum(re, TRANSITION), relative_roughness))


def friction_factor_coiled(reynolds: Numbers, relative_roughness: Numbers, curvature: Numbers) -> Floats:
    """Darcy friction factor of a coiled hose. `curvature` is bore over coil diameter, both between centres of the tube."""
    re, curve = np.asarray(reynolds), np.asarray(curvature)
    critical = 2300.0 * (1.0 + 8.6 * curve**0.45)
    laminar = 64.0 / re * (1.0 + 0.14 * curve**0.97 * re ** (1.0 - 0.644 * curve**0.312))
    rough = np.maximum(re, critical)
    low = 2.88e4 / rough * curve**0.62
    high = 0.0823 * (1.0 + curve) * curve**0.53 * rough**0.25
    turbulent = _turbulent(rough, relative_roughness) * (1.0 + np.where(rough < _COIL_CHANGE, low, high))
    return np.where(re < critical, laminar, turbulent)


def _turbulent(re: Floats, relative_roughness: Numbers) -> Floats:
    """Colebrook's equation by Clamond's iteration; its order is four, so two steps from this start reach the last digit."""
    rough = np.asarray(relative_roughness) * re * _K
    smooth = np.log(re) + _X2
    f = smooth - 0.2
    for _ in range(2):
        both = rough + f
        e = (np.log(both) + f - smooth) / (1.0 + both)
        f = f - (1.0 + both + 0.5 * e) * e * both / (1.0 + both + e * (1.0 + e / 3.0))
    return np.asarray((0.5 * _LOG_10 / f) ** 2)
