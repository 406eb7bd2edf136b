"""What a held condition off its target does to a level: the flowing pressure's departure, and the sensitivity to it.

Runs of one item differ a little in the flowing pressure, and in the response with it. Where that shows clearly over all runs
of a report, the sensitivity is known from them, and the mean departure of an item from the target enters its level, as an
error of up to its full size (rectangular). What differs from run to run is in the scatter of repeats already.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from toolbench.metrology import Source, coverage_factor, mean_and_sd
from toolbench.quantities import GLOSSARY
from toolbench.records.comparison import TOLD
from toolbench.records.runs import Run
from toolbench.records.settings import Hold, Protocol

SIGNIFICANT = 0.01
"""A sensitivity is taken from the runs where chance alone gives one as clear with this probability."""

FEWEST_FREEDOM = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """How far the held channel of an item's runs was from its target [SI]: mean, scatter of one run, number of runs."""

    mean: float
    scatter: float
    n: int

    @property
    def is_systematic(self) -> bool:
        """Whether the mean is further off than the scatter of the runs makes it (95 %)."""
        if self.n < 2 or not self.scatter > 0:
            return self.mean != 0
        return abs(self.mean) * math.sqrt(self.n) > coverage_factor(self.n - 1.0) * self.scatter


def find_departure(runs: Sequence[Run], hold: Hold | None) -> Departure | None:
    """The departure of some runs from what the protocol holds; None where nothing is held or it was not recorded."""
    known = [run.conditions.hold_value for run in runs if run.conditions.hold_value is not None]
    if hold is None or not known:
        return None
    mean, scatter = mean_and_sd(np.array(known) - hold.at)
    return Departure(mean=mean, scatter=scatter if len(known) > 1 else math.nan, n=len(known))


def find_sensitivity(groups: Sequence[Sequence[Run]], response: str, metric: str, at: float | None) -> float | None:
    """Relative change of a level per SI unit of the held channel, from the runs within items; None where it does not show.

    Parameters
    ----------
    groups
        The runs of each item.
    response, metric, at
        The row.
    """
    across: list[float] = []
    up: list[float] = []
    freedom = -1
    for runs in groups:
        found = [
            (run.conditions.hold_value, one.value)
            for run in runs
            if run.conditions.hold_value is not None
            and (one := run.metric(response, metric, at)) is not None
            and math.isfinite(one.value)
        ]
        if len(found) < 2:
            continue
        pressures, values = np.array(found, dtype=float).T
        if values.mean() == 0:
            continue
        across += (pressures - pressures.mean()).tolist()
        up += (values / values.mean() - 1.0).tolist()
        freedom += len(found) - 1
    dx, dy = np.array(across), np.array(up)
    spread = float(dx @ dx)
    if freedom < FEWEST_FREEDOM or not spread > 0:
        return None
    slope = float(dx @ dy) / spread
    rest = float(np.sum((dy - slope * dx) ** 2)) / freedom
    t = abs(slope) / math.sqrt(rest / spread) if rest > 0 else math.inf
    p = 2.0 * float(special.stdtr(freedom, -t)) if math.isfinite(t) else 0.0
    return slope if p < SIGNIFICANT else None


def departure_parts(
    protocol: Protocol,
    groups: Sequence[Sequence[Run]],
    runs: Sequence[Run],
    response: str,
    metric: str,
    at: float | None,
) -> tuple[Source, ...]:
    """What the departure from the target leaves open in a level of the response; none where nothing is known of it."""
    departure = find_departure(runs, protocol.hold)
    if departure is None or protocol.hold is None or metric not in TOLD or response not in protocol.response:
        return ()
    sensitivity = find_sensitivity(groups, response, metric, at)
    if sensitivity is None:
        return ()
    level = mean_and_sd([one.value for run in runs if (one := run.metric(response, metric, at)) is not None])[0]
    words, name = held_words(protocol.hold), f"departure/{protocol.hold.channel}/{response}"
    parts: list[Source] = []
    if departure.scatter > 0:
        parts.append(
            Source(
                source=f"{name}/from run to run",
                label=f"{words}, from run to run",
                absolute=abs(sensitivity * level) * departure.scatter,
                per_run=True,
            )
        )
    if departure.is_systematic:
        # One number between 0 and 1, the same for all items, says how much of the effect is there: so it is one source.
        parts.append(
            Source(
                source=name,
                label=f"{words} off its target",
                absolute=sensitivity * level * departure.mean / math.sqrt(3),
                distribution="rectangular",
                value=0.0,
                uncertainty=1 / math.sqrt(3),
                unit="1",
            )
        )
    return tuple(parts)


def held_words(hold: Hold) -> str:
    """The held channel in words: "flowing inlet pressure"."""
    label = GLOSSARY[hold.channel].label if hold.channel in GLOSSARY else hold.channel.replace("_", " ")
    return f"flowing {label[:1].lower()}{label[1:]}"
