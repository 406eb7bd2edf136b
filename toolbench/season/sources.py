"""Type B parts of a metric: what the sensor's certificate, the arm and the onset contribute, run by run or shared.

Which error acts on which metric: a scale error on everything read in the sensor's unit; a zero error on levels, not on
differences within one run (droop) nor on slopes; linearity and resolution on levels, and once per reading on a droop, which
is read twice; none of these on times. Over a slope's window the linearity error is nearly constant and drops out. A scale
error is the same factor in every run on that sensor, so it cancels in a percent difference; a linearity error is not the
same at two readings and is taken as independent from item to item, which is the cautious side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from toolbench.metrology import Source
from toolbench.records.runs import Run
from toolbench.records.settings import Certificate, SeasonSettings
from toolbench.season.design import certificate_for

LEVELS = ("at_mark", "sustained", "peak", "flowing_pressure", "regulator_needed")
SCALED = (*LEVELS, "slope", "droop")
READINGS = {**dict.fromkeys(LEVELS, 1), "droop": 2}
"""How many readings of the sensor a metric is made of: each brings its own linearity and rounding error."""


def parts_of(
    settings: SeasonSettings, item: str, runs: Sequence[Run], response: str, metric: str, at: float | None
) -> tuple[Source, ...]:
    """The parts that act on one metric of one item, in the metric's unit, besides the scatter of its repeats."""
    parts: list[Source] = []
    if metric in SCALED:
        parts += _sensor_parts(settings, item, runs, response, metric)
        parts += _arm_parts(settings, runs, response)
    parts += _run_parts(runs, response, metric, at)
    return tuple(parts)


def _certificates(settings: SeasonSettings, runs: Sequence[Run], response: str) -> list[tuple[str, Certificate]]:
    found: dict[tuple[str, str], Certificate] = {}
    for run in runs:
        sensor = run.sensors.get(response)
        if sensor is None:
            continue
        day = run.entry.started.date() if run.entry.started else None
        certificate = certificate_for(settings.sensors[sensor], day)
        if certificate is not None:
            found[(sensor, certificate.id)] = certificate
    return [(sensor, certificate) for (sensor, _), certificate in found.items()]


def _sensor_parts(settings: SeasonSettings, item: str, runs: Sequence[Run], response: str, metric: str) -> list[Source]:
    parts: list[Source] = []
    certificates = _certificates(settings, runs, response)
    arm = _arm_length(settings, runs, response) if _is_by_arm(settings, runs, response) else 1.0
    each = arm * math.sqrt(READINGS.get(metric, 0))
    for sensor, certificate in certificates:
        # Runs spread over two certificates share each error only in part; counting each in full is the cautious side.
        name = f"{sensor}/{certificate.id}"
        if certificate.scale:
            parts.append(Source(source=f"scale/{name}", label=f"scale of {sensor}", relative=certificate.scale))
        if certificate.zero and metric in LEVELS:
            per_run = certificate.zero_per == "run"
            parts.append(
                Source(
                    source=f"zero/{name}",
                    label=f"zero of {sensor}, per {certificate.zero_per}",
                    absolute=certificate.zero * arm,
                    per_run=per_run,
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
    return [Source(source=f"arm/{logger.id}", label="length of the arm", relative=relative)]


def _run_parts(runs: Sequence[Run], response: str, metric: str, at: float | None) -> list[Source]:
    """Parts that each run draws anew: the scatter of repeats holds them."""
    found = [m for run in runs if (m := run.metric(response, metric, at)) is not None]
    parts: list[Source] = []
    for name, label, attribute in (
        ("onset", "onset of the run", "onset_uncertainty"),
        ("window", "noise within the window", "window_uncertainty"),
    ):
        values = [abs(getattr(metric_, attribute)) for metric_ in found]
        if values and any(values):
            typical = math.sqrt(sum(v * v for v in values) / len(values))
            parts.append(Source(source=f"{name}/{response}", label=label, absolute=typical, per_run=True))
    return parts
