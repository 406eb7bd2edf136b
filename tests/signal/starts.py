"""Constructed starts of every kind a bench records, each with the time at which it was made to start.

A start is drawn over the ranges that benches have: sampling 50 Hz to 20 kHz, noise 0.1 to 5 % of the top, rise times 5 ms to 2 s, blows
at 10 to 40 Hz, rest from 30 ms to several seconds, a preload of up to 30 % of the top, and records whose clock begins
below zero (pre-trigger) or tens of seconds after it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Floats = np.ndarray

KINDS = ("ramp", "step", "build-up", "ripple", "blows", "preloaded")
"""A straight rise; a rise within 50 ms; a saturating one; a saturating one with blows upon it; torque in pulses, each of which falls
back; a saturating one from a rest that is not zero."""


@dataclass(frozen=True)
class Drawn:
    """One constructed record: the response, the trigger channel, and the time at which it was made to start [s]."""

    kind: str
    time_s: Floats
    response: Floats
    trigger: Floats
    onset_s: float
    rise_s: float
    top: float
    rest: float
    noise: float
    rate_hz: float
    rest_s: float

    def cut(self, begin_s: float) -> tuple[Floats, Floats]:
        """Time and response from `begin_s` after the onset on."""
        kept = self.time_s >= self.onset_s + begin_s
        return self.time_s[kept], self.response[kept]


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _blows(rng: np.random.Generator, after: Floats) -> Floats:
    """Between a floor and one: a blow of a tenth to six tenths of a period, the first of them at the onset."""
    period, duty, floor = 1 / rng.uniform(10, 40), rng.uniform(0.1, 0.6), rng.uniform(0.0, 0.5)
    phase = np.mod(after, period) / (duty * period)
    return np.asarray(floor + (1 - floor) * np.where(phase < 1, np.sin(np.pi * np.minimum(phase, 1)), 0.0))


def _course(kind: str, rng: np.random.Generator, after: Floats, rise_s: float) -> Floats:
    """The response as a share of its top, without noise, at times after the onset."""
    ran = np.maximum(after, 0.0)
    if kind in ("ramp", "step"):
        return np.asarray(np.minimum(ran / rise_s, 1.0))
    grown = 1 - np.exp(-ran / rise_s)
    if kind == "ripple":
        grown = grown * (1 + rng.uniform(0.04, 0.12) * np.sin(2 * np.pi * (rng.uniform(10, 40) * after + rng.random())))
    if kind == "blows":
        grown = grown * _blows(rng, ran)
    return np.asarray(grown)


def draw_start(
    kind: str, rng: np.random.Generator, *, rest_s: float | None = None, rise_s: tuple[float, float] = (0.05, 2.0)
) -> Drawn:
    """A start of one of KINDS; the rest lasts 0.3 to 4 s unless `rest_s` [s] says otherwise, the rise 0.05 to 2 s."""
    # Sampling below 500 Hz does not show a blow of a tenth of a period.
    rate = _log_uniform(rng, 500.0 if kind == "blows" else 50.0, 20_000.0)
    rise = _log_uniform(rng, *((0.005, 0.05) if kind == "step" else rise_s))
    rest = _log_uniform(rng, 0.3, 4.0) if rest_s is None else rest_s
    top, noise = _log_uniform(rng, 1.0, 3000.0), _log_uniform(rng, 0.001, 0.05)
    preload = rng.uniform(0.05, 0.3) if kind == "preloaded" else rng.uniform(-0.01, 0.01)
    begin = (0.0, -rest, rng.uniform(20, 80))[rng.integers(3)]
    n = int((rest + rng.uniform(2.0, 3.0) + 2.0 * rise) * rate)
    time = begin + (np.arange(n) + rng.random()) / rate
    after = time - (begin + rest)
    share = preload + (1 - preload) * _course(kind, rng, after, rise)
    response = top * (share + rng.normal(0, noise, n))
    trigger = np.where(after >= 0, 5.0, 0.0) + rng.normal(0, 0.05, n)
    return Drawn(kind, time, response, trigger, begin + rest, rise, top, preload * top, noise * top, rate, rest)
