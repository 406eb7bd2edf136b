"""Draws the recordings of the demo season, each run and block from a random stream of its own."""

from __future__ import annotations

import zlib

import numpy as np
from bench_model import BenchErrors, Recording, draw_run
from bench_parts import BLOCK_SCATTER, SETUPS
from logger_dialects import DIALECTS
from season_plan import SEED, PlannedRun

# The errors this bench has all season, inside what the certificates in bench.toml allow.
AIR_BENCH = BenchErrors(torque_scale=0.0021, pressure_scale=0.0009)
SMALL_BENCH = BenchErrors(torque_scale=-0.0017)
CHECK_SHIFT = -0.10


def _generator(text: str) -> np.random.Generator:
    """A stream of its own per run and block, so that one more run leaves the others as they are."""
    return np.random.default_rng([SEED, zlib.crc32(text.encode())])


def block_effect(block: str) -> float:
    """Relative shift of every run of a block; none outside blocks."""
    return BLOCK_SCATTER * float(_generator(f"block {block}").standard_normal()) if block else 0.0


def record(planned: PlannedRun) -> Recording:
    """Draw the recording of a planned run."""
    air = SETUPS[planned.cell.setup].supply == "air"
    drawn = ("hold-off-target", "slipped-socket", "zero-shift", "clipped", "trigger-released", "foot-pounds")
    return draw_run(
        _generator(planned.copy_of or planned.run),
        planned.cell,
        errors=AIR_BENCH if air else SMALL_BENCH,
        block_effect=block_effect(planned.block),
        rate_hz=DIALECTS[planned.logger].rate_hz,
        flaw=planned.flaw if planned.flaw in drawn else "",
        level_shift=CHECK_SHIFT if planned.flaw == "check-out-of-control" else 0.0,
    )
