"""Torque against its drive by a power law, T proportional to p^n: the exponent learned from runs and held by a prior.

The prior for air is 0.8 +- 0.2 in gauge flowing inlet pressure, derived and weak; three distinct pressures or more move it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import special

from toolbench.metrology.propagation import welch_satterthwaite
from toolbench.metrology.type_a import pooled_sd
from toolbench.records.runs import Floats
from toolbench.supply.fitted import Fitted, alike

Whole = npt.NDArray[np.int64]

PRIOR_AIR = Fitted(value=0.8, standard_uncertainty=0.2, source="prior", note="prior from the trade, derived and weak")
LOWEST_PA = 3e5
"""Gauge flowing inlet pressure below which the power law is not supported."""
DISTINCT_PA = 0.2e5
"""Two settings closer than this are one: it is the usual window of a held pressure."""
FEWEST = 3
"""Distinct drives from which an exponent is learned."""
CLEAR = 0.01
"""The law is said not to fit where chance alone makes a lack of fit as large with a probability below this."""
CONFLICT = 2.5
"""Prior and runs are said to disagree where they lie further apart than this many standard uncertainties."""
_ROUNDING = 1e-9
"""A scatter of the logarithms below this is arithmetic."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExponentFit:
    """The exponent, what runs alone say, and how well a power law fits them.

    `fitted` joins prior and runs; its standard uncertainty holds what a scatter known from few runs leaves open, so its
    degrees of freedom are infinite. `from_runs` is the plain least squares fit with its own degrees of freedom, None where
    nothing can be learned. `runs_weight` is the share of information from the runs. `levels` are each group's torque
    [the response's unit] at `reference` [the drive's unit], their mean drive; None without runs. `lack_of_fit_p` is None where no repeat tells.
    """

    fitted: Fitted
    prior: Fitted
    from_runs: Fitted | None = None
    runs_weight: float = 0.0
    distinct: int = 0
    left_out: int = 0
    lack_of_fit_p: float | None = None
    levels: Mapping[str, float]
    reference: float | None

    @property
    def law_fits(self) -> bool:
        """Whether nothing speaks against a power law."""
        return self.lack_of_fit_p is None or self.lack_of_fit_p >= CLEAR

    @property
    def agrees_with_prior(self) -> bool:
        """Whether what runs alone say is compatible with the prior."""
        if self.from_runs is None:
            return True
        apart = abs(self.from_runs.value - self.prior.value)
        return apart <= CONFLICT * math.hypot(self.from_runs.standard_uncertainty, self.prior.standard_uncertainty)


@dataclass(frozen=True, slots=True)
class _Line:
    """A common slope with a level per group, by least squares in the logarithms."""

    slope: float
    u: float
    dof: float
    residuals: Floats
    lack_of_fit_p: float | None


def fit_exponent(
    pressure_pa: Sequence[float] | Floats,
    torque: Sequence[float] | Floats,
    groups: Sequence[str] | None = None,
    *,
    prior: Fitted = PRIOR_AIR,
    zero_pa: float = 0.0,
    repeatability: tuple[float, float] | None = None,
    at_inlet: bool = True,
) -> ExponentFit:
    """Exponent of torque against gauge flowing inlet pressure.

    Parameters
    ----------
    pressure_pa : shape (runs,)
        Gauge, mean while the tool runs. Runs below 3 bar are left out: the law is not supported there.
    torque : shape (runs,)
        Level of each run.
    groups
        Runs that share a level: a tool's, or a tool's in one block. The exponent is common to all. A group with a single run
        says nothing of it.
    zero_pa
        Standard uncertainty of the gauge's zero, shared by every run [Pa]. A shared scale cancels; the scatter of single
        readings is in the residuals already.
    repeatability
        Relative standard deviation of like runs elsewhere and its degrees of freedom, pooled with the residuals. Three runs at
        three pressures know their own scatter poorly: without it, where runs scatter by 5 %, 95 % intervals hold 88 % (2,000
        draws); where they scatter by 1.5 %, 95 %.
    at_inlet
        Whether the pressure was tapped at the tool's inlet; elsewhere the exponent is effective for the setup.

    Raises
    ------
    ValueError
        If the columns do not fit each other or hold what is no pressure or torque.

    References
    ----------
    Least squares with a level per group, GUM H.3; the joining of a prior with runs by Bayes' rule, JCGM 101 6.4.9.
    """
    pressure, response = alike("an exponent", pressure_pa, torque)
    keep = pressure >= LOWEST_PA
    names = np.array(tuple(groups) if groups is not None else ("",) * pressure.size, dtype=object)
    found = fit_power_law(
        pressure[keep],
        response[keep],
        names[keep].tolist(),
        prior=prior,
        distinct=DISTINCT_PA,
        zero=zero_pa,
        repeatability=repeatability,
    )
    notes = [found.fitted.note]
    left_out = int(np.sum(~keep))
    if left_out:
        notes.append(f"{left_out} {'run' if left_out == 1 else 'runs'} below 3 bar left out")
    if not at_inlet:
        notes.append("effective for this setup: no pressure was recorded at the tool's inlet")
    return _replaced(found, note="; ".join(filter(None, notes)), effective=not at_inlet, left_out=left_out)


