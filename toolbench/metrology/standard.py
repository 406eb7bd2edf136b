"""A check standard's chart: which blocks are out of control, judged by limits that its own history makes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from toolbench.metrology.charts import Limits, ewma, ewma_limits, grubbs_p, prediction_p, step_p
from toolbench.metrology.type_a import mean_and_sd
from toolbench.quantities.format import format_percent
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats

BLOCK_APART, BLOCK_STEP = 0.02, 0.02
"""Probability that a flawless chart says a block is apart, or that its blocks have two levels: 4 % together.

With 6, 10 and 20 blocks a step of three standard deviations half way is found in 32, 75 and 99 % of charts (EWMA of lambda
0.2 at 1 % and blocks apart at 3 %: 15, 35 and 60 %): tests/benchmarks/standard_power.py."""

FEWEST_BLOCKS = 4
"""With fewer blocks there is no history to judge by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """A block away from the others: by how much of their mean [%], by chance with what probability, and how many they are."""

    percent: float
    p: float
    others: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Blocks on another level than the `others`: by how much of these' mean [%], and by chance with what probability.

    The blocks are those before the step or those after it, whichever are fewer; those after it where a history is stated.
    """

    blocks: tuple[int, ...]
    percent: float
    p: float
    others: int


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedBlocks:
    """Blocks by their place in time. `apart` are away from the others one by one, those of `step` together.

    `limits` and `moving_limits` are three standard deviations of the `history` blocks, None with too few of them; `moving` is
    the EWMA at each block that is not apart. Verdicts rest on `apart` and `step`, which keep to 4 % false alarms a chart
    however many blocks it has; lines at three standard deviations do not.
    """

    apart: dict[int, Apart]
    step: Step | None
    history: tuple[int, ...]
    stated: int
    """How many first blocks are stated to be in control; 0 where all blocks are judged by each other."""
    limits: Limits | None
    moving: dict[int, float]
    moving_limits: Limits | None

    @property
    def out(self) -> frozenset[int]:
        """Every block that is out of control."""
        return frozenset((*self.apart, *(self.step.blocks if self.step else ())))


def judge_blocks(means: Sequence[float] | Floats, stated: int = 0) -> JudgedBlocks:
    """Judge the block means of a check standard, in order of time and all finite.

    Parameters
    ----------
    means
        One per block.
    stated
        How many of the first blocks are stated to be in control. Where these are four or more, they are the history: they are
        not judged again, and each later block is judged by what they predict (phase II). Else each block is judged
        by all others that are in control, whenever they were run, so that a shift in the first blocks shows too (phase I).

    Returns
    -------
    JudgedBlocks
        At most 4 % of flawless charts have a block out of control, in either phase.

    References
    ----------
    NIST/SEMATECH e-Handbook 2.2.2, 2.2.3 and 6.3.2; Grubbs, Technometrics 11 (1969) 1; Worsley, J. Am. Stat. Assoc. 74
    (1979) 365.
    """
    values = np.asarray(means, dtype=float)
    stated = min(stated, values.size) if stated >= FEWEST_BLOCKS else 0
    left, apart = _apart_from_history(values, stated) if stated else _apart(values)
    step = _step(values, left, stated)
    shifted = step.blocks if step else ()
    history = tuple(range(stated)) if stated else tuple(k for k in left if k not in shifted)
    if len(history) < FEWEST_BLOCKS:
        history = tuple(left)
    if len(history) < FEWEST_BLOCKS:
        return JudgedBlocks(
            apart=apart, step=None, history=history, stated=0, limits=None, moving={}, moving_limits=None
        )
    centre, sd = mean_and_sd(values[list(history)])
    of_centre = 1.0 / stated if stated else 0.0
    half = 3.0 * sd * math.sqrt(1.0 + of_centre)
    return JudgedBlocks(
        apart=apart,
        step=step,
        history=history,
        stated=stated,
        limits=Limits(lower=centre - half, centre=centre, upper=centre + half),
        moving=dict(zip(left, map(float, ewma(values[left], centre)[1:]), strict=True)),
        moving_limits=ewma_limits(centre, sd, of_centre=of_centre),
    )


def _apart(values: Floats) -> tuple[list[int], dict[int, Apart]]:
    """The blocks that are left, and those that stand apart from them, farthest first."""
    left, apart = list(range(values.size)), {}
    while len(left) >= FEWEST_BLOCKS:
        p, which = grubbs_p(values[left])
        if p >= BLOCK_APART:
            break
        block = left.pop(which)
        apart[block] = Apart(percent=_percent(values[block], values[left]), p=p, others=len(left))
    return left, apart


def _apart_from_history(values: Floats, stated: int) -> tuple[list[int], dict[int, Apart]]:
    history = values[:stated]
    ps = prediction_p(history, values[stated:])
    apart = {
        stated + k: Apart(percent=_percent(values[stated + k], history), p=float(p), others=stated)
        for k, p in enumerate(ps)
        if p < BLOCK_APART
    }
    return [k for k in range(values.size) if k not in apart], apart


def _step(values: Floats, left: Sequence[int], stated: int) -> Step | None:
    """A step between the blocks that are left; none earlier than the stated history's end."""
    p, before = step_p(values[list(left)], stated)
    if not p < BLOCK_STEP:
        return None
    blocks, others = left[before:], left[:before]
    if not stated and len(others) < len(blocks):
        blocks, others = others, blocks
    shifted = mean_and_sd(values[list(blocks)])[0]
    return Step(blocks=tuple(blocks), percent=_percent(shifted, values[list(others)]), p=p, others=len(others))


