"""Onsets of constructed signals: the truth is the time at which the build-up was made to start."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signal_runs import Truth, draw, record

from toolbench.errors import SignalError
from toolbench.records.settings import OnsetRule
from toolbench.signal import find_onset

RULES = ("level", "scatter", "extrapolate")


def ramp(onset_s=1.0, rate_hz=1000.0, rise_s=1.0, length_s=4.0, height=500.0, rest=3.0):
    time = np.arange(int(length_s * rate_hz)) / rate_hz
    return time, rest + height * np.clip((time - onset_s) / rise_s, 0, 1)


def test_a_straight_ramp_without_noise_starts_where_it_was_made_to():
    # Constructed: a line carried back to rest meets it at the start exactly; 1 us is float rounding.
    onset = find_onset(*ramp(onset_s=1.2345))
    assert onset.time_s == pytest.approx(1.2345, abs=1e-6)
    assert onset.rest == pytest.approx(3.0)
    assert onset.highest == pytest.approx(503.0)
    # By hand: nothing but the sample interval of 1 ms is uncertain, 1 ms / sqrt(12).
    assert onset.standard_uncertainty_s == pytest.approx(1e-3 / math.sqrt(12), rel=1e-3)
    assert onset.rest_length_s == pytest.approx(1.2345, abs=1e-6)


def test_a_saturating_build_up_is_early_by_half_a_percent_of_its_time_constant():
    # By hand: the chord of 1 - exp(-t/tau) from 3 to 12 % meets zero at -0.0030 tau; the fit of all samples between lies near it.
    time = np.arange(8000) / 1000.0
    for tau in (0.3, 0.8, 2.0):
        torque = 800 * (1 - np.exp(-np.maximum(time - 1.0, 0) / tau))
        onset = find_onset(time, torque)
        assert -0.006 * tau - 5e-4 < onset.time_s - 1.0 < 0
        assert abs(onset.time_s - 1.0) < 3 * onset.standard_uncertainty_s


@pytest.mark.parametrize("rule", ["extrapolate", "scatter"])
def test_other_rules_on_a_ramp(rule):
    time, values = ramp(onset_s=1.2345)
    onset = find_onset(time, values, rule=OnsetRule(rule=rule))
    # Bound: the smoothed excess over a thousandth of the rise shows within three samples.
    assert onset.time_s == pytest.approx(1.2345, abs=3e-3)
    assert onset.rule == rule


def test_trigger_edge_with_either_polarity():
    time, values = ramp()
    trigger = np.where(time >= 0.95, 5.0, 0.0)
    for wired in (trigger, 5.0 - trigger):
        onset = find_onset(time, values, rule=OnsetRule(rule="trigger"), trigger=wired)
        assert onset.time_s == pytest.approx(0.9495, abs=1e-9)  # by hand: midway between 0.949 and 0.950 s
        assert onset.standard_uncertainty_s == pytest.approx(1e-3 / math.sqrt(12), rel=1e-6)


@pytest.mark.parametrize(("trigger", "said"), [(None, "none"), (np.zeros(4000), "never changes")])
def test_trigger_rule_without_a_usable_trigger_says_so(trigger, said):
    with pytest.raises(SignalError, match=said):
        find_onset(*ramp(), rule=OnsetRule(rule="trigger"), trigger=trigger)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("at", [200, 700, 1005, 1100, 3000])
@pytest.mark.parametrize("size", [900.0, -900.0, 5e5])
def test_a_one_sample_spike_moves_the_onset_by_less_than_its_uncertainty(rule, at, size):
    truth = Truth(onset_s=1.0)
    time, channels = record(truth)
    plain = find_onset(time, channels["torque"], rule=OnsetRule(rule=rule))
    spoiled = channels["torque"].copy()
    spoiled[at] += size
    onset = find_onset(time, spoiled, rule=OnsetRule(rule=rule))
    if abs(size) < 1000 or not 1000 <= at <= 1200:
        assert abs(onset.time_s - plain.time_s) < 1.5 * plain.standard_uncertainty_s
        assert onset.rest == pytest.approx(plain.rest, abs=0.2)


def test_missing_samples_are_left_out():
    time, channels = record(Truth())
    torque = channels["torque"].copy()
    plain = find_onset(time, torque)
    torque[100:140] = np.nan
    torque[3000:3100] = np.nan
    assert find_onset(time, torque).time_s == pytest.approx(plain.time_s, abs=2e-4)


def test_noise_alone_holds_no_onset():
    time = np.arange(5000) / 1000.0
    for seed in range(20):
        with pytest.raises(SignalError, match="no onset"):
            find_onset(time, np.random.default_rng(seed).normal(0, 1, time.size))
    with pytest.raises(SignalError, match="no onset"):
        find_onset(time, np.zeros(time.size))
    with pytest.raises(SignalError, match="10 samples"):
        find_onset(time[:10], time[:10])


@pytest.mark.parametrize("cut_s", [0.0, 0.02, 0.1, 0.4, 2.0])
def test_a_run_that_started_before_the_record_is_refused(cut_s):
    truth = Truth(onset_s=1.0, duration_s=6.0)
    time, channels = record(truth)
    kept = time >= 1.0 + cut_s
    # Well after the start nothing tells a plateau from a tool that never ran: then there is no onset.
    with pytest.raises(SignalError, match=r"started before the record|no onset"):
        find_onset(time[kept], channels["torque"][kept])


def test_a_record_that_begins_on_the_plateau_and_ends_with_the_release_is_refused():
    time, channels = record(Truth(tail_s=0.5))
    kept = time >= 3.0
    with pytest.raises(SignalError, match="started before the record"):
        find_onset(time[kept], channels["torque"][kept])


def test_two_starts_are_named_with_both_times():
    first, a = record(Truth(onset_s=0.8, duration_s=3.0, tail_s=1.0))
    _, b = record(Truth(onset_s=0.8, duration_s=3.0, tail_s=1.0), seed=1)
    torque = np.concatenate((a["torque"], b["torque"]))
    time = np.arange(torque.size) / 1000.0
    # By hand: the second run begins 0.8 s into the second record; the level is crossed some 0.05 to 0.12 s after a start.
    second = first.size / 1000.0 + 0.8
    with pytest.raises(SignalError, match="two starts") as caught:
        find_onset(time, torque)
    words = str(caught.value).replace(",", " ").split()
    times = [float(word) for word in words if word.replace(".", "").isdigit() and "." in word]
    assert times[0] == pytest.approx(0.87, abs=0.06)
    assert times[1] == pytest.approx(second + 0.07, abs=0.06)
    # What comes after the duration is another matter.
    assert find_onset(time, torque, within_s=3.0).time_s == pytest.approx(0.8, abs=0.03)


def test_a_knock_before_the_run_is_no_start():
    time, channels = record(Truth(onset_s=2.0))
    torque = channels["torque"].copy()
    torque[600:630] += 400
    assert find_onset(time, torque).time_s == pytest.approx(2.0, abs=0.03)


@given(shift=st.floats(-1e4, 1e4), seed=st.integers(0, 50))
@settings(max_examples=40, deadline=None)
def test_a_time_shift_moves_the_onset_by_as_much(shift, seed):
    time, channels = record(draw(seed, rate_hz=200.0), seed)
    plain, moved = find_onset(time, channels["torque"]), find_onset(time + shift, channels["torque"])
    # Bound: at 1e4 s a double has steps of 2e-12 s; slope and intercept of the line lose a few digits more.
    assert moved.time_s - shift == pytest.approx(plain.time_s, abs=1e-8)
    assert moved.standard_uncertainty_s == pytest.approx(plain.standard_uncertainty_s, rel=1e-6)


@given(factor=st.floats(1e-6, 1e6), seed=st.integers(0, 50), rule=st.sampled_from(RULES))
@settings(max_examples=40, deadline=None)
def test_another_unit_changes_nothing(factor, seed, rule):
    time, channels = record(draw(seed, rate_hz=200.0), seed)
    plain = find_onset(time, channels["torque"], rule=OnsetRule(rule=rule))
    scaled = find_onset(time, factor * channels["torque"], rule=OnsetRule(rule=rule))
    assert scaled.time_s == pytest.approx(plain.time_s, abs=1e-9)
    assert scaled.standard_uncertainty_s == pytest.approx(plain.standard_uncertainty_s, rel=1e-6)
    assert scaled.highest == pytest.approx(factor * plain.highest, rel=1e-9)


@given(offset=st.floats(-500, 500), seed=st.integers(0, 20))
@settings(max_examples=20, deadline=None)
def test_a_preload_or_zero_offset_changes_nothing(offset, seed):
    time, channels = record(draw(seed, rate_hz=200.0), seed)
    plain, moved = find_onset(time, channels["torque"]), find_onset(time, channels["torque"] + offset)
    assert moved.time_s == pytest.approx(plain.time_s, abs=1e-6)


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
def test_the_uncertainty_covers_the_error(rate_hz):
    """300 flawless runs with blows: the error stays within 3 u in 97 % at least, and u is not idle: its z scatters by 0.5 to 1.4."""
    z = []
    for seed in range(300):
        truth = draw(seed, rate_hz)
        time, channels = record(truth, seed)
        onset = find_onset(time, channels["torque"])
        z.append((onset.time_s - truth.onset_s) / onset.standard_uncertainty_s)
    z = np.array(z)
    assert np.mean(np.abs(z) < 3) >= 0.97
    assert 0.5 < np.sqrt(np.mean(z**2)) < 1.4
