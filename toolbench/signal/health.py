"""What is wrong or doubtful about one run's recording. Each check is set so that a flawless run passes: a check that cries
wolf is switched off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, Onset
from toolbench.signal.flats import flat_findings
from toolbench.signal.losses import loss_findings
from toolbench.signal.spikes import spike_findings
from toolbench.signal.zeros import zero_findings

REST_S, REST_SAMPLES = 0.3, 50
"""Rest before the onset: so long, or so many samples, to know the zero."""


def run_findings(
    time_s: Floats,
    channels: Mapping[str, Floats],
    response: str,
    unit: str,
    *,
    onset: Onset,
    duration_s: float,
    sample_interval_s: float,
    sensor_range: tuple[float, float] | None = None,
    extremes: tuple[Floats, Floats] | None = None,
) -> list[Finding]:
    """Everything noticed about one response of one run.

    Parameters
    ----------
    time_s : shape (n,), seconds **after the onset**
    channels : name to values of shape (n,) [SI unit]; the response is one of them
    response, unit : name of the channel and its unit
    onset : found on that response
    duration_s : the checks of the run itself end here [s]
    sensor_range : lower and upper end of the sensor's range [unit]; None: not stated
    extremes : lowest and highest sample that each value is the average of, shape (n,) [unit]; None: the values are samples

    Returns
    -------
    list of Finding
        Without subjects and file: who knows the run adds them. Codes: clipped, over-range, rest-short, run-short,
        zero-shift, zero-drift, spikes, dropout, frozen, rate-uneven, sampling-coarse, trigger-released, socket-slipped, supply-sag,
        response-lost.
    """
    values = channels[response]
    rise = onset.highest - onset.rest
    unit = unit.replace("*", "·")  # as it is printed
    first, last = np.searchsorted(time_s, (0.0, duration_s))
    running_t, running = time_s[first:last], values[first:last]
    found = _rest_and_length(time_s, onset, duration_s, sample_interval_s)
    found += _sampling(time_s, duration_s, sample_interval_s)
    found += flat_findings(
        running_t,
        running,
        response,
        unit,
        rest=onset.rest,
        rise=rise,
        interval_s=sample_interval_s,
        sensor_range=sensor_range,
        extremes=None if extremes is None else (extremes[0][first:last], extremes[1][first:last]),
    )
    if extremes is None:
        found += spike_findings(time_s, values, response, unit, rise=rise)
    found += zero_findings(time_s, values, response, unit, onset, duration_s)
    found += loss_findings(
        time_s, channels, response, unit, onset=onset, duration_s=duration_s, interval_s=sample_interval_s
    )
    return [replace(finding, message=finding.message[0].upper() + finding.message[1:]) for finding in found]


def _rest_and_length(time_s: Floats, onset: Onset, duration_s: float, interval_s: float) -> list[Finding]:
    found = []
    samples = round(onset.rest_length_s / interval_s)
    if onset.rest_length_s < REST_S and samples < REST_SAMPLES:
        found.append(
            Finding(
                code="rest-short",
                severity="doubtful",
                kind="data",
                message=f"Only {onset.rest_length_s:.2g} s ({samples} samples) of rest lie before the onset, too little to know the zero.",
                mend=f"start recording at least {REST_S + 0.2:.1f} s before the run",
            )
        )
    available = float(time_s[-1])
    if available < duration_s - 2 * interval_s:
        found.append(
            Finding(
                code="run-short",
                severity="wrong",
                kind="data",
                message=f"The recording ends {available:.3g} s after the onset, before the duration of {duration_s:.3g} s.",
                mend="record longer, or state a shorter duration for the protocol",
            )
        )
    return found


def _sampling(time_s: Floats, duration_s: float, interval_s: float) -> list[Finding]:
    """Rate the same in both halves within 1 %, gaps aside; enough samples for the metrics."""
    found = []
    steps = np.diff(time_s)
    regular = steps if steps.max() < 1.5 * interval_s else steps[steps < 1.5 * interval_s]
    half = regular.size // 2
    if half > 100:
        early, late = float(regular[:half].mean()), float(regular[half:].mean())
        if abs(late / early - 1) > 0.01:
            found.append(
                Finding(
                    code="rate-uneven",
                    severity="doubtful",
                    kind="data",
                    message=f"The sample rate changes from {1 / early:.4g} Hz to {1 / late:.4g} Hz within the recording.",
                    mend="check the logger's clock",
                )
            )
    if duration_s / interval_s < 100:
        found.append(
            Finding(
                code="sampling-coarse",
                severity="doubtful",
                kind="data",
                message=f"Only {duration_s / interval_s:.0f} samples cover the duration of {duration_s:.3g} s.",
                mend="sample at least 100 times in a run, and ten times in a blow period",
            )
        )
    return found
