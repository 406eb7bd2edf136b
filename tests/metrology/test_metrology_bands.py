"""Bands: they agree with the row engine at one time, hold along time, and end where nothing is known."""

import math

import numpy as np
import pytest

from toolbench.metrology import ItemCurves, ItemRuns, Row, Source, compare_items, find_spans, make_bands
from toolbench.metrology.null_curves import NullCurves, ScatterModel, learn_scatter
from toolbench.records.comparison import Band

TIME = np.linspace(0.0, 12.0, 60)
PARTS = (
    Source(source="scale/cell", label="scale", relative=0.004),
    Source(source="zero/cell", label="zero", absolute=0.8),
)


def curves(seed: int, n: int, level: float, scatter: float = 4.0) -> np.ndarray:
    random = np.random.default_rng(seed)
    lag = np.abs(np.arange(TIME.size)[:, None] - np.arange(TIME.size))
    weights, vectors = np.linalg.eigh(np.exp(-0.5 * (lag / 6.0) ** 2))
    root = vectors * np.sqrt(np.clip(weights, 0, None))
    rise = 1 - np.exp(-(TIME + 0.5) / 1.5)
    return level * rise + scatter * random.standard_normal((n, TIME.size)) @ root.T


def bands_of(n: int, *, blocks: str = "", top: float = 440.0, confidence: float = 0.95) -> tuple[Band, ...]:
    items = [
        ItemCurves(id=name, curves=curves(k, n, level), sources=PARTS, blocks=tuple(blocks))
        for k, (name, level) in enumerate((("near", 400.0), ("far", top)))
    ]
    return make_bands(items, TIME, [("far", "near")], response="torque", unit="N*m", confidence=confidence)


@pytest.mark.parametrize("blocks", ["", "vwxyz"])
def test_pointwise_bands_are_the_intervals_of_the_rows(blocks: str) -> None:
    # Constructed: at any one time the band must be what the row engine says of the same numbers.
    near, far = bands_of(5, blocks=blocks)
    rows = [Row(response="torque", metric="at_mark", at=float(t), unit="N*m") for t in TIME]
    items = [
        ItemRuns(id=name, values=curves(k, 5, level), blocks=tuple(blocks), sources=(PARTS,) * TIME.size)
        for k, (name, level) in enumerate((("near", 400.0), ("far", 440.0)))
    ]
    outcome = compare_items(items, rows, [("far", "near")], draws=2_000)
    assert far.percent == pytest.approx([d.percent.value for d in outcome.differences], rel=1e-9)
    assert far.percent_pointwise is not None
    assert far.percent_pointwise[0] == pytest.approx(
        [d.interval.lower for d in outcome.differences], rel=1e-7, abs=1e-7
    )
    assert far.percent_pointwise[1] == pytest.approx(
        [d.interval.upper for d in outcome.differences], rel=1e-7, abs=1e-7
    )
    half = [level.expanded_uncertainty for level in outcome.levels[: TIME.size]]
    assert near.pointwise[1] - near.mean == pytest.approx(half, rel=1e-7)


def test_simultaneous_bands_hold_the_pointwise_ones() -> None:
    for n in (3, 4, 10):
        far = bands_of(n)[1]
        assert far.percent_pointwise is not None
        assert far.percent_simultaneous is not None
        assert np.all(far.simultaneous[0] <= far.pointwise[0])
        assert np.all(far.percent_simultaneous[0] <= far.percent_pointwise[0])
        assert np.all(far.percent_simultaneous[1] >= far.percent_pointwise[1])


def test_the_base_has_no_percent_and_the_runs_are_counted() -> None:
    near, far = bands_of(5, blocks="vwxyz")
    assert (near.percent, near.baseline, far.baseline, near.n) == (None, "", "near", 5)


def test_single_runs_have_curves_without_bands() -> None:
    near, far = bands_of(1)
    assert np.all(np.isfinite(far.percent))  # type: ignore[arg-type]
    assert far.percent_simultaneous is not None
    for edge in (*near.pointwise, *near.simultaneous, *far.percent_simultaneous):
        assert np.all(np.isnan(edge))
    assert find_spans((near, far)) == ()


def test_identical_runs_and_missing_stretches_raise_nothing() -> None:
    still = np.tile(400.0 + TIME, (3, 1))
    short = curves(3, 3, 420.0)
    short[1, 50:] = np.nan
    short[:, 58:] = np.nan
    items = [ItemCurves(id="still", curves=still), ItemCurves(id="short", curves=short)]
    found = make_bands(items, TIME, [("short", "still")], response="torque", unit="N*m")[1]
    assert np.all(np.isnan(found.mean[58:]))
    assert np.all(np.isfinite(found.simultaneous[1][:58]))


