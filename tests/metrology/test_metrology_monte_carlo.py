"""Monte Carlo beside linear propagation: where they agree, where a ratio bends, what is shared, blocks, t-distributed inputs.

The draws leave to chance about 0.15 % of a half width at 10^6 (constructed cases were looked at with other seeds, too).
"""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from toolbench.metrology import ItemRuns, Outcome, Row, Source, compare_items
from toolbench.metrology.monte_carlo import BLOCK, Drawn, check_differences, propagate, summarise_draws
from toolbench.records.comparison import CheckedRow, MonteCarlo
from toolbench.records.runs import Floats

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")
A = [412.0, 418.0, 409.0, 415.0, 411.0]
B = [400.0, 396.0, 404.0, 399.0, 401.0]


def compare(
    a: list[float], b: list[float], *sources: Source, blocks: str = "", more: tuple[Source, ...] = ()
) -> Outcome:
    def item(name: str, values: list[float], known: tuple[Source, ...]) -> ItemRuns:
        return ItemRuns(id=name, values=np.array(values)[:, None], blocks=tuple(blocks), sources=(known,))

    return compare_items([item("b", b, sources), item("a", a, (*sources, *more))], [ROW], [("a", "b")])


def check(outcome: Outcome, **options: object) -> MonteCarlo:
    return check_differences(outcome.levels, outcome.differences, 0.95, **options)  # type: ignore[arg-type]


def only(outcome: Outcome, **options: object) -> CheckedRow:
    (row,) = check(outcome, **options).rows
    return row


def width(row: CheckedRow) -> float:
    assert row.t_symmetric is not None
    return 0.5 * (row.t_symmetric.upper - row.t_symmetric.lower)


def test_well_away_from_zero_both_agree() -> None:
    outcome = compare(A, B)
    found = only(outcome)
    # By hand: 1.959964 hypot(3.5355339 / 4, 413 / 400 * 2.9154759 / 4) / sqrt 5
    by_hand = 1.959964 * math.hypot(3.5355339 / 4, 413 / 400 * 2.9154759 / 4) / math.sqrt(5)
    assert found.linear_half_width == pytest.approx(by_hand, rel=1e-6)
    assert found.half_width == pytest.approx(by_hand, rel=0.01)
    assert found.mean == pytest.approx(3.25, abs=0.01)
    assert check(outcome).differing == ()


def test_a_shared_scale_cancels_however_large() -> None:
    scale = Source(source="scale/cell", label="scale", relative=0.08)
    assert only(compare(A, B, scale)).half_width == pytest.approx(only(compare(A, B)).half_width, rel=0.005)


def test_a_scale_of_one_side_does_not() -> None:
    scale = Source(source="scale/other", label="scale of another cell", relative=0.02)
    found = only(compare(A, B, more=(scale,)))
    # By hand: 2 % of a ratio of 1.0325, with what the scatter makes.
    alone = compare(A, B).differences[0].percent.standard_uncertainty
    assert found.half_width == pytest.approx(1.959964 * math.hypot(alone, 2.0 * 1.0325), rel=0.01)


def test_a_shared_zero_error_is_drawn_once() -> None:
    zero = Source(source="zero/cell", label="zero of the season", absolute=40.0)
    found = only(compare(A, B, zero))
    # By hand: e moves (413 + e) / (400 + e) by -13 e / 400^2; drawn twice, it would move it by over forty times as much.
    alone = compare(A, B).differences[0].percent.standard_uncertainty
    assert found.linear_half_width == pytest.approx(1.959964 * math.hypot(alone, 100 * 40 * 13 / 400**2), rel=1e-6)
    assert found.half_width == pytest.approx(found.linear_half_width, rel=0.03)
    twice = only(compare(A, B, more=(Source(source="zero/other", label="zero of another cell", absolute=40.0),)))
    assert twice.half_width > 10 * found.half_width


def _share_below(limit: float, a: float, u_a: float, b: float, u_b: float) -> float:
    """Probability that 100 (A / B - 1) of two independent normal quantities is below `limit`, by quadrature."""
    r = 1.0 + limit / 100.0

    def given(y: float) -> float:
        below = stats.norm.cdf((r * y - a) / u_a)
        return float((below if y > 0 else 1.0 - below) * stats.norm.pdf(y, b, u_b))

    parts = [integrate.quad(given, b - 9 * u_b, 0.0)[0], integrate.quad(given, 0.0, b + 9 * u_b)[0]]
    return sum(parts)


