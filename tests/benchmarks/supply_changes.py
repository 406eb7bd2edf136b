"""What a run behind a receiver and the effect of another line cost, beside loops as one would write them.

    python tests/benchmarks/supply_changes.py [TURNS]          least processor time of TURNS (default 5), one thread

1. The effect of another line with all its uncertain inputs in one call, against the same central differences as a loop of
   operating points, one line at a time. It stops when both do not come to the same standard uncertainty.
2. Its twin by 20,000 random draws.
3. A run of 12 s behind a receiver, against scipy's solver that works out the line's operating point at every step. It stops
   when both do not come to the same receiver pressure.
"""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.integrate import solve_ivp

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "data_demo"), str(ROOT / "tests" / "supply")]

from demo_lines import AMBIENT_PA, demo_line  # noqa: E402

from toolbench.supply.air import P_ANR  # noqa: E402
from toolbench.supply.effects import Question, predict, predict_by_draws  # noqa: E402
from toolbench.supply.fitted import Fitted  # noqa: E402
from toolbench.supply.line import Demand, find_operating_point  # noqa: E402
from toolbench.supply.receiver import Receiver, run_transient  # noqa: E402
from toolbench.supply.uncertain_lines import ASSUMED, UncertainLines  # noqa: E402

T = TypeVar("T")
CONDUCTANCE, EXPONENT = (Fitted(value=v, standard_uncertainty=u) for v, u in ((2.9e-8, 0.9e-9), (0.8, 0.05)))
QUESTION = Question(reference=demo_line("near"), other=demo_line("far"), conductance=CONDUCTANCE, exponent=EXPONENT)
RECEIVER = Receiver(volume_m3=0.04, free_air_m3_s=0.009)
START, MARGIN, DURATION = 10.2e5, 0.5e5, 12.0


def least(turns: int, call: Callable[[], T]) -> tuple[float, T]:
    """Least processor time of `call` [s], and what it returned last."""
    spent = []
    for _ in range(turns):
        begin = time.process_time()
        found = call()
        spent.append(time.process_time() - begin)
    return min(spent), found


def by_loop() -> float:
    """Standard uncertainty of the percent change, one operating point after the other."""
    lines = UncertainLines((QUESTION.reference, QUESTION.other), ASSUMED)
    best = {name: drawn.value for name, (drawn, _) in lines.inputs.items()}
    best |= {"demand": CONDUCTANCE.value, "exponent": EXPONENT.value}
    spread = {name: drawn.u for name, (drawn, _) in lines.inputs.items()}
    spread |= {"demand": CONDUCTANCE.standard_uncertainty, "exponent": EXPONENT.standard_uncertainty}

    def percent(x: dict[str, float]) -> float:
        at = {name: np.asarray(value) for name, value in x.items()}
        before, after = (
            float(find_operating_point(lines.with_errors(k, at), Demand(conductance=x["demand"])).inlet_pa_abs)
            - AMBIENT_PA
            for k in (0, 1)
        )
        return 100.0 * ((after / before) ** x["exponent"] - 1.0)

    return math.hypot(
        *(
            0.5 * (percent({**best, name: best[name] + u}) - percent({**best, name: best[name] - u}))
            for name, u in spread.items()
        )
    )


def by_solver() -> np.ndarray:
    """Receiver pressures at the end of each second, with the line solved at every step of the solver."""
    line, demand = demo_line("small-receiver"), Demand(conductance=CONDUCTANCE.value)
    held = float(find_operating_point(line, demand).pressures_pa_abs[0])

    def slope(_: float, p: np.ndarray) -> float:
        wide = replace(line.regulator, set_pa_abs=min(float(p[0]) - MARGIN, held), droop_pa_s_m3=0.0)
        out = float(find_operating_point(replace(line, regulator=wide), demand).flow_m3_s)
        return P_ANR / RECEIVER.volume_m3 * (RECEIVER.free_air_m3_s - out)

    seconds = np.arange(1.0, DURATION + 0.5)
    return np.asarray(solve_ivp(slope, (0.0, DURATION), [START], t_eval=seconds, max_step=0.05).y[0])


def by_transient() -> np.ndarray:
    line, demand = demo_line("small-receiver"), Demand(conductance=CONDUCTANCE.value)
    course = run_transient(
        line, demand, RECEIVER, start_pa_abs=START, duration_s=DURATION, margin_pa=MARGIN, running=True
    )
    return np.interp(np.arange(1.0, DURATION + 0.5), course.time_s, course.receiver_pa_abs)


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    one, found = least(turns, lambda: predict(QUESTION))
    loop, u = least(turns, by_loop)
    if not math.isclose(found.percent.standard_uncertainty, u, rel_tol=1e-6):
        sys.exit(f"the loop comes to {u}, the one call to {found.percent.standard_uncertainty}")
    inputs = len(found.percent.components)
    print(
        f"effect of another line, {inputs} inputs: {1e3 * one:.0f} ms; a loop of operating points: {loop / one:.0f} times"
    )
    draws, _ = least(turns, lambda: predict_by_draws(QUESTION))
    print(f"its twin by 20,000 draws: {1e3 * draws:.0f} ms")
    run, ours = least(turns, by_transient)
    solver, theirs = least(1, by_solver)
    if not np.allclose(ours, theirs, atol=200.0):
        sys.exit(f"the solver comes to {theirs[-1]} Pa, the transient to {ours[-1]} Pa")
    print(
        f"a run of {DURATION:g} s behind a receiver: {1e3 * run:.0f} ms; a solver that solves the line: {solver / run:.0f} times"
    )


if __name__ == "__main__":
    main()
