"""A figure of a tool or a line that was learned from recordings, or stands in for one: value, uncertainty, where it is from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from toolbench.errors import AnalysisError, Fault
from toolbench.metrology.propagation import welch_satterthwaite
from toolbench.metrology.sittings import find_precision, mean_uncertainty
from toolbench.metrology.type_a import mean_and_sd
from toolbench.records.runs import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A fitted, assumed or stated figure in SI.

    `residuals` are relative, one per run that was used. `effective` figures were learned without a pressure at the tool's
    inlet: they hold for the setup they were learned on and for no other.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    residuals: tuple[float, ...] = ()
    source: Literal["learned", "prior", "stated"] = "stated"
    note: str = ""
    effective: bool = False

    @property
    def relative_uncertainty(self) -> float:
        """Standard uncertainty over the value's size."""
        return self.standard_uncertainty / abs(self.value) if self.value else math.inf


@dataclass(frozen=True, slots=True)
class GroupedMean:
    """A mean of runs made on several setups, its standard uncertainty by whichever scatter counts, and a note of which."""

    mean: float
    standard_uncertainty: float
    degrees_of_freedom: float
    judged_by: Literal["runs", "setups"]


def grouped_mean(values: Floats, setups: Sequence[str], *, what: str) -> GroupedMean:
    """The mean of all runs; judged by the scatter of the setups' means where setups differ by more than their runs do.

    Raises
    ------
    AnalysisError
        With fewer than two runs.

    References
    ----------
    GUM H.5.2; the choice is that of `metrology.sittings`, where sittings are judged by the same rule.
    """
    if values.size < 2:
        raise AnalysisError(
            Fault(
                f"{what} is to be learned from {values.size} run(s)",
                mend="record two runs or more, or state the figure",
            )
        )
    mean, sd = mean_and_sd(values)
    precision = find_precision([(values, tuple(setups))])
    singly = precision is None and 1 < len(set(setups)) == values.size
    if precision is not None and precision.counts:
        judged = mean_uncertainty(values, tuple(setups))
        if judged is not None:
            return GroupedMean(mean, judged[0], judged[1] - 1.0, "setups")
    by: Literal["runs", "setups"] = "setups" if singly else "runs"
    return GroupedMean(mean, sd / math.sqrt(values.size), values.size - 1.0, by)


def with_shared(relative: float, dof: float, shared: Sequence[float]) -> tuple[float, float]:
    """Relative standard uncertainty and degrees of freedom with errors added that all runs share (known exactly)."""
    parts = [relative, *shared]
    return math.hypot(*parts), welch_satterthwaite(parts, [dof, *(math.inf for _ in shared)])


def alike(what: str, *columns: Sequence[float] | Floats) -> tuple[Floats, ...]:
    """The columns as arrays of one length.

    Raises
    ------
    ValueError
        If the lengths differ, or a value is not a finite number above zero.
    """
    arrays = tuple(np.asarray(column, dtype=float) for column in columns)
    if len({array.shape for array in arrays}) != 1 or arrays[0].ndim != 1:
        raise ValueError(f"{what} needs one value of each per run; the shapes are {[a.shape for a in arrays]}")
    for array in arrays:
        if not np.all(np.isfinite(array) & (array > 0)):
            raise ValueError(f"{what} needs finite values above zero; got {array[~(array > 0)][:3].tolist()}")
    return arrays