def _percent(value: float, others: Floats) -> float:
    return float(100.0 * (value / mean_and_sd(others)[0] - 1.0))


def check_standard_findings(
    means: Sequence[float], blocks: Sequence[str], label: str, stated: int = 0
) -> list[Finding]:
    """Blocks of the check standard (means in order of time) that are out of control; `label` names tool, setup, protocol.

    The first `stated` of the blocks are stated to be in control.
    """
    known = [(name, float(mean)) for name, mean in zip(blocks, means, strict=True) if math.isfinite(mean)]
    stated = sum(math.isfinite(mean) for mean in means[:stated])
    judged = judge_blocks([mean for _, mean in known], stated)
    found = [
        _out_of_control(
            f"The check standard {label} is out of control in block {known[block][0]}: {apart_words(apart)}.",
            known[block][0],
        )
        for block, apart in judged.apart.items()
    ]
    if judged.step is not None:
        names = [known[block][0] for block in judged.step.blocks]
        found.append(
            _out_of_control(
                f"The check standard {label} is out of control in {block_words(names)}: {step_words(judged.step)}.",
                *names,
            )
        )
    return found


def apart_words(apart: Apart) -> str:
    """How far a block is from the history, and how long that is: "its mean is −8.0 % from that of the 25 other blocks"."""
    return (
        f"its mean is {format_percent(apart.percent)} from that of the {apart.others} other blocks (p = {apart.p:.2g})"
    )


def step_words(step: Step) -> str:
    """How far blocks are from the others together: "the mean of these 7 blocks is −1.9 % from that of the 9 others"."""
    return (
        f"the mean of these {len(step.blocks)} blocks is {format_percent(step.percent)} from that of the {step.others} others"
        f" (p = {step.p:.2g})"
    )


def block_words(names: Sequence[str]) -> str:
    """One block by its name, several by the first and the last: "7 blocks, b7 to b13"."""
    return f"block {names[0]}" if len(names) == 1 else f"{len(names)} blocks, {names[0]} to {names[-1]}"


def _out_of_control(message: str, *blocks: str) -> Finding:
    return Finding(
        code="check-standard-out-of-control",
        severity="doubtful",
        kind="statistical",
        message=message,
        mend="find what changed on the rig before runs of that block are compared with others",
        subjects=blocks,
    )
