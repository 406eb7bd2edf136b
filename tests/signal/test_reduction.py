"""One recording reduced as a whole: conditions by hand, size, speed, nothing said about flawless runs, every planted flaw named."""

import time as clock
from dataclasses import replace

import numpy as np
import pytest
from signal_runs import BAR, HELD, Truth, draw, raw_run, record

from toolbench.errors import SignalError
from toolbench.records.settings import Hold
from toolbench.signal import find_start, like_run_findings, make_grid, reduce

TIMES = {"duration_s": 5.0, "marks_s": (1.0, 2.5, 5.0), "window_s": (4.0, 5.0)}


def reduced(truth=None, protocol=HELD, seed=0, change=None, run="r1", **more):
    truth = Truth() if truth is None else truth
    time, channels = record(truth, seed)
    if change is not None:
        change(time - truth.onset_s, channels)
    return reduce(raw_run(time, channels, run), protocol, **(TIMES | more))


def codes(run):
    return {finding.code for finding in run.findings}


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
def test_nothing_is_said_about_300_flawless_runs(rate_hz):
    said = []
    for seed in range(300):
        truth = draw(seed, rate_hz)
        time, channels = record(truth, seed)
        if seed % 3 == 0:
            step = truth.end / 100  # a coarse converter, and an integer one
            channels["torque"] = np.round(channels["torque"] / step) * step
        elif seed % 3 == 1:
            channels["torque"] = np.round(channels["torque"])
        d = truth.duration_s
        run = reduce(raw_run(time, channels), HELD, duration_s=d, marks_s=(1.0, d), window_s=(0.8 * d, d))
        said += [(seed, finding.code) for finding in run.findings]
    assert said == []


def clip(after, channels):
    channels["torque"] = np.minimum(channels["torque"], 760.0)


def drop(after, channels):
    channels["torque"][(after > 2) & (after < 2.1)] = np.nan


def freeze(after, channels):
    stuck = (after > 2) & (after < 2.4)
    channels["torque"][stuck] = 700.0


def spike(after, channels):
    channels["torque"][np.searchsorted(after, 3.0)] += 5000


def shift_zero(after, channels):
    channels["torque"] += np.where(after > 3.2, 34.0, 0.0)


def slip(after, channels):
    channels["torque"] *= np.where(after > 2.1, 0.3 + 0.7 * (1 - np.exp(-np.maximum(after - 2.1, 0) / 1.6)), 1.0)


def release(after, channels):
    gone = np.exp(-np.maximum(after - 3.0, 0) / 0.05)
    channels["torque"] *= gone
    channels["inlet_pressure"] = np.where(after > 3.0, 6.9 * BAR - 0.7 * BAR * gone, channels["inlet_pressure"])


def lose_alone(after, channels):
    slip(after, channels)
    del channels["inlet_pressure"]


def stop_turning(after, channels):
    slip(after, channels)
    channels["speed"] = np.where((after > 0) & (after < 2.1), 100.0, 0.0)


def run_out(after, channels):
    lost = np.where(after > 2.0, 0.4 * (1 - np.exp(-np.maximum(after - 2.0, 0) / 0.2)), 0.0)
    channels["torque"] *= 1 - lost
    channels["inlet_pressure"] = channels["inlet_pressure"] * (1 - lost)


def sag(after, channels):
    lost = 0.04 * np.maximum(after - 2.0, 0)
    channels["torque"] *= 1 - lost
    channels["inlet_pressure"] = channels["inlet_pressure"] * (1 - lost)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (clip, {"clipped"}),
        (drop, {"dropout"}),
        (freeze, {"frozen"}),
        (spike, {"spikes"}),
        (shift_zero, {"zero-shift"}),
        (slip, {"socket-slipped"}),
        (release, {"trigger-released"}),
        (lose_alone, {"response-lost"}),
        (stop_turning, {"trigger-released"}),
        (run_out, {"supply-sag"}),
        (sag, {"supply-sag"}),
    ],
)
def test_a_planted_flaw_is_named_and_nothing_else(change, expected):
    for seed in range(5):
        run = reduced(Truth(tail_s=0.6), seed=seed, change=change)
        assert codes(run) == expected
        for finding in run.findings:
            assert finding.subjects == ("r1",)
            assert finding.file == "recordings/r1.csv"
            assert finding.message.endswith(".")
            assert finding.message[0].isupper()


