"""NIST Statistical Reference Datasets: analysis of variance, univariate summaries, the Norris line.

The data files are read from scipy's own test folder, which some builds leave out: then these tests skip. Certified values
(V, read in the files) stand below, so that a changed file shows.
"""

from pathlib import Path

import numpy as np
import pytest
import scipy

from toolbench.metrology import fit_line, mean_and_sd, one_way_anova
from toolbench.metrology.type_a import lag_one_autocorrelation

pytestmark = pytest.mark.published

DATA = Path(scipy.__file__).parent / "stats" / "tests" / "data"

ANOVA = [  # name, certified F, certified residual standard deviation, agreement that float64 allows the data
    ("SiRstv", 1.18046237440255, 0.104076068334656, 1e-12),
    ("AtmWtAg", 15.9467335677930, 1.51048314446410e-5, 1e-9),
    *((name, f, 0.1, 1e-12) for name, f in (("SmLs01", 21.0), ("SmLs02", 201.0), ("SmLs03", 2001.0))),
    *((name, f, 0.1, 1e-9) for name, f in (("SmLs04", 21.0), ("SmLs05", 201.0), ("SmLs06", 2001.0))),
    # Thirteen constant leading digits: the data themselves are not representable to more than four.
    *((name, f, 0.1, 1e-3) for name, f in (("SmLs07", 21.0), ("SmLs08", 201.0), ("SmLs09", 2001.0))),
]


def read(path: Path) -> np.ndarray:
    if not path.exists():
        pytest.skip(f"this build of scipy carries no {path.name}")
    return np.loadtxt(path, skiprows=60)


@pytest.mark.parametrize(("name", "f", "residual_sd", "agreement"), ANOVA)
def test_one_way_anova(name: str, f: float, residual_sd: float, agreement: float) -> None:
    table = read(DATA / "nist_anova" / f"{name}.dat")
    found = one_way_anova([table[table[:, 0] == group, 1] for group in np.unique(table[:, 0])])
    assert found.f == pytest.approx(f, rel=agreement)
    assert found.within_sd == pytest.approx(residual_sd, rel=agreement)


def test_norris_line() -> None:
    table = read(DATA / "nist_linregress" / "Norris.dat")
    line = fit_line(table[:, 1], table[:, 0])
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope_uncertainty == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert line.intercept_uncertainty == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)


def alternating(first: float, low: float, high: float) -> list[float]:
    return [first] + [low, high] * 500


@pytest.mark.parametrize(
    ("values", "mean", "sd", "agreement"),
    [  # NumAcc1 to 4 (V2, and exact by rational arithmetic); the data's own rounding limits the last two
        ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, 1e-15),
        (alternating(1.2, 1.1, 1.3), 1.2, 0.1, 1e-13),
        (alternating(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 1e-9),
        (alternating(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 1e-8),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_univariate(values: list[float], mean: float, sd: float, agreement: float) -> None:
    found = mean_and_sd(values)
    assert found[0] == pytest.approx(mean, rel=1e-15)
    assert found[1] == pytest.approx(sd, rel=agreement)


@pytest.mark.parametrize(
    ("values", "r"),
    [  # certified lag-1 autocorrelation (V2)
        ([10000001.0, 10000003.0, 10000002.0], -0.5),
        (alternating(1.2, 1.1, 1.3), -0.999),
        (alternating(1000000.2, 1000000.1, 1000000.3), -0.999),
        (alternating(10000000.2, 10000000.1, 10000000.3), -0.999),
    ],
)
def test_lag_one_autocorrelation(values: list[float], r: float) -> None:
    assert lag_one_autocorrelation(values) == pytest.approx(r, rel=1e-6)
