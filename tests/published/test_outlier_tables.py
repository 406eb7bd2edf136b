"""Grubbs' and Cochran's tests at published critical values: a straggler beyond the 5 % point, an outlier beyond the 1 % point.

Sources: ISO 5725-2:1994, Tables 4 (Cochran) and 5 (Grubbs, one outlying observation), (M) from memory, printed to 0.001, each
value checked against the formula of its test when it was entered; the eight readings of Tietjen and Moore (1972) with G =
2.468765 and the one-sided 5 % point 2.031652, NIST/SEMATECH e-Handbook 1.3.5.17.1 as quoted with more digits by a public
package's page.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from toolbench.metrology.charts import grubbs_p
from toolbench.metrology.design import unlike_scatter_p
from toolbench.metrology.type_a import mean_and_sd

# n: (5 %, 1 %); for three values the 5 % point is not used: the statistic cannot exceed 1.1547.
GRUBBS = {
    4: (1.481, 1.496), 5: (1.715, 1.764), 6: (1.887, 1.973), 7: (2.020, 2.139), 8: (2.126, 2.274), 9: (2.215, 2.387),
    10: (2.290, 2.482), 12: (2.412, 2.636), 15: (2.549, 2.806), 20: (2.709, 3.001),
}  # fmt: skip

# (laboratories, results in each): (5 %, 1 %)
COCHRAN = {
    (3, 2): (0.967, 0.993), (4, 2): (0.906, 0.968), (5, 2): (0.841, 0.928), (6, 2): (0.781, 0.883), (10, 2): (0.602, 0.718),
    (2, 3): (0.975, 0.995), (3, 3): (0.871, 0.942), (4, 3): (0.768, 0.864), (5, 3): (0.684, 0.788), (6, 3): (0.616, 0.722),
    (2, 4): (0.939, 0.979), (3, 4): (0.798, 0.883), (4, 4): (0.684, 0.781), (5, 4): (0.598, 0.696),
    (2, 5): (0.906, 0.959), (3, 5): (0.746, 0.834), (4, 5): (0.629, 0.721), (5, 5): (0.544, 0.633),
    (2, 6): (0.877, 0.937), (3, 6): (0.707, 0.793), (4, 6): (0.590, 0.676), (5, 6): (0.506, 0.588),
}  # fmt: skip

ROUNDING = 0.001
"""One unit in the last printed digit."""


def _with_statistic(n: int, g: float) -> list[float]:
    """`n` values of which the last stands exactly `g` standard deviations above the mean of all (constructed)."""
    # With the others at -1 and 1 (and 0), x far: (x - mean)^2 = g^2 s^2 is a quadratic in x.
    rest = [(-1.0) ** k for k in range((n - 1) // 2 * 2)] + [0.0] * ((n - 1) % 2)
    squares = sum(one * one for one in rest)
    ahead = ((n - 1) / n) ** 2 - g * g * (n - 1) / (n * (n - 1))
    return [*rest, math.sqrt(g * g * squares / (n - 1) / ahead)]


@pytest.mark.parametrize("n", GRUBBS)
def test_grubbs_critical_values(n: int) -> None:
    for printed, level in zip(GRUBBS[n], (0.05, 0.01), strict=True):
        values = _with_statistic(n, printed)
        mean, sd = mean_and_sd(values)
        assert (values[-1] - mean) / sd == pytest.approx(printed, rel=1e-9)
        assert grubbs_p(_with_statistic(n, printed - ROUNDING))[0] > level > grubbs_p(
            _with_statistic(n, printed + ROUNDING)
        )[0]  # fmt: skip
        assert grubbs_p(values)[1] == n - 1


@pytest.mark.parametrize(("groups", "n"), COCHRAN)
def test_cochran_critical_values(groups: int, n: int) -> None:
    def p(c: float) -> float:
        rest = math.sqrt((1.0 - c) / (groups - 1))
        return unlike_scatter_p([math.sqrt(c), *([rest] * (groups - 1))], [n - 1.0] * groups)[0]

    for printed, level in zip(COCHRAN[(groups, n)], (0.05, 0.01), strict=True):
        assert p(printed - ROUNDING) > level > p(printed + ROUNDING)


def test_the_mass_spectrometer_readings() -> None:
    values = np.array([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    mean, sd = mean_and_sd(values)
    assert (values[-1] - mean) / sd == pytest.approx(2.468765, abs=5e-7)
    p, which = grubbs_p(values)
    assert which == 7
    assert p < 0.01
    # Two-sided here, one-sided there: at the printed one-sided 5 % point the two-sided probability is 10 %.
    assert grubbs_p(_with_statistic(8, 2.031652))[0] == pytest.approx(0.10, abs=1e-6)
