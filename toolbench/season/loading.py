"""From one logger file to a RawRun in SI: columns found, units converted once, force turned into torque."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from difflib import get_close_matches

import numpy as np

from toolbench.errors import Fault, RecordingError
from toolbench.logs import Log, large_columns, read_log
from toolbench.logs.kept.known import Known
from toolbench.quantities import QuantityError, channel_quantity, unit_factor
from toolbench.records.calibration import Correction
from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, RawRun
from toolbench.records.settings import Channel, Logger, RunEntry, SeasonSettings
from toolbench.season.calibrating import correction_for

HELD_BYTES = 150_000_000
"""Most that the samples of one large file may take; neighbours in a longer one are averaged. 3.7 million of four channels fit."""


def load_run(settings: SeasonSettings, entry: RunEntry, known: Known | None = None) -> RawRun:
    """Read one recording and convert its channels to SI.

    Parameters
    ----------
    settings, entry
        Which file, and what is known of its logger.
    known : Known, optional
        The file's digest where it is known already; it is then not worked out again.

    Raises
    ------
    RecordingError
        The file is missing or unreadable, a channel's column or unit is not there, time does not rise, or the file is no
        longer in the state of `known`.
    """
    logger = settings.loggers[entry.logger]
    path = settings.folder / entry.file
    stay_inside(settings, entry)
    large = large_columns(path, logger=logger)
    columns = None if large is None else _wanted(large, logger)
    log = read_log(path, logger=logger, columns=columns, budget=HELD_BYTES, with_digest=known is None)
    names = log.names if large is None else large
    if known is not None and not known.is_as_it_was():
        raise RecordingError(
            Fault("changed while it was read", file=entry.file, mend="read it again when the logger has closed it")
        )
    _refuse_steps_back(log, entry)
    channels: dict[str, Floats] = {}
    extremes: dict[str, tuple[Floats, Floats]] = {}
    units: dict[str, str] = {}
    sensors: dict[str, str] = {}
    missing: list[Finding] = []
    response = set(settings.protocols[entry.protocol].response)
    if "torque" in response and "torque" not in logger.channels:
        response = (response - {"torque"}) | {"force"}
    for channel in logger.channels.values():
        column = _find_column(names, channel.column)
        if column is None:
            fault = _no_column(names, log.dialect.header_line, channel, entry)
            if channel.name in response:
                raise RecordingError(fault)
            missing.append(_absent(fault, channel, entry))
            continue
        values = _numbers(log, column, channel, entry)
        to_si, units[channel.name] = _converter(log, column, channel, entry)
        if channel_quantity(channel.name):
            to_si = _corrected(to_si, correction_for(settings, channel.sensor, entry))
        channels[channel.name] = to_si(values)
        if log.thinned is not None and channel.name in response:
            ends = [to_si(frame[column].to_numpy()) for frame in (log.thinned.low, log.thinned.high)]
            extremes[channel.name] = (np.minimum(*ends), np.maximum(*ends))
        if channel.sensor:
            sensors[channel.name] = channel.sensor
    _torque_from_force(logger, channels, extremes, units, sensors)
    # Notes on how a file was read are for `inspect`; a report carries what touches its numbers.
    findings = tuple(
        Finding(
            code=found.code,
            severity=found.severity,
            kind=found.kind,
            message=_sentence(found.message),
            mend=found.mend,
            subjects=(entry.run,),
            file=entry.file,
            line=found.line,
        )
        for found in log.findings
        if found.severity != "note"
    )
    return RawRun(
        entry=entry,
        time_s=np.asarray(log.data.index, dtype=float),
        channels=channels,
        units=units,
        sensors=sensors,
        digest=log.digest if known is None else known.digest,
        findings=(*findings, *missing),
        start=log.time.start,
        every=log.thinned.every if log.thinned else 1,
        extremes=extremes,
    )


def _sentence(text: str) -> str:
    """What reading found, as a sentence: on a page others stand beside it."""
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _wanted(names: Mapping[str, str], logger: Logger) -> list[str]:
    """The columns of the logger's channels that are there, each once."""
    found = (_find_column(names, channel.column) for channel in logger.channels.values())
    return list(dict.fromkeys(column for column in found if column is not None))


def stay_inside(settings: SeasonSettings, entry: RunEntry) -> None:
    """A link must not lead a recording out of the season: what is analysed is what the folder holds. Raises RecordingError."""
    root = settings.folder.resolve()
    try:
        target = (settings.folder / entry.file).resolve()
    except (OSError, RuntimeError):  # a RuntimeError up to Python 3.12
        raise RecordingError(
            Fault(
                "is a link that leads back to itself",
                file=entry.file,
                mend="copy the file into the season",
                code="settings",
            )
        ) from None
    if not target.is_relative_to(root):
        raise RecordingError(
            Fault(
                "leads out of the season folder through a link",
                file=entry.file,
                mend="copy the file into the season",
                code="settings",
            )
        )


