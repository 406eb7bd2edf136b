"""When curves part: stretches of a simultaneous band and their ends, by hand on a grid of one second."""

import dataclasses
import math

import numpy as np
import pytest

from toolbench.metrology import find_spans
from toolbench.records.comparison import Band

LOWER = (-1.0, 0.5, 1.0, -1.0, -6.0, -5.0, math.nan)
UPPER = (2.0, 4.0, 5.0, 2.0, -3.0, -2.0, math.nan)
PERCENT = (0.5, 2.0, 3.0, 0.5, -4.5, -3.5, 0.0)


def band(lower: tuple[float, ...], upper: tuple[float, ...], percent: tuple[float, ...], correlation_s: float) -> Band:
    none = (np.zeros(len(lower)), np.zeros(len(lower)))
    return Band(
        item="far",
        response="torque",
        unit="N*m",
        time_s=np.arange(float(len(lower))),
        n=3,
        mean=none[0],
        pointwise=none,
        simultaneous=none,
        percent=np.array(percent),
        percent_pointwise=none,
        percent_simultaneous=(np.array(lower), np.array(upper)),
        baseline="near",
        correlation_s=correlation_s,
    )


def test_stretches_by_hand() -> None:
    first, second = find_spans([band(LOWER, UPPER, PERCENT, 5.0)])
    assert (first.from_s, first.to_s, first.smallest_percent, first.largest_percent) == (1.0, 2.0, 2.0, 3.0)
    assert (second.from_s, second.to_s, second.smallest_percent, second.largest_percent) == (4.0, 5.0, -3.5, -4.5)
    assert (first.share, second.share) == (1.0, 1.0)


def test_ends_by_hand() -> None:
    # Worked by hand. The first stretch: percent and upper edge stay above zero back to the first point, so nothing bounds
    # its beginning; at its end the mean goes 0.5 -> -4.5 between 3 s and 4 s (crossing at 3.1 s), the upper edge 2 -> -3
    # (3.4 s). The second: mean and lower edge cross where the first ended; the lower edge is below zero at 3 s and above
    # it at 2 s, 1 -> -1, so the direction is allowed from 2.5 s. The mean is zero at 6 s, where the band has no value.
    first, second = find_spans([band(LOWER, UPPER, PERCENT, 5.0)])
    assert (first.mean_from_s, first.outer_from_s) == (-math.inf, -math.inf)
    assert (first.mean_to_s, first.outer_to_s) == pytest.approx((3.1, 3.4))
    assert (second.mean_from_s, second.outer_from_s) == pytest.approx((3.1, 2.5))
    assert (second.mean_to_s, second.outer_to_s) == (6.0, 5.0)


def gapped(correlation_s: float) -> Band:
    """Twenty-one seconds: the band leaves zero at 5 to 8 s, 10 to 12 s and 17 to 20 s."""
    apart = np.isin(np.arange(21), (5, 6, 7, 8, 10, 11, 12, 17, 18, 19, 20))
    lower, upper = np.where(apart, 1.0, -0.5), np.full(21, 4.0)
    return band(tuple(lower), tuple(upper), tuple(np.full(21, 2.0)), correlation_s)


@pytest.mark.parametrize(
    ("correlation_s", "found"),
    [
        (0.5, [(5.0, 8.0, 1.0), (10.0, 12.0, 1.0), (17.0, 20.0, 1.0)]),
        (1.5, [(5.0, 12.0, 7 / 8), (17.0, 20.0, 1.0)]),
        # However long scatter keeps its course, a gap of more than a tenth of the run stays a gap.
        (20.0, [(5.0, 12.0, 7 / 8), (17.0, 20.0, 1.0)]),
    ],
)
def test_short_gaps_are_bridged_and_said(correlation_s: float, found: list[tuple[float, float, float]]) -> None:
    spans = find_spans([gapped(correlation_s)])
    assert [(span.from_s, span.to_s, pytest.approx(span.share)) for span in spans] == found


def test_a_gap_in_which_the_other_direction_is_shown_is_no_gap() -> None:
    up, down = (1.0, 4.0), (-4.0, -1.0)
    edges = [up, up, down, up, up, *[(-1.0, 1.0)] * 40]
    lower, upper = zip(*edges, strict=True)
    spans = find_spans([band(lower, upper, tuple((a + b) / 2 for a, b in edges), 4.0)])
    assert [(span.from_s, span.to_s) for span in spans] == [(0.0, 1.0), (2.0, 2.0), (3.0, 4.0)]


def test_nothing_is_said_close_to_the_onset() -> None:
    always = dataclasses.replace(gapped(0.5), percent_simultaneous=(np.ones(21), np.full(21, 9.0)))
    assert [(span.from_s, span.to_s) for span in find_spans([always])] == [(0.0, 20.0)]
    late = find_spans([always], after_s=1.5)[0]
    assert (late.from_s, late.to_s) == (2.0, 20.0)
    assert (late.outer_from_s, late.outer_to_s) == (2.0, 20.0)  # ends of what is judged


def test_without_bands_nothing_parts() -> None:
    none = dataclasses.replace(gapped(0.5), percent=None, percent_simultaneous=None)
    assert find_spans([none]) == ()
    assert find_spans([gapped(0.5)], after_s=99.0) == ()
