"""Type B parts of a metric: what the sensor's certificate, the arm and the onset contribute, run by run or shared.

Which error acts on which metric: a scale error on everything read in the sensor's unit; a zero error on levels, not on
differences within one run (droop) nor on slopes; linearity and resolution on levels, and once per reading on a droop, which
is read twice; none of these on times. Over a slope's window the linearity error is nearly constant and drops out. A scale
error is the same factor in every run on that sensor, so it cancels in a percent difference; a linearity error is not the
same at two readings and is taken as independent from item to item, which is the cautious side.

A calibration line corrects every run on its sensor, so its errors are shared as well: that of its level acts as a zero
error, that of its slope as a scale error about the middle of the points. What the certificate states besides its points stays
added; only a stated linearity takes the place of the points' scatter about the line, since both say how straight it is.

A run that was brought to another epoch of the rig carries the scale that the check standard was read with there, since its own
drops out of the link; the link's means are sources that all runs brought over it share.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from toolbench.metrology import Row, Source
from toolbench.quantities import KINDS
from toolbench.records.calibration import CalibrationLine, Share
from toolbench.records.runs import Run
from toolbench.records.settings import Certificate, SeasonSettings
from toolbench.season.calibrating import LEVELS, certificate_for, day_of, shares
from toolbench.season.departures import departure_parts
from toolbench.season.links import LINKED

SCALED = (*LEVELS, "slope", "droop")
READINGS = {**dict.fromkeys(LEVELS, 1), "droop": 2}
"""How many readings of the sensor a metric is made of: each brings its own linearity and rounding error."""


def sources_of(
    settings: SeasonSettings, item: str, mine: Sequence[Run], runs: Sequence[Run], rows: Sequence[Row]
) -> tuple[tuple[Source, ...], ...]:
    """The parts that act on each row of one item with the runs `mine`; all `runs` tell what the level depends on."""
    protocol, groups = settings.protocols[mine[0].entry.protocol], list(cells_of(runs).values())
    return tuple(
        (
            *parts_of(settings, item, mine, row.response, row.metric, row.at),
            *departure_parts(protocol, groups, mine, row.response, row.metric, row.at),
        )
        for row in rows
    )


def cells_of(runs: Iterable[Run]) -> dict[tuple[str, str], list[Run]]:
    """The runs of each tool and setup."""
    cells: dict[tuple[str, str], list[Run]] = defaultdict(list)
    for run in runs:
        cells[(run.entry.tool, run.entry.setup)].append(run)
    return cells


def parts_of(
    settings: SeasonSettings, item: str, runs: Sequence[Run], response: str, metric: str, at: float | None
) -> tuple[Source, ...]:
    """The parts that act on one metric of one item, in the metric's unit, besides the scatter of its repeats."""
    parts: list[Source] = []
    if metric in SCALED:
        parts += _sensor_parts(settings, item, runs, response, metric)
        parts += _line_parts(settings, item, runs, response, metric)
        parts += _arm_parts(settings, runs, response)
    if metric in LINKED:
        parts += _link_parts(runs, response, metric, at)
    parts += _run_parts(runs, response, metric, at)
    return tuple(parts)


def _link_parts(runs: Sequence[Run], response: str, metric: str, at: float | None) -> list[Source]:
    """The check standard's means that linked runs rest on, each weighed by its share of the item's runs with a value."""
    valued = [run for run in runs if (m := run.metric(response, metric, at)) is not None and math.isfinite(m.value)]
    found: dict[str, Source] = {}
    for part in (part for run in valued if response in run.links for part in run.links[response].parts):
        before = found[part.source].relative if part.source in found else 0.0
        found[part.source] = Source(
            source=part.source,
            label=part.label,
            relative=before + part.relative / len(valued),
            degrees_of_freedom=part.degrees_of_freedom,
        )
    return list(found.values())


def _read_with(run: Run, response: str) -> tuple[str | None, date | None]:
    """The sensor whose scale a run's response carries, and the day that picks its calibration."""
    link = run.links.get(response)
    if link is not None:
        return link.sensor or None, link.day
    return run.sensors.get(response), day_of(run.entry)


def _certificates(
    settings: SeasonSettings, read: Iterable[tuple[str | None, date | None]]
) -> list[tuple[str, Certificate]]:
    found: dict[tuple[str, str], Certificate] = {}
    for sensor, day in read:
        certificate = certificate_for(settings.sensors[sensor], day) if sensor is not None else None
        if sensor is not None and certificate is not None:
            found[(sensor, certificate.id)] = certificate
    return [(sensor, certificate) for (sensor, _), certificate in found.items()]


