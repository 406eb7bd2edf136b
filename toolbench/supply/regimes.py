"""To which of the three regimes of an air line a measured sag can belong, and to which it cannot, by times and magnitudes.

The air in a line feeds a tool for a fraction of a second; a steady loss does not change with time; a receiver falls no faster
than the tool draws, and shows nothing before it has come down to what the regulator needs. What none of them explains has
another cause, and what two of them explain cannot be told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from toolbench.errors import AnalysisError, Fault
from toolbench.quantities import format_number, format_seconds
from toolbench.records.runs import Floats
from toolbench.supply.air import P_ANR, T_ANR
from toolbench.supply.line import Demand, Line, find_operating_point
from toolbench.supply.receiver import REGIMES, Receiver, Regime, line_inventory_s, line_volume_m3

EARLY_S = (0.8, 1.2)
"""After the onset: the line's own air is gone by then, and a receiver has hardly moved."""
LATE_S = 0.5
"""Length of the end of the run that is looked at."""
SMALLEST_PA = 3e3
"""A smaller sag is not told: gauges and regulators wander by as much."""
ROOM = 1.5
"""Times and slopes of the model may be off by this factor before they exclude anything: friction is good to 1.3, and a receiver that
exchanges no heat falls 1.4 times as fast as one that keeps its temperature."""
BAR = 1e5


@dataclass(frozen=True, slots=True, kw_only=True)
class Sag:
    """A fall of the inlet pressure between two times, what can be behind it, and why the rest cannot."""

    when: Literal["early", "late"]
    begins_s: float
    ends_s: float
    drop_pa: float
    possible: tuple[Regime, ...]
    excluded: tuple[tuple[Regime, str], ...]
    receiver_known: bool

    @property
    def verdict(self) -> str:
        """What is left: one regime, the line's air running out into its plateau, none of the three, or "cannot be told".

        One that is left is possible, no more: other users of the air or a regulator that tires look alike.
        """
        if REGIMES[2] in self.possible and not self.receiver_known:
            return "cannot be told"
        if len(self.possible) == 1:
            return self.possible[0]
        if self.possible == REGIMES[:2]:
            return "line inventory, then flow-limited"
        return "cannot be told" if self.possible else "none of the three"


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSupply:
    """What is known of the supply behind a recorded pressure.

    `start_pa_abs` is the receiver at the onset; None where nobody recorded it: then it lies anywhere from cut-in to cut-out.
    `held_pa_abs` is the regulator's flowing outlet, `margin_pa` what the receiver must lie above it.
    """

    line_volume_m3: float
    flow_m3_s: float
    held_pa_abs: float
    receiver: Receiver | None = None
    start_pa_abs: float | None = None
    margin_pa: float = 0.0
    temperature_k: float = T_ANR


def earliest_fall_s(supply: KnownSupply, receiver: Receiver) -> float:
    """The least time in which the receiver can come down to what the regulator needs [s]; inf where it cannot."""
    start = supply.start_pa_abs if supply.start_pa_abs is not None else receiver.cut_in_pa_abs
    above = max(start - supply.margin_pa - supply.held_pa_abs, 0.0)
    fall = greatest_slope(supply, receiver)
    return above / fall if fall > 0 else math.inf


def greatest_slope(supply: KnownSupply, receiver: Receiver) -> float:
    """How fast the receiver can fall [Pa/s]: the tool draws, the compressor gives where it must have started."""
    must_run = supply.start_pa_abs is not None and supply.start_pa_abs <= receiver.cut_in_pa_abs
    net = supply.flow_m3_s - (receiver.free_air_m3_s if must_run else 0.0)
    return max(net, 0.0) * P_ANR * supply.temperature_k / T_ANR / receiver.volume_m3


def known_supply(
    line: Line,
    demand: Demand,
    receiver: Receiver | None,
    *,
    start_pa_abs: float | None = None,
    margin_pa: float = 0.0,
) -> KnownSupply:
    """What a stated line, its tool and its receiver say of the supply."""
    point = find_operating_point(line, demand)
    return KnownSupply(
        line_volume_m3=line_volume_m3(line),
        flow_m3_s=float(point.flow_m3_s),
        held_pa_abs=float(point.pressures_pa_abs[0]),
        receiver=receiver,
        start_pa_abs=start_pa_abs,
        margin_pa=margin_pa,
        temperature_k=float(line.temperature_k),
    )


def which_regime(time_s: Floats, inlet_pa: Floats, supply: KnownSupply) -> tuple[Sag, ...]:
    """The sags of a recorded inlet pressure, early and late, each with what it can belong to.

    Parameters
    ----------
    time_s : shape (n,)
        From the onset; at least 0.2 s of rest before it and 2 s of running after it.
    inlet_pa : shape (n,)
        Recorded inlet pressure, gauge or absolute [Pa]: only differences count. Cut off where the tool stops.

    Returns
    -------
    tuple of Sag
        Empty where the pressure stays within what can be told.

    Raises
    ------
    AnalysisError
        Where the record is too short on either side of the onset.
    """
    rest, early, late = (_level(time_s, inlet_pa, a, b) for a, b in _spans(time_s))
    floor = max(SMALLEST_PA, 4.0 * math.hypot(early[1], late[1]))
    found = []
    if rest[0] - early[0] > floor:
        found.append(_early(rest[0] - early[0], time_s, inlet_pa, rest[0], early[0], supply))
    if early[0] - late[0] > floor:
        found.append(_late(time_s, inlet_pa, rest[0], early[0], late[0], supply))
    return tuple(found)


