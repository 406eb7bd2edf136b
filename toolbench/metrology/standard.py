"""A check standard's chart: which blocks are out of control, judged by limits that its own history makes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from toolbench.metrology.charts import Limits, drift_ps, ewma, ewma_limits, grubbs_p
from toolbench.metrology.type_a import mean_and_sd
from toolbench.quantities.format import format_percent
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats

BLOCK_APART, BLOCK_DRIFT = 0.03, 0.01
"""Probability that a flawless chart says a block is apart, or that it drifts: 4 % together."""

FEWEST_BLOCKS = 4
"""With fewer blocks there is no history to judge by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """A block away from the others: by how much of their mean [%], by chance with what probability, and how many they are."""

    percent: float
    p: float
    others: int


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedBlocks:
    """Blocks by their place in time. `apart` leave the Shewhart limits; `drifting` are where the EWMA of the rest leaves its own.

    `limits` and `moving_limits` are three standard deviations of the `history` blocks that are not apart, None with too few of
    them; `moving` is the EWMA at each of those. Verdicts rest on `apart` and `drifting`, which keep to 4 % false alarms a chart
    however many blocks it has; lines at three standard deviations do not.
    """

    apart: dict[int, Apart]
    drifting: tuple[int, ...]
    drift_p: float
    history: tuple[int, ...]
    limits: Limits | None
    moving: Floats
    moving_limits: Limits | None

    @property
    def out(self) -> frozenset[int]:
        """Every block that is out of control."""
        return frozenset((*self.apart, *self.drifting))


def judge_blocks(means: Sequence[float] | Floats) -> JudgedBlocks:
    """Judge the block means of a check standard, in order of time and all finite.

    The limits are retrospective (phase I): each block is judged against all others that are in control, whenever they were
    run, so that a shift in the first blocks shows too. At most 4 % of flawless charts have a block out of control.

    References
    ----------
    NIST/SEMATECH e-Handbook 2.2.2 and 6.3.2; Grubbs, Technometrics 11 (1969) 1.
    """
    values = np.asarray(means, dtype=float)
    left, apart = list(range(values.size)), {}
    while len(left) >= FEWEST_BLOCKS:
        p, which = grubbs_p(values[left])
        if p >= BLOCK_APART:
            break
        block = left.pop(which)
        centre = mean_and_sd(values[left])[0]
        apart[block] = Apart(percent=100.0 * (values[block] / centre - 1.0), p=p, others=len(left))
    enough = len(left) >= FEWEST_BLOCKS
    ps = drift_ps(values[left]) if enough else np.ones(len(left))
    centre, sd = mean_and_sd(values[left]) if enough else (math.nan, math.nan)
    return JudgedBlocks(
        apart=apart,
        drifting=tuple(left[k] for k in np.flatnonzero(ps < BLOCK_DRIFT)),
        drift_p=float(ps.min(initial=1.0)),
        history=tuple(left),
        limits=Limits(lower=centre - 3.0 * sd, centre=centre, upper=centre + 3.0 * sd) if enough else None,
        moving=ewma(values[left], centre)[1:] if enough else np.array([]),
        moving_limits=ewma_limits(centre, sd) if enough else None,
    )


def check_standard_findings(means: Sequence[float], blocks: Sequence[str], label: str) -> list[Finding]:
    """Blocks of the check standard (means in order of time) that are out of control; `label` names tool, setup, protocol."""
    known = [(name, float(mean)) for name, mean in zip(blocks, means, strict=True) if math.isfinite(mean)]
    judged = judge_blocks([mean for _, mean in known])
    found = [
        _out_of_control(
            f"The check standard {label} is out of control in block {known[block][0]}: {apart_words(apart)}.",
            known[block][0],
        )
        for block, apart in judged.apart.items()
    ]
    if judged.drifting:
        names = [known[block][0] for block in judged.drifting]
        found.append(
            _out_of_control(
                f"The check standard {label} drifts in block {', '.join(names)}: {drift_words(judged)}.", *names
            )
        )
    return found


def apart_words(apart: Apart) -> str:
    """How far a block is from the history, and how long that is: "its mean is −8.0 % from that of the 25 other blocks"."""
    return (
        f"its mean is {format_percent(apart.percent)} from that of the {apart.others} other blocks (p = {apart.p:.2g})"
    )


def drift_words(judged: JudgedBlocks) -> str:
    """What drifts, and by how long a history."""
    return (
        f"the moving average (EWMA, lambda 0.2) leaves the limits that its {len(judged.history)} blocks make"
        f" (p = {judged.drift_p:.2g})"
    )


def _out_of_control(message: str, *blocks: str) -> Finding:
    return Finding(
        code="check-standard-out-of-control",
        severity="doubtful",
        kind="statistical",
        message=message,
        mend="find what changed on the rig before runs of that block are compared with others",
        subjects=blocks,
    )