def test_torque_alone_is_called_possible():
    (finding,) = reduced(change=lose_alone).findings
    assert "possible" in finding.message


def test_short_rest_short_run_and_few_samples():
    assert codes(reduced(Truth(onset_s=0.2, rate_hz=200.0))) == {"rest-short"}
    assert codes(reduced(Truth(duration_s=4.0))) == {"run-short"}
    assert codes(reduced(Truth(rate_hz=16.0, onset_s=4.0, blow_hz=5.0, ripple=0.0))) == {"sampling-coarse"}


def test_a_clock_that_changes_its_rate():
    time, channels = record(Truth())
    bent = np.where(time < 3, time, 3 + (time - 3) * 1.03)
    run = reduce(raw_run(bent, channels), HELD, **TIMES)
    assert codes(run) == {"rate-uneven"}


def test_over_range():
    assert codes(reduced(sensor_ranges={"torque": (0.0, 700.0)})) == {"over-range"}
    assert codes(reduced(sensor_ranges={"torque": (0.0, 2000.0)})) == set()


def test_conditions_and_supply_metrics():
    protocol = replace(
        HELD, hold=Hold(channel="inlet_pressure", at=6.2 * BAR, within=0.05 * BAR),
        rest=Hold(channel="inlet_pressure", at=6.5 * BAR, within=0.1 * BAR),
    )  # fmt: skip

    def add_supply(after, channels):
        channels["supply_pressure"] = np.full(after.size, 7.3 * BAR)

    run = reduced(Truth(settle_s=0.2), protocol=protocol, change=add_supply)
    # By hand: 0.7 bar of droop fade with 0.2 s, so the mean from 1 to 5 s is 6.2 bar + 0.7 x 0.2 x exp(-5) / 4 bar.
    flowing = (6.2 + 0.7 * 0.2 * np.exp(-5) / 4) * BAR
    assert run.conditions.flowing_pressure == pytest.approx(flowing, abs=0.001 * BAR)
    assert run.conditions.rest_pressure == pytest.approx(6.9 * BAR, abs=0.002 * BAR)
    assert run.conditions.droop == pytest.approx(6.9 * BAR - flowing, abs=0.002 * BAR)
    assert run.conditions.hold_met is True
    assert run.conditions.rest_met is False
    assert run.metric("inlet_pressure", "flowing_pressure").value == run.conditions.flowing_pressure
    assert run.metric("inlet_pressure", "droop").unit == "Pa"
    assert run.metric("supply_pressure", "regulator_needed").value == pytest.approx(7.3 * BAR)
    off = replace(protocol, hold=Hold(channel="inlet_pressure", at=6.0 * BAR, within=0.05 * BAR))
    assert reduced(protocol=off).conditions.hold_met is False
    assert (
        reduced(protocol=replace(protocol, hold=Hold(channel="voltage", at=18, within=1))).conditions.hold_met is None
    )


def test_traces_keep_peaks_of_the_response_and_the_run_is_small():
    truth = Truth(rate_hz=10000.0)
    time, channels = record(truth)
    run = reduce(raw_run(time, channels), HELD, edges=make_grid(5.0, 1e-4), **TIMES)
    torque, pressure = run.traces["torque"], run.traces["inlet_pressure"]
    assert run.grid_s.size == torque.mean.size == 500
    assert torque.high.max() == channels["torque"][(time >= run.onset.time_s) & (time <= run.onset.time_s + 5)].max()
    assert pressure.low is None
    arrays = [run.grid_s, *(a for t in run.traces.values() for a in (t.mean, t.low, t.high) if a is not None)]
    assert sum(a.nbytes for a in arrays) < 60_000
    level = truth.level(run.grid_s)
    # Bound: blows of 8 % averaged over 10 ms of 81, an onset off by 10 ms at 800 / 0.7 N*m/s, noise.
    assert np.abs(torque.mean - level).max() < 0.08 * 800 + 0.01 * 800 / 0.7 + 8


