"""Which calibration is in force on the day of a run, what it corrects, and what a reader must know of it.

Readings of a sensor with calibration points are corrected by the line through them, before anything else is done with them.
Where the sensor was calibrated again later and not adjusted then, a run in between takes its correction from both lines, in
proportion to time; half of their difference is what may have happened in between (rectangular).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

from toolbench.metrology.calibration import correction_uncertainty
from toolbench.quantities import KINDS, format_number, unit_label
from toolbench.records.calibration import Correction, Share, blend
from toolbench.records.findings import Finding
from toolbench.records.runs import Run
from toolbench.records.settings import Certificate, RunEntry, SeasonSettings, Sensor

LEVELS = ("at_mark", "sustained", "peak", "flowing_pressure", "regulator_needed")
"""Metrics that are readings of the sensor."""

BEYOND = 0.02
"""Readings may pass the calibrated ones by this share of them before it is told."""


def certificate_for(sensor: Sensor, day: date | None) -> Certificate | None:
    """The certificate in force on a day: the last one that begins before it; the last of all where the day is not known."""
    usable = [c for c in sensor.certificates if day is None or c.valid_from is None or c.valid_from <= day]
    return usable[-1] if usable else (sensor.certificates[0] if sensor.certificates else None)


def day_of(entry: RunEntry) -> date | None:
    """The day a run was made, None where nobody wrote it down."""
    return entry.started.date() if entry.started else None


def calibrated_on(certificate: Certificate) -> date | None:
    """The day of a calibration; where only the day is known from which it counts, that one."""
    return certificate.calibrated or certificate.valid_from


def closing(sensor: Sensor, opening: Certificate) -> Certificate | None:
    """The next calibration, where both have points and days and the sensor was not adjusted at it."""
    later = sensor.certificates[sensor.certificates.index(opening) + 1 :]
    if not later or opening.line is None or later[0].line is None or later[0].adjusted:
        return None
    first, last = calibrated_on(opening), calibrated_on(later[0])
    return later[0] if first and last and first < last else None


def shares(sensor: Sensor, day: date | None) -> tuple[Share, ...]:
    """The lines that correct a run of that day, with their shares; empty where the certificate in force has no points."""
    opening = certificate_for(sensor, day)
    if opening is None or opening.line is None:
        return ()
    first = calibrated_on(opening)
    last = closing(sensor, opening)
    end = calibrated_on(last) if last else None
    if last is None or last.line is None or day is None or first is None or end is None:
        return (Share(certificate=opening.id, line=opening.line, share=1.0, day=first),)
    part = min(max((day - first).days / (end - first).days, 0.0), 1.0)
    return (
        Share(certificate=opening.id, line=opening.line, share=1.0 - part, day=first),
        Share(certificate=last.id, line=last.line, share=part, day=end),
    )


def correction_for(settings: SeasonSettings, sensor: str | None, entry: RunEntry) -> Correction | None:
    """What the readings of a sensor are corrected by in one run."""
    return blend(shares(settings.sensors[sensor], day_of(entry))) if sensor else None


def calibration_findings(settings: SeasonSettings, runs: Sequence[Run]) -> list[Finding]:
    """What corrects the readings, sensors that were overdue or not calibrated on the day of a run, sensors nobody stated."""
    used: dict[str, list[Run]] = defaultdict(list)
    unstated: dict[str, list[str]] = defaultdict(list)
    for run in runs:
        for channel, sensor in run.sensors.items():
            if channel in run.traces and run not in used[sensor]:
                used[sensor].append(run)
        for response in {m.response for m in run.metrics if m.metric == "sustained"}:
            if response not in run.sensors:
                unstated[response].append(run.id)
    found = [one for name, mine in used.items() for one in _of_sensor(settings.sensors[name], mine)]
    found += [
        Finding(
            code="sensor-not-stated",
            severity="note",
            kind="calibration",
            message=f"Repeatability only: no sensor is stated for {response}, so its calibration is in no interval.",
            mend="state the sensor in bench.toml; a common scale error cancels in a percent difference",
        )
        for response in unstated
    ]
    return found


def _of_sensor(sensor: Sensor, runs: Sequence[Run]) -> list[Finding]:
    if not sensor.certificates:
        return [
            _finding(
                "calibration-not-stated",
                f"Repeatability only: sensor {sensor.id} has no calibration stated, so none is in any interval.",
                "state scale and zero from its certificate, or its calibration points",
            )
        ]
    found = [*_overdue(sensor, runs), *_before_the_first(sensor, runs), *_undated(sensor, runs)]
    return [*found, *_lines(sensor, runs), *_without_points(sensor, runs), *_beyond(sensor, runs)]


def _finding(code: str, message: str, mend: str, subjects: Sequence[str] = (), *, doubtful: bool = False) -> Finding:
    severity = "doubtful" if doubtful else "note"
    return Finding(
        code=code,
        severity=severity,  # type: ignore[arg-type]
        kind="calibration",
        message=message,
        mend=mend,
        subjects=tuple(dict.fromkeys(subjects)),
    )


def overdue_since(sensor: Sensor, day: date | None) -> date | None:
    """When the sensor's calibration was due, where a run of that day came after it and no later calibration closes it."""
    certificate = certificate_for(sensor, day)
    late = certificate and certificate.due and day and day > certificate.due and closing(sensor, certificate) is None
    return certificate.due if certificate and late else None


