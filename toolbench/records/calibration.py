"""A sensor's calibration line: what is added to its readings, and how well that is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationLine:
    """The correction (reference less indication) of a sensor, as a straight line in its indication [SI unit of the sensor].

    It is written about the mean indication of the points, where its two parameters are not correlated (GUM H.3.5).
    """

    centre: float
    """Mean indication of the points."""
    offset: float
    """Correction at the centre."""
    slope: float
    """Change of the correction per unit of indication."""
    offset_uncertainty: float
    slope_uncertainty: float
    residual_sd: float
    """Scatter of the points about the line: standard deviation of one point."""
    degrees_of_freedom: int
    """Points less two."""
    lowest: float
    highest: float
    """The references that were applied."""
    points: int
    reference_offset: float = 0.0
    reference_slope: float = 0.0
    """What one standard uncertainty of the reference does to the line: at its centre, and per unit. The error is taken as
    common to all points, since one standard serves them all."""

    def correction(self, indication: float) -> float:
        """What is added to an indication."""
        return self.offset + self.slope * (indication - self.centre)

    def in_corrected(self, level: float, per_unit: float) -> tuple[float, float]:
        """(relative, absolute) of an error that is `level` at the centre and grows by `per_unit` of indication, as
        relative times the *corrected* reading plus absolute."""
        relative = per_unit / (1.0 + self.slope)
        return relative, level - relative * (self.centre + self.offset)

    @property
    def gain(self) -> float:
        """The corrected reading is gain times the indication plus intercept."""
        return 1.0 + self.slope

    @property
    def intercept(self) -> float:
        return self.offset - self.slope * self.centre


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What turns the readings of one sensor on one day into corrected ones: gain times the reading, plus intercept [SI]."""

    gain: float
    intercept: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """How much of a run's correction one certificate's line has; with a closing calibration two lines share it."""

    certificate: str
    line: CalibrationLine
    share: float
    day: date | None = None


def blend(shares: Sequence[Share]) -> Correction | None:
    """The correction that several lines make together, None without any."""
    if not shares:
        return None
    return Correction(
        gain=sum(one.share * one.line.gain for one in shares),
        intercept=sum(one.share * one.line.intercept for one in shares),
    )
