"""All recordings of one report, read and reduced on one common time base.

The shortest run decides the duration where the protocol states none, so every onset is found before the first run is cut.
Raw samples are kept between the two passes only while they fit a fixed budget; beyond it a file is read again.
A recording that was reduced before, in whatever season and under whatever name, is not read at all (`remembering`).
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace

from toolbench.errors import AnalysisError, Fault, RecordingError, SignalError
from toolbench.logs.kept.known import Known
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, Onset, RawRun, Run
from toolbench.records.settings import Protocol, RunEntry, SeasonSettings
from toolbench.season.calibrating import correction_for
from toolbench.season.loading import load_run, stay_inside
from toolbench.season.remembering import Begun, Memory, open_memory
from toolbench.signal import find_end, find_start, make_grid, reduce

RAW_BUDGET_BYTES = 200_000_000
"""Raw samples held between the two passes; a season of any size stays within it."""

MARK_SHARES = (0.25, 0.5, 1.0)
"""Marks where a protocol states none, as shares of the duration (contract)."""

WINDOW_SHARE = 0.2
"""The sustained mean's window where a protocol states none: this last share of the duration (contract)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """The common time base of a report, in seconds after the onset."""

    duration_s: float
    marks_s: tuple[float, ...]
    window_s: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduced:
    """Reduced runs, the time base they share, and the runs that could not be analysed with the reason."""

    runs: tuple[Run, ...]
    timing: Timing
    failed: tuple[tuple[RunEntry, Fault], ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Started:
    entry: RunEntry
    begun: Begun
    known: Known | None
    raw: RawRun | None

    @property
    def available_s(self) -> float:
        return self.begun.available_s

    @property
    def interval_s(self) -> float:
        return self.begun.interval_s


def reduce_runs(
    settings: SeasonSettings, protocol: Protocol, entries: Sequence[RunEntry], timing: Timing | None = None
) -> Reduced:
    """Read and reduce recordings of one protocol, on the time base of another report where `timing` gives it.

    Raises
    ------
    AnalysisError
        When not one of the recordings can be analysed.
    """
    memory = open_memory(settings, protocol)
    started, failed = _find_starts(settings, protocol, entries, memory)
    if not started:
        raise AnalysisError([fault for _, fault in failed] or Fault("there are no recordings", key=protocol.id))
    timing = timing or find_timing(protocol, min(one.available_s for one in started))
    interval = max(one.interval_s for one in started)
    edges = make_grid(timing.duration_s, interval)
    runs: list[Run] = []
    for one in started:
        if one.available_s < timing.duration_s - 2 * one.interval_s:
            reason = f"stops {one.available_s:.3g} s after its onset, before the duration of {timing.duration_s:.3g} s is over"
            failed.append((one.entry, Fault(reason, file=one.entry.file)))
            continue
        try:
            runs.append(_remembered_run(settings, protocol, one, timing, edges, memory))
        except (RecordingError, SignalError) as error:
            failed.append((one.entry, replace(error.faults[0], file=one.entry.file)))
    findings = (*(unusable(entry, fault) for entry, fault in failed), *_timing_findings(protocol, timing, started))
    return Reduced(runs=tuple(runs), timing=timing, failed=tuple(failed), findings=findings)


def _remembered_run(
    settings: SeasonSettings, protocol: Protocol, one: _Started, timing: Timing, edges: Floats, memory: Memory | None
) -> Run:
    """The reduced run, from memory where it is there; else it is worked out and kept."""
    if memory is None or one.known is None:
        return _reduce_one(settings, protocol, one, timing, edges)
    run = memory.run(one.known, one.entry, astuple(timing), edges)
    if run is None:
        run = _reduce_one(settings, protocol, one, timing, edges)
        memory.keep_run(one.known, run, astuple(timing), edges)
    return run


def _reduce_one(settings: SeasonSettings, protocol: Protocol, one: _Started, timing: Timing, edges: Floats) -> Run:
    raw = one.raw or load_run(settings, one.entry, one.known)
    return reduce_raw(settings, protocol, raw, one.begun.onset, timing, edges)


def reduce_raw(
    settings: SeasonSettings, protocol: Protocol, raw: RawRun, onset: Onset, timing: Timing, edges: Floats
) -> Run:
    """One recording reduced on a time base, with what the settings know of its logger and its sensors."""
    logger = settings.loggers[raw.entry.logger]
    return reduce(
        raw,
        protocol,
        onset=onset,
        duration_s=timing.duration_s,
        marks_s=timing.marks_s,
        window_s=timing.window_s,
        edges=edges,
        bandwidth_hz=logger.bandwidth_hz,
        rig=logger.rig,
        filter=logger.filter,
        sensor_ranges={
            channel: limits
            for channel, sensor in raw.sensors.items()
            if (limits := _shown_range(settings, channel, sensor, raw.entry)) is not None and channel in raw.channels
        },
    )


def _shown_range(settings: SeasonSettings, channel: str, sensor: str, entry: RunEntry) -> tuple[float, float] | None:
    """The sensor's range as the channel reaches it: corrected, for a sensor at its end clips what it shows; times the arm."""
    limits, correction = settings.sensors[sensor].range, correction_for(settings, sensor, entry)
    if limits is None:
        return None
    gain, lift = (correction.gain, correction.intercept) if correction else (1.0, 0.0)
    channels = settings.loggers[entry.logger].channels
    by_arm = channel == "torque" and "torque" not in channels and "force" in channels
    arm = channels["force"].arm if by_arm else None
    length = arm.length_m if arm else 1.0
    return (limits[0] * gain + lift) * length, (limits[1] * gain + lift) * length


def find_timing(protocol: Protocol, shortest_s: float) -> Timing:
    """Duration, marks and window of a report: as the protocol states them, else the documented defaults."""
    duration = protocol.duration_s if protocol.duration_s is not None else round_down(shortest_s)
    marks = protocol.marks_s if protocol.marks_s is not None else tuple(share * duration for share in MARK_SHARES)
    window = protocol.window_s if protocol.window_s is not None else ((1 - WINDOW_SHARE) * duration, duration)
    return Timing(duration_s=duration, marks_s=marks, window_s=window)


EARLY_SHARE = 0.8
"""A run shorter than this share of the middle one ends early; it must not shorten a comparison unseen."""


def early_ends(runs: Sequence[tuple[RunEntry, float]]) -> list[Finding]:
    """Runs that end well before the others [s after the onset], where no stated duration says how long they should be."""
    if not runs:
        return []
    middle = statistics.median(available for _, available in runs)
    return [
        Finding(
            code="run-ends-early",
            severity="doubtful",
            kind="data",
            message=f"The run ends {available:.3g} s after its onset and others last {middle:.3g} s, "
            "so all of them are compared up to there only.",
            mend="repeat it, exclude it with a reason, or state the protocol's duration",
            subjects=(entry.run,),
            file=entry.file,
        )
        for entry, available in runs
        if available < EARLY_SHARE * middle
    ]


def _timing_findings(protocol: Protocol, timing: Timing, started: Sequence[_Started]) -> list[Finding]:
    """What the default duration took away: a run that ends early, a mark or window that no run reaches."""
    if protocol.duration_s is not None:
        return []
    found = early_ends([(one.entry, one.available_s) for one in started])
    beyond = sorted({t for t in (*timing.marks_s, timing.window_s[1]) if t > timing.duration_s + 1e-9})
    if beyond:
        listed = ", ".join(f"{t:g} s" for t in beyond)
        found.append(
            Finding(
                code="mark-beyond-run",
                severity="doubtful",
                kind="design",
                message=f"Nothing can be said at {listed}: the shortest run lasts {timing.duration_s:g} s.",
                mend="choose earlier marks, or record longer",
            )
        )
    return found


def round_down(seconds: float) -> float:
    """A duration cut to two significant digits, so that marks are numbers a person can say."""
    if seconds <= 0:
        return seconds
    digits = 1 - int(f"{seconds:e}".partition("e")[2])
    step = 10.0**-digits
    return round(int(seconds / step + 1e-9) * step, max(digits, 0) + 1)


def _available(raw: RawRun, protocol: Protocol, onset: Onset) -> float:
    """Seconds a run can be judged over: the record after the onset, or to where the tool stops where no duration is stated."""
    recorded = float(raw.time_s[-1]) - onset.time_s
    return recorded if protocol.duration_s is not None else min(recorded, find_end(raw, protocol, onset))


def _find_starts(
    settings: SeasonSettings, protocol: Protocol, entries: Sequence[RunEntry], memory: Memory | None
) -> tuple[list[_Started], list[tuple[RunEntry, Fault]]]:
    started: list[_Started] = []
    failed: list[tuple[RunEntry, Fault]] = []
    held = 0
    for entry in entries:
        try:
            one = _find_start(settings, protocol, entry, memory)
        except (RecordingError, SignalError) as error:
            failed.append((entry, replace(error.faults[0], file=entry.file)))
            continue
        size = _size(one.raw)
        keep = held + size <= RAW_BUDGET_BYTES
        held += size if keep else 0
        started.append(one if keep else replace(one, raw=None))
    return started, failed


def _find_start(settings: SeasonSettings, protocol: Protocol, entry: RunEntry, memory: Memory | None) -> _Started:
    """Where a recording starts: from memory, without its samples, or read."""
    known = None
    if memory is not None:
        stay_inside(settings, entry)
        known = memory.find(entry)
        if known is not None and (begun := memory.begun(known, entry)) is not None:
            return _Started(entry=entry, begun=begun, known=known, raw=None)
    raw = load_run(settings, entry, known)
    onset = find_start(raw, protocol)
    span = float(raw.time_s[-1] - raw.time_s[0])
    begun = Begun(onset=onset, available_s=_available(raw, protocol, onset), interval_s=span / (len(raw.time_s) - 1))
    if memory is not None and known is not None:
        memory.keep_begun(known, entry, begun)
    return _Started(entry=entry, begun=begun, known=known, raw=raw)


def _size(raw: RawRun | None) -> int:
    if raw is None:
        return 0
    held = [raw.time_s, *raw.channels.values(), *(end for ends in raw.extremes.values() for end in ends)]
    return sum(values.nbytes for values in held)


def unusable(entry: RunEntry, fault: Fault) -> Finding:
    """What is told of a recording that cannot be analysed, with its line and its mend."""
    return Finding(
        code="run-unusable",
        severity="wrong",
        kind="data",
        message=f"The recording could not be analysed and is left out: {fault.message}.",
        mend=fault.mend or "record it again, or exclude it in runs.csv with a reason",
        subjects=(entry.run,),
        file=entry.file,
        line=fault.line,
    )
