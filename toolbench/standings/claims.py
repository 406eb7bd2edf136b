"""What the data say of a claimed value, by the probability that the true value reaches it (JCGM 106).

The decision rule: a claim "at least so much" is supported when the probability that the true value is at least the claimed
one reaches the confidence; not shown when it is at most what the confidence leaves over; inconclusive between. The same rule
with a guard band: supported from the claimed value plus the guard band on, not shown from the claimed value less the
guard band down. Data taken in another direction, of another kind or under other conditions than the claim judge nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scipy import special

from toolbench.metrology.intervals import coverage_factor
from toolbench.records.comparison import Estimate

ClaimVerdict = Literal["supported", "not shown", "inconclusive", "not comparable"]


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedClaim:
    """A claimed value [unit of the estimate] and what became of it.

    `conformance_probability` and `guard_band` are None where the claim was not judged; `reason` says why.
    """

    verdict: ClaimVerdict
    claimed: float
    estimate: Estimate
    confidence: float
    conformance_probability: float | None
    guard_band: float | None
    reason: str = ""

    @property
    def supported_from(self) -> float | None:
        """Least measured value that would support the claim [unit], the acceptance limit of JCGM 106."""
        return None if self.guard_band is None else self.claimed + self.guard_band

    @property
    def not_shown_up_to(self) -> float | None:
        """Largest measured value at which the claim would be not shown [unit]."""
        return None if self.guard_band is None else self.claimed - self.guard_band


def judge_claim(
    estimate: Estimate, claimed: float, *, confidence: float = 0.95, comparable: bool = True, reason: str = ""
) -> JudgedClaim:
    """Judge the claim that the true value is at least `claimed`.

    Parameters
    ----------
    estimate
        The measured value; its error is taken as Student's with the effective degrees of freedom.
    claimed
        In the unit of the estimate.
    confidence
        One-sided, above one half.
    comparable, reason
        Whether kind, direction and conditions of claim and data agree; where not, which differ.

    Raises
    ------
    ValueError
        Where the confidence is not between one half and one, the claimed value is not finite, or a claim that is not
        comparable comes without a reason.

    References
    ----------
    JCGM 106:2012, 7.2 (conformance probability, one-sided tolerance), 8.3.2 (guarded acceptance).
    """
    if not 0.5 < confidence < 1.0:
        raise ValueError(f"the confidence is {confidence}; a share between 0.5 and 1 is needed")
    if not math.isfinite(claimed):
        raise ValueError(f"the claimed value is {claimed}; a finite one is needed")
    u = estimate.standard_uncertainty
    if not comparable:
        if not reason:
            raise ValueError("a claim that is not comparable needs the reason")
        return _unjudged("not comparable", estimate, claimed, confidence, reason)
    if not (math.isfinite(estimate.value) and math.isfinite(u)):
        return _unjudged("inconclusive", estimate, claimed, confidence, "the uncertainty of the value is not known")
    p = conformance_probability(estimate, claimed)
    verdict: ClaimVerdict = "supported" if p >= confidence else "not shown" if p <= 1.0 - confidence else "inconclusive"
    # A two-sided factor at 2 c - 1 is the one-sided one at c.
    band = coverage_factor(estimate.degrees_of_freedom, 2.0 * confidence - 1.0) * u if u > 0 else 0.0
    return JudgedClaim(
        verdict=verdict,
        claimed=claimed,
        estimate=estimate,
        confidence=confidence,
        conformance_probability=p,
        guard_band=band,
        reason=reason,
    )


def conformance_probability(estimate: Estimate, lower_limit: float) -> float:
    """Probability that the true value is at least `lower_limit`; one or nothing for an exact value.

    References
    ----------
    JCGM 106:2012, equation (5) for a normal distribution; Student's where degrees of freedom are finite (6.4.9.4 of JCGM 101).
    """
    gap, u = estimate.value - lower_limit, estimate.standard_uncertainty
    if u == 0:
        return 1.0 if gap >= 0 else 0.0
    dof = estimate.degrees_of_freedom
    return float(special.ndtr(gap / u) if math.isinf(dof) else special.stdtr(dof, gap / u))


def _unjudged(verdict: ClaimVerdict, estimate: Estimate, claimed: float, confidence: float, reason: str) -> JudgedClaim:
    return JudgedClaim(
        verdict=verdict,
        claimed=claimed,
        estimate=estimate,
        confidence=confidence,
        conformance_probability=None,
        guard_band=None,
        reason=reason,
    )
