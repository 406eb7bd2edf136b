"""Bands: they agree with the row engine at one time, hold along time, and end where nothing is known."""

import math

import numpy as np
import pytest
from scipy import special

from toolbench.metrology import ErrorAlong, ItemCurves, ItemRuns, Row, Source, compare_items, find_spans, make_bands
from toolbench.metrology.null_curves import NullCurves, ScatterModel, learn_scatter, stationary_root
from toolbench.metrology.reached import measured_coverage
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


LINE = (
    Source(source="line/cell#0", label="its level", absolute=2.0, degrees_of_freedom=3.0),
    Source(source="line/cell#1", label="its slope", relative=0.006, degrees_of_freedom=3.0),
    Source(source="straightness/cell", label="about the line", absolute=1.5, degrees_of_freedom=3.0),
)


@pytest.mark.parametrize(
    ("names", "as_sittings", "sources"),
    [
        (("", ""), False, LINE),
        (("vvwwxx", "vvwwxx"), True, PARTS),
        (("aaabbb", "cccddd"), True, LINE),
        (("aaabbb", "bbbbbb"), True, PARTS),
        (("bbbbbb", "aabbbc"), True, PARTS),
        (("vwxyzz", "vwxyyz"), False, PARTS),  # unequal blocks
        (("vwxyzu", "vwxyst"), False, LINE),  # four common blocks
        (("vwxabc", "vwxdef"), False, PARTS),  # too few of the runs in common blocks
    ],
)
def test_bands_tell_what_the_rows_tell(names: tuple[str, str], as_sittings: bool, sources: tuple[Source, ...]) -> None:
    """Levels and differences at every time, for each judge of a mean, with an error that grows in its own way (constructed)."""
    shifts = {name: 9.0 * math.sin(ord(name)) for name in "".join(names)}
    growing = 3.0 * TIME / TIME[-1]
    made = []
    for k, (name, item, level) in enumerate(zip(("near", "far"), names, (400.0, 440.0), strict=True)):
        shift = np.array([shifts[one] for one in item] or [0.0] * 6)
        # Later in the run blocks and days shift nothing, so that both judges are met along one curve.
        values = curves(k, 6, level) + np.outer(shift, TIME < 8.0)
        made.append((name, tuple(item), values, growing * (1 if k else -0.5)))
    rows = [Row(response="torque", metric="at_mark", at=float(t), unit="N*m") for t in TIME]
    label = "sittings" if as_sittings else "blocks"
    items = [
        ItemRuns(
            id=name,
            values=values,
            sources=tuple((*sources, Source(source="departure", label="", absolute=size)) for size in sizes),
            **{label: groups},
        )
        for name, groups, values, sizes in made
    ]
    outcome = compare_items(items, rows, [("far", "near")], draws=2_000)
    bands = make_bands(
        [
            ItemCurves(
                id=name, curves=values, sources=sources, errors={"departure": ErrorAlong(size=sizes)}, **{label: groups}
            )
            for name, groups, values, sizes in made
        ],
        TIME,
        [("far", "near")],
        response="torque",
        unit="N*m",
    )
    for k, band in enumerate(bands):
        half = [level.expanded_uncertainty for level in outcome.levels[k * TIME.size : (k + 1) * TIME.size]]
        assert band.pointwise[1] - band.mean == pytest.approx(half, rel=1e-7)
        assert np.all(band.simultaneous[1] >= band.pointwise[1])
    assert bands[1].percent == pytest.approx([d.percent.value for d in outcome.differences], rel=1e-9)
    assert bands[1].percent_pointwise is not None
    for edge, wanted in enumerate(("lower", "upper")):
        told = [getattr(d.interval, wanted) for d in outcome.differences]
        assert bands[1].percent_pointwise[edge] == pytest.approx(told, rel=1e-7, abs=1e-7, nan_ok=True)
    if as_sittings:
        assert {level.sittings > 0 for level in outcome.levels} == {True, False}


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


