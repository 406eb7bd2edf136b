"""What the arithmetic of a comparison costs, in processor time of one thread.

    python tests/benchmarks/arithmetic.py [TURNS]           all figures, TURNS (default 5) each, the least is told

1. Curves of 6 items x 10 runs x 2,000 grid points, already on one grid, to means, percent differences of five from the
   first, and their intervals, pointwise and along time, with two errors that items share; by themselves and with the
   simulation that finds the level along time. The base is the obvious loop of pandas over grid points, which groups each
   point by item and works out the same, pointwise only. It stops when both do not come to the same percentages.
2. How that grows with runs and with points: exponents by a straight line through the logarithms.
3. Rows of a report with their budgets and the level that holds them together: 6 items x 10 runs.
4. The Monte Carlo check of a report, 10^6 draws a row.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from toolbench.metrology import ItemCurves, ItemRuns, Outcome, Row, Source, compare_items, make_bands
from toolbench.metrology.monte_carlo import check_differences
from toolbench.records.comparison import Band

T = TypeVar("T")
ITEMS, RUNS, POINTS = 6, 10, 2_000
PAIRS = [(str(k), "0") for k in range(1, ITEMS)]
SHARED = (
    Source(source="scale/cell", label="scale of the cell", relative=0.003),
    Source(source="zero/cell", label="zero of the season", absolute=0.5, degrees_of_freedom=20.0),
)


def least(turns: int, call: Callable[[], T]) -> tuple[float, T]:
    """Least processor time of `call` [s], and what it returned last."""
    spent = []
    for _ in range(turns):
        begin = time.process_time()
        found = call()
        spent.append(time.process_time() - begin)
    return min(spent), found


def runs_on_a_grid(runs: int, points: int) -> tuple[np.ndarray, np.ndarray]:
    """Times, and curves of shape (items, runs, points): a build-up whose runs differ by 1 % as a whole, and a ripple."""
    random, time_s = np.random.default_rng(1), np.linspace(0.0, 5.0, points)
    rise = 400.0 * (1.0 - 0.5 * np.exp(-time_s / 1.5))
    level = 1.0 + 0.02 * np.arange(ITEMS)[:, None, None] + 0.01 * random.standard_normal((ITEMS, runs, 1))
    phase = random.uniform(0.0, 2.0 * np.pi, (ITEMS, runs, 1))
    return time_s, rise * (level + 0.004 * np.sin(7.0 * time_s + phase))


def ours(time_s: np.ndarray, curves: np.ndarray, draws: int = 1_000) -> tuple[Band, ...]:
    items = [ItemCurves(id=str(k), curves=mine, sources=SHARED) for k, mine in enumerate(curves)]
    return make_bands(items, time_s, PAIRS, response="torque", unit="N*m", draws=draws)


def tidy(time_s: np.ndarray, curves: np.ndarray) -> pd.DataFrame:
    item, run, at = (part.ravel() for part in np.indices(curves.shape))
    return pd.DataFrame({"item": item.astype(str), "run": run, "time_s": time_s[at], "value": curves.ravel()})


def by_loop(table: pd.DataFrame) -> pd.DataFrame:
    """Percent differences and their intervals, point by point as one would write it down; a shared scale cancels."""
    zero = SHARED[1].absolute
    found = []
    for at, point in table.groupby("time_s"):
        of = point.groupby("item")["value"].agg(["mean", "std", "count"])
        base, rest = of.loc["0"], of.drop(index="0")
        ratio = rest["mean"] / base["mean"]
        a = rest["std"] ** 2 / rest["count"]
        b = ratio**2 * base["std"] ** 2 / base["count"]
        known = (zero * (1 - ratio)) ** 2
        variance = a + b + known
        dof = variance**2 / (
            a**2 / (rest["count"] - 1) + b**2 / (base["count"] - 1) + known**2 / SHARED[1].degrees_of_freedom
        )
        half = 100 * stats.t.ppf(0.975, dof) * np.sqrt(variance) / base["mean"]
        percent = 100 * (ratio - 1)
        found.append(pd.DataFrame({"time_s": at, "percent": percent, "lower": percent - half, "upper": percent + half}))
    return pd.concat(found)


def rows_of(count: int, runs: int = RUNS) -> Outcome:
    """A report of so many rows with the budget of each."""
    time_s, curves = runs_on_a_grid(runs, count)
    rows = [Row(response="torque", metric="at_mark", at=float(t), unit="N*m") for t in time_s]
    own = Source(source="zero/cell per run", label="zero", absolute=1.0, per_run=True)
    items = [ItemRuns(id=str(k), values=mine, sources=((*SHARED, own),) * count) for k, mine in enumerate(curves)]
    return compare_items(items, rows, PAIRS)


def exponent(sizes: tuple[int, ...], cost: Callable[[int], float]) -> str:
    spent = [cost(size) for size in sizes]
    slope = float(np.polyfit(np.log(sizes), np.log(spent), 1)[0])
    return f"{sizes}: {', '.join(f'{1e3 * one:.0f}' for one in spent)} ms, exponent {slope:.2f}"


def arrays(turns: int) -> None:
    time_s, curves = runs_on_a_grid(RUNS, POINTS)
    table = tidy(time_s, curves)
    alone, _ = least(turns, lambda: ours(time_s, curves, draws=1))
    whole, bands = least(turns, lambda: ours(time_s, curves))
    loop, theirs = least(max(turns // 2, 1), lambda: by_loop(table))
    for band in bands:
        if band.percent is not None:
            np.testing.assert_allclose(theirs.loc[band.item, "percent"], band.percent, rtol=1e-9, atol=1e-9)
    print(f"{ITEMS} items x {RUNS} runs x {POINTS} points")
    print(f"  means, percent differences, intervals            {1e3 * alone:6.0f} ms  (about 60 asked)")
    print(f"  and the level along time, by simulation          {1e3 * (whole - alone):6.0f} ms  (about 60 asked)")
    print(f"  the loop of pandas over grid points, no level    {1e3 * loop:6.0f} ms")
    print(
        f"  the loop over the first, over both               {loop / alone:6.0f}, {loop / whole:.0f}  (at least 30 asked)"
    )


def growth(turns: int) -> None:
    for draws, what in ((1, "arithmetic"), (1_000, "with the level along time")):

        def with_runs(runs: int, draws: int = draws) -> float:
            grid = runs_on_a_grid(runs, POINTS)
            return least(turns, lambda: ours(*grid, draws=draws))[0]

        def with_points(points: int, draws: int = draws) -> float:
            grid = runs_on_a_grid(RUNS, points)
            return least(turns, lambda: ours(*grid, draws=draws))[0]

        print(f"{what}: runs   {exponent((5, 10, 20, 40, 80), with_runs)}")
        print(f"{what}: points {exponent((1_000, 2_000, 4_000, 8_000), with_points)}")


def reports(turns: int) -> None:
    for count in (5, 20, 100):
        spent, outcome = least(turns, lambda count=count: rows_of(count))
        told = len(outcome.levels) + len(outcome.differences)
        print(f"{ITEMS} items x {RUNS} runs x {count} rows, budgets of {told}: {1e3 * spent:.0f} ms")
    outcome = rows_of(4)
    spent, checked = least(max(turns // 2, 1), lambda: check_differences(outcome.levels, outcome.differences, 0.95))
    count = len(checked.rows)
    print(
        f"Monte Carlo of {checked.draws:,} draws, {ITEMS} items x 4 rows: {spent:.1f} s for {count} differences (about 3 asked)"
    )


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    arrays(turns)
    growth(turns)
    reports(turns)


if __name__ == "__main__":
    main()