def _overdue(sensor: Sensor, runs: Sequence[Run]) -> list[Finding]:
    late: dict[date, list[str]] = defaultdict(list)
    for run in runs:
        if due := overdue_since(sensor, day_of(run.entry)):
            late[due].append(run.id)
    return [
        _finding(
            "calibration-overdue",
            f"Sensor {sensor.id} was due for calibration on {due.isoformat()} and was used after that day.",
            "calibrate it and enter the new certificate; an old one says nothing about later drift",
            ids,
            doubtful=True,
        )
        for due, ids in late.items()
    ]


def _before_the_first(sensor: Sensor, runs: Sequence[Run]) -> list[Finding]:
    """Runs made before the calibration that they are judged by."""
    early: dict[date, list[str]] = defaultdict(list)
    for run in runs:
        day = day_of(run.entry)
        certificate = certificate_for(sensor, day)
        made = calibrated_on(certificate) if certificate else None
        if day and made and day < made:
            early[made].append(run.id)
    return [
        _finding(
            "calibration-later",
            f"Sensor {sensor.id} was not calibrated when it was used: its first calibration is of {made.isoformat()},"
            " and what it was before is taken to be the same.",
            "enter the calibration before it, if there is one",
            ids,
            doubtful=True,
        )
        for made, ids in early.items()
    ]


def _undated(sensor: Sensor, runs: Sequence[Run]) -> list[Finding]:
    """With several certificates the day of a run decides; without one the last is taken."""
    undated = [run.id for run in runs if day_of(run.entry) is None]
    if len(sensor.certificates) < 2 or not undated:
        return []
    return [
        _finding(
            "run-undated",
            f"Sensor {sensor.id} has {len(sensor.certificates)} calibrations, and it is not known on which day the run was made:"
            " the last one is taken.",
            "enter started in runs.csv",
            undated,
            doubtful=True,
        )
    ]


def _readings(sensor: Sensor, runs: Sequence[Run]) -> list[float]:
    """Corrected readings of a sensor, as its runs' levels have them; a lever arm is taken out by nobody, so none then."""
    return [
        metric.value
        for run in runs
        for metric in run.metrics
        if metric.metric in LEVELS
        and run.sensors.get(metric.response) == sensor.id
        and metric.value == metric.value
        and KINDS[sensor.quantity].si_unit == metric.unit
    ]


