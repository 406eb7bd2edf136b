"""How often simultaneous bands hold along all of a run, and how wide they are: joint coverage by simulation.

    python tests/benchmarks/band_coverage.py                     all tables, 2,000 draws a cell: about a quarter of an hour
    python tests/benchmarks/band_coverage.py --quick             200 draws, fewer cells: half a minute
    python tests/benchmarks/band_coverage.py --speed             what bands cost, and how that grows with runs and points
    python tests/benchmarks/band_coverage.py --tables smooth     one table; --draws, --runs, --ratios narrow it

Curves are noise of a given correlation length on a rising mean, on 101 points; the second item is 10 % higher and scatters
`ratio` times as much. Each line: how often, at nominal 95 %, the band of the percent difference and that of a mean hold at
every point together, with the standard error of 95 % in so many draws; and the median width of the percent band relative
to Bonferroni's over the grid and to the pointwise band. Points without a band (a base not away from zero) say nothing, so
they hold.
"""

from __future__ import annotations

import argparse
import math
import os
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy import special, stats

from toolbench.metrology import ItemCurves, Source, make_bands
from toolbench.records.comparison import Band

POINTS = 101
TIME = np.linspace(0.0, 5.0, POINTS)
BASE = 400.0 * (1.0 - 0.5 * np.exp(-TIME / 1.5))
HIGHER = 1.1
AT_ONCE = 100
WIDTH_OF_EVERY = 20
"""One draw of so many is judged for its width, which varies little."""


@dataclass(frozen=True, kw_only=True)
class World:
    """What the runs of one cell are drawn from; lengths in points of the grid, shares of the variance of one run."""

    runs: int
    length: float
    ratio: float = 1.0
    scatter: float = 0.01
    """Relative to the level: at 0.01 a percentage is a plain difference, at 0.1 it is a ratio with a curved interval."""
    profile: str = "constant"
    in_one: bool = False
    """Whether only the second item's scatter has the profile."""
    noise: str = "normal"
    shift: float = 0.0
    white: float = 0.0
    others: int = 0
    blocks: bool = False
    sittings: int = 0
    """Sittings of each item, of equal numbers of runs; they differ by `day` standard deviations of a run, all along it."""
    day: float = 0.0
    line: float = 0.0
    """Zero error that all runs share, in standard deviations of a run: known as a calibration of 3 degrees of freedom shows it."""


def noise_root(world: World) -> np.ndarray:
    lag = np.abs(np.arange(POINTS)[:, None] - np.arange(POINTS))
    smooth = np.exp(-0.5 * (lag / world.length) ** 2)
    matrix = (1.0 - world.shift - world.white) * smooth + world.shift + world.white * np.eye(POINTS)
    weights, vectors = np.linalg.eigh(matrix)
    kept = weights > 1e-7 * weights.sum()
    return vectors[:, kept] * np.sqrt(weights[kept])


PROFILES = {
    "constant": np.ones(POINTS),
    "rising": np.linspace(1, 3, POINTS),
    "early": 1 + 2 * np.exp(-TIME / 0.5),
    "burst": 1 + 2 * np.exp(-(((TIME - 2.5) / 0.2) ** 2)),
}


def drawn(
    random: np.random.Generator, world: World, root: np.ndarray, count: int, groups: int = 1, profile: str = ""
) -> np.ndarray:
    """Scatter of `count` sets of runs, of unit variance on average, shape (count, groups * runs, POINTS)."""
    curves = random.standard_normal((count, groups * world.runs, root.shape[1])) @ root.T
    if world.noise == "t5":
        curves = stats.t.ppf(special.ndtr(curves), 5) / math.sqrt(5 / 3)
    elif world.noise == "skewed":  # a gamma distribution of shape 4: skewness 1
        curves = (special.gammaincinv(4.0, special.ndtr(curves)) - 4.0) / 2.0
    elif world.noise == "whole runs t5":
        curves *= np.sqrt(3.0 / random.chisquare(5, (*curves.shape[:2], 1)))
    along = PROFILES[profile or world.profile]
    return 400.0 * world.scatter * curves * along / math.sqrt(np.mean(along**2))


