"""The scorecard as bench.toml states it: which setup counts for each kind of supply, and the criteria with their anchors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from toolbench.records.settings import EMPTY

SUPPLIES = ("air", "battery", "mains")
ANY_SUPPLY = ""
"""Key of a protocol that holds for every kind of supply."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedCriterion:
    """One line of the scorecard: a metric under a protocol, alone or per a column of tools.csv, between two anchors.

    `weight` is a share; `at` is in seconds for a mark, the level in SI for a time to it, None elsewhere; the anchors are in
    `unit`. `protocols` holds the protocol by kind of supply, under `ANY_SUPPLY` one for all.
    """

    id: str
    label: str
    weight: float
    protocols: Mapping[str, str]
    metric: str
    at: float | None
    per: str
    worst_at: float
    best_at: float
    unit: str

    def protocol_of(self, supply: str) -> str:
        """The protocol for a kind of supply; empty where the criterion names none for it."""
        return self.protocols.get(supply) or self.protocols.get(ANY_SUPPLY, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scorecard:
    """What the standings are made by. `setups` is the setup that counts by kind of supply; `show` None shows every entry.

    `retest`: the newest test of a tool replaces the earlier ones, or all of them are pooled.
    """

    title: str = ""
    setups: Mapping[str, str] = field(default_factory=lambda: EMPTY)
    show: int | None = None
    retest: Literal["replace", "pool"] = "replace"
    criteria: tuple[StatedCriterion, ...] = ()
