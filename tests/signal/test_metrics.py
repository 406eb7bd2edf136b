"""Metrics of constructed runs whose numbers follow from the formula T = T_end (1 - exp(-t / tau))."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signal_runs import draw, record

from toolbench.signal import measure
from toolbench.signal.envelope import find_blow_period, upper_envelope
from toolbench.signal.metrics import at_mark, can_show_peak


def measured(time, values, **changes):
    stated = {
        "response": "torque",
        "unit": "N*m",
        "rest": 0.0,
        "onset_uncertainty_s": 0.01,
        "duration_s": 5.0,
        "marks_s": (1.0, 2.5, 5.0),
        "window_s": (4.0, 5.0),
    }
    return {(m.metric, m.at): m for m in measure(time, values, **(stated | changes))}


def smooth_run(rate_hz=1000.0, end=800.0, tau=0.7, length_s=5.5, noise=0.0):
    time = np.arange(-int(rate_hz), int(length_s * rate_hz)) / rate_hz
    values = end * (1 - np.exp(-np.maximum(time, 0) / tau))
    return time, values + np.random.default_rng(3).normal(0, noise, time.size)


def test_a_straight_line_gives_every_metric_by_hand():
    time = np.arange(-1000, 5500) / 1000
    found = measured(time, 100 * np.maximum(time, 0), reach=(250.0, 900.0))
    assert found["at_mark", 1.0].value == pytest.approx(100)
    assert found["at_mark", 5.0].value == pytest.approx(500)
    assert found["at_mark", 5.0].onset_uncertainty == pytest.approx(1.0)  # 100 N*m/s x 0.01 s
    assert found["sustained", None].value == pytest.approx(450)
    assert found["sustained", None].onset_uncertainty == pytest.approx(1.0)
    assert found["slope", None].value == pytest.approx(100)
    assert found["slope", None].unit == "N*m/s"
    assert found["rise_time", None].value == pytest.approx(0.8 * 4.5, abs=2e-3)  # 45 to 405 N*m at 100 N*m/s
    assert found["time_to", 250.0].value == pytest.approx(2.5, abs=2e-3)
    assert found["time_to", 250.0].onset_uncertainty == 0.01
    assert math.isnan(found["time_to", 900.0].value)
    assert ("peak", None) not in found


def test_a_saturating_build_up_without_noise():
    found = measured(*smooth_run(), reach=(400.0,))
    for mark in (1.0, 2.5, 5.0):
        # Bound: a line over 25 ms to either side bends by T''/6 h^2, below 0.04 % of the end here.
        assert found["at_mark", mark].value == pytest.approx(800 * (1 - math.exp(-mark / 0.7)), abs=0.3)
    # By hand: 10 to 90 % take tau ln 9, half the end tau ln 2; the mean over a blow period of 1/6 s bends by 0.25 % of tau.
    assert found["rise_time", None].value == pytest.approx(0.7 * math.log(9), rel=0.01)
    assert found["time_to", 400.0].value == pytest.approx(0.7 * math.log(2), abs=0.005)
    assert found["at_mark", 1.0].onset_uncertainty == pytest.approx(0.01 * 800 / 0.7 * math.exp(-1 / 0.7), rel=0.01)


@pytest.mark.parametrize(("rate_hz", "bound"), [(200.0, 0.02), (1000.0, 0.015)])
def test_blows_do_not_move_a_mark(rate_hz, bound):
    """Blows of 10 % at 200 phases and rates: a mark reads within 1.5 or 2 % of the level, also at the very end of the run."""
    for seed in range(200):
        rng = np.random.default_rng(seed)
        time, values = smooth_run(rate_hz=rate_hz, tau=0.5)
        values = values * (1 + 0.1 * np.sin(2 * np.pi * (rng.uniform(8, 30) * time + rng.random())))
        found = measured(time, values + rng.normal(0, 4, time.size))
        for mark in (2.5, 5.0):
            assert found["at_mark", mark].value == pytest.approx(800 * (1 - math.exp(-mark / 0.5)), rel=bound)


def test_the_uncertainty_of_a_mark_covers_white_noise():
    # Constructed: 400 flat runs of noise 8; the line's u must be the scatter of its value within 15 %.
    time = np.arange(0, 2000) / 1000
    readings = [
        at_mark(time, np.random.default_rng(s).normal(500, 8, time.size), 1.0, duration_s=2.0, sample_interval_s=1e-3)
        for s in range(400)
    ]
    u = np.mean([r.standard_uncertainty for r in readings])
    assert np.std([r.value for r in readings]) == pytest.approx(u, rel=0.15)


def test_a_mark_in_a_gap_or_beyond_the_record_is_not_a_number():
    time, values = smooth_run(length_s=4.0)
    assert math.isnan(measured(time, values)["at_mark", 5.0].value)
    assert math.isnan(measured(time, values)["sustained", None].value)
    values[(time > 0.8) & (time < 1.2)] = np.nan
    assert math.isnan(measured(time, values)["at_mark", 1.0].value)


@pytest.mark.parametrize(
    ("interval", "bandwidth", "blow", "shown"),
    [
        (90e-6, 5e3, 1e-3, True),  # by hand: 0.09 of 1 ms is 90 us
        (91e-6, 5e3, 1e-3, False),
        (90e-6, None, 1e-3, False),
        (90e-6, 100.0, 1e-3, False),
        (27e-6, 5e3, None, True),  # by hand: 0.09 of the shortest blow, 0.3 ms
        (28e-6, 5e3, None, False),
        (1e-3, 5e3, 0.1, False),  # a period, not a blow: nothing may follow from it
    ],
)
def test_a_peak_needs_sampling_and_a_stated_bandwidth(interval, bandwidth, blow, shown):
    assert can_show_peak(sample_interval_s=interval, bandwidth_hz=bandwidth, blow_s=blow) is shown


def test_the_peak_is_the_highest_sample_of_the_run():
    time, values = smooth_run(rate_hz=12500.0)
    values[time.size // 2] = 3000.0
    values[-1] = 9000.0
    found = measured(time, values, bandwidth_hz=5e3, blow_s=1e-3)
    assert found["peak", None].value == 3000.0


@given(factor=st.floats(1e-3, 1e3), seed=st.integers(0, 30))
@settings(max_examples=25, deadline=None)
def test_levels_scale_and_times_do_not(factor, seed):
    truth = draw(seed, 200.0)
    time, channels = record(truth, seed)
    plain = measured(time - truth.onset_s, channels["torque"], duration_s=3.0, marks_s=(1.0, 3.0), window_s=(2.0, 3.0))
    scaled = measured(
        time - truth.onset_s, factor * channels["torque"], duration_s=3.0, marks_s=(1.0, 3.0), window_s=(2.0, 3.0)
    )
    for key, metric in plain.items():
        by = 1.0 if metric.metric == "rise_time" else factor
        assert scaled[key].value == pytest.approx(by * metric.value, rel=1e-6, abs=1e-9 * factor, nan_ok=True)


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0, 12500.0])
def test_the_blow_period_is_found_from_the_record(rate_hz):
    for seed in range(25):
        truth = draw(seed, rate_hz)
        time, channels = record(truth, seed)
        kept = (time > truth.onset_s) & (time < truth.onset_s + truth.duration_s)
        period = find_blow_period(time[kept], channels["torque"][kept])
        assert period == pytest.approx(1 / truth.blow_hz, rel=0.03)


def test_without_blows_none_are_found():
    time, values = smooth_run(noise=8.0)
    assert find_blow_period(time[time > 0], values[time > 0]) is None


def test_short_blows_are_not_taken_for_twice_as_many():
    time = np.arange(5000) / 1000
    blows = 100 * np.exp(-((((time * 12.0) % 1.0) * 30 - 3) ** 2))
    assert find_blow_period(time, 500 + blows) == pytest.approx(1 / 12.0, rel=0.02)


def test_the_envelope_of_a_sine_is_its_crest():
    time = np.arange(0, 5000) / 1000
    envelope, span = upper_envelope(time, 500 + 50 * np.sin(2 * np.pi * 15 * time))
    assert span == pytest.approx(2 / 15, rel=0.02)  # two periods of 15 Hz
    assert envelope.min() == pytest.approx(550, abs=0.5)
    assert envelope.max() == pytest.approx(550, abs=0.5)


def test_the_envelope_spans_two_blows_at_least():
    time = np.arange(0, 2000) / 1000
    _, span = upper_envelope(time, np.ones(time.size), blow_period_s=0.1, blows=0.5)
    assert span == pytest.approx(0.2)
