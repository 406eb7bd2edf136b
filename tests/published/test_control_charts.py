"""Control charts of the NIST/SEMATECH e-Handbook; figures seen second-hand (V2) or from memory (M) as marked."""

import pytest

from toolbench.metrology import ewma, ewma_limits, individuals_limits
from toolbench.metrology.charts import precision_limit_factor

pytestmark = pytest.mark.published

DATA = (
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
)


def test_cs1_precision_chart() -> None:
    # e-Handbook 2.3.5.1 (V): sqrt(F0.99(3, 351)); 1.959047 recomputed
    assert precision_limit_factor(3, 351) == pytest.approx(1.959047, abs=1e-6)


def test_cs2_ewma_limits() -> None:
    # e-Handbook 6.3.2.4 (V2): UCL 52.5884, LCL 47.4115 (truncated in print)
    limits = ewma_limits(50.0, 2.0539, weight=0.3)
    assert limits.upper == pytest.approx(52.5884, abs=1e-4)
    assert limits.lower == pytest.approx(47.4115, abs=1e-4)


def test_cs3_ewma_series() -> None:
    # e-Handbook 6.3.2.4 (M)
    published = (
        *(50.00, 50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
        *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
    )
    assert ewma(DATA, 50.0, weight=0.3) == pytest.approx(published, abs=0.01)


def test_cs4_individuals_chart() -> None:
    # A public validation file's hand derivation (V2)
    limits, sigma, range_limit = individuals_limits([10, 12, 11, 13, 12])
    assert sigma == pytest.approx(1.329340388179137, rel=1e-12)
    assert limits.upper == pytest.approx(15.58802116453741, rel=1e-12)
    assert limits.lower == pytest.approx(7.61197883546259, rel=1e-12)
    assert range_limit == pytest.approx(4.89979787893309, rel=1e-9)
