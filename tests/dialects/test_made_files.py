"""Thousands of made files: each reads to its exact values, names, units, seconds and findings, or is refused for the right reason."""

from __future__ import annotations

import made_files
import pytest
from judging import faults

SEEDS = range(2)


def test_at_least_three_thousand_different_files():
    made = [
        made_files.make(clock, structure, seed)
        for clock in made_files.clocks()
        for structure in made_files.structures()
        for seed in SEEDS
    ]
    assert len({file.content for file in made if file}) >= 3000


def test_the_same_seed_gives_the_same_file():
    first, second = (made_files.make("stamp, iso", "plain", 7) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("clock", made_files.clocks())
def test_every_structure_with_the_clock(clock, tmp_path):
    path = tmp_path / "made.csv"
    wrong = []
    for structure in made_files.structures():
        for seed in SEEDS:
            made = made_files.make(clock, structure, seed)
            if made is not None:
                wrong += [f"{made.traits}: {fault}" for fault in faults(made, path)]
    assert not wrong, "\n".join([f"{len(wrong)} faults, the first ten of them:", *wrong[:10]])