def test_a_change_of_unit_changes_no_percentage() -> None:
    def far(scale: float) -> Band:
        items = [ItemCurves(id=str(k), curves=scale * curves(k, 4, 400.0 + 40 * k)) for k in range(2)]
        return make_bands(items, TIME, [("1", "0")], response="torque", unit="N*m")[1]

    first, other = far(1.0), far(0.7375621492772656)
    assert first.percent_simultaneous is not None
    assert other.percent_simultaneous is not None
    assert other.percent_simultaneous[0] == pytest.approx(first.percent_simultaneous[0], rel=1e-3)


@pytest.mark.parametrize(("points", "n"), [(5, 4), (20, 4), (101, 4), (101, 10)])
def test_level_of_independent_points_with_a_floor_under_the_scatter(points: int, n: int) -> None:
    # Constructed, by plain simulation: the largest |t| along 60,000 curves, each point judged by its own scatter or by
    # that of the whole curve, whichever is larger. Relative standard error of the level from 4,000 draws: about 7 %.
    random = np.random.default_rng(11)
    variance = random.chisquare(n - 1, (60_000, points)) / (n - 1)
    variance = np.maximum(variance, variance.mean(axis=1, keepdims=True))
    largest = np.max(np.abs(random.standard_normal(variance.shape)) / np.sqrt(variance), axis=1)
    # No band is narrower than the pointwise one.
    wanted = min(2 * special.stdtr(n - 1, -np.quantile(largest, 0.95)), 0.05)
    rough = ScatterModel(np.ones(points), np.eye(points)[0], 100)
    level = NullCurves(rough, draws=4_000).mean_level(n, np.ones(points), np.zeros(points))
    assert level == pytest.approx(wanted, rel=0.21)  # three standard errors
    assert level >= 0.05 / points  # never below Bonferroni's, so no factor above his


def test_curves_that_only_shift_need_the_level_of_one_point() -> None:
    stiff = ScatterModel(np.ones(50), np.ones(50), 100)
    assert NullCurves(stiff, draws=4_000).mean_level(4, np.ones(50), np.zeros(50)) == pytest.approx(0.05, rel=0.1)


def test_a_known_error_shared_along_time_counts_as_one_point() -> None:
    rough = ScatterModel(np.ones(50), np.eye(50)[0], 100)
    null = NullCurves(rough, draws=4_000)
    assert null.mean_level(4, np.full(50, 1e-6), np.ones(50)) == pytest.approx(0.05, rel=0.15)


def test_correlation_is_learned_from_residuals() -> None:
    # Constructed: length 6. From 32 degrees of freedom and 60 points the length has a standard uncertainty of about
    # 1 / sqrt(32 * 60 / 6) = 6 %, and is taken two of them shorter.
    model = learn_scatter([curves(seed, 5, 300.0 + seed) for seed in range(8)])
    assert model is not None
    assert model.degrees_of_freedom == 32
    assert model.length == pytest.approx(6.0 / 1.11, rel=0.12)
    lags = np.arange(10)
    assert model.correlation[:10] == pytest.approx(np.exp(-0.5 * (lags * 1.11 / 6.0) ** 2), abs=0.12)
    assert learn_scatter([curves(1, 1, 300.0)]) is None


def test_scatter_along_time_is_constant_until_the_runs_say_more() -> None:
    # Constructed: scatter of a constant size, and scatter that grows threefold; 8 and 32 degrees of freedom.
    few = learn_scatter([curves(seed, 5, 300.0) for seed in (1, 2)])
    assert few is not None
    assert few.profile == pytest.approx(np.ones(TIME.size))
    growing = np.linspace(1.0, 3.0, TIME.size)
    many = learn_scatter([300.0 + growing * (curves(seed, 5, 0.0)) for seed in range(8)])
    assert many is not None
    # Ninefold variance from end to end; smoothing and the pull to a constant leave less of it, never more.
    assert 3.0 < many.profile[-5:].mean() / many.profile[:5].mean() < 9.0


def test_a_learned_root_does_not_hang_on_the_last_digits_of_linear_algebra() -> None:
    # Constructed: two processors' libraries differ by some 1e-16; eigenvectors of alike eigenvalues would turn at will.
    lags = np.arange(60)
    for rho in (np.exp(-0.5 * (lags / 6.0) ** 2), np.eye(60)[0], np.exp(-lags / 20.0)):
        root = stationary_root(rho)
        assert root @ root.T == pytest.approx(rho[np.abs(lags[:, None] - lags)], abs=1e-4)
        noise = 3e-16 * np.random.default_rng(1).standard_normal(60)
        noise[0] = 0.0
        assert stationary_root(rho + noise)[:, :10] == pytest.approx(root[:, :10], abs=1e-9)


