"""Calibration points to a line with the covariance of its parameters (GUM H.3)."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from toolbench.metrology.type_a import fit_line
from toolbench.records.calibration import CalibrationLine
from toolbench.records.runs import Floats

_ROUNDING = 1e-12
"""A residual scatter below this share of the greatest correction or indication is arithmetic, not scatter."""


def fit_calibration(
    reference: Sequence[float] | Floats,
    indication: Sequence[float] | Floats,
    reference_uncertainty: Sequence[float] | Floats | None = None,
) -> CalibrationLine:
    """The correction of a sensor as a straight line in its indication.

    Parameters
    ----------
    reference, indication : shape (n,)
        What was applied and what the sensor showed [one unit].
    reference_uncertainty : shape (n,), optional
        Standard uncertainty of each reference [the same unit]; the error is the same standard's in every point.

    Returns
    -------
    CalibrationLine
        Fitted by ordinary least squares of reference less indication against indication, as in the GUM's example.

    Raises
    ------
    ValueError
        With fewer than three points, or all at one indication.

    References
    ----------
    GUM H.3.2 to H.3.5; about the mean indication the covariance of the parameters is zero, so none can be forgotten.
    """
    applied, shown = np.asarray(reference, dtype=float), np.asarray(indication, dtype=float)
    centre = math.fsum(shown) / max(shown.size, 1)
    line = fit_line(shown, applied - shown, origin=centre)
    floor = _ROUNDING * float(np.max(np.abs(shown)))
    known = 1.0 if line.residual_sd > floor else 0.0
    common = np.zeros_like(shown) if reference_uncertainty is None else np.asarray(reference_uncertainty, dtype=float)
    dx = shown - centre
    return CalibrationLine(
        centre=centre,
        offset=line.intercept,
        slope=line.slope,
        offset_uncertainty=known * line.intercept_uncertainty,
        slope_uncertainty=known * line.slope_uncertainty,
        residual_sd=known * line.residual_sd,
        degrees_of_freedom=line.degrees_of_freedom,
        lowest=float(applied.min()),
        highest=float(applied.max()),
        points=int(shown.size),
        reference_offset=math.fsum(common) / shown.size,
        reference_slope=math.fsum(dx * common) / math.fsum(dx * dx),
    )


def correction_uncertainty(line: CalibrationLine, indication: float) -> float:
    """Standard uncertainty of the correction at an indication, from the fit alone [the line's unit] (GUM H.3.4)."""
    return math.hypot(line.offset_uncertainty, line.slope_uncertainty * (indication - line.centre))
