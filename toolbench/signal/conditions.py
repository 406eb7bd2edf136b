"""The supply while a run was made: at rest, flowing, droop, and whether what the protocol holds was held."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from toolbench.records.runs import Conditions, Floats, Metric, Onset
from toolbench.records.settings import Hold, Protocol

REST_S = 0.5
"""`rest` is judged on the last half second before the onset (contract)."""

FLOWING_FROM_S = 1.0
"""`hold` is judged on the mean from one second after the onset to the duration (contract)."""


def flowing_from(duration_s: float) -> float:
    """Start [s after the onset] of the span that counts as flowing; half the duration where that is 2 s or less."""
    return min(FLOWING_FROM_S, 0.5 * duration_s)


def mean_between(time_s: Floats, values: Floats | None, low: float, high: float) -> float | None:
    """Mean of the finite samples from `low` to `high` [unit of values]; None without any."""
    if values is None:
        return None
    first, last = np.searchsorted(time_s, (low, high))
    part = values[first:last]
    total = float(part.sum()) if part.size else 0.0
    if not np.isfinite(total):
        part = part[np.isfinite(part)]
        total = float(part.sum())
    return total / part.size if part.size else None


def find_conditions(
    time_s: Floats, channels: Mapping[str, Floats], onset: Onset, protocol: Protocol, *, duration_s: float
) -> Conditions:
    """Supply conditions of one run.

    Parameters
    ----------
    time_s : shape (n,), seconds **after the onset**
    channels : name to values of shape (n,) [SI unit]
    onset : its uncertainty keeps the rest clear of the start
    protocol : gives `hold` and `rest`
    duration_s : [s]

    Returns
    -------
    Conditions
        None where a channel is not recorded or nothing is asked for. The span of `hold` is the mean from 1 s after the onset
        to the duration, that of `rest` the last 0.5 s before the onset.
    """
    # Half a second before the onset, less the little by which the onset may be late.
    end = -min(2 * onset.standard_uncertainty_s, 0.2 * REST_S)

    def at_rest(name: str) -> float | None:
        return mean_between(time_s, channels.get(name), -REST_S, end)

    def flowing(name: str) -> float | None:
        return mean_between(time_s, channels.get(name), flowing_from(duration_s), duration_s)

    rest_pressure, flowing_pressure = at_rest("inlet_pressure"), flowing("inlet_pressure")
    known = rest_pressure is not None and flowing_pressure is not None
    hold_value = flowing(protocol.hold.channel) if protocol.hold else None
    rest_value = at_rest(protocol.rest.channel) if protocol.rest else None
    return Conditions(
        rest_pressure=rest_pressure,
        flowing_pressure=flowing_pressure,
        droop=(rest_pressure or 0.0) - (flowing_pressure or 0.0) if known else None,
        supply_pressure=flowing("supply_pressure"),
        air_flow=flowing("air_flow"),
        voltage_rest=at_rest("voltage"),
        voltage_flowing=flowing("voltage"),
        hold_met=_is_met(protocol.hold, hold_value),
        hold_value=hold_value,
        rest_met=_is_met(protocol.rest, rest_value),
        rest_value=rest_value,
    )


def _is_met(hold: Hold | None, value: float | None) -> bool | None:
    if hold is None or value is None:
        return None
    return abs(value - hold.at) <= hold.within


def supply_metrics(conditions: Conditions, protocol: Protocol, units: Mapping[str, str]) -> tuple[Metric, ...]:
    """Flowing pressure, droop and, where the protocol holds the inlet pressure, the regulator pressure that it needed.

    `response` is the channel the number comes from.
    """
    holds_inlet = protocol.hold is not None and protocol.hold.channel == "inlet_pressure"
    rows = (
        ("inlet_pressure", "flowing_pressure", conditions.flowing_pressure),
        ("inlet_pressure", "droop", conditions.droop),
        ("supply_pressure", "regulator_needed", conditions.supply_pressure if holds_inlet else None),
    )
    return tuple(
        Metric(response=channel, metric=name, at=None, value=value, unit=units.get(channel, "Pa"))
        for channel, name, value in rows
        if value is not None
    )
