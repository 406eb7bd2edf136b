"""NIST Statistical Reference Datasets: analysis of variance, univariate summaries, the Norris line.

The data files are read from scipy's own test folder, which some builds leave out: then these tests skip. Certified values
(V, read in the files) stand below, so that a changed file shows.
"""

from pathlib import Path

import numpy as np
import pytest
import scipy
from nist_univariate import LEW, LOTTERY, MAVRO, MICHELSO

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


def test_sums_of_squares() -> None:
    # SiRstv's certified sums of squares and R^2 (V), from what an analysis of variance here tells
    table = read(DATA / "nist_anova" / "SiRstv.dat")
    found = one_way_anova([table[table[:, 0] == group, 1] for group in np.unique(table[:, 0])])
    within = found.within_degrees_of_freedom * found.within_sd**2
    between = found.between_degrees_of_freedom * found.f * found.within_sd**2
    assert within == pytest.approx(2.16636560000000e-01, rel=1e-12)
    assert between == pytest.approx(5.11462616000000e-02, rel=1e-12)
    assert between / (between + within) == pytest.approx(0.190999039051129, rel=1e-12)


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


# Certified mean, standard deviation and lag-1 autocorrelation: quoted by public test suites (V2), for Mavro from memory (M)
# but for its standard deviation. Where the data's own decimals are not representable, agreement ends sooner.
CERTIFIED = [
    ("Lew", LEW, 200, -177.435, 277.332168044316, -0.307304800605679, 1e-13),
    ("Lottery", LOTTERY, 218, 518.958715596330, 291.699727470969, -0.120948622967393, 1e-13),
    ("Mavro", MAVRO, 50, 2.001856, 0.000429123454003053, 0.937989183438248, 1e-11),
    ("Michelso", MICHELSO, 100, 299.8524, 0.0790105478190518, 0.535199668621283, 1e-12),
]


@pytest.mark.parametrize(
    ("values", "n", "mean", "sd", "r", "agreement"), [c[1:] for c in CERTIFIED], ids=[c[0] for c in CERTIFIED]
)
def test_univariate_readings(
    values: tuple[float, ...], n: int, mean: float, sd: float, r: float, agreement: float
) -> None:
    assert len(values) == n
    assert mean_and_sd(values) == (pytest.approx(mean, rel=1e-14), pytest.approx(sd, rel=agreement))
    assert lag_one_autocorrelation(values) == pytest.approx(r, rel=agreement)
