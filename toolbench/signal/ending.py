"""Where a run ends: the tool stops before the record does, and what follows is no part of the run."""

from __future__ import annotations

import numpy as np

from toolbench.records.runs import Floats, Onset, RawRun
from toolbench.records.settings import Protocol
from toolbench.signal.sampling import find_sample_interval, moving_mean

SMOOTH_S = 0.1
"""A mean over this time carries the level across the gap between two blows (8 Hz and more: common practice, no source)."""

FALL_SHARE = 0.5
"""The tool counts as stopped where the response stays under this share of its highest value over rest."""

MARGIN_SHARE = 0.02
"""This share of the run before the fall, at least SMOOTH_S, is left out: the fall itself takes time."""


def find_end(raw: RawRun, protocol: Protocol, onset: Onset) -> float:
    """Seconds after the onset at which the run ends; the end of the record where the tool runs until then.

    Only for protocols that state no duration: a stated one is what the run must last.
    """
    values = raw.channels[protocol.response[0]]
    time = raw.time_s - onset.time_s
    last = float(time[-1])
    width = max(1, round(SMOOTH_S / find_sample_interval(raw.time_s)))
    level = moving_mean(_filled(values), width)
    running = np.flatnonzero((level - onset.rest >= FALL_SHARE * (onset.highest - onset.rest)) & (time > 0))
    if not running.size:
        return last
    stop = float(time[running[-1]])
    if last - stop <= SMOOTH_S:
        return last
    return stop - max(SMOOTH_S, MARGIN_SHARE * stop)


def _filled(values: Floats) -> Floats:
    """Missing samples count as rest would: they are no sign of running."""
    return np.nan_to_num(values, nan=0.0)
