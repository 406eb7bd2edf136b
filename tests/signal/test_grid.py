"""The common grid: numbers by hand on short series, peaks kept, gaps left empty."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbench.signal.grid import bucket_centres, make_grid, reduce


def test_the_grid_has_500_buckets_at_most_and_one_a_sample_at_least():
    assert make_grid(12.0, 0.001).size == 501
    assert make_grid(2.0, 0.01).size == 201  # by hand: 2 s at 100 Hz
    edges = make_grid(0.3, 0.1)
    assert edges == pytest.approx([0, 0.1, 0.2, 0.3])
    with pytest.raises(ValueError, match="must be positive"):
        make_grid(0.0, 0.1)


def test_mean_low_and_high_by_hand():
    time = np.arange(6) / 10 + 0.05
    values = np.array([1.0, 3.0, 5.0, 9.0, 2.0, 4.0])
    mean, low, high = reduce(time, values, np.array([0.0, 0.2, 0.4, 0.6]))
    assert mean == pytest.approx([2, 7, 3])
    assert low == pytest.approx([1, 5, 2])
    assert high == pytest.approx([3, 9, 4])


def test_a_one_sample_peak_stays_in_high():
    time = np.arange(12000) / 1000
    values = np.zeros(time.size)
    values[7654] = 99.0
    _, low, high = reduce(time, values, make_grid(12.0, 0.001))
    assert high.max() == 99.0
    assert low.max() == 0.0


def test_a_missing_sample_is_left_out_and_a_gap_stays_empty():
    time = np.arange(1000) / 1000
    values = np.ones(1000)
    values[100] = np.nan
    mean, *_ = reduce(time, values, make_grid(1.0, 0.01))
    assert mean == pytest.approx(np.ones(100))
    values[300:400] = np.nan
    for series in reduce(time, values, make_grid(1.0, 0.01)):
        assert np.isnan(series[30:40]).all()
        assert not np.isnan(np.delete(series, range(30, 40))).any()
    kept = np.r_[0:300, 400:1000]
    for series in reduce(time[kept], np.ones(kept.size), make_grid(1.0, 0.01)):
        assert np.isnan(series[30:40]).all()
        assert np.isfinite(np.delete(series, range(30, 40))).all()


def test_beyond_the_record_there_is_nothing():
    time = np.arange(500) / 1000
    mean, _, _ = reduce(time, np.ones(500), make_grid(1.0, 0.01))
    assert np.isfinite(mean[:50]).all()
    assert np.isnan(mean[51:]).all()


@given(start=st.floats(-0.01, 0.0), slope=st.floats(-100, 100), rate=st.floats(50, 400))
@settings(max_examples=50, deadline=None)
def test_a_straight_line_stands_at_the_centres(start, slope, rate):
    # Constructed: few samples a bucket, at any phase; the mean of a line at the bucket's centre is the line there.
    time = start + np.arange(int(2 * rate)) / rate
    edges = make_grid(1.0, 1 / 100)
    mean, low, high = reduce(time, 5 + slope * time, edges)
    inside = slice(3, -3)
    assert mean[inside] == pytest.approx(5 + slope * bucket_centres(edges)[inside], abs=1e-9 + 1e-9 * abs(slope))
    assert (low[inside] <= mean[inside] + 1e-9).all()
    assert (high[inside] >= mean[inside] - 1e-9).all()
