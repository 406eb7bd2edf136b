"""Two standings compared: who moved, why, and the uncertainty of the change (figures by hand)."""

import math
from dataclasses import replace

import numpy as np
import pytest
from cards import ONE, criterion, entry, estimate

from toolbench.standings import (
    Basis,
    Entry,
    Move,
    Published,
    change_weights,
    compare_standings,
    rank_entries,
    score_entries,
)
from toolbench.standings.entries import Criterion


def basis(tool: str, *runs: str, **facts: object) -> Basis:
    kept = Basis(
        setup="near",
        runs={"c": {run: f"digest of {run}" for run in runs}},
        scatter={"c": frozenset([f"scatter/{tool}"])},
    )
    return replace(kept, **facts)  # type: ignore[arg-type]


def published(entries: list[Entry], bases: dict[str, Basis], card: tuple[Criterion, ...] = tuple(ONE)) -> Published:
    standing = rank_entries(score_entries(entries, card, draws=50))
    return Published(standing=standing, entries={e.tool: e for e in entries}, criteria=card, bases=bases)


def tool(name: str, value: float, u: float = 2.0) -> Entry:
    return entry(name, c=estimate(value, cell=5.0, **{f"scatter/{name}": u}))


def moves(before: Published, after: Published) -> dict[str, Move]:
    return {move.tool: move for move in compare_standings(before, after)}


OLD = published([tool("a", 60.0), tool("b", 50.0)], {"a": basis("a", "r1", "r2"), "b": basis("b", "r3", "r4")})


def test_nothing_changed_is_no_move() -> None:
    assert compare_standings(OLD, OLD) == ()


def test_a_retest_with_new_runs_moves_one_and_the_other_gives_way() -> None:
    new = published([tool("a", 60.0), tool("b", 70.0)], {"a": basis("a", "r1", "r2"), "b": basis("b", "r5", "r6")})
    found = moves(OLD, new)
    b = found["b"]
    assert (b.rank_before, b.rank_after, b.score_before, b.score_after) == (2, 1, 50.0, 70.0)
    assert b.causes == ("new runs", "runs left out")
    assert b.change is not None
    # The cell's 5 cancels; scatter of two sets of other runs does not: sqrt(2^2 + 2^2).
    assert (b.change.value, b.change.standard_uncertainty) == pytest.approx((20.0, math.sqrt(8.0)))
    assert b.beyond_uncertainty
    assert (found["a"].causes, found["a"].rank_after, found["a"].beyond_uncertainty) == (("others moved",), 2, False)


def test_the_same_runs_have_the_same_scatter() -> None:
    new = published(
        [tool("a", 60.0), tool("b", 51.0)],
        {"a": basis("a", "r1", "r2"), "b": basis("b", "r3", "r4", setup="far")},
    )
    b = moves(OLD, new)["b"]
    assert b.causes == ("other setup",)
    assert b.change is not None
    assert b.change.standard_uncertainty == 0.0
    assert b.beyond_uncertainty


def test_pooled_runs_change_as_much_as_theory_says() -> None:
    """Two runs, then these and two more, scatter 2 sqrt(2) a run: u 2 and sqrt(2); the mean moves by (new - old) / 2."""
    new = published(
        [tool("a", 60.0), tool("b", 52.0, math.sqrt(2.0))],
        {"a": basis("a", "r1", "r2"), "b": basis("b", "r3", "r4", "r5", "r6")},
    )
    b = moves(OLD, new)["b"]
    assert b.causes == ("new runs",)
    assert b.change is not None
    assert b.change.standard_uncertainty == pytest.approx(0.5 * math.hypot(2.0, 2.0))
    assert not b.beyond_uncertainty


def test_the_change_of_a_pooled_mean_by_simulation() -> None:
    """The same by drawing the runs: standard deviation of (mean of four) less (mean of the first two)."""
    runs = np.random.default_rng(5).normal(0.0, 2.0 * math.sqrt(2.0), (200_000, 4))
    assert np.std(runs.mean(axis=1) - runs[:, :2].mean(axis=1)) == pytest.approx(math.sqrt(2.0), rel=0.01)


def test_a_corrected_recording_a_price_and_a_status_are_named() -> None:
    corrected = basis("b", "r3", "r4", runs={"c": {"r3": "another digest", "r4": "digest of r4"}})
    new = published([tool("a", 60.0), tool("b", 45.0)], {"a": basis("a", "r1", "r2", price=99.0), "b": corrected})
    found = moves(OLD, new)
    assert (found["a"].causes, found["b"].causes) == (("price",), ("corrected recording",))
    gone = published([tool("b", 50.0)], {"a": Basis(status="retired"), "b": basis("b", "r3", "r4")})
    found = moves(OLD, gone)
    assert (found["a"].causes, found["a"].rank_after, found["a"].change) == (("retired",), None, None)
    assert (found["b"].causes, found["b"].rank_before, found["b"].rank_after) == (("others moved",), 2, 1)


def test_a_new_entry_and_one_that_is_gone() -> None:
    more = published([tool("a", 60.0), tool("b", 50.0), tool("c", 80.0)], dict(OLD.bases))
    assert moves(OLD, more)["c"].causes == ("new entry",)
    assert moves(more, OLD)["c"].causes == ("no longer entered",)


def test_other_weights_are_named_and_what_is_shared_cancels() -> None:
    card = (criterion("x", 0.5), criterion("y", 0.5))
    entries = [entry("a", x=estimate(80.0, sx=2.0), y=estimate(40.0, sy=1.0))]
    before = published(entries, {}, card)
    after = published(entries, {}, change_weights(card, {"x": 0.7}))
    (move,) = compare_standings(before, after)
    assert move.causes == ("weights or anchors",)
    assert move.change is not None
    # 0.2 of x comes in and 0.2 of y goes out.
    assert (move.change.value, move.change.standard_uncertainty) == pytest.approx((8.0, math.hypot(0.4, 0.2)))
