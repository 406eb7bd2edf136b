"""Steps that look at a part of a record before the rest: the answer is the one that the whole record gives."""

from __future__ import annotations

from itertools import groupby

import numpy as np
import pytest

from toolbench.errors import SignalError
from toolbench.signal import find_onset
from toolbench.signal.envelope import LOOKED_AT_S, find_blow_period
from toolbench.signal.flats import stretches
from toolbench.signal.metrics import find_crossing
from toolbench.signal.sampling import find_sample_interval, first_above, noise
from toolbench.signal.start import _lasting


def longest_stretch(mask: np.ndarray) -> tuple[int, int]:
    begins, lengths = stretches(mask)
    return (int(lengths.max()), int(begins[np.argmax(lengths)])) if lengths.size else (0, 0)


@pytest.mark.parametrize("reached_s", [1.0, 1.999, 2.0, 2.001, 7.99, 8.0, 8.01, 11.9])
def test_a_level_is_found_wherever_it_is_reached(reached_s: float) -> None:
    time = np.arange(-500, 12_000) / 1000
    values = 100.0 * np.clip(time, 0.0, None)
    # Constructed: on a straight ramp of 100 a second the level 100 t is reached at t, on any symmetric mean.
    assert find_crossing(time, values, 100.0 * reached_s, blow_period_s=0.1) == pytest.approx(reached_s, abs=1e-9)


def test_a_level_that_is_not_reached_is_nan() -> None:
    time = np.arange(-500, 12_000) / 1000
    assert np.isnan(find_crossing(time, np.clip(time, 0.0, None), 13.0, blow_period_s=0.1))


@pytest.mark.parametrize("place", [0, 1, 4095, 4096, 4097, 9_999])
def test_first_above_finds_a_single_sample(place: int) -> None:
    values = np.zeros(10_000)
    values[place] = 1.0
    assert first_above(values, 0.5) == place
    assert first_above(values, 1.0) is None
    assert first_above(values[:0], 0.5) is None


def test_the_lasting_rise_behind_many_knocks_is_found() -> None:
    # Constructed: knocks of 20 ms every 0.7 s, far less than half of 0.2 s, and a rise for good at 30 s.
    mask = (np.arange(40_000) % 700) < 20
    mask[30_000:] = True
    assert _lasting(mask, 0.001, 0) == 30_000
    assert _lasting(mask, 0.001, 35_000) == 35_000
    assert _lasting(mask[:30_000], 0.001, 0) is None
    assert _lasting(mask[:0], 0.001, 0) is None


def test_the_first_sample_half_of_whose_span_is_above_is_the_rise() -> None:
    mask = np.zeros(9_000, dtype=bool)
    mask[5_000] = True
    mask[5_150:] = True
    # By hand: of the 200 samples from 5000 on, 1 + 50 are true; from 5150 on all are.
    assert _lasting(mask, 0.001, 0) == 5_150


@pytest.mark.parametrize("seed", range(20))
def test_the_longest_stretch_agrees_with_a_plain_loop(seed: int) -> None:
    mask = np.random.default_rng(seed).random(200) < 0.6
    # Oracle: itertools.groupby over the samples, one by one.
    best, place = (0, 0), 0
    for value, group in groupby(mask):
        length = len(list(group))
        if value and length > best[0]:
            best = (length, place)
        place += length
    assert longest_stretch(mask) == best


def test_stretches_at_both_ends_count() -> None:
    assert longest_stretch(np.array([True, True, False, True])) == (2, 0)
    assert longest_stretch(np.array([True, False, True, True])) == (2, 2)
    assert longest_stretch(np.zeros(3, dtype=bool)) == (0, 0)


def test_interval_and_noise_of_a_short_record_come_from_every_step() -> None:
    time = np.array([0.0, 0.1, 0.2, 0.45, 0.55])
    assert find_sample_interval(time) == pytest.approx(0.1)  # by hand: steps 0.1, 0.1, 0.25, 0.1
    values = np.array([0.0, 1.0, 0.0, 1.0, 0.0])
    # By hand: differences 1, -1, 1, -1 have the median 0 and lie 1 from it: 1.4826 / sqrt(2).
    assert noise(values) == pytest.approx(1.4826 / np.sqrt(2.0))


@pytest.mark.parametrize("rest_s", [1.0, 4.9, 5.0, 9.0, 18.0])
def test_an_onset_is_found_early_and_late_in_a_record(rest_s: float) -> None:
    time = np.arange(20_000) / 1000
    running = np.clip(time - rest_s, 0.0, None)
    noise_at = np.random.default_rng(7).normal(0.0, 0.5, time.size)
    found = find_onset(time, 800.0 * (1 - np.exp(-running / 0.2)) + noise_at)
    # Constructed: the rise begins at rest_s. The line leans by the curvature of the build-up, less than 4 ms here.
    assert found.time_s == pytest.approx(rest_s, abs=0.004)


def test_a_second_start_far_behind_the_first_is_found() -> None:
    time = np.arange(40_000) / 1000
    values = np.where((time > 1) & (time < 5) | (time > 30), 500.0, 0.0) + np.sin(1000 * time)
    with pytest.raises(SignalError, match=r"two starts: at 1\.0\d s and at 30\.0\d s"):
        find_onset(time, values)


def test_the_period_of_a_long_record_comes_from_its_first_minute() -> None:
    time = np.arange(0, 3 * LOOKED_AT_S, 0.002)
    blows = np.where(time < LOOKED_AT_S, np.sin(2 * np.pi * 12 * time), 5 * np.sin(2 * np.pi * 30 * time))
    # Constructed: 12 Hz in the first minute; the stronger 30 Hz after it is not looked at.
    assert find_blow_period(time, 500 + blows) == pytest.approx(1 / 12.0, rel=0.002)
