"""The common grid: equal spans of time after the onset, each with its mean, lowest and highest value, so peaks stay."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from toolbench.records.runs import Floats

MOST_BUCKETS = 500
"""More points than a page has columns would only add weight; low and high keep what falls between."""


def make_grid(duration_s: float, sample_interval_s: float) -> Floats:
    """Edges of the buckets [s after the onset], shape (N + 1,), N = min(500, duration / sample interval), at least 1.

    Raises
    ------
    ValueError
        When duration or sample interval is not positive.
    """
    if not (duration_s > 0 and sample_interval_s > 0):
        raise ValueError(f"duration {duration_s} s and sample interval {sample_interval_s} s must be positive")
    count = max(1, min(MOST_BUCKETS, math.floor(duration_s / sample_interval_s + 1e-9)))
    return np.linspace(0.0, duration_s, count + 1)


def bucket_centres(edges: Floats) -> Floats:
    """Centres of the buckets [s], shape (N,)."""
    return np.asarray(0.5 * (edges[:-1] + edges[1:]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Buckets:
    """Which samples fall into which bucket; made once for a run and used for each of its channels."""

    edges: Floats
    centres: Floats
    mean_time: Floats
    """Mean time of the samples in a bucket [s]; nan for an empty one."""
    filled: npt.NDArray[np.bool_]
    begin: npt.NDArray[np.intp]
    """First sample of each filled bucket, counted from `first`."""
    counts: npt.NDArray[np.intp]
    first: int
    last: int
    bridged: npt.NDArray[np.bool_]
    """Buckets that a gap of more than 1.5 intervals leaves without samples: nothing is put there."""


def make_buckets(time_s: Floats, edges: Floats, sample_interval_s: float) -> Buckets:
    """Sort samples into buckets; `time_s` [s after the onset], shape (n,), rises strictly. A bucket holds its left edge."""
    cuts = np.searchsorted(time_s, edges, side="left")
    # The last edge belongs to the last bucket, as in a histogram; rounding of the time base may put it a hair behind.
    cuts[-1] = np.searchsorted(time_s, edges[-1] + 1e-6 * sample_interval_s, side="right")
    counts = np.diff(cuts)
    filled = counts > 0
    begin = (cuts[:-1] - cuts[0])[filled]
    centres = bucket_centres(edges)
    mean_time = np.full(centres.size, np.nan)
    part = time_s[cuts[0] : cuts[-1]]
    if part.size:
        mean_time[filled] = np.add.reduceat(part, begin) / counts[filled]
    following = np.clip(np.searchsorted(time_s, centres), 1, max(1, time_s.size - 1))
    room = time_s[following] - time_s[following - 1] if time_s.size > 1 else np.full(centres.size, np.inf)
    outside = (centres < time_s[0] - sample_interval_s) | (centres > time_s[-1] + sample_interval_s)
    bridged = ~filled & ((room > 1.5 * sample_interval_s) | outside)
    return Buckets(
        edges=edges,
        centres=centres,
        mean_time=mean_time,
        filled=filled,
        begin=begin,
        counts=counts[filled],
        first=int(cuts[0]),
        last=int(cuts[-1]),
        bridged=bridged,
    )


def reduce_mean(buckets: Buckets, values: Floats) -> Floats:
    """Mean of each bucket at its centre [unit of values], shape (N,); nan where no sample lies. nan samples are left out."""
    return _at_centres(buckets, *_sums(buckets, values[buckets.first : buckets.last]))


def reduce_extremes(buckets: Buckets, values: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest sample of each bucket [unit of values], each of shape (N,); nan where no sample lies."""
    part = values[buckets.first : buckets.last]
    low, high = np.full(buckets.centres.size, np.nan), np.full(buckets.centres.size, np.nan)
    if buckets.begin.size:
        low[buckets.filled] = np.fmin.reduceat(part, buckets.begin)
        high[buckets.filled] = np.fmax.reduceat(part, buckets.begin)
    return low, high


def reduce(
    time_after_onset_s: Floats, values: Floats, edges: Floats, sample_interval_s: float | None = None
) -> tuple[Floats, Floats, Floats]:
    """Mean, low and high of each bucket, each of shape (N,) [unit of values].

    The mean stands at the bucket's centre: where few samples fall into a bucket, their mean is carried there along the
    straight line to the neighbouring bucket. Where a gap leaves a bucket empty, all three are nan.
    """
    if sample_interval_s is None:
        sample_interval_s = float(np.median(np.diff(time_after_onset_s)))
    return reduce_with(make_buckets(time_after_onset_s, edges, sample_interval_s), values)


def reduce_with(buckets: Buckets, values: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean, low and high over buckets made before; low and high hold the mean between them."""
    mean = reduce_mean(buckets, values)
    low, high = reduce_extremes(buckets, values)
    return mean, np.fmin(low, mean), np.fmax(high, mean)


def _sums(buckets: Buckets, part: Floats) -> tuple[Floats, npt.NDArray[np.intp]]:
    if not buckets.begin.size:
        return np.empty(0), buckets.counts
    sums = np.add.reduceat(part, buckets.begin)
    if np.isfinite(sums).all():
        return sums, buckets.counts
    known = np.isfinite(part)
    sums = np.add.reduceat(np.where(known, part, 0.0), buckets.begin)
    return sums, np.add.reduceat(known.astype(np.intp), buckets.begin)


def _at_centres(buckets: Buckets, sums: Floats, counts: npt.NDArray[np.intp]) -> Floats:
    result = np.full(buckets.centres.size, np.nan)
    known = counts > 0
    if not known.any():
        return result
    where = np.flatnonzero(buckets.filled)
    used = where[known]
    result = np.interp(buckets.centres, buckets.mean_time[used], sums[known] / counts[known])
    result[where[~known]] = np.nan
    result[buckets.bridged] = np.nan
    return result
