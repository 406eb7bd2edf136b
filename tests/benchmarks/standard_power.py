"""How often a check standard's chart says that blocks are out of control: with nothing wrong, and after a step.

    python tests/benchmarks/standard_power.py                5,000 charts a cell: about a minute

Block means are normal. A step of so many standard deviations comes half way or in the last third (two blocks at least); a
block apart is off by one standard deviation more than that; a climb goes over all blocks by one and a half times as much.
`stated` charts have their first half stated to be in control.
"""

from __future__ import annotations

import argparse

import numpy as np

from toolbench.metrology import judge_blocks


def shifts(blocks: int, size: float) -> dict[str, np.ndarray]:
    at = np.arange(blocks)
    return {
        "step half way": size * (at >= blocks // 2),
        "step in the last third": size * (at >= blocks - max(blocks // 3, 2)),
        "last block apart": (size + 1.0) * (at == blocks - 1),
        "climb": 1.5 * size * at / (blocks - 1.0),
    }


def share_out(shift: np.ndarray, draws: int, stated: int = 0) -> float:
    """Share of charts with a block out of control [%]."""
    random = np.random.default_rng(20_260_401)
    charts = 300.0 + random.standard_normal((draws, shift.size)) + shift
    return 100.0 * sum(bool(judge_blocks(chart, stated).out) for chart in charts) / draws


def main() -> None:
    parser = argparse.ArgumentParser(description="False alarms and power of a check standard's chart.")
    parser.add_argument("--draws", type=int, default=5_000)
    draws = parser.parse_args().draws
    print("blocks  size  what                      each by all others  first half stated")
    for blocks in (6, 10, 20):
        stated = max(blocks // 2, 4)
        flawless = np.zeros(blocks)
        told = [("nothing wrong", 0.0, flawless)]
        told += [(what, size, shift) for size in (2.0, 3.0) for what, shift in shifts(blocks, size).items()]
        for what, size, shift in told:
            both = share_out(shift, draws), share_out(shift, draws, stated)
            print(f"{blocks:6d}  {size:4g}  {what:24}  {both[0]:17.1f}%  {both[1]:16.1f}%", flush=True)


if __name__ == "__main__":
    main()
