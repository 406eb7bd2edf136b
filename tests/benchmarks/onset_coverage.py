"""Bias and coverage of the onset, per rule and kind of start, over many constructed records whose start is known.

Run from the checkout: `python tests/benchmarks/onset_coverage.py [DRAWS]` (default 300 a line). Each line tells how many records were
judged, the median error, the error that 95 % stay under, the median standard uncertainty, and the share of errors within two and three of
it. The second table cuts the rest away and makes it short: there a refusal is right, and a wrong onset without one is what counts.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "signal"))

from starts import KINDS, Drawn, draw_start

from toolbench.errors import SignalError
from toolbench.records.settings import OnsetRule
from toolbench.signal import find_onset

RULES = ("level", "scatter", "extrapolate", "trigger")


def judge(drawn: Drawn, rule: str, begin_s: float | None = None) -> tuple[float, float] | str:
    """Error and standard uncertainty [s], or why the record was refused."""
    time, response = (drawn.time_s, drawn.response) if begin_s is None else drawn.cut(begin_s)
    try:
        found = find_onset(time, response, rule=OnsetRule(rule=rule), trigger=drawn.trigger[-time.size :])
    except SignalError as error:
        return str(error).split(":")[0][:45]
    return found.time_s - drawn.onset_s, found.standard_uncertainty_s


def tell(label: str, judged: list[tuple[float, float] | str]) -> None:
    pairs = np.array([one for one in judged if not isinstance(one, str)]).reshape(-1, 2)
    refused = Counter(one for one in judged if isinstance(one, str))
    if pairs.size:
        error, u = pairs.T
        numbers = (
            f"{1e3 * np.median(error):9.2f} {1e3 * np.quantile(np.abs(error), 0.95):9.2f} {1e3 * np.median(u):9.2f}"
            f"{100 * np.mean(np.abs(error) <= 2 * u):8.1f} {100 * np.mean(np.abs(error) <= 3 * u):7.1f}"
        )
    else:
        numbers = " " * 45
    print(f"{label:28}{len(pairs):5d}/{len(judged):<5d}{numbers}  {dict(refused) or ''}")


def main() -> None:
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    heading = f"{'':28}{'judged':>11}{'median':>9} {'95 %':>9} {'u':>9}{'2u %':>8} {'3u %':>7}   [errors and u in ms]"
    print(heading)
    for rule in RULES:
        for kind in KINDS:
            rng = np.random.default_rng(20261125)
            tell(f"{rule}, {kind}", [judge(draw_start(kind, rng), rule) for _ in range(draws)])
    print("\nrule level, rest cut short or away")
    for kind in KINDS:
        for rest in (0.03, 0.06, 0.1, 0.2):
            rng = np.random.default_rng(20261126)
            tell(
                f"{kind}, {rest:g} s of rest",
                [judge(draw_start(kind, rng, rest_s=rest), "level") for _ in range(draws)],
            )
        rng = np.random.default_rng(20261127)
        tell(
            f"{kind}, begins in the rise",
            [judge(draw_start(kind, rng, rise_s=(0.4, 2.0)), "level", rng.uniform(0.0, 0.4)) for _ in range(draws)],
        )


if __name__ == "__main__":
    main()
