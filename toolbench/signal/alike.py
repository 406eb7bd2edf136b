"""Runs that should be alike: a wrong unit or a zero of its own in one of them shows beside the others."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence

import numpy as np

from toolbench.records.findings import Finding
from toolbench.records.runs import Run

UNIT_FACTORS = {
    1.3558: "N·m and ft·lbf",
    4.4482: "N and lbf",
    6.8948: "kPa and psi",
    9.80665: "N and kgf, or bar and MPa",
    14.504: "bar and psi",
    60.0: "a minute and a second (L/min and L/s)",
    1000.0: "a unit and its thousandth (kPa and MPa, N and kN, s and ms)",
}
"""Factors between units that are mistaken for one another (from NIST SP 811, Appendix B, five digits; 60 and 1000 by
definition). Bar and MPa, a factor of 10, lie too near kgf to be told apart."""

NEAR = 0.05
"""A ratio this close to a factor, as a natural logarithm; repeats of one tool scatter by 4 %."""

LEAST_BESIDE = 4.0
"""Flow, speed and current change with load and supply; the smaller factors are looked for in the response and the pressure only."""

ALIKE = 0.15
"""The other runs must agree among themselves within this, else no ratio says anything."""

ZERO_SHARE = 0.02
"""A rest level that differs from the others' by more than this share of the rise."""


def like_run_findings(runs: Sequence[Run]) -> list[Finding]:
    """Compare runs of one tool on one setup under one protocol with each other.

    Parameters
    ----------
    runs : two or more reduced runs that should be alike; with two, a finding names both

    Returns
    -------
    list of Finding
        Codes: unit-factor, zero-differs. `subjects` are run ids.
    """
    if len(runs) < 2:
        return []
    responses = dict.fromkeys(metric.response for run in runs for metric in run.metrics if metric.metric == "sustained")
    found: list[Finding] = []
    for response in responses:
        levels = {run.id: _sustained(run, response) for run in runs}
        found += _unit_factors(response, levels, {run.id: run.entry.file for run in runs})
    pressures = {run.id: run.conditions.rest_pressure or run.conditions.flowing_pressure for run in runs}
    found += _unit_factors("inlet_pressure", pressures, {run.id: run.entry.file for run in runs})
    for channel in _beside(runs, responses):
        # What is beside the response differs more from run to run: only factors that no tool makes are looked for.
        means = {run.id: _mean(run, channel) for run in runs}
        found += _unit_factors(channel, means, {run.id: run.entry.file for run in runs}, LEAST_BESIDE)
    return found + _zeros(runs)


def _beside(runs: Sequence[Run], responses: Mapping[str, None]) -> list[str]:
    """Channels of two runs at least that no other comparison looks at; a temperature has no unit that is a factor of another."""
    names = [name for run in runs for name in run.traces]
    skipped = {*responses, "inlet_pressure", "temperature", "trigger"}
    return sorted({name for name in names if names.count(name) > 1} - skipped)


def _mean(run: Run, channel: str) -> float | None:
    """Mean over the second half of the run, where the supply has settled [SI unit]."""
    trace = run.traces.get(channel)
    half = trace.mean[trace.mean.size // 2 :] if trace is not None else np.empty(0)
    half = half[np.isfinite(half)]
    return float(half.mean()) if half.size else None


def _sustained(run: Run, response: str) -> float | None:
    metric = run.metric(response, "sustained")
    return metric.value if metric is not None and math.isfinite(metric.value) else None


def _unit_factors(
    channel: str, levels: dict[str, float | None], files: dict[str, str], least: float = 1.0
) -> list[Finding]:
    known = {run: value for run, value in levels.items() if value is not None and value > 0}
    if len(known) < 2:
        return []
    if len(known) == 2:
        (one, a), (two, b) = known.items()
        factor = _near_factor(max(a, b) / min(a, b), least)
        return [_unit_finding(channel, max(a, b) / min(a, b), factor, (one, two), "")] if factor else []
    found = []
    for run, value in known.items():
        others = [other for name, other in known.items() if name != run]
        middle = statistics.median(others)
        # Most of the others have to agree; a second wrong one among them may not hide the first.
        agreeing = sum(abs(math.log(other / middle)) < ALIKE for other in others)
        ratio = value / middle
        factor = _near_factor(max(ratio, 1 / ratio), least)
        if factor and agreeing > 0.6 * len(others):
            found.append(_unit_finding(channel, ratio, factor, (run,), files[run]))
    return found


def _near_factor(ratio: float, least: float) -> float | None:
    return next((one for one in UNIT_FACTORS if one >= least and abs(math.log(ratio / one)) < NEAR), None)


def _unit_finding(channel: str, ratio: float, factor: float, runs: tuple[str, ...], file: str) -> Finding:
    size = f"{ratio:.4g} times" if ratio >= 1 else f"1/{1 / ratio:.4g} of"
    beside = "the other" if len(runs) == 2 else "the like runs beside it"
    return Finding(
        code="unit-factor",
        severity="wrong",
        kind="data",
        message=f"{channel[0].upper()}{channel[1:]} is {size} that of {beside}: near {factor:.5g}, the factor between {UNIT_FACTORS[factor]}.",
        mend="state the column's unit as the logger wrote it: channels.NAME = { column, unit }",
        subjects=runs,
        file=file,
    )


def _unit(run: Run) -> str:
    """The unit of the response, as printed behind a number."""
    unit = next((one.unit for one in run.metrics if one.metric in ("sustained", "at_mark")), "")
    return f" {unit.replace('*', '·')}" if unit else ""


def _zeros(runs: Sequence[Run]) -> list[Finding]:
    """A rest level unlike that of the others; three runs at least, or nobody can say which one is off."""
    if len(runs) < 3:
        return []
    found = []
    for run in runs:
        others = [other.onset.rest for other in runs if other is not run]
        middle = statistics.median(others)
        spread = statistics.median(abs(other - middle) for other in others)
        away, rise = run.onset.rest - middle, run.onset.highest - run.onset.rest
        if abs(away) > max(ZERO_SHARE * rise, 8 * spread):
            found.append(
                Finding(
                    code="zero-differs",
                    severity="doubtful",
                    kind="data",
                    message=f"The response rests at {run.onset.rest:.4g}{_unit(run)} before the onset, {away:+.4g}{_unit(run)} from the like runs beside it.",
                    mend="check the zero of the sensor before the run",
                    subjects=(run.id,),
                    file=run.entry.file,
                )
            )
    return found
