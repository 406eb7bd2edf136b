"""How often intervals hold where runs were made in few sittings: coverage at nominal 95 % by simulation.

    python tests/benchmarks/sitting_coverage.py              2,000 draws a cell: some minutes

Two items, each run in sittings of its own; sittings differ by `ratio` standard deviations of a run. With two sittings an
item there is one degree of freedom to see that by: where the day shows too little, runs judge the mean.
"""

from __future__ import annotations

import argparse

import numpy as np

from toolbench.metrology import ItemRuns, Row, compare_items

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")


def coverage(sittings: int, runs: int, ratio: float, draws: int) -> tuple[float, float, float]:
    """Of a level and of the difference [%], and the median half-width of the difference over a run's standard deviation."""
    random = np.random.default_rng(20_260_401)
    names = [tuple(f"{item}{k}" for k in range(sittings) for _ in range(runs)) for item in "ab"]
    held = held_level = 0
    widths = []
    for _ in range(draws):
        items = []
        for item, of in zip("ab", names, strict=True):
            day = np.repeat(random.normal(0.0, ratio, sittings), runs)
            values = 100.0 + day + random.standard_normal(sittings * runs)
            items.append(ItemRuns(id=item, values=values[:, None], sittings=of))
        found = compare_items(items, [ROW], [("b", "a")])
        level, gap = found.levels[0], found.differences[0].difference_interval
        held += gap.lower <= 0.0 <= gap.upper
        held_level += abs(level.estimate.value - 100.0) <= level.expanded_uncertainty
        widths.append(0.5 * (gap.upper - gap.lower))
    return 100.0 * held_level / draws, 100.0 * held / draws, float(np.median(widths))


def main() -> None:
    parser = argparse.ArgumentParser(description="Coverage of intervals where sittings differ.")
    parser.add_argument("--draws", type=int, default=2_000)
    draws = parser.parse_args().draws
    print("sittings  runs in each  ratio   level  difference  half-width")
    for sittings, runs in ((2, 3), (2, 5), (3, 3), (5, 2)):
        for ratio in (0.0, 0.5, 1.0, 2.0):
            level, gap, width = coverage(sittings, runs, ratio, draws)
            print(f"{sittings:8d}  {runs:12d}  {ratio:5g}  {level:5.1f}%  {gap:9.1f}%  {width:10.2f}", flush=True)


if __name__ == "__main__":
    main()
