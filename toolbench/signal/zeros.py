"""The zero of a response before and after the run: whether it came back, and whether it stood still."""

from __future__ import annotations

import math

import numpy as np

from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, Onset
from toolbench.signal.sampling import noise, robust_scatter

ZERO_SHARE = 0.01
"""A zero that differs by more than this share of the rise, before and after the run or within the rest, has shifted."""

DRIFT_S = 0.3
"""A rest shorter than this says nothing about a drift."""


def zero_findings(
    time_s: Floats, values: Floats, response: str, unit: str, onset: Onset, duration_s: float
) -> list[Finding]:
    """Zero after the run against zero before, and the end of the rest against its beginning. Times [s after the onset]."""
    return _shift(time_s, values, response, unit, onset, duration_s) + _drift(time_s, values, response, unit, onset)


def _shift(time_s: Floats, values: Floats, response: str, unit: str, onset: Onset, duration_s: float) -> list[Finding]:
    """Where the recording goes on until the response has come back to rest."""
    tail = values[np.searchsorted(time_s, max(duration_s, float(time_s[-1]) - 0.2)) :]
    tail = tail[np.isfinite(tail)]
    rise = onset.highest - onset.rest
    if tail.size < 10:
        return []
    half = tail.size // 2
    early, late = float(tail[:half].mean()), float(tail[half:].mean())
    shift = 0.5 * (early + late) - onset.rest
    u_mean = max(onset.rest_scatter, noise(tail)) / math.sqrt(tail.size)
    # Ten per cent and more is torque that is still there, and a response that still moves has not come back yet.
    if abs(shift) > 0.1 * rise or abs(late - early) > max(0.2 * abs(shift), 4 * u_mean):
        return []
    if abs(shift) <= max(ZERO_SHARE * rise, 5 * u_mean):
        return []
    return [
        Finding(
            code="zero-shift",
            severity="wrong",
            kind="data",
            message=f"{response} rests at {onset.rest:.4g} {unit} before the run and at {onset.rest + shift:.4g} {unit} after it: the zero shifted by {shift:+.4g} {unit}.",
            mend="check sensor, cable and amplifier, repeat the run, or exclude it: zero shift",
        )
    ]


def _drift(time_s: Floats, values: Floats, response: str, unit: str, onset: Onset) -> list[Finding]:
    """A rest that moves: the last third against the first, the last moments before the onset left out."""
    end = int(np.searchsorted(time_s, -max(0.02, 3 * onset.standard_uncertainty_s)))
    rest = values[:end]
    finite = np.isfinite(rest)
    rest = rest if finite.all() else rest[finite]
    third = rest.size // 3
    if third < 10 or float(time_s[end - 1] - time_s[0]) < DRIFT_S:
        return []
    first, last = float(np.median(rest[:third])), float(np.median(rest[-third:]))
    u_change = 1.25 * robust_scatter(rest[-third:] - rest[:third]) / math.sqrt(third)
    if abs(last - first) <= max(ZERO_SHARE * (onset.highest - onset.rest), 6 * u_change):
        return []
    return [
        Finding(
            code="zero-drift",
            severity="doubtful",
            kind="data",
            message=f"{response} moves from {first:.4g} to {last:.4g} {unit} while it rests before the run: the zero drifts.",
            mend="let sensor and amplifier warm up, look at what hangs on the sensor, and record again",
        )
    ]
