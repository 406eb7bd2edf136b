"""How often simultaneous bands hold outside what they were chosen for, measured by simulation.

Chosen for: 3 runs a side or more, scatter that keeps its course for 5 % of the run or longer, and a ratio of scatter up to
2. There they hold in 93 to 97 % (nominal 95 %, 4 runs or more; at least 92 % at 3). What is known elsewhere stands here.
"""

from __future__ import annotations

import math

FEWEST_RUNS, SHORTEST, LARGEST_RATIO = 3, 0.05, 2.0

_SHORTER_BY = 0.7
"""Learned lengths are taken shorter, by a third at worst where there is 5 % of a run to see: no rougher for that."""

_REACHED = {
    # runs a side: (rough, unequal, rough and unequal, rough within blocks), [share]
    2: (1.000, 0.976, 1.000, 1.000),
    3: (0.950, 0.965, 0.970, 0.997),
    4: (0.942, 0.964, 0.946, 0.957),
    6: (0.952, 0.960, 0.949, 0.957),
    10: (0.944, 0.951, 0.944, 0.957),
}
"""Measured by `python tests/benchmarks/band_coverage.py --tables beyond`, 1,000 draws a cell or more: standard error 0.7
points at most. Rough is a correlation length of 1 % of the run, unequal a ratio of 3 (the lower of lengths 5 and 20 %);
within blocks there is one sample, as in the benchmark's column of means. Two runs leave one degree of freedom, whose
factor at a single time is more than the whole run needs."""
_TWO_RUNS = 0.996
"""The same at 2 runs a side, with a correlation length of 20 % of the run and equal scatter."""


def measured_coverage(runs: int, length: float, ratio: float) -> float | None:
    """Joint coverage at nominal 95 % that simulation of the like found; None where bands were chosen for it.

    Parameters
    ----------
    runs
        Of the side with fewer; blocks where differences within blocks are judged.
    length
        Correlation length of the scatter as a share of the run, as it was learned.
    ratio
        Larger standard deviation of one run over the smaller; nan within blocks.
    """
    few, rough, unequal = runs < FEWEST_RUNS, length < _SHORTER_BY * SHORTEST, ratio > LARGEST_RATIO
    if not (few or rough or unequal):
        return None
    if not (rough or unequal):
        return _TWO_RUNS
    row = _REACHED[max(known for known in _REACHED if known <= runs)]
    if math.isnan(ratio):
        return row[3]
    if unequal:
        return row[2] if rough else row[1]
    return row[0]
