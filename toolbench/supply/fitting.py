"""Learned from recordings: a tool's demand for air, and the conductance of a piece of line between two recorded pressures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from toolbench.errors import AnalysisError, Fault
from toolbench.metrology.type_a import fit_line, mean_and_sd
from toolbench.quantities import format_number
from toolbench.records.runs import Floats
from toolbench.supply.air import T_ANR
from toolbench.supply.fitted import Fitted, GroupedMean, alike, grouped_mean, with_shared

BAR = 1e5
CLEAR = 0.01
"""A departure from the law is told where chance alone makes one as large with a probability below this."""
SPREAD_TO_TEST = 1.1
"""Ratio of the highest to the lowest inlet pressure from which proportionality can be tested at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandFit:
    """A tool's conductance [m3/(s*Pa) ANR, flow over absolute inlet pressure], and whether flow is proportional to pressure.

    `intercept_m3_s` is the flow that a straight line leaves at no pressure, None where the pressures lie too close together
    to tell; `proportional` is False where it is clearly not zero.
    """

    fitted: Fitted
    judged_by: str
    intercept_m3_s: float | None = None
    intercept_uncertainty_m3_s: float | None = None
    intercept_p: float | None = None

    @property
    def proportional(self) -> bool:
        """Whether nothing speaks against flow in proportion to absolute inlet pressure."""
        return self.intercept_p is None or self.intercept_p >= CLEAR


def fit_demand(
    flow_m3_s: Sequence[float] | Floats,
    inlet_pa_abs: Sequence[float] | Floats,
    setups: Sequence[str] | None = None,
    *,
    flow_scale: float = 0.0,
    pressure_scale: float = 0.0,
    at_inlet: bool = True,
) -> DemandFit:
    """Conductance of a running tool: the mean of flow over absolute inlet pressure, each run by its own means.

    Parameters
    ----------
    flow_m3_s, inlet_pa_abs : shape (runs,)
        Means while the tool runs; flow in the reference state ANR.
    setups
        On which setup each run was made; where setups differ by more than their runs do, they are what is counted. Two setups
        tell poorly whether they differ: where they do so by as much as runs scatter, 95 % intervals hold 86 % (2,000 draws), with
        three setups 92 %, with five 93 %; where they do not, or clearly do, 95 %.
    flow_scale, pressure_scale
        Relative standard uncertainty of the meters' scales, shared by every run.
    at_inlet
        Whether the pressure was tapped at the tool's inlet; elsewhere the conductance is effective, and needs one setup.

    Raises
    ------
    AnalysisError
        With fewer than two runs, or without an inlet pressure on several setups.
    ValueError
        If the columns do not fit each other or hold what is no flow or pressure.

    References
    ----------
    The tool is choked, so flow goes with the absolute pressure ahead of it (ISO 6358-1, choked flow at one temperature).
    """
    flow, pressure = alike("a tool's demand", flow_m3_s, inlet_pa_abs)
    names = tuple(setups) if setups is not None else ("",) * flow.size
    _one_setup(names, at_inlet)
    ratio = flow / pressure
    found = grouped_mean(ratio, names, what="a tool's demand")
    relative, dof = with_shared(
        found.standard_uncertainty / found.mean, found.degrees_of_freedom, (flow_scale, pressure_scale)
    )
    test = _intercept(ratio, pressure, names, found)
    fitted = Fitted(
        value=found.mean,
        standard_uncertainty=relative * found.mean,
        degrees_of_freedom=dof,
        residuals=tuple((ratio / found.mean - 1.0).tolist()),
        source="learned",
        note="effective for this setup: no pressure was recorded at the tool's inlet" if not at_inlet else "",
        effective=not at_inlet,
    )
    if test is None:
        return DemandFit(fitted=fitted, judged_by=found.judged_by)
    return DemandFit(
        fitted=fitted,
        judged_by=found.judged_by,
        intercept_m3_s=test[0],
        intercept_uncertainty_m3_s=test[1],
        intercept_p=test[2],
    )


def _one_setup(names: Sequence[str], at_inlet: bool) -> None:
    if not at_inlet and len(set(names)) > 1:
        raise AnalysisError(
            Fault(
                f"without a pressure at the tool's inlet its figures hold for one setup; the runs are from {len(set(names))}",
                mend="record inlet_pressure, or learn from one setup alone",
            )
        )