def _sensor_parts(settings: SeasonSettings, item: str, runs: Sequence[Run], response: str, metric: str) -> list[Source]:
    parts: list[Source] = []
    certificates = _certificates(settings, [(run.sensors.get(response), day_of(run.entry)) for run in runs])
    for sensor, certificate in _certificates(settings, [_read_with(run, response) for run in runs]):
        # Runs spread over two certificates share each error only in part; counting each in full is the cautious side.
        if certificate.scale:
            name = f"{sensor}/{certificate.id}"
            parts.append(Source(source=f"scale/{name}", label=f"scale of {sensor}", relative=certificate.scale))
    arm = _arm_length(settings, runs, response) if _is_by_arm(settings, runs, response) else 1.0
    each = arm * math.sqrt(READINGS.get(metric, 0))
    for sensor, certificate in certificates:
        name = f"{sensor}/{certificate.id}"
        if certificate.zero and metric in LEVELS:
            per_run = certificate.zero_per == "run"
            parts.append(
                Source(
                    source=f"zero/{name}",
                    label=f"zero of {sensor}, per {certificate.zero_per}",
                    absolute=certificate.zero * arm,
                    per_run=per_run,
                    uncertainty=certificate.zero,
                    unit=KINDS[settings.sensors[sensor].quantity].si_unit,
                )
            )
        limits = settings.sensors[sensor].range
        if each and certificate.linearity_limit and limits is not None:
            parts.append(
                Source(
                    source=f"linearity/{name}/{item}",
                    label=f"linearity of {sensor}",
                    absolute=certificate.linearity_limit * (limits[1] - limits[0]) * each / math.sqrt(3),
                    distribution="rectangular",
                )
            )
        if each and certificate.resolution:
            parts.append(
                Source(
                    source=f"resolution/{name}",
                    label=f"resolution of {sensor}",
                    absolute=certificate.resolution * each / math.sqrt(12),
                    distribution="rectangular",
                    per_run=True,
                    resolution=True,
                )
            )
    return parts


def _line_parts(settings: SeasonSettings, item: str, runs: Sequence[Run], response: str, metric: str) -> list[Source]:
    """What the calibration lines leave open, each weighed by its share of the runs' corrections."""
    read = [_read_with(run, response) for run in runs]
    named = {sensor for sensor, _ in read if sensor is not None}
    arm = _arm_length(settings, runs, response) if _is_by_arm(settings, runs, response) else 1.0
    parts: list[Source] = []
    for name in sorted(named):
        sensor = settings.sensors[name]
        acting = _Acting(
            item=item,
            arm=arm,
            is_level=metric in LEVELS,
            readings=READINGS.get(metric, 0),
            unit=KINDS[sensor.quantity].si_unit,
        )
        mine = [shares(sensor, day) for which, day in read if which == name]
        lines: dict[str, tuple[CalibrationLine, float]] = {}
        for share in (share for one in mine for share in one):
            before = lines.get(share.certificate, (share.line, 0.0))[1]
            lines[share.certificate] = (share.line, before + share.share / len(runs))
        for certificate, (line, weight) in lines.items():
            stated = next(c.linearity_limit for c in sensor.certificates if c.id == certificate)
            parts += acting.line(f"{name}/{certificate}", name, line, weight, straight=stated is not None)
        parts += acting.drifts(name, mine, sorted({str(day) for _, day in read}), len(runs))
    return parts


