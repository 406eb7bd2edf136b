"""Verdicts on claims: the rule at its limits, and what it leaves unjudged."""

import math

import pytest
from cards import estimate
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from toolbench.records.comparison import Estimate
from toolbench.standings import judge_claim


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (516.5, "supported"),
        (516.4, "inconclusive"),
        (500.0, "inconclusive"),
        (483.6, "inconclusive"),
        (483.5, "not shown"),
    ],
)
def test_the_rule_at_its_limits(value: float, verdict: str) -> None:
    """u = 10 and 500 claimed: the guard band at 95 % is 1.6449 u, so the limits are 516.449 and 483.551."""
    judged = judge_claim(estimate(value, s=10.0), 500.0)
    assert judged.verdict == verdict
    assert (judged.not_shown_up_to, judged.supported_from) == pytest.approx((483.5515, 516.4485), abs=1e-3)


@pytest.mark.oracle
def test_few_runs_widen_the_guard_band() -> None:
    judged = judge_claim(estimate(520.0, s=(10.0, 2.0)), 500.0)
    assert judged.conformance_probability == pytest.approx(stats.t.cdf(2.0, 2))  # 0.908, where normal is 0.977
    assert judged.guard_band == pytest.approx(10.0 * stats.t.ppf(0.95, 2))
    assert judged.verdict == "inconclusive"


@given(st.floats(300.0, 700.0), st.floats(0.1, 50.0), st.floats(1.0, 100.0), st.floats(0.6, 0.999))
def test_the_guard_band_and_the_probability_say_the_same(value: float, u: float, dof: float, confidence: float) -> None:
    judged = judge_claim(estimate(value, s=(u, dof)), 500.0, confidence=confidence)
    assert judged.supported_from is not None
    assert judged.not_shown_up_to is not None
    if abs(value - judged.supported_from) > 1e-6:
        assert (judged.verdict == "supported") == (value > judged.supported_from)
    if abs(value - judged.not_shown_up_to) > 1e-6:
        assert (judged.verdict == "not shown") == (value < judged.not_shown_up_to)


def test_other_conditions_judge_nothing() -> None:
    judged = judge_claim(
        estimate(900.0, s=1.0), 500.0, comparable=False, reason="a loosening claim against tightening data"
    )
    assert (judged.verdict, judged.conformance_probability, judged.guard_band) == ("not comparable", None, None)
    assert judged.reason == "a loosening claim against tightening data"
    with pytest.raises(ValueError, match="needs the reason"):
        judge_claim(estimate(900.0, s=1.0), 500.0, comparable=False)


def test_without_repeats_a_claim_is_inconclusive() -> None:
    judged = judge_claim(Estimate(value=900.0, unit="N*m"), 500.0)
    assert (judged.verdict, judged.reason) == ("inconclusive", "the uncertainty of the value is not known")


def test_an_exact_value_at_the_claim_reaches_it() -> None:
    assert judge_claim(estimate(500.0, s=0.0), 500.0).verdict == "supported"
    assert judge_claim(estimate(499.9, s=0.0), 500.0).verdict == "not shown"


@pytest.mark.parametrize(("claimed", "confidence"), [(math.nan, 0.95), (500.0, 0.5), (500.0, 1.0)])
def test_claims_without_sense_are_refused(claimed: float, confidence: float) -> None:
    with pytest.raises(ValueError, match="needed"):
        judge_claim(estimate(500.0, s=1.0), claimed, confidence=confidence)
