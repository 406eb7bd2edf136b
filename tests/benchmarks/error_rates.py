"""How often reports say something false, and how often intervals hold the truth: whole comparisons drawn again and again.

    python tests/benchmarks/error_rates.py                  all of it, 4,000 draws a line: half an hour of processor time
    python tests/benchmarks/error_rates.py --quick          400 draws a line
    python tests/benchmarks/error_rates.py --tables days    one part of it: false, percent, days

*false*: nothing differs between the items; the share of reports in which any row says otherwise (`verdict_family`).
*percent*: the second item is 7 % higher, both share a scale error of ten times the scatter of a run; the share of intervals
of the percent difference that hold 7 %. *days*: the same without a scale error, each item run on two days or more that
shift its level by so many times the scatter of a run, days of its own or the same days for both. All are normal.
"""

from __future__ import annotations

import argparse
import math
import os
import time
from collections.abc import Callable
from dataclasses import dataclass

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from toolbench.metrology import ItemRuns, Row, Source, compare_items

HIGHER = 1.07
SCATTER = 4.0
"""Of a run, at a level of 400: 1 %."""
SCALE = 10 * SCATTER / 400.0


@dataclass(frozen=True, kw_only=True)
class Design:
    """What one line draws: `asked` is the share [%] it is to lie in; `day` a day's shift in multiples of a run's scatter."""

    items: int = 2
    runs: int = 5
    marks: int = 1
    correlation: float = 0.9
    blocks: bool = False
    scatter: tuple[float, ...] = ()
    days: int = 0
    day: float = 0.0
    own_days: bool = True
    asked: tuple[float, float]

    def __str__(self) -> str:
        parts = [f"{self.items} items x {self.runs} {'complete blocks' if self.blocks else 'runs'}"]
        if self.days:
            whose = "of its own" if self.own_days else "for both"
            parts = [f"{self.days} days {whose} x {self.runs} runs, day {self.day:g}"]
        if self.marks > 1:
            parts.append(f"{self.marks} marks, correlation {self.correlation:g}")
        if self.scatter:
            parts.append("scatter " + " : ".join(f"{one:g}" for one in self.scatter))
        return ", ".join(parts)

    def of_item(self, k: int) -> float:
        return SCATTER * (self.scatter[k] if self.scatter else 1.0)

    def rows(self) -> list[Row]:
        return [Row(response="torque", metric="at_mark", at=float(k), unit="N*m") for k in range(self.marks)]

    def root(self) -> np.ndarray:
        shared = np.full((self.marks, self.marks), self.correlation) + (1 - self.correlation) * np.eye(self.marks)
        return np.linalg.cholesky(shared)


FALSE = (3.5, 6.5)
WELCH = (94.0, 96.0)
TABLES: dict[str, list[Design]] = {
    "false": [
        Design(runs=3, asked=FALSE),
        Design(runs=5, asked=FALSE),
        Design(runs=3, marks=6, asked=FALSE),
        Design(runs=5, marks=6, asked=FALSE),
        Design(runs=5, marks=6, scatter=(1.0, 2.0), asked=FALSE),
        Design(items=4, runs=4, blocks=True, asked=FALSE),
        Design(items=4, runs=4, marks=6, blocks=True, asked=FALSE),
        Design(items=4, runs=5, marks=6, asked=FALSE),
    ],
    "percent": [
        Design(runs=5, asked=WELCH),
        Design(runs=5, scatter=(1.0, 2.0), asked=WELCH),
        Design(runs=5, scatter=(1.0, 3.0), asked=WELCH),
        Design(runs=5, blocks=True, asked=WELCH),
        Design(runs=3, asked=WELCH),
        Design(runs=3, scatter=(1.0, 2.0), asked=WELCH),
        Design(runs=3, scatter=(1.0, 3.0), asked=WELCH),
        Design(runs=3, blocks=True, asked=WELCH),
    ],
    "days": [
        Design(days=days, runs=3, day=day, own_days=own, asked=(92.0, 98.0))
        for days, own in ((2, True), (2, False), (3, True), (5, True))
        for day in (0.0, 0.5, 1.0, 2.0)
    ],
}


