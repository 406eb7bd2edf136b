"""Two thousand mutated files; `python tests/dialects/fuzz.py` does 200,000."""

from __future__ import annotations

import fuzz
import pytest


@pytest.mark.parametrize("seed", range(4))
def test_five_hundred_mutated_files_are_read_or_refused(seed, tmp_path):
    outcomes = fuzz.run(seed, 500, tmp_path)
    # Both must happen, or the mutations are too weak or too strong to show anything.
    assert min(outcomes["read"], outcomes["refused"]) > 25


def test_the_same_seed_gives_the_same_mutations():
    assert list(fuzz.mutated(3, 5)) == list(fuzz.mutated(3, 5))


@pytest.mark.parametrize(
    "cell", ["9" * 40_000, "9" * 40_000 + "C", "-" + "1" * 40_000 + "e", "1 " * 20_000, "1," * 20_000]
)
def test_cells_without_end_are_read_or_refused_in_time(cell, tmp_path):
    """No pattern may go back and forth over a cell; `outcome` bounds the processor time."""
    rows = "".join(f"{k / 100:.2f};{cell}\n" for k in range(6))
    with fuzz.stopped_when_hung():
        fuzz.outcome(f"t [s];Torque [N*m]\n{rows}".encode(), tmp_path / "long.csv")
