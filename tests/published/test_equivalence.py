"""Two one-sided tests of equivalence: where an interval lies inside a limit, and with which probability it would not.

Source: thirty readings of a clinic and the results of the R package `equivalence` for them, both as printed in
statsmodels' stats/tests/test_tost.py (V, read in the package). An interval of confidence 1 - 2 p touches the limit exactly
where the larger of the two one-sided probabilities is p, which is how a p-value is compared with intervals here.
"""

import math

import numpy as np
import pytest

from toolbench.metrology import (
    ItemRuns,
    Row,
    compare_items,
    coverage_factor,
    difference,
    difference_interval,
    mean_and_sd,
    pooled_sd,
    within_limit,
)
from toolbench.records.comparison import Component, Estimate, Interval

pytestmark = pytest.mark.published

FIRST = (2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84)
SECOND = (2.60, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02)
"""var1 of rows 1 to 15 and 16 to 30."""


def mean_of(name: str, values: tuple[float, ...]) -> Estimate:
    mean, sd = mean_and_sd(values)
    n = len(values)
    part = Component(
        source=name, label=name, contribution=sd / math.sqrt(n), degrees_of_freedom=n - 1.0, evaluation="A"
    )
    return Estimate(value=mean, unit="", components=(part,))


def welch_gap() -> Estimate:
    return difference(mean_of("first", FIRST), mean_of("second", SECOND))


def log_gap() -> Estimate:
    logs = [tuple(math.log(x) for x in side) for side in (FIRST, SECOND)]
    return difference(mean_of("first", logs[0]), mean_of("second", logs[1]))


def ends(interval: Interval) -> tuple[float, float]:
    return interval.lower, interval.upper


def test_to1_welch() -> None:
    gap = welch_gap()
    assert gap.value == pytest.approx(0.1646666666666667, rel=1e-12)
    assert gap.standard_uncertainty == pytest.approx(0.2531625991083627, rel=1e-12)
    assert gap.degrees_of_freedom == pytest.approx(26.7484787582315, rel=1e-12)
    interval = difference_interval(gap, 0.90)
    assert ends(interval) == pytest.approx((-0.2666862980722534, 0.596019631405587), rel=1e-11)
    at_p = difference_interval(gap, 1 - 2 * 0.04853083976236974)  # the published p-value of the limit 0.6
    assert max(map(abs, ends(at_p))) == pytest.approx(0.6, rel=1e-11)


@pytest.mark.parametrize(
    ("limit", "answer"), [(0.6, "yes"), (0.5961, "yes"), (0.5959, "undecided"), (0.2, "undecided")]
)
def test_to1_the_answer_turns_where_the_interval_ends(limit: float, answer: str) -> None:
    # "rejected" (that is: equivalent) at 0.6 is published; the others follow from the published end, 0.59602.
    assert within_limit(difference_interval(welch_gap(), 0.90), limit) == answer


def test_to1_at_95_percent_equivalence_is_not_shown() -> None:
    # p = .0485 is below 5 % but not below 2.5 %: a two-sided interval of 95 % asks for more.
    assert within_limit(difference_interval(welch_gap(), 0.95), 0.6) == "undecided"


def test_to2_pooled() -> None:
    pooled, dof = pooled_sd((mean_and_sd(FIRST)[1], mean_and_sd(SECOND)[1]), (14, 14))
    u, gap = pooled * math.sqrt(2 / 15), welch_gap().value
    assert dof == 28
    half = coverage_factor(dof, 0.90) * u
    assert (gap - half, gap + half) == pytest.approx((-0.2659960620757337, 0.595329395409067), rel=1e-11)
    assert gap + coverage_factor(dof, 1 - 2 * 0.04827315100761467) * u == pytest.approx(0.6, rel=1e-11)


def test_to3_ratio_on_a_log_scale() -> None:
    gap, limit = log_gap(), math.log(1.25)
    assert gap.value == pytest.approx(0.04312233182252334, rel=1e-11)
    assert gap.standard_uncertainty == pytest.approx(0.073508371131806, rel=1e-12)
    assert gap.degrees_of_freedom == pytest.approx(27.61177037646526, rel=1e-12)
    interval = difference_interval(gap, 0.90)
    assert ends(interval) == pytest.approx((-0.0819851930203655, 0.1682298566654122), rel=1e-11)
    assert within_limit(interval, limit) == "yes"
    at_p = difference_interval(gap, 1 - 2 * 0.01047085593138891)
    assert at_p.upper == pytest.approx(limit, rel=1e-10)


def compared(blocks: tuple[str, ...] = ()) -> ItemRuns:
    return ItemRuns(id="first", values=np.array(FIRST)[:, None], blocks=blocks)


def test_to3_as_a_report_has_it() -> None:
    """The ratio of the means instead of that of the geometric means: the same statement, nearly the same interval.

    On the log scale it is -7.871 to 18.321 % about 4.407 % (recomputed from the published ends). Scatter of 20 % makes
    the two means differ by half the difference of their squared scatters, about 0.7 %; 1.5 points at the ends.
    """
    row = Row(response="value", metric="sustained", at=None, unit="")
    items = [ItemRuns(id="second", values=np.array(SECOND)[:, None]), compared()]
    found = compare_items(items, [row], [("first", "second")], confidence=0.90, equivalent_within=0.25).differences[0]
    assert ends(found.interval) == pytest.approx((-7.871, 18.321), abs=1.5)
    assert found.within_limit == "yes"


def test_to4_pairs_are_blocks() -> None:
    names = tuple(f"pair {k}" for k in range(15))
    row = Row(response="value", metric="sustained", at=None, unit="")
    items = [ItemRuns(id="second", values=np.array(SECOND)[:, None], blocks=names), compared(names)]
    found = compare_items(items, [row], [("first", "second")], confidence=0.90).differences[0]
    assert found.difference.standard_uncertainty == pytest.approx(0.1357514067862445, rel=1e-12)
    assert found.difference.degrees_of_freedom == pytest.approx(14, rel=1e-12)
    assert ends(found.difference_interval) == pytest.approx((-0.0744336620516462, 0.4037669953849797), rel=1e-11)
    at_p = difference_interval(found.difference, 1 - 2 * 0.003166881489265175)
    assert at_p.upper == pytest.approx(0.6, rel=1e-10)
