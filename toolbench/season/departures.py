"""What a held condition off its target does to a level: the flowing pressure's departure, and the sensitivity to it.

Runs of one item differ a little in the flowing pressure, and in the response with it. Where that shows clearly over all runs
of a report, the sensitivity is known from them, and the mean departure of an item from the target enters its level, as an
error of up to its full size (rectangular). What differs from run to run is in the scatter of repeats already.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from toolbench.metrology import ErrorAlong, Source, coverage_factor, mean_and_sd
from toolbench.quantities import GLOSSARY
from toolbench.records.comparison import TOLD
from toolbench.records.runs import Floats, Run
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

    def level(run: Run) -> Floats:
        one = run.metric(response, metric, at)
        return np.array([math.nan if one is None else one.value])

    found = float(_sensitivities(groups, level)[0])
    return found if math.isfinite(found) else None


def _sensitivities(groups: Sequence[Sequence[Run]], levels: Callable[[Run], Floats]) -> Floats:
    """`find_sensitivity` for each of the `levels` of a run, shape (levels,); nan where none shows."""
    known = [[run for run in runs if run.conditions.hold_value is not None] for runs in groups]
    # Arrays even where no group has two runs: nothing shows then, and a division by nothing is no error.
    spread, both, up, freedom = np.zeros(1), np.zeros(1), np.zeros(1), np.full(1, -1.0)
    for runs in known:
        if len(runs) < 2:
            continue
        pressures = np.array([[run.conditions.hold_value] for run in runs], dtype=float)
        values = np.stack([levels(run) for run in runs])
        have = np.isfinite(values)
        n = np.maximum(have.sum(axis=0), 1)
        mean = np.where(have, values, 0.0).sum(axis=0) / n
        have &= (have.sum(axis=0) > 1) & (mean != 0)
        dy = np.where(have, values / np.where(mean != 0, mean, 1.0) - 1.0, 0.0)
        dx = np.where(have, pressures - np.where(have, pressures, 0.0).sum(axis=0) / n, 0.0)
        spread, both, up = (
            spread + np.sum(dx * dx, axis=0),
            both + np.sum(dx * dy, axis=0),
            up + np.sum(dy * dy, axis=0),
        )
        freedom = freedom + np.maximum(have.sum(axis=0) - 1, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = both / spread
        rest = np.maximum(up - slope * both, 0.0) / freedom
        p = 2.0 * special.stdtr(freedom, -np.abs(slope) / np.sqrt(rest / spread))
        shows = (freedom >= FEWEST_FREEDOM) & (spread > 0) & (p < SIGNIFICANT)
    return np.atleast_1d(np.where(shows, slope, math.nan))


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
    words, name = held_words(protocol.hold), _name(protocol.hold, response)
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


def departure_along(
    protocol: Protocol,
    groups: Sequence[Sequence[Run]],
    runs: Sequence[Run],
    response: str,
    curve: Callable[[Run], Floats],
) -> dict[str, ErrorAlong]:
    """What the mean departure from the target leaves open in the mean curve of `runs`, under the name it has in a level.

    `curve` takes a run's curve of the response, all on one grid; what differs from run to run is in their scatter.
    """
    departure = find_departure(runs, protocol.hold)
    if departure is None or protocol.hold is None or response not in protocol.response or not departure.is_systematic:
        return {}
    sensitivity = _sensitivities(groups, curve)
    mean = np.mean([curve(run) for run in runs], axis=0)
    size = np.nan_to_num(sensitivity * mean * departure.mean / math.sqrt(3))
    return {_name(protocol.hold, response): ErrorAlong(size=size)} if np.any(size != 0) else {}


def _name(hold: Hold, response: str) -> str:
    return f"departure/{hold.channel}/{response}"


def held_words(hold: Hold) -> str:
    """The held channel in words: "flowing inlet pressure"."""
    label = GLOSSARY[hold.channel].label if hold.channel in GLOSSARY else hold.channel.replace("_", " ")
    return f"flowing {label[:1].lower()}{label[1:]}"