def reports(world: World, draws: int) -> Iterator[tuple[Band, Band, tuple[ItemCurves, ItemCurves]]]:
    """Bands of the base and of the other item in every draw, with the items they are of."""
    random, root = np.random.default_rng(20_260_401), noise_root(world)
    blocks = tuple(f"block {k}" for k in range(world.runs)) if world.blocks else ()
    for first in range(0, draws, AT_ONCE):
        count = min(AT_ONCE, draws - first)
        near = drawn(random, world, root, count, profile="constant" if world.in_one else "")
        far = world.ratio * drawn(random, world, root, count)
        others = drawn(random, world, root, count, world.others) if world.others else None
        sitting = np.arange(world.runs) * world.sittings // world.runs
        days = 400.0 * world.scatter * world.day * random.standard_normal((2, count, max(world.sittings, 1), 1))
        near, far = near + days[0][:, sitting], far + world.ratio * days[1][:, sitting]
        unit = 400.0 * world.scatter * world.line
        wrong, seen = unit * random.standard_normal(count), unit * np.sqrt(random.chisquare(3, count) / 3)
        near, far = near + wrong[:, None, None], far + wrong[:, None, None]
        if blocks:  # what a block does to both items is three times the scatter
            step = 1200.0 * world.scatter * random.standard_normal((count, world.runs, 1))
            near, far = near + step, far + HIGHER * step
        for k in range(count):
            error = Source(source="line", label="", absolute=float(seen[k]), degrees_of_freedom=3.0)
            names = [tuple(f"{item}{s}" for s in sitting) if world.sittings else () for item in ("near", "far")]
            items = (
                ItemCurves(id="near", curves=BASE + near[k], blocks=blocks, sittings=names[0], sources=(error,)),
                ItemCurves(id="far", curves=HIGHER * BASE + far[k], blocks=blocks, sittings=names[1], sources=(error,)),
            )
            extra = np.split(others[k], world.others) if others is not None else []
            bands = make_bands(items, TIME, [("far", "near")], response="torque", unit="N*m", extra_residuals=extra)
            yield bands[0], bands[1], items


def holds(edges: tuple[np.ndarray, np.ndarray], truth: np.ndarray | float) -> bool:
    return not bool(np.any((edges[0] > truth) | (edges[1] < truth)))


def one_cell(world: World, draws: int) -> tuple[float, float, float, float]:
    """Joint coverage of the percent band and of the base's mean [%], width over Bonferroni's and over the pointwise one."""
    held = held_mean = 0
    widths: list[tuple[float, float]] = []
    for k, (near, far, items) in enumerate(reports(world, draws)):
        assert far.percent_simultaneous is not None
        assert far.percent_pointwise is not None
        held += holds(far.percent_simultaneous, 100.0 * (HIGHER - 1.0))
        held_mean += holds(near.simultaneous, BASE)
        if k % WIDTH_OF_EVERY == 0:
            strict = make_bands(
                items, TIME, [("far", "near")], response="torque", unit="N*m", confidence=1.0 - 0.05 / POINTS, draws=10
            )[1].percent_pointwise
            assert strict is not None
            width = far.percent_simultaneous[1] - far.percent_simultaneous[0]
            both = [width / (edges[1] - edges[0]) for edges in (strict, far.percent_pointwise)]
            widths.append((_middle(both[0]), _middle(both[1])))
    over = [_middle(np.array(one)) for one in zip(*widths, strict=True)]
    return 100.0 * held / draws, 100.0 * held_mean / draws, over[0], over[1]


def _middle(values: np.ndarray) -> float:
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if finite.size else math.nan


LENGTHS = (5.0, 10.0, 20.0, 60.0)
TABLES: dict[str, list[World]] = {
    "smooth": [
        World(runs=n, length=length, ratio=ratio)
        for n in (3, 4, 6, 10)
        for ratio in (1.0, 1.5, 2.0)
        for length in LENGTHS
    ],
    "blocks": [World(runs=n, length=length, blocks=True) for n in (3, 4, 6) for length in (5.0, 20.0, 60.0)],
    "shapes": [
        replace(world, runs=n)
        for n in (3, 4)
        for world in (
            World(runs=n, length=10.0, profile="rising"),
            World(runs=n, length=20.0, profile="early", ratio=2.0),
            World(runs=n, length=10.0, profile="rising", in_one=True),
            World(runs=n, length=10.0, profile="burst"),
            World(runs=n, length=10.0, noise="t5"),
            World(runs=n, length=20.0, noise="whole runs t5"),
            World(runs=n, length=10.0, noise="skewed", ratio=2.0),
            World(runs=n, length=20.0, scatter=0.05),
            World(runs=n, length=20.0, shift=0.9),
            World(runs=n, length=20.0, others=4),
            World(runs=n, length=60.0, others=4),
        )
    ],
    "sittings": [
        World(runs=sittings * n, length=20.0, sittings=sittings, day=day)
        for sittings, n in ((2, 3), (2, 5), (3, 3))
        for day in (0.0, 0.5, 1.0, 2.0)
    ],
    "line": [World(runs=n, length=20.0, line=line) for n in (4, 10) for line in (0.5, 2.0)],
    "beyond": [
        World(runs=n, length=length, ratio=ratio)
        for n in (2, 3, 4, 6, 10)
        for length, ratio in ((1.0, 1.0), (1.0, 3.0), (5.0, 3.0), (20.0, 3.0), (20.0, 1.0))
        if n == 2 or (length, ratio) != (20.0, 1.0)
    ],
}


