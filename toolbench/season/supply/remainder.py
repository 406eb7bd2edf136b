"""What the drive leaves of a difference: the scatter of torque and drive taken run by run, since one makes the other.

A run at a higher pressure has more torque. Taken as independent, the scatter of the pressures counts twice: once by itself and
once within that of the torque. So each run's torque is brought to its item's mean drive first, and what then scatters is judged
as the difference itself is, in the same blocks or sittings.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from toolbench.metrology import ItemRuns, Row, combine, compare_items, mean_and_sd, pool_repeatability
from toolbench.records.comparison import ComparisonRecord, Estimate
from toolbench.records.runs import Floats
from toolbench.season.judged import sample_of
from toolbench.season.opening import Season
from toolbench.season.supply.measured import LENT, window_mean

_SCATTER = ("repeatability/", "sitting/")
_ANSWERED = ("departure/",)
"""What a held pressure off its target leaves open in a difference: the recorded pressure answers it."""


def without_scatter(estimate: Estimate) -> Estimate:
    """An estimate with the errors alone that no run shows by its scatter."""
    return _without(estimate, _SCATTER)


def _without(estimate: Estimate, names: tuple[str, ...]) -> Estimate:
    kept = tuple(one for one in estimate.components if not one.source.startswith(names))
    return replace(estimate, components=kept, degrees_of_freedom_override=None)


def remainder(percent: Estimate, explained: Estimate, scatter: Estimate | None = None) -> Estimate:
    """What `explained` leaves of `percent` [%].

    `scatter` is that of both together; None where it is not known, and both count as independent.
    """
    value = percent.value - explained.value
    if scatter is None:
        return combine(value, "%", [(percent, 1.0), (explained, -1.0)])
    rest = _without(percent, (*_SCATTER, *_ANSWERED))
    return combine(value, "%", [(rest, 1.0), (without_scatter(explained), -1.0), (replace(scatter, value=0.0), 1.0)])


def brought_to_mean(
    torque: Floats, drive: Floats, exponent: float, *, level: float = 100.0, power: float = 1.0
) -> Floats:
    """Each run's torque at its item's mean drive, by the power law in first order [percent of the base's level].

    Parameters
    ----------
    torque, drive : shape (runs,)
        Of one item, in any unit.
    level
        The item's level [percent of the base's].
    power
        Factor that the drive explains of that level, (drive / reference)^exponent.
    """
    shares = torque / mean_and_sd(torque)[0], drive / mean_and_sd(drive)[0] - 1.0
    return np.asarray(level * shares[0] - 100.0 * power * exponent * shares[1])


def joint_scatter(
    samples: Mapping[str, ItemRuns],
    drives: Mapping[str, Floats],
    pair: tuple[str, str],
    exponent: float,
    level: float,
    power: float,
) -> Estimate | None:
    """Scatter of a difference less what the drive explains of it [%]; None where nothing shows it.

    Parameters
    ----------
    samples
        Of every item that recorded its drive, its torque in one row, with blocks and sittings.
    drives
        The drive of each of their runs.
    pair
        The item compared and its base.
    exponent, level, power
        As in `brought_to_mean`: of the item compared. Both sides act on the difference in percent by these.
    """
    row = Row(response="torque less drive", metric="sustained", at=None, unit="%")
    plain = [brought_to_mean(one.values[:, 0], drives[name], exponent) for name, one in samples.items()]
    lent = pool_repeatability([values for values in plain if values.size > 1], LENT, contains_per_run=True)
    both = [
        replace(
            samples[name],
            values=brought_to_mean(samples[name].values[:, 0], drives[name], exponent, level=level, power=power)[
                :, None
            ],
            sources=(),
        )
        for name in pair
    ]
    found = compare_items(both, [row], [pair], pooled=[lent]).differences[0].difference
    return found if math.isfinite(found.standard_uncertainty) else None


def scatter_of_pair(
    season: Season,
    record: ComparisonRecord,
    pair: tuple[str, str],
    channel: str,
    exponent: float,
    percent: Estimate,
    explained: Estimate,
) -> Estimate | None:
    """`joint_scatter` of two items of a report, its drive recorded in `channel`."""
    runs = {run.id: run for run in record.runs}
    row = Row(response=record.protocol.response[0], metric="sustained", at=None, unit=percent.unit)
    drives = {
        item.id: np.array([window_mean(runs[name], channel, record.window_s) for name in item.runs])
        for item in record.items
    }
    samples = {
        item.id: sample_of(season, item, runs, [row]) for item in record.items if np.isfinite(drives[item.id]).all()
    }
    level, power = 100.0 + percent.value, 1.0 + explained.value / 100.0
    return joint_scatter(samples, drives, pair, exponent, level, power)
