"""Straight lines by least squares with the uncertainty of what is read off them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolbench.records.runs import Floats


@dataclass(frozen=True, slots=True)
class Line:
    """y = mean_y + slope * (x - mean_x), fitted to n points; `scatter` is the residual standard deviation."""

    mean_x: float
    mean_y: float
    slope: float
    scatter: float
    sum_xx: float
    n: int

    def at(self, x: float) -> float:
        """Ordinate of the line at `x`."""
        return self.mean_y + self.slope * (x - self.mean_x)

    def uncertainty_at(self, x: float) -> float:
        """Standard uncertainty of the ordinate at `x`, from the residual scatter (residuals taken as independent)."""
        if self.n < 3 or self.sum_xx <= 0:
            return math.nan
        return self.scatter * math.sqrt(1.0 / self.n + (x - self.mean_x) ** 2 / self.sum_xx)

    @property
    def slope_uncertainty(self) -> float:
        """Standard uncertainty of the slope from the residual scatter."""
        return self.scatter / math.sqrt(self.sum_xx) if self.n >= 3 and self.sum_xx > 0 else math.nan

    def meets(self, y: float) -> float:
        """Abscissa at which the line has the ordinate `y`; nan for a level line."""
        return self.mean_x + (y - self.mean_y) / self.slope if self.slope != 0 else math.nan


def fit_line(x: Floats, y: Floats) -> Line:
    """Least-squares line through points of shape (n,), n at least 1; equal abscissae give slope 0.

    References
    ----------
    JCGM 100:2008 (GUM), H.3, for the uncertainties of intercept and slope.
    """
    n = int(x.size)
    mean_x, mean_y = float(x.mean()), float(y.mean())
    dx, dy = x - mean_x, y - mean_y
    # Sums, not BLAS products: those change in the last digit with the number of threads, and threads cost more than they gain.
    sum_xx = float(np.sum(dx * dx))
    slope = float(np.sum(dx * dy)) / sum_xx if sum_xx > 0 else 0.0
    left = dy - slope * dx
    scatter = math.sqrt(float(np.sum(left * left)) / (n - 2)) if n > 2 else 0.0
    return Line(mean_x, mean_y, slope, scatter, sum_xx, n)


def moving_slope(x: Floats, y: Floats, width: int) -> Floats:
    """Slopes of the lines through every `width` consecutive points, shape (n - width + 1,).

    Running sums of values counted from their middle: meant for a rise, not for a whole recording.
    """
    x = x - x.mean()
    y = y - y.mean()

    def total(values: Floats) -> Floats:
        sums = np.concatenate(([0.0], np.cumsum(values)))
        return np.asarray(sums[width:] - sums[:-width])

    sx, sy = total(x), total(y)
    below = total(x * x) - sx * sx / width
    return np.asarray((total(x * y) - sx * sy / width) / np.where(below > 0, below, np.inf))
