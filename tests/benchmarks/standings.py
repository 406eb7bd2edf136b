"""Standings of large fields: time and memory, beside a plain loop over draws and tools; how often equal tools stay together.

`python tests/benchmarks/standings.py` for speed, with `--groups [DRAWS]` for the groups. Each size runs in a process of its own; the loop
does a hundredth of the draws and is scaled up. Times are processor time: what else the machine does hardly counts.
"""

from __future__ import annotations

import math
import resource
import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np

from toolbench.records.comparison import Component, Estimate
from toolbench.standings import Criterion, Entry, Mark, Standing, rank_entries, score_entries
from toolbench.standings.pairs import pair_level, tell_apart

SIZES = ((2_000, 12, 10_000), (200, 12, 100_000))
SHARE = 100
"""The loop makes one draw in this many."""


def made_field(tools: int, criteria: int, best_at: float) -> tuple[list[Entry], list[Criterion]]:
    """Tools whose levels scatter by 60 about 500, five runs each, a cell that all share; the lower `best_at`, the more is cut."""
    random = np.random.default_rng(1)
    card = [
        Criterion(id=f"c{j}", label=f"c{j}", weight=1.0 / criteria, worst_at=200.0, best_at=best_at)
        for j in range(criteria)
    ]
    levels = random.normal(500.0, 60.0, (tools, 1)) + random.normal(0.0, 30.0, (tools, criteria))
    return [Entry(tool=f"t{k:04d}", marks=_marks(k, row)) for k, row in enumerate(levels.tolist())], card


def _marks(tool: int, levels: list[float]) -> dict[str, Mark]:
    marks = {}
    for j, value in enumerate(levels):
        own = Component(source=f"scatter/{tool}/{j}", label="", contribution=20.0, degrees_of_freedom=4.0)
        cell = Component(source="scale/cell", label="", contribution=0.003 * value)
        marks[f"c{j}"] = Mark(estimate=Estimate(value=value, unit="N*m", components=(own, cell)))
    return marks


def by_loop(entries: list[Entry], card: list[Criterion], draws: int) -> np.ndarray:
    """Probabilities of ranks draw by draw and tool by tool, as one would write it down."""
    random = np.random.default_rng(2)
    worst = np.array([c.worst_at for c in card])
    span = np.array([c.best_at - c.worst_at for c in card])
    weights = np.array([c.weight for c in card])
    known = []
    for entry in entries:
        estimates = [entry.marks[c.id].estimate for c in card]
        values = [(e.value, *(c.contribution for c in e.components)) for e in estimates if e is not None]
        known.append(np.array(values).T)
    tally = np.zeros((len(entries), len(entries)))
    for _ in range(draws):
        cell = random.standard_normal()
        scores = []
        for value, own, shared in known:
            drawn = value + own * random.standard_t(4.0, len(card)) + shared * cell
            scores.append(float(weights @ np.clip((drawn - worst) / span, 0.0, 1.0)))
        for rank, tool in enumerate(sorted(range(len(scores)), key=lambda k: -scores[k])):
            tally[tool, rank] += 1.0
    return tally / draws


def timed(work: Callable[[], object]) -> tuple[float, object]:
    begin = time.process_time()
    found = work()
    return time.process_time() - begin, found


def one_size(tools: int, criteria: int, draws: int, best_at: float) -> None:
    entries, card = made_field(tools, criteria, best_at)
    scoring, scores = timed(lambda: score_entries(entries, card, draws=draws))
    ranking, standing = timed(lambda: rank_entries(scores))  # type: ignore[arg-type]
    assert isinstance(standing, Standing)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    loop, _ = timed(lambda: by_loop(entries, card, max(draws // SHARE, 1)))
    bent = sum(one.score.bends for one in standing.ranked)
    print(
        f"{tools} tools, {criteria} criteria, {draws} draws, {bent} tools beside an anchor: scores {scoring:.2f} s, ranks and "
        f"groups {ranking:.2f} s, peak {peak:.0f} MB; plain loop {loop * SHARE:.0f} s: "
        f"{loop * SHARE / (scoring + ranking):.0f} times as long",
        flush=True,
    )


def equal_tools(random: np.random.Generator, tools: int, runs: int, criteria: int, uneven: float) -> list[Estimate]:
    """Scores of equal tools, the mean of `criteria` values from `runs` runs each, and an error that all share."""
    scatter = np.exp(random.normal(0.0, uneven, (tools, 1, 1)))
    data = random.standard_normal((tools, criteria, runs)) * scatter
    u = data.std(axis=2, ddof=1) / math.sqrt(runs) / criteria
    cell = Component(source="cell", label="", contribution=0.5)
    return [
        Estimate(
            value=float(data[k].mean()),
            unit="%",
            components=(
                cell,
                *(
                    Component(source=f"{k}/{j}", label="", contribution=float(part), degrees_of_freedom=runs - 1.0)
                    for j, part in enumerate(u[k])
                ),
            ),
        )
        for k in range(tools)
    ]


def groups(draws: int) -> None:
    """Share of `draws` in which equal tools are one group, at nominal 95 %."""
    for criteria in (1, 4):
        for uneven in (0.0, 0.4):
            for runs in (3, 4, 6):
                cells = []
                for tools in (4, 6, 10):
                    random = np.random.default_rng([criteria, runs, tools, round(10 * uneven)])
                    together = 0
                    for seed in range(draws):
                        estimates = equal_tools(random, tools, runs, criteria, uneven)
                        level = pair_level(estimates, draws=1_000, seed=seed)
                        together += not tell_apart(estimates, level).any()
                    cells.append(f"{tools} tools {100 * together / draws:.1f} %")
                print(f"{criteria} criteria, {runs} runs, scatter uneven by {uneven}: {', '.join(cells)}", flush=True)


def main() -> None:
    if sys.argv[1:2] == ["--groups"]:
        groups(int(sys.argv[2]) if len(sys.argv) > 2 else 1_000)
    elif sys.argv[1:2] == ["--size"]:
        one_size(*map(int, sys.argv[2:5]), float(sys.argv[5]))
    else:
        for size in SIZES:
            for best_at in (800.0, 600.0):
                arguments = [str(n) for n in (*size, best_at)]
                subprocess.run([sys.executable, __file__, "--size", *arguments], check=True)


if __name__ == "__main__":
    main()
