"""The link of two epochs of a rig: the ratio of a check standard's levels in them, with its type A uncertainty.

Each mean is an input of its own. A link is `near / far`, so a value of the far epoch times the link is one of the near epoch,
and its relative error is that of `near` less that of `far`. Along a chain of epochs, and between two epochs linked to the same
third, a mean that stands on both sides cancels of itself, since it is one source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from toolbench.metrology.propagation import welch_satterthwaite
from toolbench.metrology.type_a import mean_and_sd
from toolbench.records.runs import Floats, Link

FEWEST_UNITS = 2
"""Blocks (runs, where there are no blocks) on a side: a single one has no scatter to judge by."""

LARGEST_RELATIVE = 0.1
"""A mean known less well than this share of itself makes no link: the ratio is propagated linearly (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideLevel:
    """A check standard's mean in one epoch: its standard uncertainty as a share of it, from how many blocks or runs."""

    mean: float
    relative_uncertainty: float
    degrees_of_freedom: float
    units: int


def side_level(values: Sequence[float] | Floats) -> SideLevel | None:
    """The mean of block means (of runs, where there are no blocks) [any unit], None where it carries no link.

    References
    ----------
    GUM 4.2.2 and 4.2.3.
    """
    mean, sd = mean_and_sd(values)
    units = sum(math.isfinite(value) for value in values)
    if units < FEWEST_UNITS or mean == 0:
        return None
    relative = sd / math.sqrt(units) / abs(mean)
    if relative > LARGEST_RELATIVE:
        return None
    return SideLevel(mean=mean, relative_uncertainty=relative, degrees_of_freedom=units - 1.0, units=units)


def link_uncertainty(link: Link) -> tuple[float, float]:
    """Standard uncertainty of a link as a share of it, and its effective degrees of freedom (Welch-Satterthwaite).

    References
    ----------
    GUM 5.1.6 for a product of powers, G.4.1 for the degrees of freedom.
    """
    sizes = [part.relative for part in link.parts]
    return math.hypot(*sizes), welch_satterthwaite(sizes, [part.degrees_of_freedom for part in link.parts])