@dataclass(frozen=True, slots=True, kw_only=True)
class _Acting:
    """How the errors of a line act on one metric of one item: in full on levels, by their slope alone on what differences."""

    item: str
    arm: float
    is_level: bool
    readings: int
    unit: str
    """Of the sensor."""

    def line(self, place: str, sensor: str, line: CalibrationLine, weight: float, *, straight: bool) -> list[Source]:
        dof = float(line.degrees_of_freedom)
        # The two members of one fit have its degrees of freedom together: `#` marks them as such.
        found = [
            replace(
                self._shared(f"line/{place}#0", f"calibration line of {sensor}, its level", line, weight, (line.offset_uncertainty, 0.0)),
                degrees_of_freedom=dof, value=line.offset, uncertainty=line.offset_uncertainty, unit=self.unit,
            ),
            replace(
                self._shared(f"line/{place}#1", f"calibration line of {sensor}, its slope", line, weight, (0.0, line.slope_uncertainty)),
                degrees_of_freedom=dof, value=line.slope, uncertainty=line.slope_uncertainty, unit="1",
            ),
            replace(
                self._shared(f"reference/{place}", f"reference that {sensor} was calibrated with", line, weight, (line.reference_offset, line.reference_slope)),
                value=0.0, uncertainty=line.reference_offset, unit=self.unit,
            ),
        ]  # fmt: skip
        if self.readings and not straight:
            found.append(
                Source(
                    source=f"straightness/{place}/{self.item}",
                    label=f"{sensor} about its calibration line",
                    absolute=weight * line.residual_sd * self.arm * math.sqrt(self.readings),
                    degrees_of_freedom=dof,
                )
            )
        return [one for one in found if one.relative or one.absolute]

    def _shared(
        self, source: str, label: str, line: CalibrationLine, weight: float, error: tuple[float, float]
    ) -> Source:
        relative, absolute = line.in_corrected(*error)
        return Source(
            source=source,
            label=label,
            relative=weight * relative,
            absolute=weight * absolute * self.arm if self.is_level else 0.0,
        )

    def drifts(
        self, sensor: str, runs: Sequence[tuple[Share, ...]], days: Sequence[str], count: int
    ) -> Iterable[Source]:
        """Half of the drift between two calibrations. A drift need not be steady, so only runs of the same days share it."""
        pairs = {(one[0].certificate, one[1].certificate): one for one in runs if len(one) == 2}
        for ids, (first, last) in pairs.items():
            part = sum(1 for one in runs if tuple(share.certificate for share in one) == ids) / count
            gain = last.line.gain / first.line.gain
            lift = last.line.intercept - gain * first.line.intercept
            width = part / (2.0 * math.sqrt(3))
            yield Source(
                source=f"drift/{sensor}/{ids[0]}/{ids[1]}/{','.join(days)}",
                label=f"drift of {sensor} between its calibrations",
                relative=width * (gain - 1.0),
                absolute=width * lift * self.arm if self.is_level else 0.0,
                distribution="rectangular",
            )


def _is_by_arm(settings: SeasonSettings, runs: Sequence[Run], response: str) -> bool:
    logger = settings.loggers[runs[0].entry.logger]
    force = logger.channels.get("force")
    return response == "torque" and "torque" not in logger.channels and force is not None and force.arm is not None


def _arm_length(settings: SeasonSettings, runs: Sequence[Run], response: str) -> float:
    force = settings.loggers[runs[0].entry.logger].channels["force"]
    return force.arm.length_m if force.arm is not None else 1.0


def _arm_parts(settings: SeasonSettings, runs: Sequence[Run], response: str) -> list[Source]:
    if not _is_by_arm(settings, runs, response):
        return []
    logger = settings.loggers[runs[0].entry.logger]
    arm = logger.channels["force"].arm
    if arm is None or not arm.standard_uncertainty_m:
        return []
    relative = arm.standard_uncertainty_m / arm.length_m
    return [
        Source(
            source=f"arm/{logger.id}",
            label="length of the arm",
            relative=relative,
            value=arm.length_m,
            uncertainty=arm.standard_uncertainty_m,
            unit="m",
        )
    ]


def _run_parts(runs: Sequence[Run], response: str, metric: str, at: float | None) -> list[Source]:
    """Parts that each run draws anew: the scatter of repeats holds them."""
    found = [(run, m) for run in runs if (m := run.metric(response, metric, at)) is not None]
    onset = _typical([m.onset_uncertainty for _, m in found])
    window = _typical([m.window_uncertainty for _, m in found])
    parts: list[Source] = []
    if onset:
        when = _typical([run.onset.standard_uncertainty_s for run, _ in found])
        parts.append(
            Source(
                source=f"onset/{response}",
                label="onset of the run",
                absolute=onset,
                per_run=True,
                uncertainty=when or None,
                unit="s" if when else "",
            )
        )
    if window:
        parts.append(
            Source(source=f"window/{response}", label="noise within the window", absolute=window, per_run=True)
        )
    return parts


def _typical(values: Sequence[float]) -> float:
    """Root of the mean square."""
    return math.sqrt(sum(v * v for v in values) / len(values)) if values else 0.0