def test_find_start_and_its_sentences_name_the_file():
    time, channels = record(Truth())
    raw = raw_run(time, channels)
    assert find_start(raw, HELD).time_s == pytest.approx(0.8, abs=0.03)
    with pytest.raises(SignalError, match=r"no channel force.*torque, inlet_pressure") as caught:
        find_start(raw, replace(HELD, response=("force",)))
    assert caught.value.faults[0].file == "recordings/r1.csv"
    with pytest.raises(SignalError, match=r"recordings/r1\.csv.*no onset"):
        find_start(raw_run(time, {"torque": 0 * time}), HELD)


def test_envelope_replaces_the_response():
    plain, enveloped = reduced(), reduced(protocol=replace(HELD, envelope=True))
    # Constructed: blows of 8 % and noise of 1 % lie between 8 and 12 % above the level.
    ratio = enveloped.metric("torque", "sustained").value / plain.metric("torque", "sustained").value
    assert 1.08 < ratio < 1.12
    assert enveloped.onset == plain.onset


def test_two_responses_are_both_measured():
    run = reduced(protocol=replace(HELD, response=("torque", "inlet_pressure"), reach=(400.0,)))
    assert run.metric("inlet_pressure", "sustained").value == pytest.approx(6.2 * BAR, rel=0.01)
    assert [m.response for m in run.metrics if m.metric == "time_to"] == ["torque"]
    assert run.traces["inlet_pressure"].high is not None


@pytest.mark.parametrize("factor", [1.3558, 14.504, 1000.0])
@pytest.mark.parametrize("inverse", [False, True])
def test_a_unit_factor_between_like_runs(factor, inverse):
    by = 1 / factor if inverse else factor

    def spoil(after, channels):
        channels["torque"] *= by

    runs = [reduced(seed=seed, run=f"r{seed}", change=spoil if seed == 2 else None) for seed in range(4)]
    (finding,) = [f for f in like_run_findings(runs) if f.code == "unit-factor"]
    assert finding.subjects == ("r2",)
    pair = like_run_findings(runs[1:3])
    assert [set(f.subjects) for f in pair] == [{"r1", "r2"}]


def test_like_runs_with_four_percent_scatter_raise_nothing():
    for seed in range(30):
        rng = np.random.default_rng(seed)
        runs = [
            reduced(Truth(end=800 * (1 + 0.04 * rng.standard_normal()), rate_hz=200.0), seed=10 * seed + k, run=f"r{k}")
            for k in range(5)
        ]
        assert like_run_findings(runs) == []


def test_a_zero_of_its_own_among_like_runs():
    def lift(after, channels):
        channels["torque"] += 40.0

    runs = [reduced(seed=seed, run=f"r{seed}", change=lift if seed == 1 else None) for seed in range(4)]
    (finding,) = like_run_findings(runs)
    assert (finding.code, finding.subjects) == ("zero-differs", ("r1",))


def test_150000_samples_of_four_channels_take_little_time():
    truth = Truth(rate_hz=12500.0, duration_s=10.0)
    time, channels = record(truth)
    channels |= {"supply_pressure": channels["inlet_pressure"] + 1, "air_flow": channels["inlet_pressure"] * 1e-7}
    raw = raw_run(time, channels)

    def once():
        begin = clock.process_time()
        onset = find_start(raw, HELD)
        reduce(raw, HELD, onset=onset, duration_s=10.0, marks_s=(2.5, 5.0, 10.0), window_s=(8.0, 10.0))
        return clock.process_time() - begin

    # A loose bound for a shared machine; 15 ms is what it takes on an idle one, health checks included.
    assert min(once() for _ in range(5)) < 0.06
