"""What an operating point, a sweep and a friction factor cost, beside plain loops over the library `fluids`.

    python tests/benchmarks/supply.py [TURNS]          least processor time of TURNS (default 5) of each, one thread, turn by turn

1. One operating point of coupler, hose, coupler. The base marches from the regulator to the tool with the friction factor and
   the isothermal flow of `fluids` and the coupler's ellipse, inside scipy's `brentq`.
2. A sweep of 200 x 200 lengths and bores in one call; the base is that loop over every tenth length and bore, a hundredth of the
   sweep. Points that the base cannot answer are left out of the check.
3. 40,000 friction factors: the closed form here, and numpy's `vectorize` of the one in `fluids`.

It stops when both sides of a figure do not come to the same numbers.
"""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import fluids
import numpy as np
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from toolbench.supply.air import GAS_CONSTANT, RHO_ANR, T_ANR, viscosity
from toolbench.supply.elements import Regulator, Restriction
from toolbench.supply.friction import friction_factor
from toolbench.supply.hose import Hose
from toolbench.supply.line import Demand, Line, find_operating_point, sweep

T = TypeVar("T")
SET, DROOP, CONDUCTANCE, C, B, ROUGHNESS = 8e5, 2e6, 2.5e-8, 9e-8, 0.35, 2e-6
PAIR = Restriction(sonic_conductance=C, critical_pressure_ratio=B)
LINE = Line(
    regulator=Regulator(set_pa_abs=SET, droop_pa_s_m3=DROOP),
    elements=(PAIR, Hose(bore_m=0.010, length_m=15.0, roughness_m=ROUGHNESS), PAIR),
)
TOOL = Demand(conductance=CONDUCTANCE)
LENGTHS, BORES = np.linspace(1.0, 60.0, 200), np.linspace(0.008, 0.025, 200)
EVERY = 10
LEAST = 0.5
"""Share of the highest flow below which the base does not look: `fluids` cannot divide by a loss near nothing."""
VISCOSITY = float(viscosity())


def in_turns(turns: int, first: Callable[[], T], second: Callable[[], T]) -> tuple[float, float, T, T]:
    """Least processor time of both [s], taken turn by turn, and what they returned."""
    spent: tuple[list[float], list[float]] = ([], [])
    found: list[T] = []
    for _ in range(turns):
        found = []
        for call, times in zip((first, second), spent, strict=True):
            begin = time.process_time()
            found.append(call())
            times.append(time.process_time() - begin)
    return min(spent[0]), min(spent[1]), found[0], found[1]


def through_pair(flow: float, inlet: float) -> float:
    return inlet * (B + (1 - B) * math.sqrt(1 - (flow / (C * inlet)) ** 2))


def by_loop(length: float, bore: float) -> float:
    """Flow [m3/s ANR] as one would work it out with `fluids`; nan where it says that the hose chokes."""

    def miss(flow: float) -> float:
        mass = RHO_ANR * flow
        pressure = through_pair(flow, SET - DROOP * flow)
        friction = fluids.friction_factor(mass / (math.pi / 4 * bore * VISCOSITY), ROUGHNESS / bore)
        density = pressure / (GAS_CONSTANT * T_ANR)
        pressure = fluids.isothermal_gas(density, friction, P1=pressure, L=length, D=bore, m=mass)
        return through_pair(flow, pressure) * CONDUCTANCE - flow

    most = CONDUCTANCE * SET
    least = LEAST * most
    while most > least:
        try:
            return float(brentq(miss, least, most, xtol=1e-15, rtol=1e-12))
        except (ArithmeticError, ValueError):
            most *= 0.97
    return math.nan


def agree(ours: np.ndarray, theirs: np.ndarray, tolerance: float) -> None:
    known = np.isfinite(theirs)
    if not known.mean() > 0.5:
        raise SystemExit("the base answers less than half of the points")
    np.testing.assert_allclose(ours[known], theirs[known], rtol=tolerance)


def told(what: str, ours: float, theirs: float, asked: str) -> None:
    print(f"{what:<48}{1e3 * ours:10.3f} ms {1e3 * theirs:12.3f} ms, ratio {theirs / ours:7.1f}   {asked}")


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    many = range(50)
    ours, theirs, mine, base = in_turns(
        turns,
        lambda: np.array([float(find_operating_point(LINE, TOOL).flow_m3_s) for _ in many]),
        lambda: np.array([by_loop(15.0, 0.010) for _ in many]),
    )
    agree(mine, base, 1e-9)
    told("one operating point", ours / len(many), theirs / len(many), "under 1 ms asked")

    share = np.ix_(range(0, BORES.size, EVERY), range(0, LENGTHS.size, EVERY))
    ours, theirs, mine, base = in_turns(
        turns,
        lambda: sweep(LINE, TOOL, 2, LENGTHS, BORES).flow_m3_s,
        lambda: np.array([[by_loop(float(x), float(d)) for x in LENGTHS[::EVERY]] for d in BORES[::EVERY]]),
    )
    agree(mine[share], base, 1e-9)
    told("sweep of 200 x 200 (base: a hundredth, times 100)", ours, theirs * EVERY**2, "about 2 s asked")

    reynolds = 10 ** np.random.default_rng(1).uniform(3, 6, 40_000)
    one_by_one = np.vectorize(fluids.friction_factor, otypes=[float])
    ours, theirs, mine, base = in_turns(
        turns, lambda: friction_factor(reynolds, 1e-4), lambda: one_by_one(reynolds, 1e-4)
    )
    agree(mine, base, 1e-12)
    told("40,000 friction factors", ours, theirs, "")


if __name__ == "__main__":
    main()