def block_names(design: Design) -> tuple[str, ...]:
    return tuple(f"block {k}" for k in range(design.runs)) if design.blocks else ()


def says_something_false(random: np.random.Generator, design: Design, root: np.ndarray) -> bool:
    """One report of items that do not differ; what a block does to all of them is three times the scatter."""
    shift = 3 * SCATTER * random.standard_normal((design.runs, 1)) if design.blocks else 0.0
    items = [
        ItemRuns(
            id=str(k),
            values=400 + shift + design.of_item(k) * random.standard_normal((design.runs, design.marks)) @ root.T,
            blocks=block_names(design),
        )
        for k in range(design.items)
    ]
    pairs = [(str(k), "0") for k in range(1, design.items)]
    return any(one.family_verdict != "not resolved" for one in compare_items(items, design.rows(), pairs).differences)


def percent_is_held(random: np.random.Generator, design: Design, _: np.ndarray) -> bool:
    """One interval of a percent difference, whatever the scale of both was."""
    gain = 1 + SCALE * random.standard_normal()
    shift = 1 + 0.03 * random.standard_normal(design.runs) if design.blocks else 1.0
    scale = ((Source(source="scale/cell", label="scale", relative=SCALE),),)
    items = [
        ItemRuns(
            id=str(k),
            values=(gain * shift * (level + design.of_item(k) * random.standard_normal(design.runs)))[:, None],
            blocks=block_names(design),
            sources=scale,
        )
        for k, level in enumerate((400.0, 400.0 * HIGHER))
    ]
    interval = compare_items(items, design.rows(), [("1", "0")]).differences[0].interval
    return interval.lower <= 100 * (HIGHER - 1) <= interval.upper


def percent_is_held_over_days(random: np.random.Generator, design: Design, _: np.ndarray) -> bool:
    """The same where runs of one day share what that day does to them."""
    both = random.standard_normal(design.days)
    items = []
    for k, level in enumerate((400.0, 400.0 * HIGHER)):
        day = random.standard_normal(design.days) if design.own_days else both
        errors = design.day * np.repeat(day, design.runs) + random.standard_normal(design.days * design.runs)
        whose = k if design.own_days else ""
        names = tuple(f"{whose}{day}" for day in range(design.days) for _ in range(design.runs))
        items.append(ItemRuns(id=str(k), values=(level * (1 + 0.01 * errors))[:, None], sittings=names))
    interval = compare_items(items, design.rows(), [("1", "0")]).differences[0].interval
    return interval.lower <= 100 * (HIGHER - 1) <= interval.upper


DRAW: dict[str, Callable[[np.random.Generator, Design, np.ndarray], bool]] = {
    "false": says_something_false,
    "percent": percent_is_held,
    "days": percent_is_held_over_days,
}


def share(table: str, design: Design, draws: int) -> tuple[float, float]:
    """Share of draws [%] and its binomial standard error [%]."""
    random, root = np.random.default_rng(20_261_129), design.root()
    found = sum(DRAW[table](random, design, root) for _ in range(draws)) / draws
    return 100 * found, 100 * math.sqrt(found * (1 - found) / draws)


def main() -> None:
    parser = argparse.ArgumentParser(description="False statements and coverage of whole comparisons.")
    parser.add_argument("--quick", action="store_true", help="400 draws a line")
    parser.add_argument("--draws", type=int, default=4_000)
    parser.add_argument("--tables", nargs="+", choices=list(TABLES), default=list(TABLES))
    asked = parser.parse_args()
    draws, started = (400 if asked.quick else asked.draws), time.process_time()
    print(f"{draws} draws a line\n\n{'':7} {'':62} share [%]  standard error  asked")
    for table in asked.tables:
        for design in TABLES[table]:
            found, error = share(table, design, draws)
            low, high = design.asked
            beyond = max(low - found, found - high)
            told = f"  outside{'' if beyond > 2 * error else ' by less than two standard errors'}" if beyond > 0 else ""
            print(f"{table:7} {design!s:62} {found:9.2f}  {error:14.2f}  {low:g} to {high:g}{told}", flush=True)
    print(f"\n{(time.process_time() - started) / 60.0:.1f} minutes of processor time")


if __name__ == "__main__":
    main()
