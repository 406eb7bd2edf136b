"""Readings corrected by a calibration line, against GTC's line fit and `uncertainties` with numpy's covariance."""

import math

import GTC
import numpy as np
import pytest
import uncertainties
from GTC import type_a

from toolbench.metrology import ratio_percent
from toolbench.metrology.calibration import fit_calibration
from toolbench.records.calibration import CalibrationLine
from toolbench.records.comparison import Component, Estimate

pytestmark = pytest.mark.oracle


def points(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """References and indications of a cell that shows 2 % too little and bends a little (constructed)."""
    random = np.random.default_rng(seed)
    reference = np.linspace(0, 1000, random.integers(5, 15))
    return reference, (reference - 3) / 1.02 + random.normal(0, 0.5, reference.size)


def corrected(line: CalibrationLine, indication: float) -> Estimate:
    """A corrected reading with the two errors of the line, as a report has them."""
    value = indication + line.correction(indication)
    parts = []
    for number, error in enumerate(((line.offset_uncertainty, 0.0), (0.0, line.slope_uncertainty))):
        relative, absolute = line.in_corrected(*error)
        parts.append(
            Component(
                source=f"line#{number}",
                label="",
                contribution=relative * value + absolute,
                degrees_of_freedom=line.degrees_of_freedom,
            )
        )
    return Estimate(
        value=value, unit="N*m", components=tuple(parts), degrees_of_freedom_override=float(line.degrees_of_freedom)
    )


@pytest.mark.parametrize("seed", range(20))
def test_corrected_readings_and_their_ratio(seed: int) -> None:
    reference, indication = points(seed)
    line = fit_calibration(reference, indication)
    fit = type_a.line_fit(indication, reference - indication)
    low, high = 320.0, 870.0
    ours = [corrected(line, reading) for reading in (low, high)]
    theirs = [reading + fit.a_b.a + fit.a_b.b * reading for reading in (low, high)]
    for found, expected in zip(ours, theirs, strict=True):
        assert found.value == pytest.approx(GTC.value(expected), rel=1e-12)
        assert found.standard_uncertainty == pytest.approx(GTC.uncertainty(expected), rel=1e-9)
    percent, expected = ratio_percent(*ours), 100 * (theirs[0] / theirs[1] - 1)
    assert percent.standard_uncertainty == pytest.approx(GTC.uncertainty(expected), rel=1e-9)
    assert percent.degrees_of_freedom == pytest.approx(GTC.dof(expected), rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_against_numpy_s_covariance(seed: int) -> None:
    reference, indication = points(seed)
    line = fit_calibration(reference, indication)
    coefficients, covariance = np.polyfit(indication, reference - indication, 1, cov=True)
    slope, intercept = uncertainties.correlated_values(coefficients, covariance)
    expected = 870.0 + slope * 870.0 + intercept
    assert corrected(line, 870.0).value == pytest.approx(expected.n, rel=1e-10)
    assert corrected(line, 870.0).standard_uncertainty == pytest.approx(expected.s, rel=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_a_reference_s_error_is_what_refitting_shows(seed: int) -> None:
    """By brute force: move every reference by its standard uncertainty at once, fit again, and see what the reading does."""
    reference, indication = points(seed)
    u = 0.2 + 0.001 * reference
    line, moved = fit_calibration(reference, indication, u), fit_calibration(reference + u, indication)
    for reading in (100.0, 900.0):
        value = reading + line.correction(reading)
        relative, absolute = line.in_corrected(line.reference_offset, line.reference_slope)
        assert relative * value + absolute == pytest.approx(
            moved.correction(reading) - line.correction(reading), rel=1e-9
        )
    assert math.isclose(line.residual_sd, fit_calibration(reference, indication).residual_sd)