def say(world: World) -> str:
    extra = [
        f"{world.noise}" if world.noise != "normal" else "",
        f"{world.profile} scatter{' in one' if world.in_one else ''}" if world.profile != "constant" else "",
    ]
    extra += [f"scatter {100 * world.scatter:g} %" if world.scatter != 0.01 else "", "blocks" if world.blocks else ""]
    extra += [
        f"{100 * world.shift:g} % a shift" if world.shift else "",
        f"{world.others} other groups" if world.others else "",
        f"{world.sittings} sittings {world.day:g} apart" if world.sittings else "",
        f"line {world.line:g}" if world.line else "",
    ]
    head = f"{world.runs:4d}  {world.length:6g}  {world.ratio:5g}"
    return f"{head}  {', '.join(part for part in extra if part):24}"


def cost(runs: int, points: int, turns: int = 5) -> float:
    """Least processor time of the bands of six items [ms]."""
    random, spent = np.random.default_rng(1), []
    grid = np.linspace(0.0, 5.0, points)
    rough = random.standard_normal((6 * runs, points + 40 * points // 101))
    width = 40 * points // 101
    total = np.cumsum(rough, axis=1)
    curves = 400.0 + (total[:, width:] - total[:, :-width]) / math.sqrt(width)
    items = [ItemCurves(id=str(k), curves=curves[k * runs : (k + 1) * runs]) for k in range(6)]
    for _ in range(turns):
        begin = time.process_time()
        make_bands(items, grid, [(str(k), "0") for k in range(1, 6)], response="torque", unit="N*m")
        spent.append(time.process_time() - begin)
    return 1e3 * min(spent)


def speed() -> None:
    """What the bands of six items cost, and the exponents of its growth."""
    print(f"6 items x 10 runs x 2,000 points: {cost(10, 2_000):.0f} ms of processor time, one thread")
    for name, sizes in (("runs", (5, 10, 20, 40)), ("points", (500, 1_000, 2_000, 4_000))):
        spent = [cost(size, 2_000) if name == "runs" else cost(10, size) for size in sizes]
        exponent = float(np.polyfit(np.log(sizes), np.log(spent), 1)[0])
        print(f"{name} {sizes}: {', '.join(f'{one:.0f}' for one in spent)} ms, exponent {exponent:.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description="Joint coverage and width of simultaneous bands.")
    parser.add_argument("--quick", action="store_true", help="200 draws and fewer cells")
    parser.add_argument("--draws", type=int, default=2_000)
    parser.add_argument("--tables", nargs="+", choices=list(TABLES), default=list(TABLES))
    parser.add_argument("--runs", nargs="+", type=int, help="only these numbers of runs")
    parser.add_argument("--ratios", nargs="+", type=float, help="only these ratios of scatter")
    parser.add_argument("--speed", action="store_true", help="only what bands cost")
    asked = parser.parse_args()
    if asked.speed:
        speed()
        return
    draws, started = (200 if asked.quick else asked.draws), time.process_time()
    print(f"{draws} draws a cell: coverage has a standard error of {100 * math.sqrt(0.05 * 0.95 / draws):.1f} points")
    for name in asked.tables:
        cells = [
            world
            for world in TABLES[name]
            if (asked.runs is None or world.runs in asked.runs)
            and (asked.ratios is None or world.ratio in asked.ratios)
        ]
        print(f"\n{name}\nruns  length  ratio  {'':24}  percent   mean  width over Bonferroni  over pointwise")
        for world in cells[::6] if asked.quick else cells:
            held, held_mean, bonferroni, pointwise = one_cell(world, draws)
            print(f"{say(world)}  {held:5.1f} %  {held_mean:5.1f} %  {bonferroni:19.2f}  {pointwise:14.2f}", flush=True)
    print(f"\n{(time.process_time() - started) / 60.0:.1f} minutes of processor time")


if __name__ == "__main__":
    main()
