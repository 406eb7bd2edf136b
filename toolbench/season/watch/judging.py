"""One recording judged at the bench: keep, or repeat now and why."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from toolbench.errors import RecordingError, SignalError
from toolbench.logs import guess_channels, read_log
from toolbench.records.findings import Finding, worst_first
from toolbench.records.runs import Floats, Onset, RawRun, Run
from toolbench.records.settings import EMPTY, Hold, Logger, Protocol, RunEntry, SeasonSettings
from toolbench.season.calibrating import calibration_findings
from toolbench.season.loading import load_run, stay_inside
from toolbench.season.reducing import EARLY_SHARE, find_timing, reduce_raw, round_down
from toolbench.season.watch.arriving import has_lines, is_cut
from toolbench.season.watch.setup_shown import in_words, setup_findings
from toolbench.season.watch.verdicts import COMMON_CAUSE, MENDS, REPEAT, Facts, Judgement, causes, is_reason
from toolbench.signal import find_end, find_start, like_run_findings, make_grid
from toolbench.signal.health import run_findings
from toolbench.signal.onset import find_onset

GAP_S = 0.05
"""Time without samples from which a gap counts as a dropout, and GAP_SAMPLES intervals: a level is a mean over blows of 0.1 s."""

GAP_SAMPLES = 5


def judge_recording(
    settings: SeasonSettings,
    entry: RunEntry,
    earlier: Sequence[Run] = (),
    *,
    digests: Mapping[str, str] = EMPTY,
) -> Judgement:
    """Judge one recording by itself, by the plan, and beside the runs made before it.

    Parameters
    ----------
    settings : SeasonSettings
    entry : RunEntry
        Which tool, setup, protocol and logger the recording is of.
    earlier : sequence of Run
        Runs of the same tool, reduced; those excluded count for nothing but `digests`.
    digests : mapping of sha256 to file
        Recordings that the season has already, to know the same content again.

    Returns
    -------
    Judgement
        A recording that cannot be analysed is judged too: no exception is raised for it.
    """
    protocol = settings.protocols[entry.protocol]
    kept = [run for run in earlier if not run.entry.excluded and run.entry.file != entry.file]
    try:
        raw = load_run(settings, entry)
        onset = find_start(raw, protocol)
    except (RecordingError, SignalError) as error:
        return _unusable(settings.folder, entry, error)
    available = float(raw.time_s[-1]) - onset.time_s
    like = [run for run in kept if _is_like(run, entry, settings)]
    short = _too_short(entry, protocol, available, like, raw)
    if short is not None:
        return Judgement(verdict="repeat", reasons=(short,), start=raw.start)
    run = _reduce(settings, raw, protocol, onset, available)
    found = list(run.findings)
    found += _gaps(raw, onset, protocol, available)
    found += _conditions(run, protocol)
    found += setup_findings(settings, raw, run, kept, like)
    found += [one for one in like_run_findings([*like, run]) if run.id in one.subjects]
    found += _same_content(run, digests)
    # A recording that has just arrived has no day in runs.csv yet; the last calibration is the one in force.
    found += [one for one in calibration_findings(settings, [run]) if one.code != "run-undated"]
    if is_cut(settings.folder / entry.file):
        found.append(_finding("cut-last-row", "note", "the file ends inside its last row", "", entry))
    seen_before = frozenset(one.code for other in like for one in other.findings)
    ordered = worst_first(list(dict.fromkeys(found)))
    reasons = causes([one for one in ordered if is_reason(one, seen_before)])
    reasons = tuple(replace(one, mend=MENDS.get(one.code, one.mend)) for one in reasons)
    facts = _facts(run, like, protocol)
    told = tuple(
        one
        for one in ordered
        if not is_reason(one, seen_before)
        and (one.severity != "note" or one.code == "cut-last-row" or one.code in COMMON_CAUSE)
    )
    level = _level(facts, entry) if facts is not None and not reasons else []
    reasons += tuple(one for one in level if one.code in REPEAT)
    told += tuple(one for one in level if one.code not in REPEAT)
    return Judgement(
        verdict="repeat" if reasons else "keep",
        reasons=reasons,
        told=told,
        facts=facts,
        run=run,
        start=raw.start,
    )


def judge_file(settings: SeasonSettings, file: str, missing: str, logger: Logger | None = None) -> Judgement:
    """Judge what can be judged of a recording of which nobody said what it is of: `missing` says what nobody said."""
    entry = RunEntry(run=Path(file).stem, file=file, tool="", setup="", protocol="", logger="")
    try:
        stay_inside(settings, entry)
        log = read_log(settings.folder / file, logger=logger)
        guessed = guess_channels(log)
        column = guessed.get("torque") or guessed.get("force")
        found: list[Finding] = []
        if column is not None:
            found = _health(log.data.index.to_numpy(dtype=float), log.data[column].to_numpy(dtype=float))
    except (RecordingError, SignalError) as error:
        return _unusable(settings.folder, entry, error)
    reasons = tuple(
        replace(one, file=file) for one in found if one.code in ("clipped", "dropout", "frozen", "zero-shift")
    )
    if reasons:
        return Judgement(verdict="repeat", reasons=reasons, start=log.time.start)
    return Judgement(verdict="look", reasons=(_finding("not-said", "wrong", missing, "", entry),), start=log.time.start)


def _health(time_s: Floats, values: Floats) -> list[Finding]:
    onset = find_onset(time_s, values)
    after = time_s - onset.time_s
    interval = float(after[-1] - after[0]) / (after.size - 1)
    return run_findings(
        after,
        {"torque": values},
        "torque",
        "",
        onset=onset,
        duration_s=float(after[-1]),
        sample_interval_s=interval,
    )


def _is_like(run: Run, entry: RunEntry, settings: SeasonSettings) -> bool:
    """Whether a run made before is of the same tool, setup and protocol, on the same rig and filter."""
    other, logger = run.entry, settings.loggers[entry.logger]
    same = (other.tool, other.setup, other.protocol) == (entry.tool, entry.setup, entry.protocol)
    return same and (run.rig, run.filter) == (logger.rig, logger.filter)


def _finding(code: str, severity: str, message: str, mend: str, entry: RunEntry, line: int | None = None) -> Finding:
    return Finding(
        code=code,
        severity=severity,  # type: ignore[arg-type]
        kind="data",
        message=message[:1].upper() + message[1:] + ("" if message.endswith(".") else "."),
        mend=mend,
        subjects=(entry.run,),
        file=entry.file,
        line=line,
    )


FEWEST_LINES = 12
"""A file of fewer lines holds no run, whatever bench.toml says of its columns."""


def _unusable(folder: Path, entry: RunEntry, error: RecordingError | SignalError) -> Judgement:
    """A recording that cannot be read or has no start; or one that bench.toml does not fit, which no repeat would mend."""
    fault = error.faults[0]
    if (fault.key is not None or fault.code == "settings") and has_lines(folder / entry.file, FEWEST_LINES):
        code, verdict = "settings-do-not-fit", "look"
    else:
        lacks = "no-onset" if isinstance(error, SignalError) else "unreadable"
        code, verdict = fault.code if fault.code in REPEAT else lacks, "repeat"
    reason = _finding(code, "wrong", fault.message, MENDS.get(code, fault.mend or ""), entry, fault.line)
    return Judgement(verdict=verdict, reasons=(reason,))  # type: ignore[arg-type]


def _too_short(
    entry: RunEntry, protocol: Protocol, available: float, like: Sequence[Run], raw: RawRun
) -> Finding | None:
    """Whether the recording ends before the last mark or window, or well before those it is to be compared with."""
    interval = float(raw.time_s[-1] - raw.time_s[0]) / (len(raw.time_s) - 1)
    wanted = protocol.duration_s
    if wanted is not None and available < wanted - 2 * interval:
        return _finding(
            "cut-short",
            "wrong",
            f"stops {available:.3g} s after the start, the protocol takes {wanted:.3g} s",
            "record until after the tool has stopped",
            entry,
        )
    if wanted is None and like:
        middle = statistics.median(run.available_s for run in like)
        if available < EARLY_SHARE * middle:
            return _finding(
                "run-ends-early",
                "doubtful",
                f"stops {available:.3g} s after the start, the runs before it last {middle:.3g} s",
                "record as long as before",
                entry,
            )
    return None


def _reduce(settings: SeasonSettings, raw: RawRun, protocol: Protocol, onset: Onset, available: float) -> Run:
    """The run by itself, on the time base that a report of this run alone would have."""
    shortest = available if protocol.duration_s is not None else min(available, find_end(raw, protocol, onset))
    timing = find_timing(protocol, shortest)
    interval = float(raw.time_s[-1] - raw.time_s[0]) / (len(raw.time_s) - 1)
    return reduce_raw(settings, protocol, raw, onset, timing, make_grid(timing.duration_s, interval))


def _gaps(raw: RawRun, onset: Onset, protocol: Protocol, available: float) -> list[Finding]:
    """The longest time without samples between the rest and the end of the run."""
    end = protocol.duration_s if protocol.duration_s is not None else round_down(available)
    first, last = np.searchsorted(raw.time_s, (onset.time_s - 0.5, onset.time_s + end))
    steps = np.diff(raw.time_s[first : last + 1])  # one sample more: a gap may swallow the end of the run
    if not steps.size:
        return []
    longest = int(np.argmax(steps))
    if steps[longest] < max(GAP_S, GAP_SAMPLES * float(np.median(steps))):
        return []
    after = float(raw.time_s[first + longest]) - onset.time_s
    message = f"no samples for {steps[longest]:.2g} s, from {after:.2f} s after the start on"
    return [_finding("dropout", "wrong", message, "look at the logger and its cable", raw.entry)]


def _conditions(run: Run, protocol: Protocol) -> list[Finding]:
    """The pressures that the protocol asks for, at rest and while the tool runs."""
    found: list[Finding] = []
    conditions = run.conditions
    asked: tuple[tuple[str, Hold | None, bool | None, float | None, str], ...] = (
        ("rest", protocol.rest, conditions.rest_met, conditions.rest_value, "at rest before the start"),
        ("hold", protocol.hold, conditions.hold_met, conditions.hold_value, "while the tool runs"),
    )
    for name, hold, met, value, when in asked:
        if hold is None or met:
            continue
        label = hold.channel.replace("_", " ")
        if value is None:
            message, mend = f"{label} {when} is not recorded, nobody can say it was held", f"record {hold.channel}"
            found.append(_finding(f"{name}-not-recorded", "doubtful", message, mend, run.entry))
            continue
        message = f"{label} {when} is {in_words(value, hold.channel)}, asked for {in_words(hold.at, hold.channel)}, give or take {in_words(hold.within, hold.channel)}"
        found.append(_finding(f"{name}-off-target", "doubtful", message, "set the supply again", run.entry))
    return found


def _same_content(run: Run, digests: Mapping[str, str]) -> list[Finding]:
    other = digests.get(run.digest)
    if other is None or other == run.entry.file:
        return []
    message = f"the same bytes as {other}: the logger wrote the old run again, or the file was copied"
    return [_finding("same-recording", "wrong", message, "find the recording that is missing", run.entry)]


LEVEL_SHARE, LEVEL_SCATTERS, LEVEL_RUNS = 0.05, 4.0, 3
"""A level away from the mean of so many earlier runs by more than this share, and so many times their scatter, is told."""


FAR_OFF = 2.0
"""Half or twice the mean of the runs before it is no scatter of a tool (common practice, no source)."""


def _level(facts: Facts, entry: RunEntry) -> list[Finding]:
    """A level unlike those of the runs before it: no reason to leave it out, and one to look for a cause now."""
    if len(facts.before) < LEVEL_RUNS:
        return []
    mean = statistics.fmean(facts.before)
    away, scatter = facts.value - mean, statistics.stdev(facts.before)
    if not mean or abs(away) <= max(LEVEL_SHARE * abs(mean), LEVEL_SCATTERS * scatter):
        return []
    word = "above" if away > 0 else "below"
    message = f"the level is {100 * abs(away / mean):.1f} % {word} the {len(facts.before)} runs before it"
    if not 1 / FAR_OFF < facts.value / mean < FAR_OFF:
        return [_finding("level-far-off", "wrong", message, MENDS["level-far-off"], entry)]
    return [_finding("level-differs", "note", message, "look whether it is this tool on this setup", entry)]


def _facts(run: Run, like: Sequence[Run], protocol: Protocol) -> Facts | None:
    """The sustained mean of the first response, else its last mark; and how it stands beside the runs kept before."""
    response = next((one.response for one in run.metrics if one.metric in ("sustained", "at_mark")), None)
    if response is None:
        return None
    candidates = [one for one in run.metrics if one.response == response and math.isfinite(one.value)]
    chosen = next((one for one in candidates if one.metric == "sustained"), None)
    chosen = chosen or next((one for one in reversed(candidates) if one.metric == "at_mark"), None)
    if chosen is None:
        return None
    values = [chosen.value]
    for other in like:
        same = other.metric(response, chosen.metric, chosen.at)
        if same is not None and math.isfinite(same.value):
            values.append(same.value)
    mean = statistics.fmean(values)
    scatter = statistics.stdev(values) / abs(mean) if len(values) > 1 and mean else None
    return Facts(
        response=response,
        metric=chosen.metric,
        at=chosen.at,
        value=chosen.value,
        unit=chosen.unit,
        number=len(like) + 1,
        mean=mean if len(values) > 1 else None,
        scatter=scatter,
        of=len(values),
        before=tuple(values[1:]),
    )
