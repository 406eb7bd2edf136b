"""Calibration lines: GUM H.3 as the tool uses it, and what a line's errors do to ratios."""

import math

import numpy as np
import pytest

from toolbench.metrology import Row, Source
from toolbench.metrology.calibration import correction_uncertainty, fit_calibration
from toolbench.metrology.comparing import compare_items
from toolbench.metrology.intervals import RatioErrors
from toolbench.metrology.samples import ItemRuns

X = np.array([100.0, 200.0, 300.0, 400.0, 500.0])
CORRECTION = np.array([1.1, 1.9, 3.2, 3.8, 5.0])


def test_a_line_by_hand() -> None:
    line = fit_calibration(X + CORRECTION, X)
    # by hand: mean correction 3, slope (2*(5-1.1) + (3.8-1.9)) * 100 / 1e5; residuals .04 -.13 .20 -.17 .06, squares .0910
    assert (line.centre, line.degrees_of_freedom) == (300.0, 3)
    assert line.offset == pytest.approx(3.0)
    assert line.slope == pytest.approx(0.0097)
    assert line.residual_sd == pytest.approx(math.sqrt(0.0910 / 3), rel=1e-9)
    assert line.offset_uncertainty == pytest.approx(line.residual_sd / math.sqrt(5))
    assert line.slope_uncertainty == pytest.approx(line.residual_sd / math.sqrt(1e5))
    assert correction_uncertainty(line, 500.0) == pytest.approx(
        math.hypot(line.offset_uncertainty, 200 * line.slope_uncertainty)
    )


def test_corrected_readings_carry_the_same_errors() -> None:
    """An error of the line said of the indication is the same error said of the corrected reading."""
    line = fit_calibration(1.25 * X + 3.0, X)  # constructed: a gain far from one
    relative, absolute = line.in_corrected(0.7, 0.002)
    for indication in (100.0, 450.0):
        corrected = line.gain * indication + line.intercept
        assert corrected == pytest.approx(1.25 * indication + 3.0)
        assert relative * corrected + absolute == pytest.approx(0.7 + 0.002 * (indication - line.centre))


def test_a_perfect_line_has_no_scatter() -> None:
    line = fit_calibration(1.01 * X + 0.3, X)
    assert (line.residual_sd, line.offset_uncertainty, line.slope_uncertainty) == (0.0, 0.0, 0.0)


def test_slope_cancels_in_a_percent_difference_and_the_level_does_not() -> None:
    row = Row(response="torque", metric="sustained", at=None, unit="N*m")
    rng = np.random.default_rng(3)

    def percent(sources: tuple[Source, ...]) -> dict[str, float]:
        items = [
            ItemRuns(id=name, values=level + rng.normal(0, 1, (5, 1)), sources=(sources,))
            for name, level in (("near", 400.0), ("far", 300.0))
        ]
        (found,) = compare_items(items, [row], [("far", "near")]).differences
        return {c.source: c.contribution for c in found.percent.components}

    scale = percent((Source(source="line#1", label="", relative=0.01, degrees_of_freedom=3),))
    assert scale["line#1"] == pytest.approx(0.0, abs=1e-12)
    level = percent((Source(source="line#0", label="", absolute=2.0, degrees_of_freedom=3),))
    # by hand: 2 N*m on both: 100 (300 + 2) / (400 + 2) - 75 = 0.124 %
    assert level["line#0"] == pytest.approx(0.125, abs=0.005)


def test_the_two_errors_of_one_line_have_its_degrees_of_freedom_together() -> None:
    """Ends of one fit are no independent sources: Welch-Satterthwaite must not add their degrees of freedom up."""
    together = RatioErrors(
        1.0, 1.0, np.array([3.0, 4.0]), np.zeros(2), np.array([3.0, 3.0]), np.zeros(2), ("l#0", "l#1")
    )
    apart = RatioErrors(1.0, 1.0, np.array([3.0, 4.0]), np.zeros(2), np.array([3.0, 3.0]), np.zeros(2), ("l", "m"))
    assert together.effective_degrees_of_freedom() == pytest.approx(3.0)
    assert apart.effective_degrees_of_freedom() == pytest.approx(3 * 25**2 / (81 + 256))  # by hand
