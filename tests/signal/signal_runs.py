"""Constructed recordings whose truth is known: a saturating build-up with blows, noise and an inlet pressure that droops."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from toolbench.records.runs import RawRun
from toolbench.records.settings import Protocol, RunEntry

BAR = 1e5
UNITS = {"torque": "N*m", "inlet_pressure": "Pa", "supply_pressure": "Pa", "speed": "rad/s", "trigger": ""}


@dataclass
class Truth:
    """Parameters of one constructed run; `level` is the torque without blows and noise."""

    onset_s: float = 0.8
    end: float = 800.0
    tau_s: float = 0.7
    blow_hz: float = 12.3
    ripple: float = 0.08
    noise: float = 0.01
    duration_s: float = 5.0
    rate_hz: float = 1000.0
    tail_s: float = 0.0
    rest_pressure: float = 6.9 * BAR
    flowing_pressure: float = 6.2 * BAR
    settle_s: float = 0.3
    extra: dict = field(default_factory=dict)

    def level(self, after_s):
        return self.end * (1 - np.exp(-np.maximum(after_s, 0.0) / self.tau_s))


def draw(seed: int, rate_hz: float = 1000.0) -> Truth:
    """A flawless run of domain.md, section 2: blows of 4 to 12 % at 8 to 30 Hz, noise of 0.5 to 2 %, a droop transient."""
    rng = np.random.default_rng(seed)
    return Truth(
        onset_s=rng.uniform(0.55, 1.2),
        end=rng.uniform(80, 2500),
        tau_s=rng.uniform(0.2, 2.0),
        blow_hz=rng.uniform(8, 30),
        ripple=rng.uniform(0.04, 0.12),
        noise=rng.uniform(0.005, 0.02),
        duration_s=rng.uniform(3.0, 8.0),
        rate_hz=rate_hz,
        tail_s=rng.choice([0.0, 0.5]),
        settle_s=rng.uniform(0.1, 0.9),
        flowing_pressure=rng.uniform(5.0, 6.6) * BAR,
    )


def record(truth: Truth, seed: int = 0) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Time [s from the first sample] and channels. With a tail the tool stops 0.15 s after the duration."""
    rng = np.random.default_rng(seed + 10_000)
    stop = truth.duration_s + 0.15
    length = truth.onset_s + (stop + truth.tail_s if truth.tail_s else truth.duration_s + 0.1)
    time = np.arange(int(length * truth.rate_hz)) / truth.rate_hz
    after = time - truth.onset_s
    torque = truth.level(after) * (1 + truth.ripple * np.sin(2 * np.pi * (truth.blow_hz * after + rng.random())))
    pressure = np.where(
        after < 0,
        truth.rest_pressure,
        truth.flowing_pressure
        + (truth.rest_pressure - truth.flowing_pressure) * np.exp(-np.maximum(after, 0) / truth.settle_s),
    )
    if truth.tail_s:
        gone = np.exp(-np.maximum(after - stop, 0) / 0.03)
        torque = torque * gone
        pressure = np.where(
            after < stop, pressure, truth.rest_pressure - (truth.rest_pressure - truth.flowing_pressure) * gone
        )
    channels = {
        "torque": torque + rng.normal(0, truth.noise * truth.end, time.size),
        "inlet_pressure": pressure + rng.normal(0, 0.006 * BAR, time.size),
    }
    return time, channels


def raw_run(time: np.ndarray, channels: dict[str, np.ndarray], run: str = "r1") -> RawRun:
    entry = RunEntry(run=run, file=f"recordings/{run}.csv", tool="quernel", setup="near", protocol="held", logger="rig")
    units = {name: UNITS.get(name, "") for name in channels}
    return RawRun(entry=entry, time_s=time, channels=channels, units=units, sensors={}, digest="0" * 64)


HELD = Protocol(id="held", label="Held")