def test_an_uncertain_base_bends_the_ratio() -> None:
    outcome = compare([24.0, 36.0, 30.0], [14.0, 26.0, 20.0])
    u_a, u_b = (one.estimate.standard_uncertainty for one in reversed(outcome.levels))
    found = only(outcome)
    assert found.excess > 0.05
    assert check(outcome).differing == (found,)
    # Oracle: quadrature of the ratio's distribution.
    shares = [_share_below(end, 30.0, u_a, 20.0, u_b) for end in (found.symmetric.lower, found.symmetric.upper)]
    assert shares == pytest.approx([0.025, 0.975], abs=0.001)
    assert found.shortest.upper - found.shortest.lower < 2 * found.half_width


def test_a_base_that_may_be_zero_has_no_mean_to_tell() -> None:
    found = only(compare([3.0, 5.0, 4.0], [0.5, -1.0, 1.5]))
    assert math.isnan(found.printed.lower)
    assert math.isnan(found.mean)
    assert math.isnan(found.standard_deviation)
    assert math.isfinite(found.half_width)
    assert found.excess > 0.05


def test_within_blocks_their_common_part_cancels() -> None:
    # Constructed: blocks differ by tens, the items within them by what A and B do.
    shift = np.array([0.0, 30.0, -25.0, 60.0, -40.0])
    outcome = compare(list(np.array(A) + shift), list(np.array(B) + shift), blocks="vwxyz")
    assert outcome.differences[0].blocks == 5
    found = only(outcome)
    assert found.half_width == pytest.approx(found.linear_half_width, rel=0.02)
    apart = only(compare(list(np.array(A) + shift), list(np.array(B) + shift)))
    assert found.half_width < apart.half_width / 4


@pytest.mark.parametrize(("runs", "published"), [(3, 1.66), (4, 1.33), (5, 1.21)])
def test_t_inputs_exceed_effective_degrees_of_freedom(runs: int, published: float) -> None:
    """The ratios were measured elsewhere, by simulation, with n runs a side of equal scatter."""
    around = np.linspace(-1.0, 1.0, runs)
    outcome = compare(list(1000.0 + around), list(1000.0 - around))
    found = only(outcome, t_inputs=True)
    assert width(found) / outcome.differences[0].expanded_uncertainty == pytest.approx(published, abs=0.02)
    assert abs(found.excess) < 0.01  # normal inputs: nothing wrong with linear propagation


def test_blocks_with_t_inputs_are_one_t_distribution() -> None:
    shift = np.array([0.0, 3.0, -2.0, 6.0, -4.0])
    outcome = compare(list(np.array(A) + shift), list(np.array(B) + shift), blocks="vwxyz")
    found = only(outcome, t_inputs=True)
    # By hand: two means of the same blocks share one estimate of scatter, so t with 4 degrees of freedom is exact.
    assert width(found) == pytest.approx(outcome.differences[0].expanded_uncertainty, rel=0.015)


def test_the_same_seed_is_the_same_and_another_is_not() -> None:
    outcome = compare(A, B)
    first, again, other = (only(outcome, draws=10_000, seed=seed) for seed in (1, 1, 2))
    assert first == again != other


def test_a_difference_that_was_not_assessed_has_no_row() -> None:
    assert check(compare([412.0], [400.0])).rows == ()


def test_inputs_are_drawn_block_by_block() -> None:
    sizes = []

    def model(x: dict[str, Floats]) -> Floats:
        sizes.append(x["x"].size)
        return x["x"]

    found = propagate(model, {"x": Drawn(value=1.0, u=2.0)}, draws=2 * BLOCK + 7)  # type: ignore[arg-type]
    assert sizes == [BLOCK, BLOCK, 7]
    assert found.draws == 2 * BLOCK + 7
    assert found.mean == pytest.approx(1.0, abs=0.05)


def test_intervals_by_hand() -> None:
    found = summarise_draws(np.array([5.0, 1.0, 2.0, 9.0, 3.0, 4.0, 30.0, 7.0, 6.0, 8.0]), 0.6)
    # By hand, JCGM 101 7.7: q = 6, sorted 1..9 and 30; symmetric from r = (10 - 6) / 2 = 2; the first shortest of equals.
    assert (found.symmetric.lower, found.symmetric.upper) == (2.0, 8.0)
    assert (found.shortest.lower, found.shortest.upper) == (1.0, 7.0)


def test_too_few_draws_are_refused() -> None:
    with pytest.raises(ValueError, match="5 draws are too few"):
        summarise_draws(np.arange(5.0), 0.95)