def fit_power_law(
    drive: Floats,
    response: Floats,
    groups: Sequence[str],
    *,
    prior: Fitted,
    distinct: float,
    zero: float = 0.0,
    repeatability: tuple[float, float] | None = None,
) -> ExponentFit:
    """`fit_exponent` for any drive: `distinct` parts two settings and `zero` is the shared zero's uncertainty [drive's unit]."""
    x, y = np.log(drive), np.log(response)
    settings = _settings(drive, distinct)
    count = len(set(settings.tolist()))
    index = _numbered(groups)
    line = _fit(x, y, index, settings, repeatability) if count >= FEWEST else None
    if line is None:
        note = _why_not_learned(count)
        fitted = Fitted(value=prior.value, standard_uncertainty=prior.standard_uncertainty, source="prior", note=note)
        levels, reference = _levels(x, y, groups, fitted.value)
        return ExponentFit(fitted=fitted, prior=prior, distinct=count, levels=levels, reference=reference)
    moved = _slope(np.log(drive + zero), y, index) - line.slope if zero else 0.0
    u = math.hypot(line.u, moved)
    dof = welch_satterthwaite([line.u, moved], [line.dof, math.inf])
    mean, sd = joined(line.slope, u, dof, prior)
    residuals = tuple(line.residuals.tolist())
    weight = max(1.0 - (sd / prior.standard_uncertainty) ** 2, 0.0)
    levels, reference = _levels(x, y, groups, mean)
    return ExponentFit(
        fitted=Fitted(
            value=mean,
            standard_uncertainty=sd,
            residuals=residuals,
            source="learned",
            note="the runs weigh more than the prior" if weight > 0.5 else "the prior weighs more than the runs",
        ),
        prior=prior,
        from_runs=Fitted(
            value=line.slope, standard_uncertainty=u, degrees_of_freedom=dof, residuals=residuals, source="learned"
        ),
        runs_weight=weight,
        distinct=count,
        lack_of_fit_p=line.lack_of_fit_p,
        levels=levels,
        reference=reference,
    )


def joined(value: float, u: float, dof: float, prior: Fitted) -> tuple[float, float]:
    """Mean and standard deviation of a normal prior joined with a fit whose error over `u` is t-distributed.

    With few degrees of freedom the fit's own scatter is poorly known and the prior counts for more.
    """
    if u < _ROUNDING:
        return value, u
    reach = np.sinh(np.linspace(-9.0, 9.0, 601)) / 40.0
    nodes = np.unique(np.concatenate([value + u * reach, prior.value + prior.standard_uncertainty * reach]))
    away = (nodes - value) / u
    fit = -0.5 * away**2 if math.isinf(dof) else -0.5 * (dof + 1.0) * np.log1p(away**2 / dof)
    log = fit - 0.5 * ((nodes - prior.value) / prior.standard_uncertainty) ** 2
    density = np.exp(log - log.max())
    total = float(np.trapezoid(density, nodes))
    mean = float(np.trapezoid(density * nodes, nodes)) / total
    return mean, math.sqrt(float(np.trapezoid(density * (nodes - mean) ** 2, nodes)) / total)