def _spans(time_s: Floats) -> tuple[tuple[float, float], ...]:
    first, last = float(time_s[0]), float(time_s[-1])
    if first > -0.2 or last < 2.0:
        raise AnalysisError(
            Fault(
                f"a sag needs 0.2 s of rest and 2 s of running; the record goes from {format_seconds(round(first, 3))} to "
                f"{format_seconds(round(last, 3))} about the onset"
            )
        )
    return (first, -0.05), EARLY_S, (last - LATE_S, last)


def _level(time_s: Floats, pressure: Floats, begin: float, end: float) -> tuple[float, float]:
    """Mean over a span and its standard uncertainty from the scatter between its tenths, which keeps slow wander in [Pa]."""
    part = pressure[(time_s >= begin) & (time_s <= end)]
    tenths = np.array([piece.mean() for piece in np.array_split(part, min(10, part.size))])
    return float(part.mean()), float(tenths.std(ddof=1) / math.sqrt(tenths.size)) if tenths.size > 1 else 0.0


def _crossing(time_s: Floats, pressure: Floats, level: float, after: float) -> float:
    """First time from which a pressure, smoothed over 0.1 s, stays at or below a level for that long [s]."""
    count = max(round(0.1 / float(np.median(np.diff(time_s)))), 1)
    smooth = np.convolve(pressure, np.ones(count) / count, mode="valid")
    where = np.flatnonzero((smooth <= level) & (time_s[: smooth.size] >= after))
    return float(time_s[where[0]]) if where.size else float(time_s[-1])


def _early(drop: float, time: Floats, pressure: Floats, rest: float, early: float, supply: KnownSupply) -> Sag:
    ends = _crossing(time, pressure, early + 0.1 * (rest - early), 0.0)
    excluded: list[tuple[Regime, str]] = []
    feeds = line_inventory_s(supply.line_volume_m3, supply.flow_m3_s, drop, 0.0, temperature_k=supply.temperature_k)
    if ends > 3.0 * ROOM * feeds:
        excluded.append((REGIMES[0], _inventory_reason(feeds, ends)))
    excluded += _receiver_reasons(drop, 0.0, max(ends, EARLY_S[0]), supply)
    return _sag("early", 0.0, ends, drop, excluded, supply)


def _late(time: Floats, pressure: Floats, rest: float, early: float, late: float, supply: KnownSupply) -> Sag:
    drop = early - late
    begins = _crossing(time, pressure, early - 0.1 * drop, EARLY_S[0])
    ends = _crossing(time, pressure, late + 0.1 * drop, begins)
    # The air of the line runs out along one exponential, from the rest on: its tail may lie here.
    whole = max(rest, early) - late
    feeds = line_inventory_s(supply.line_volume_m3, supply.flow_m3_s, whole, 0.0, temperature_k=supply.temperature_k)
    lasts = feeds * math.log(whole / (0.1 * drop))
    excluded: list[tuple[Regime, str]] = [
        (REGIMES[1], "a steady loss of the line does not grow while the tool runs on")
    ]
    if ends > ROOM * lasts:
        excluded.insert(0, (REGIMES[0], _inventory_reason(feeds, ends)))
    excluded += _receiver_reasons(drop, begins, ends, supply)
    return _sag("late", begins, ends, drop, excluded, supply)


def _inventory_reason(feeds: float, lasts: float) -> str:
    return (
        f"the air in the line feeds the tool for {format_number(feeds, 2, unit='s')} over such a fall, and it is still going on "
        f"after {format_number(lasts, 2, unit='s')}"
    )


def _receiver_reasons(drop: float, begins: float, ends: float, supply: KnownSupply) -> list[tuple[Regime, str]]:
    """Why a receiver cannot be behind a sag; none where it is not stated, since then nothing is known of it."""
    if supply.receiver is None:
        return []
    slope = greatest_slope(supply, supply.receiver)
    earliest = earliest_fall_s(supply, supply.receiver)
    if slope == 0:
        return [(REGIMES[2], "the compressor gives more than the tool draws")]
    if earliest > ROOM * max(begins, 0.1) and earliest > begins + 0.1 * (ends - begins):
        what = f"the receiver needs {format_number(earliest, 2, unit='s')} to come down to what the regulator needs"
        return [(REGIMES[2], f"{what}, and the sag begins at {format_number(max(begins, 0.0), 2, unit='s')}")]
    most = ROOM * slope * (ends - min(begins, earliest))
    if drop > most:
        return [
            (
                REGIMES[2],
                f"the receiver falls by {format_number(most / ROOM / BAR, 2, unit='bar')} at most in that time, and the sag is "
                f"{format_number(drop / BAR, 2, unit='bar')}",
            )
        ]
    return []


def _sag(
    when: Literal["early", "late"],
    begins: float,
    ends: float,
    drop: float,
    excluded: list[tuple[Regime, str]],
    supply: KnownSupply,
) -> Sag:
    out = {regime for regime, _ in excluded}
    return Sag(
        when=when,
        begins_s=begins,
        ends_s=ends,
        drop_pa=drop,
        possible=tuple(regime for regime in REGIMES if regime not in out),
        excluded=tuple(excluded),
        receiver_known=supply.receiver is not None,
    )
