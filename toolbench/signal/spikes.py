"""One-sample spikes: they are no onset and no blow, and are told with their times."""

from __future__ import annotations

import numpy as np

from toolbench.records.findings import Finding
from toolbench.records.runs import Floats
from toolbench.signal.blows import find_blows
from toolbench.signal.sampling import noise, without_spikes

SPIKE_SHARE = 0.25
"""A one-sample excursion by more than this share of the rise, and NOISES times the noise, is a spike ..."""

NOISES = 10.0

SPIKES_PER_S = 2.0
"""... unless there are more of them in a second than this: then they are the blows."""

BUILT_UP_S = 1.0
"""Time after the onset from which on the response is asked for blows."""

TOLD = 5
"""Times that a sentence names."""


def find_spikes(values: Floats, *, rise: float) -> tuple[np.ndarray, Floats]:
    """Indices of one-sample excursions from both neighbours, and how far each goes.

    Parameters
    ----------
    values : shape (n,) [SI unit], all finite
    rise : the highest value over rest, spikes aside [SI unit]
    """
    away = without_spikes(values)
    np.subtract(values, away, out=away)
    limit = max(SPIKE_SHARE * rise, NOISES * noise(values))
    if away.max() <= limit and away.min() >= -limit:
        return np.empty(0, dtype=np.intp), away[:0]
    places = np.flatnonzero((away > limit) | (away < -limit))
    return places, away[places]


def spike_findings(time_s: Floats, values: Floats, response: str, unit: str, *, rise: float) -> list[Finding]:
    """Spikes of a whole record, before the onset too. Times [s after the onset]."""
    finite = np.isfinite(values)
    if not finite.all():
        time_s, values = time_s[finite], values[finite]
    if values.size < 5:
        return []
    places, away = find_spikes(values, rise=rise)
    if places.size and _falls_back(time_s, values):
        # A blow of one or two samples looks like a spike, and a gap between two such blows like one downward.
        higher = np.abs(away) > rise
        places, away = places[higher], away[higher]
    if not 0 < places.size <= max(1.0, SPIKES_PER_S * float(time_s[-1] - time_s[0])):
        return []
    times = ", ".join(f"{time_s[place]:.3f}" for place in places[:TOLD])
    more = f" and {places.size - TOLD} more" if places.size > TOLD else ""
    largest = float(away[np.argmax(np.abs(away))])
    count = "a one-sample spike" if places.size == 1 else f"{places.size} one-sample spikes"
    return [
        Finding(
            code="spikes",
            severity="doubtful",
            kind="data",
            message=f"{response} has {count} of up to {largest:+.4g} {unit}, {times} s{more} after the onset.",
            mend="check cable and connectors; levels at marks near a spike are in doubt",
        )
    ]


def _falls_back(time_s: Floats, values: Floats) -> bool:
    """Whether the response falls back between blows: asked of the second half of the first seconds, where it has built up."""
    onset = int(np.searchsorted(time_s, 0.0))
    rest = float(np.median(values[: max(1, onset)]))
    asked = min(int(np.searchsorted(time_s, BUILT_UP_S)), (onset + values.size) // 2)
    return asked < values.size - 1 and find_blows(time_s, values, asked, rest=rest, scatter=noise(values)) is not None