@pytest.mark.parametrize("n", [3, 4, 6, 10])
def test_bands_are_not_wider_than_bonferronis(n: int) -> None:
    # Bonferroni over the grid: every point at 0.05 / 60. His band is narrower where runs lie close together by chance,
    # so widths along the whole run are compared.
    for mine, his in zip(bands_of(n), bands_of(n, confidence=1.0 - 0.05 / TIME.size), strict=True):
        assert np.sum(mine.simultaneous[1] - mine.mean) <= np.sum(his.pointwise[1] - his.mean)
        if mine.percent_simultaneous is not None and his.percent_pointwise is not None:
            widths = [edges[1] - edges[0] for edges in (mine.percent_simultaneous, his.percent_pointwise)]
            known = np.isfinite(widths[0] + widths[1])
            assert widths[0][known].sum() <= widths[1][known].sum()


def share_held(draws: int, n: int, ratio: float, length: float = 6.0, blocks: str = "") -> float:
    """How often the percent band holds at every point together; blocks add three times the scatter to both items."""
    random = np.random.default_rng(n)
    lag = np.abs(np.arange(TIME.size)[:, None] - np.arange(TIME.size))
    weights, vectors = np.linalg.eigh(np.exp(-0.5 * (lag / length) ** 2))
    root = vectors * np.sqrt(np.clip(weights, 0, None))
    held = 0
    for _ in range(draws):
        noise = random.standard_normal((2, n, TIME.size)) @ root.T
        step = 12.0 * random.standard_normal((n, 1)) if blocks else 0.0
        items = [
            ItemCurves(id="near", curves=400.0 + step + 4.0 * noise[0], blocks=tuple(blocks)),
            ItemCurves(id="far", curves=440.0 + 1.1 * step + 4.0 * ratio * noise[1], blocks=tuple(blocks)),
        ]
        edges = make_bands(items, TIME, [("far", "near")], response="torque", unit="N*m")[1].percent_simultaneous
        assert edges is not None
        held += not np.any((edges[0] > 10.0) | (edges[1] < 10.0))
    return held / draws


@pytest.mark.slow
@pytest.mark.parametrize(("n", "ratio", "fewest"), [(3, 2.0, 0.92), (4, 1.0, 0.93), (6, 1.5, 0.93)])
def test_percent_bands_hold_along_time(n: int, ratio: float, fewest: float) -> None:
    # Constructed. 200 draws: binomial standard error 1.5 points, allowed for twice beyond the coverage that is claimed
    # (93 to 97 % from 4 runs a side, 92 % at 3). With 2,000 draws a cell: tests/benchmarks/band_coverage.py.
    assert fewest - 0.03 <= share_held(200, n, ratio) <= 0.97 + 0.03


@pytest.mark.slow
def test_bands_of_differences_within_blocks_hold_along_time() -> None:
    # Constructed: what blocks do is three times the scatter and as smooth as can be; it must not make the scatter within
    # blocks look smooth (that gave 78 to 88 %). 200 draws, standard error 1.5 points.
    assert 0.93 - 0.03 <= share_held(200, 5, 1.0, blocks="vwxyz") <= 0.97 + 0.03


@pytest.mark.parametrize(
    ("runs", "length", "ratio", "told"),
    [
        (3, 0.06, 1.9, False),
        (4, 0.20, math.nan, False),  # within blocks
        (4, 0.01, 1.0, True),
        (4, 0.01, math.nan, True),
        (12, 0.20, 3.0, True),
        (2, 0.20, 1.0, True),
    ],
)
def test_coverage_is_told_outside_what_bands_were_chosen_for(
    runs: int, length: float, ratio: float, told: bool
) -> None:
    # By hand from the statement: 3 runs or more, 5 % of the run or longer, a ratio up to 2.
    found = measured_coverage(runs, length, ratio)
    assert (found is not None) is told
    assert found is None or 0.9 < found <= 1.0
