"""Where a run ends. Signals are constructed, so the end is known."""

from __future__ import annotations

import numpy as np
import pytest

from toolbench.records.runs import RawRun
from toolbench.records.settings import Protocol, RunEntry
from toolbench.signal import find_end, find_start

PROTOCOL = Protocol(id="p", label="p")
ENTRY = RunEntry(run="r", file="r.csv", tool="t", setup="s", protocol="p", logger="l")


def _run(stop_s: float, last_s: float, *, sag: float = 0.0) -> RawRun:
    """Rest for 0.6 s, then a saturating rise that stops `stop_s` after the onset, in a record of `last_s` after it."""
    rng = np.random.default_rng(3)
    time = np.arange(0.0, 0.6 + last_s, 0.002)
    since = time - 0.6
    level = 900 * (1 - np.exp(-np.maximum(since, 0) / 0.8)) * (1 - sag * np.maximum(since, 0) / stop_s)
    level = np.where((since > 0) & (since < stop_s), level * (1 + 0.08 * np.sin(2 * np.pi * 13 * since)), 0.0)
    torque = level + rng.normal(0, 4, time.size)
    return RawRun(
        entry=ENTRY, time_s=time, channels={"torque": torque}, units={"torque": "N*m"}, sensors={}, digest="d"
    )


@pytest.mark.parametrize(("stop", "last"), [(5.0, 5.5), (5.0, 8.0), (12.0, 12.4)])
def test_the_tail_after_the_tool_stopped_is_no_part_of_the_run(stop: float, last: float) -> None:
    raw = _run(stop, last)
    end = find_end(raw, PROTOCOL, find_start(raw, PROTOCOL))
    # By hand: the fall at `stop`, less the margin of 2 % or 0.1 s, with 0.06 s for onset and smoothing.
    assert stop - max(0.1, 0.02 * stop) - 0.06 <= end < stop


def test_a_tool_that_runs_to_the_end_of_the_record_loses_nothing() -> None:
    raw = _run(5.0, 5.0)
    onset = find_start(raw, PROTOCOL)
    assert find_end(raw, PROTOCOL, onset) == pytest.approx(float(raw.time_s[-1]) - onset.time_s)


def test_a_sag_is_not_the_end() -> None:
    raw = _run(10.0, 10.5, sag=0.3)
    assert find_end(raw, PROTOCOL, find_start(raw, PROTOCOL)) > 9.6