def _refuse_steps_back(log: Log, entry: RunEntry) -> None:
    index = np.asarray(log.data.index, dtype=float)
    if len(index) < 2:
        raise RecordingError(Fault(f"holds {len(index)} samples; a run needs many", file=entry.file))
    steps = np.diff(index)
    line = (log.time.steps_back or log.time.repeats or (None,))[0]
    if log.thinned is not None and line is not None:
        # An average may rise where its samples do not.
        place, word = f"in line {line}", "steps back" if log.time.steps_back else "stands still"
    elif np.all(steps > 0):
        return
    else:
        where = int(np.argmax(steps <= 0))
        place, word = f"at {index[where + 1]:.6g} s", "steps back" if steps[where] < 0 else "stands still"
    raise RecordingError(
        Fault(
            f"time {word} {place}, so no run can be cut from it",
            file=entry.file,
            line=line,
            mend="record again, or leave the run out with exclude and a reason in runs.csv",
        )
    )


def _find_column(names: Mapping[str, str], wanted: str) -> str | None:
    """A column by its name as in the file, or by that name without its bracketed unit."""
    wanted = wanted.strip()
    for column, name in names.items():
        if wanted in (name.strip(), column):
            return column
    bare = wanted.rpartition("[")[0].strip() or wanted.rpartition("(")[0].strip()
    return bare if bare and bare in names else None


def _no_column(names: Mapping[str, str], header_line: int | None, channel: Channel, entry: RunEntry) -> Fault:
    near = get_close_matches(channel.column, list(names.values()), n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"columns: {', '.join(names.values())}"
    return Fault(
        f"has no column {channel.column!r} for channel {channel.name}",
        file=entry.file,
        line=header_line,
        mend=f"{hint} (channels of logger {entry.logger!r} in bench.toml)",
        code="settings",
    )


def _absent(fault: Fault, channel: Channel, entry: RunEntry) -> Finding:
    return Finding(
        code="channel-missing",
        severity="doubtful",
        kind="data",
        message=f"Column {channel.column!r} for channel {channel.name} is not in the file.",
        mend=fault.mend or "",
        subjects=(entry.run,),
        file=entry.file,
        line=fault.line,
    )


def _numbers(log: Log, column: str, channel: Channel, entry: RunEntry) -> Floats:
    series = log.data[column]
    try:
        return np.asarray(series.to_numpy(dtype=float))
    except (TypeError, ValueError):
        raise RecordingError(
            Fault(
                f"column {channel.column!r} (channel {channel.name}) holds text, {series.iloc[0]!r} for one",
                file=entry.file,
                mend="name a column of numbers",
            )
        ) from None


def _converter(log: Log, column: str, channel: Channel, entry: RunEntry) -> tuple[Callable[[Floats], Floats], str]:
    """What turns the column's numbers into the channel's, and the SI unit that they then have."""

    def as_they_are(values: Floats) -> Floats:
        return -values if channel.invert else values

    quantity = channel_quantity(channel.name) or None
    unit = channel.unit or log.units.get(column, "")
    if not unit:
        if quantity is None:
            return as_they_are, ""
        raise RecordingError(
            Fault(
                f"column {channel.column!r} (channel {channel.name}) has no unit",
                file=entry.file,
                line=log.dialect.header_line,
                mend=f'say it in bench.toml: channels.{channel.name} = {{ column = "{channel.column}", unit = "..." }}',
                code="settings",
            )
        )
    try:
        factor = unit_factor(unit, quantity)
    except QuantityError as error:
        if quantity is None:
            return as_they_are, unit
        raise RecordingError(
            Fault(f"column {channel.column!r} (channel {channel.name}): {error}", file=entry.file, code="settings")
        ) from None

    def to_si(values: Floats) -> Floats:
        si = values * factor.scale + factor.offset
        return -si if channel.invert else si

    return to_si, factor.si_unit


def _corrected(to_si: Callable[[Floats], Floats], correction: Correction | None) -> Callable[[Floats], Floats]:
    """Readings in SI, corrected by the calibration line where there is one."""
    if correction is None:
        return to_si
    return lambda values: to_si(values) * correction.gain + correction.intercept


def _torque_from_force(
    logger: Logger,
    channels: dict[str, Floats],
    extremes: dict[str, tuple[Floats, Floats]],
    units: dict[str, str],
    sensors: dict[str, str],
) -> None:
    force = logger.channels.get("force")
    if force is None or force.arm is None or "torque" in channels or "force" not in channels:
        return
    channels["torque"] = channels["force"] * force.arm.length_m
    if "force" in extremes:
        low, high = extremes["force"]
        extremes["torque"] = (low * force.arm.length_m, high * force.arm.length_m)
    units["torque"] = "N*m"
    if "force" in sensors:
        sensors["torque"] = sensors["force"]