def _intercept(
    ratio: Floats, pressure: Floats, names: Sequence[str], found: GroupedMean
) -> tuple[float, float, float] | None:
    """Intercept of flow against pressure [m3/s], its standard uncertainty, and how probable chance makes one so far from zero.

    Flow scatters in proportion to itself, so the line is fitted to flow over pressure against one over pressure, where the
    intercept is the slope. Where setups are what counts, their means are the points.
    """
    across, up = 1.0 / pressure, ratio
    if found.judged_by == "setups":
        masks = [np.array([name == one for name in names]) for one in dict.fromkeys(names)]
        across = np.array([mean_and_sd(across[mask])[0] for mask in masks])
        up = np.array([mean_and_sd(up[mask])[0] for mask in masks])
    if across.size < 3 or across.max() < SPREAD_TO_TEST * across.min():
        return None
    line = fit_line(across, up)
    if line.slope_uncertainty == 0:
        return line.slope, 0.0, 1.0 if line.slope == 0 else 0.0
    far = abs(line.slope) / line.slope_uncertainty
    return line.slope, line.slope_uncertainty, 2.0 * float(special.stdtr(line.degrees_of_freedom, -far))


def flow_share(ratio: Floats, critical_pressure_ratio: float | Floats) -> Floats:
    """Flow over choked flow of a restriction at a ratio of outlet to inlet pressure, absolute (ISO 6358-1, the ellipse)."""
    b = critical_pressure_ratio
    beyond = np.clip((np.asarray(ratio, dtype=float) - b) / (1.0 - np.asarray(b)), 0.0, 1.0)
    return np.asarray(np.sqrt(1.0 - beyond**2))


def fit_conductance(
    flow_m3_s: Sequence[float] | Floats,
    upstream_pa_abs: Sequence[float] | Floats,
    downstream_pa_abs: Sequence[float] | Floats,
    setups: Sequence[str] | None = None,
    *,
    critical_pressure_ratio: float,
    critical_pressure_ratio_u: float = 0.05,
    drop_pa: float = 0.0,
    flow_scale: float = 0.0,
    temperature_k: float = T_ANR,
) -> Fitted:
    """Sonic conductance [m3/(s*Pa) ANR] of a piece of line whose pressures at both ends and flow were recorded.

    Parameters
    ----------
    flow_m3_s, upstream_pa_abs, downstream_pa_abs : shape (runs,)
        Means while the tool runs.
    critical_pressure_ratio, critical_pressure_ratio_u
        Stated or assumed, with its standard uncertainty; an assumed one of 0.05 is common practice.
    drop_pa
        Standard uncertainty of the difference of the two gauges, the same in every run: their zeros and scales [Pa].
    flow_scale
        Relative standard uncertainty of the flow meter's scale.
    temperature_k
        Of the air in the line.

    Raises
    ------
    AnalysisError
        Where the drop is below three times its uncertainty: such runs bound the conductance, they do not tell it.
    ValueError
        If the columns do not fit each other, or the ratio is no ratio.

    References
    ----------
    ISO 6358-1: q = C p1 sqrt(T0 / T) sqrt(1 - ((p2 / p1 - b) / (1 - b))^2), choked below b; `elements.Restriction` turned round.
    """
    flow, inlet, outlet = alike("a conductance", flow_m3_s, upstream_pa_abs, downstream_pa_abs)
    if not 0.0 <= critical_pressure_ratio < 1.0:
        raise ValueError(f"a critical pressure ratio lies from 0 to below 1; got {critical_pressure_ratio:g}")
    flow = flow * math.sqrt(temperature_k / T_ANR)
    names = tuple(setups) if setups is not None else ("",) * flow.size
    _drop_is_clear(inlet - outlet, names, drop_pa)

    def conductance(step_pa: float = 0.0, step_b: float = 0.0) -> Floats:
        b = min(max(critical_pressure_ratio + step_b, 0.0), 0.99)
        return np.asarray(flow / (inlet * flow_share((outlet - step_pa) / inlet, b)))

    values = conductance()
    found = grouped_mean(values, names, what="a conductance")

    def half(**step: float) -> float:
        """Half the change of the mean between a step up and a step down, relative."""
        back = {name: -size for name, size in step.items()}
        return 0.5 * float(np.mean(conductance(**step)) - np.mean(conductance(**back))) / found.mean

    shared = (half(step_pa=drop_pa), half(step_b=critical_pressure_ratio_u), flow_scale)
    relative, dof = with_shared(found.standard_uncertainty / found.mean, found.degrees_of_freedom, shared)
    return Fitted(
        value=found.mean,
        standard_uncertainty=relative * found.mean,
        degrees_of_freedom=dof,
        residuals=tuple((values / found.mean - 1.0).tolist()),
        source="learned",
        note=f"with a critical pressure ratio of {critical_pressure_ratio:g} as given",
    )


def _drop_is_clear(drop: Floats, names: Sequence[str], drop_pa: float) -> None:
    found = grouped_mean(drop, names, what="a conductance")
    u = math.hypot(found.standard_uncertainty, drop_pa)
    if not (np.all(drop > 0) and found.mean > 3.0 * u):
        drop_text, u_text = (format_number(x / BAR, 2, unit="bar") for x in (found.mean, u))
        raise AnalysisError(
            Fault(
                f"the pressure drop of {drop_text} is too close to its standard uncertainty of {u_text} to tell a conductance",
                mend="record a greater flow, or pressures further apart along the line",
            )
        )