def _replaced(found: ExponentFit, *, note: str, effective: bool, left_out: int) -> ExponentFit:
    return replace(found, fitted=replace(found.fitted, note=note, effective=effective), left_out=left_out)


def _why_not_learned(count: int) -> str:
    if count >= FEWEST:
        return "the runs do not tell it"
    stood = f"stand at {count} distinct settings" if count > 1 else "stand at one setting"
    return f"the runs {stood}, and it takes {FEWEST} to learn it"


def _settings(drive: Floats, distinct: float) -> Whole:
    """A number per run, the same for runs whose drives follow each other closer than `distinct`."""
    order = np.argsort(drive, kind="stable")
    number = np.zeros(drive.size, dtype=np.int64)
    if drive.size:
        number[order[1:]] = np.cumsum(np.diff(drive[order]) > distinct)
    return number


def _numbered(groups: Sequence[str]) -> Whole:
    names = {name: number for number, name in enumerate(dict.fromkeys(groups))}
    return np.array([names[name] for name in groups], dtype=np.int64)


def _less_group(values: Floats, index: Whole) -> Floats:
    means = np.bincount(index, weights=values) / np.bincount(index)
    return np.asarray(values - means[index])


def _slope(x: Floats, y: Floats, index: Whole) -> float:
    dx = _less_group(x, index)
    return float(dx @ y / (dx @ dx))


def _fit(
    x: Floats,
    y: Floats,
    index: Whole,
    settings: Whole,
    repeatability: tuple[float, float] | None,
) -> _Line | None:
    """None where the groups hold no contrast of drives, or no degree of freedom is left."""
    dx, dy = _less_group(x, index), _less_group(y, index)
    dof = x.size - (int(index.max()) + 1) - 1
    spread = float(dx @ dx)
    if dof < 1 or spread < _ROUNDING:
        return None
    slope = float(dx @ dy) / spread
    residuals = dy - slope * dx
    squares = float(residuals @ residuals)
    p, widened = _lack_of_fit(dx, dy, index, settings, squares, dof)
    if widened is not None:
        sd, dof_used = math.sqrt(widened[0]), float(widened[1])
    else:
        others = repeatability or (0.0, 0.0)
        sd, dof_used = pooled_sd((math.sqrt(squares / dof), others[0]), (dof, others[1]))
    return _Line(slope, sd / math.sqrt(spread), dof_used, residuals, p)


def _lack_of_fit(
    dx: Floats,
    dy: Floats,
    index: Whole,
    settings: Whole,
    squares: float,
    dof: int,
) -> tuple[float | None, tuple[float, int] | None]:
    """Probability of so great a lack of fit by chance; where the law clearly does not fit, the scatter of settings about it.

    The law is compared with a level per setting, both with a level per group.
    """
    dummies = (settings[:, None] == np.unique(settings)[None, 1:]).astype(float)
    columns = np.column_stack([dx, *(_less_group(column, index) for column in dummies.T)])
    fit, _, rank, _ = np.linalg.lstsq(columns, dy, rcond=1e-8)
    extra, left = int(rank) - 1, dof - (int(rank) - 1)
    rest = dy - columns @ fit
    pure = float(rest @ rest)
    if extra < 1 or left < 1 or pure < _ROUNDING**2:
        return None, None
    lack = max(squares - pure, 0.0) / extra
    p = float(special.fdtrc(extra, left, lack / (pure / left)))
    return p, (lack, extra) if p < CLEAR else None


def _levels(x: Floats, y: Floats, groups: Sequence[str], slope: float) -> tuple[dict[str, float], float | None]:
    """Each group's response at the mean drive (geometric) by the law, and that drive."""
    if not x.size:
        return {}, None
    centre = float(np.mean(x))
    names = np.array(groups, dtype=object)
    found = {
        str(one): math.exp(float(np.mean((y - slope * (x - centre))[names == one]))) for one in dict.fromkeys(groups)
    }
    return found, math.exp(centre)
