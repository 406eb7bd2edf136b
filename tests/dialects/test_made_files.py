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


ONCE_WRONG = (
    ("stamp, slashed year first", "side by side", 4),  # the end of the shorter run taken for settings beside the rows
    ("stamp, slashed year first", "row of another width", 2),  # decimal commas in quotes counted as delimiters
    ("index, rate in kHz", "preamble of junk bytes", 3),  # latin-1 under carriage returns, with a line of control bytes
    ("interval in s", "preamble of triples", 3),  # a unit behind a bar
)
"""Made files beyond the seeds above that the reader got wrong, and why."""


@pytest.mark.parametrize(("clock", "structure", "seed"), ONCE_WRONG)
def test_what_once_went_wrong(clock, structure, seed, tmp_path):
    made = made_files.make(clock, structure, seed)
    assert made is not None
    assert faults(made, tmp_path / "made.csv") == []