def test_spans_by_hand() -> None:
    lower = np.array([-1.0, 0.5, 1.0, -1.0, -6.0, -5.0, math.nan])
    upper = np.array([2.0, 4.0, 5.0, 2.0, -3.0, -2.0, math.nan])
    time = np.arange(7.0)
    none = (np.zeros(7), np.zeros(7))
    band = Band(
        item="far",
        response="torque",
        unit="N*m",
        time_s=time,
        n=3,
        mean=np.zeros(7),
        pointwise=none,
        simultaneous=none,
        percent=np.array([0.5, 2.0, 3.0, 0.5, -4.5, -3.5, 0.0]),
        percent_pointwise=none,
        percent_simultaneous=(lower, upper),
        baseline="near",
    )
    first, second = find_spans([band])
    assert (first.from_s, first.to_s, first.smallest_percent, first.largest_percent) == (1.0, 2.0, 2.0, 3.0)
    assert (second.from_s, second.to_s, second.smallest_percent, second.largest_percent) == (4.0, 5.0, -3.5, -4.5)


def test_a_change_of_unit_changes_no_percentage() -> None:
    def far(scale: float) -> Band:
        items = [ItemCurves(id=str(k), curves=scale * curves(k, 4, 400.0 + 40 * k)) for k in range(2)]
        return make_bands(items, TIME, [("1", "0")], response="torque", unit="N*m")[1]

    first, other = far(1.0), far(0.7375621492772656)
    assert first.percent_simultaneous is not None
    assert other.percent_simultaneous is not None
    assert other.percent_simultaneous[0] == pytest.approx(first.percent_simultaneous[0], rel=1e-3)


@pytest.mark.parametrize("points", [5, 20, 101])
def test_independent_points_need_sidaks_level(points: int) -> None:
    # Sidak (constructed): 1 - 0.95^(1/K) per point, whatever the degrees of freedom.
    rough = ScatterModel(np.ones(points), np.eye(points)[0], 100)
    level = NullCurves(rough, draws=4_000).mean_level(4, np.ones(points), np.zeros(points))
    assert level == pytest.approx(1 - 0.95 ** (1 / points), rel=0.15)


def test_curves_that_only_shift_need_the_level_of_one_point() -> None:
    stiff = ScatterModel(np.ones(50), np.ones(50), 100)
    assert NullCurves(stiff, draws=4_000).mean_level(4, np.ones(50), np.zeros(50)) == pytest.approx(0.05, rel=0.1)


def test_a_known_error_shared_along_time_counts_as_one_point() -> None:
    rough = ScatterModel(np.ones(50), np.eye(50)[0], 100)
    null = NullCurves(rough, draws=4_000)
    assert null.mean_level(4, np.full(50, 1e-6), np.ones(50)) == pytest.approx(0.05, rel=0.15)


def test_correlation_is_learned_from_residuals() -> None:
    model = learn_scatter([curves(seed, 5, 300.0 + seed) for seed in range(8)])
    assert model is not None
    assert model.degrees_of_freedom == 32
    lags = np.arange(10)
    assert model.correlation[:10] == pytest.approx(np.exp(-0.5 * (lags / 6.0) ** 2), abs=0.12)
    assert learn_scatter([curves(1, 1, 300.0)]) is None


@pytest.mark.slow
@pytest.mark.parametrize(("n", "fewest"), [(3, 0.92), (4, 0.93), (6, 0.93)])
def test_percent_bands_hold_along_time(n: int, fewest: float) -> None:
    # 150 draws: standard error 1.8 points. The full table: tests/benchmarks/band_coverage.py.
    held = 0
    truth = 100 * (440 / 400 - 1)
    for seed in range(150):
        items = [
            ItemCurves(id="near", curves=curves(2 * seed + 1000, n, 400.0)),
            ItemCurves(id="far", curves=curves(2 * seed + 1001, n, 440.0, scatter=8.0)),
        ]
        edges = make_bands(items, TIME, [("far", "near")], response="torque", unit="N*m", draws=600)[
            1
        ].percent_simultaneous
        assert edges is not None
        held += bool(np.all((edges[0] <= truth) & (truth <= edges[1])))
    assert fewest <= held / 150 <= 0.98


def test_nothing_is_said_close_to_the_onset() -> None:
    time = np.linspace(0.05, 0.95, 10)
    ones = np.ones(10)
    band = Band(
        item="b", response="torque", unit="N*m", time_s=time, n=3, mean=ones, pointwise=(ones, ones),
        simultaneous=(ones, ones), percent=5 * ones, percent_pointwise=(4 * ones, 6 * ones),
        percent_simultaneous=(ones, 9 * ones), baseline="a",
    )  # fmt: skip
    assert [(span.from_s, span.to_s) for span in find_spans([band])] == [(0.05, 0.95)]
    assert [(span.from_s, span.to_s) for span in find_spans([band], after_s=0.2)] == [(0.25, 0.95)]
