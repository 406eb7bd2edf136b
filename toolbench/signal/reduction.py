"""A raw recording made small: onset, traces on the common grid, metrics, conditions, and what was noticed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from toolbench.errors import Fault, SignalError
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, Metric, Onset, RawRun, Run, Trace
from toolbench.records.settings import Protocol
from toolbench.signal.conditions import find_conditions, supply_metrics
from toolbench.signal.envelope import upper_envelope
from toolbench.signal.grid import Buckets, make_buckets, make_grid, reduce_extremes, reduce_mean, reduce_with
from toolbench.signal.health import run_findings
from toolbench.signal.metrics import measure, stated_period
from toolbench.signal.onset import find_onset
from toolbench.signal.sampling import find_sample_interval


def find_start(raw: RawRun, protocol: Protocol) -> Onset:
    """Onset of a recording on the protocol's first response, in the recording's own time [s].

    Raises
    ------
    SignalError
        The response is not among the channels, or `find_onset` finds none; the fault names the recording's file.
    """
    response = protocol.response[0]
    try:
        return find_onset(
            raw.time_s,
            _channel(raw, response),
            rule=protocol.onset,
            trigger=raw.channels.get("trigger"),
            within_s=protocol.duration_s,
        )
    except SignalError as error:
        raise SignalError([replace(fault, file=fault.file or raw.entry.file) for fault in error.faults]) from None


def reduce(
    raw: RawRun,
    protocol: Protocol,
    *,
    duration_s: float,
    marks_s: tuple[float, ...],
    window_s: tuple[float, float],
    onset: Onset | None = None,
    edges: Floats | None = None,
    bandwidth_hz: float | None = None,
    rig: str = "",
    filter: str = "",
    sensor_ranges: Mapping[str, tuple[float, float]] | None = None,
) -> Run:
    """Reduce one recording to what a comparison needs, at most about 60 kB.

    Parameters
    ----------
    raw : samples in SI units
    protocol : response, onset rule, hold, rest, reach, envelope
    duration_s, marks_s, window_s : common to the runs of a report, [s] after the onset
    onset : from `find_start`; None: found here
    edges : bucket edges of the common grid, shape (N + 1,) [s]; None: from this run's own sample interval
    bandwidth_hz : of the measuring chain [Hz]; None: not stated, then there is no peak
    rig, filter : carried along
    sensor_ranges : channel to the lower and upper end of its sensor's range [SI unit]

    Returns
    -------
    Run
        Every channel has the mean of each bucket, a response its lowest and highest value too. With `envelope` the response
        is replaced by its upper envelope from the onset on, in traces and metrics; onset and health look at the raw samples.

    Raises
    ------
    SignalError
        As `find_start`.
    """
    onset = find_start(raw, protocol) if onset is None else onset
    interval = find_sample_interval(raw.time_s)
    time = raw.time_s - onset.time_s
    buckets = make_buckets(time, make_grid(duration_s, interval) if edges is None else edges, interval)
    conditions = find_conditions(time, raw.channels, onset, protocol, duration_s=duration_s)
    traces = {
        name: Trace(channel=name, unit=raw.units.get(name, ""), mean=reduce_mean(buckets, values))
        for name, values in raw.channels.items()
        if name not in protocol.response
    }
    metrics: list[Metric] = []
    findings = [*raw.findings, *_averaged(raw, protocol, interval, duration_s)]
    for number, response in enumerate(protocol.response):
        recorded, unit = _channel(raw, response), raw.units.get(response, "")
        values = _envelope_from_onset(time, recorded, protocol) if protocol.envelope else recorded
        drawn = None if protocol.envelope else raw.extremes.get(response)
        traces[response] = _response_trace(response, unit, buckets, values, drawn)
        metrics += measure(
            time,
            values,
            response=response,
            unit=unit,
            rest=onset.rest if number == 0 else _rest_of(time, recorded),
            onset_uncertainty_s=onset.standard_uncertainty_s,
            duration_s=duration_s,
            marks_s=marks_s,
            window_s=window_s,
            # A level to reach is a quantity of the first response; another one has another unit.
            reach=protocol.reach if number == 0 else (),
            blow_s=protocol.blow_s,
            bandwidth_hz=None if protocol.envelope else bandwidth_hz,
            sample_interval_s=interval,
        )
        if number == 0:
            noticed = run_findings(
                time,
                raw.channels,
                response,
                unit,
                onset=onset,
                duration_s=duration_s,
                sample_interval_s=interval,
                sensor_range=(sensor_ranges or {}).get(response),
                extremes=raw.extremes.get(response),
            )
            findings += [_about(finding, raw) for finding in noticed]
    return Run(
        entry=raw.entry,
        digest=raw.digest,
        onset=onset,
        sample_interval_s=interval,
        available_s=float(time[-1]),
        grid_s=buckets.centres,
        traces=traces,
        metrics=(*metrics, *supply_metrics(conditions, protocol, raw.units)),
        conditions=conditions,
        sensors=raw.sensors,
        rig=rig,
        filter=filter,
        findings=tuple(findings),
    )


def _channel(raw: RawRun, name: str) -> Floats:
    if name in raw.channels:
        return raw.channels[name]
    there = ", ".join(raw.channels) or "none"
    raise SignalError(
        Fault(
            f"has no channel {name}, the protocol's response; its channels are {there}",
            file=raw.entry.file,
            mend=f"name its column under [loggers.{raw.entry.logger}.channels], or set the protocol's response",
            code="settings",
        )
    )


def _about(finding: Finding, raw: RawRun) -> Finding:
    return replace(finding, subjects=finding.subjects or (raw.entry.run,), file=finding.file or raw.entry.file)


FEWEST_AVERAGES = 5000
"""Averages within the duration that leave marks, windows and onset as they are; the span around a mark then holds fifty."""

AVERAGES_IN_A_BLOW = 20


def _averaged(raw: RawRun, protocol: Protocol, interval_s: float, duration_s: float) -> list[Finding]:
    """What averaging neighbours of a long recording means for its numbers."""
    if raw.every == 1:
        return []
    blow_s = stated_period(protocol.blow_s) if protocol.blow_s or protocol.envelope else None
    fine = interval_s <= duration_s / FEWEST_AVERAGES and (blow_s is None or interval_s <= blow_s / AVERAGES_IN_A_BLOW)
    meaning = (
        "far below what marks, window and onset need"
        if fine
        else "which is coarse for marks, window and onset, and blurs blows"
    )
    return [
        _about(
            Finding(
                code="recording-averaged",
                severity="note" if fine else "doubtful",
                kind="data",
                message=f"The recording is too long to be held whole: every {raw.every} neighbouring samples are averaged, "
                f"so that one stands for {interval_s:.3g} s, {meaning}; spikes of one sample are not looked for in it.",
                mend="" if fine else "record each run in a file of its own, or at a lower rate",
            ),
            raw,
        )
    ]


def _response_trace(
    name: str, unit: str, buckets: Buckets, values: Floats, extremes: tuple[Floats, Floats] | None
) -> Trace:
    mean, low, high = reduce_with(buckets, values)
    if extremes is not None:
        low = np.fmin(reduce_extremes(buckets, extremes[0])[0], low)
        high = np.fmax(reduce_extremes(buckets, extremes[1])[1], high)
    return Trace(channel=name, unit=unit, mean=mean, low=low, high=high)


def _envelope_from_onset(time: Floats, values: Floats, protocol: Protocol) -> Floats:
    """The record as it is up to the onset and its upper envelope from there on: rest and onset keep their meaning."""
    first = int(np.searchsorted(time, 0.0))
    if time.size - first < 2:
        return values
    envelope, _ = upper_envelope(time[first:], values[first:], blow_period_s=stated_period(protocol.blow_s))
    return np.concatenate((values[:first], envelope))


def _rest_of(time: Floats, values: Floats) -> float:
    """Median of the last half second before the onset [unit of values]; 0 where nothing is recorded there."""
    first, last = np.searchsorted(time, (-0.5, -0.02))
    part = values[first:last]
    part = part[np.isfinite(part)]
    return float(np.median(part)) if part.size else 0.0
