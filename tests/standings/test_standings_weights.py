"""Ranks over all weights against a fine grid of weights; other weights and anchors."""

import itertools

import numpy as np
import pytest
from cards import criterion, entry, estimate
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbench.standings import Score, change_anchors, change_weights, rank_range_over_weights, score_entries

CARD = (criterion("x", 0.2), criterion("y", 0.3), criterion("z", 0.5))


def scores(rows: dict[str, tuple[float, float, float]]) -> tuple[Score, ...]:
    entries = [
        entry(t, **{k: estimate(v, exact=0.0) for k, v in zip("xyz", row, strict=True)}) for t, row in rows.items()
    ]
    return score_entries(entries, CARD, draws=1).every


def test_ranges_by_hand() -> None:
    """`a` leads in x only, `b` in y only; `c` is second in both and first in the middle; `d` is behind `c` everywhere."""
    rows = {"a": (90.0, 10.0, 50.0), "b": (10.0, 90.0, 50.0), "c": (60.0, 60.0, 50.0), "d": (20.0, 20.0, 40.0)}
    found = {one.tool: (one.best, one.worst, one.exact) for one in rank_range_over_weights(scores(rows), CARD)}
    # d in x alone: a 90, c 60, d 20, b 10. With z alone a, b and c tie at the top.
    assert found == {"a": (1, 4, True), "b": (1, 4, True), "c": (1, 2, True), "d": (3, 4, True)}


steps = [np.array(w) / 40 for w in itertools.product(range(41), repeat=3) if sum(w) == 40]
fields = st.lists(st.tuples(*[st.integers(0, 20)] * 3), min_size=1, max_size=7)


@settings(max_examples=40, deadline=None)
@given(fields)
def test_no_weights_on_a_grid_leave_the_range(rows: list[tuple[int, int, int]]) -> None:
    values = {f"t{k}": tuple(5.0 * v for v in row) for k, row in enumerate(rows)}
    found = rank_range_over_weights(scores(values), CARD)
    means = np.array(list(values.values())) @ np.array(steps).T
    ranks = 1 + (means[None] > means[:, None] + 1e-3).sum(axis=1)
    for one, row in zip(found, ranks, strict=True):
        assert one.exact
        assert one.best <= row.min()
        assert row.max() <= one.worst


def test_a_rank_that_a_sample_would_hardly_find() -> None:
    """`a` is first only where its lead in x and y just outweighs `b` and `c`: a sliver of the simplex, found exactly."""
    rows = {"a": (50.0, 50.0, 0.0), "b": (99.99, 0.0, 0.0), "c": (0.0, 99.99, 0.0), "d": (49.9, 49.9, 100.0)}
    found = {one.tool: one for one in rank_range_over_weights(scores(rows), CARD)}
    # Without z, at x = y = 1/2: a 50, b and c 49.995, d 49.9.
    assert (found["a"].best, found["a"].exact) == (1, True)


def test_a_field_too_large_to_solve_says_so() -> None:
    rows = {"a": (50.0, 50.0, 0.0), "b": (99.99, 0.0, 0.0), "c": (0.0, 99.99, 0.0), "d": (49.9, 49.9, 100.0)}
    found = {one.tool: one for one in rank_range_over_weights(scores(rows), CARD, most_exact=0)}
    assert not found["a"].exact
    assert found["a"].best_possible == 1


def test_another_weight_keeps_the_ratios_of_the_rest() -> None:
    assert [c.weight for c in change_weights(CARD, {"z": 0.0})] == pytest.approx([0.4, 0.6, 0.0])
    assert [c.weight for c in change_weights(CARD, {"x": 1.0})] == pytest.approx([1.0, 0.0, 0.0])
    with pytest.raises(ValueError, match="no criterion 'w'; there are x, y, z"):
        change_weights(CARD, {"w": 0.5})
    with pytest.raises(ValueError, match="no other criterion"):
        change_weights((criterion("x"),), {"x": 0.5})


def test_several_weights_are_each_what_was_asked() -> None:
    """By hand: x and y take 0.3 and 0.4, z the 0.3 that is left; asked one after the other, x would end at 0.24."""
    asked = {"x": 0.3, "y": 0.4}
    assert [c.weight for c in change_weights(CARD, asked)] == pytest.approx([0.3, 0.4, 0.3])
    assert change_weights(CARD, dict(reversed(asked.items()))) == change_weights(CARD, asked)
    assert change_weights(CARD, {}) == CARD
    with pytest.raises(ValueError, match="add up to 120 %"):
        change_weights(CARD, {"x": 0.6, "y": 0.6})
    with pytest.raises(ValueError, match="leave 10 %"):
        change_weights(CARD, {"x": 0.3, "y": 0.3, "z": 0.3})


def test_another_anchor() -> None:
    (x, *_) = change_anchors(CARD, "x", best_at=50.0)
    assert (x.worst_at, x.best_at) == (0.0, 50.0)
    with pytest.raises(ValueError, match=r"anchors are 0.0 and 0.0"):
        change_anchors(CARD, "x", best_at=0.0)
