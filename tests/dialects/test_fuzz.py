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