def _lines(sensor: Sensor, runs: Sequence[Run]) -> list[Finding]:
    """What the readings were corrected by: one sentence for every line, or pair of lines, that runs were corrected by."""
    groups: dict[tuple[str, ...], list[Run]] = defaultdict(list)
    known: dict[tuple[str, ...], tuple[Share, ...]] = {}
    for run in runs:
        lines = shares(sensor, day_of(run.entry))
        key = tuple(one.certificate for one in lines)
        groups[key].append(run)
        known.setdefault(key, lines)
    found: list[Finding] = []
    for key, mine in groups.items():
        if not key:
            continue
        readings = _readings(sensor, mine)
        at = max(readings) if readings else known[key][0].line.highest
        said = [_line_words(sensor, one, at) for one in known[key]]
        found.append(_finding("calibration-line", _joined(sensor, known[key], said, at), "", [run.id for run in mine]))
    return found


def _number(value: float, sensor: Sensor, digits: int = 2, *, signed: bool = False) -> str:
    return format_number(value, digits, unit=unit_label(KINDS[sensor.quantity].si_unit), signed=signed)


def _line_words(sensor: Sensor, share: Share, at: float) -> str:
    line = share.line
    when = f" of {share.day.isoformat()}" if share.day else ""
    reading = (at - line.intercept) / line.gain
    fit = correction_uncertainty(line, reading)
    return (
        f"the calibration{when} ({line.points} points, residual standard deviation {_number(line.residual_sd, sensor)},"
        f" {line.degrees_of_freedom} degrees of freedom; {_number(line.correction(reading), sensor, signed=True)} at"
        f" {_number(at, sensor, 3)}, standard uncertainty of the line there {_number(fit, sensor)})"
    )


def _joined(sensor: Sensor, lines: Sequence[Share], said: Sequence[str], at: float) -> str:
    if len(lines) == 1:
        return (
            f"Readings of sensor {sensor.id} are corrected by the line of {said[0]}. Drift since then is not known from it"
            " and is in the interval as far as scale and zero state it."
        )
    both = blend(lines)
    reading = (at - both.intercept) / both.gain if both else at
    drift = abs(lines[1].line.correction(reading) - lines[0].line.correction(reading))
    return (
        f"Readings of sensor {sensor.id} are corrected in proportion to time between the lines of {said[0]} and {said[1]}:"
        f" it drifted by {_number(drift, sensor)}, half of which is what may lie between (rectangular)."
    )


def _without_points(sensor: Sensor, runs: Sequence[Run]) -> list[Finding]:
    """Runs under a certificate without points, of a sensor that has points elsewhere: they are not corrected, the others are."""
    if not any(certificate.line for certificate in sensor.certificates):
        return []
    bare = [run.id for run in runs if not shares(sensor, day_of(run.entry))]
    if not bare:
        return []
    return [
        _finding(
            "points-missing",
            f"The calibration of sensor {sensor.id} in force has no points, so these readings are not corrected while those"
            " under another calibration of it are.",
            "add points to that certificate",
            bare,
            doubtful=True,
        )
    ]


def _beyond(sensor: Sensor, runs: Sequence[Run]) -> list[Finding]:
    """Readings outside of the references that were applied, where the line is drawn on by faith."""
    lows: list[float] = []
    highs: list[float] = []
    for run in runs:
        for one in shares(sensor, day_of(run.entry)):
            lows.append(one.line.lowest)
            highs.append(one.line.highest)
    readings = _readings(sensor, runs)
    if not highs or not readings:
        return []
    low, high = max(lows), min(highs)
    slack = BEYOND * (high - low)
    outside = [value for value in readings if value > high + slack or value < low - slack]
    if not outside:
        return []
    far = max(outside, key=lambda value: max(value - high, low - value))
    return [
        _finding(
            "beyond-calibration",
            f"Sensor {sensor.id} was read at {_number(far, sensor, 3)} and calibrated from {_number(low, sensor, 3)} to"
            f" {_number(high, sensor, 3)} only; beyond that the line is drawn on.",
            "have it calibrated over the range in use",
            doubtful=True,
        )
    ]
