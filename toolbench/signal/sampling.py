"""Small vectorised steps that onset, metrics and health share: sample interval, spikes aside, moving means, crossings."""

from __future__ import annotations

import math

import numpy as np

from toolbench.records.runs import Floats

_LOOKED_AT = 4096
"""Intervals looked at for the median; a recording of any length costs the same."""


def find_sample_interval(time_s: Floats) -> float:
    """Median sample interval [s] of a strictly rising time base, shape (n,), n at least 2."""
    return float(np.median(_some_steps(time_s)))


def _some_steps(values: Floats) -> Floats:
    """About _LOOKED_AT of the differences between neighbours, evenly spread; all of a short record."""
    each = max(1, (values.size - 1) // _LOOKED_AT)
    return np.asarray(values[1::each] - values[:-1:each])


def without_spikes(values: Floats) -> Floats:
    """Median of each sample and its two neighbours [unit of values], shape (n,): a one-sample spike leaves no trace.

    Written with minimum and maximum, because a rolling median of 150,000 samples costs more than reading them does.
    """
    if values.size < 3:
        return values.copy()
    result = np.empty(values.size)
    before, here, after = values[:-2], values[1:-1], values[2:]
    smaller, larger = np.minimum(before, here), np.maximum(before, here)
    np.maximum(smaller, np.minimum(larger, after, out=larger), out=result[1:-1])
    # The ends have one neighbour only; the nearest full median stands for them.
    result[0], result[-1] = result[1], result[-2]
    return result


def moving_mean(values: Floats, width: int) -> Floats:
    """Centred moving mean over `width` samples (made odd), shape (n,); spans are cut short at the ends."""
    half = max(0, width // 2)
    if half == 0 or values.size <= 1:
        return values
    n = values.size
    # The offset keeps the running sum small, so that no digits are lost on long recordings.
    offset = float(values[n // 2])
    total = np.empty(n + 1)
    total[0] = 0.0
    # In place, here and below: on a long recording fresh memory costs more than the sums.
    np.subtract(values, offset, out=total[1:])
    np.cumsum(total[1:], out=total[1:])
    if n <= 2 * half + 1:
        index = np.arange(n)
        low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, n)
        return np.asarray((total[high] - total[low]) / (high - low) + offset)
    result = np.empty(n)
    span = 2 * half + 1
    inner = np.subtract(total[span:], total[:-span], out=result[half : n - half])
    inner /= span
    counts = np.arange(half + 1, span)
    result[:half] = (total[half + 1 : span] - total[0]) / counts
    result[n - half :] = (total[n] - total[n - span + 1 : n - half]) / counts[::-1]
    result += offset
    return result


def share_ahead(mask: np.ndarray, width: int) -> Floats:
    """Share of true samples among each sample and the `width` - 1 after it, shape (n,); the span is cut short at the end."""
    n = mask.size
    total = np.zeros(n + 1)
    np.cumsum(mask, out=total[1:])
    width = max(1, min(width, n))
    result = np.empty(n)
    full = n - width + 1
    result[:full] = (total[width:] - total[:full]) / width
    result[full:] = (total[n] - total[full:n]) / np.arange(width - 1, 0, -1)
    return result


def block_means(values: Floats, width: int) -> Floats:
    """Means of consecutive blocks of `width` samples, the incomplete last one left out, shape (n // width,)."""
    blocks = values.size // width
    return np.asarray(values[: blocks * width].reshape(blocks, width).mean(axis=1))


def robust_scatter(values: Floats) -> float:
    """Standard deviation [unit of values] from the median of the absolute deviations (normal scatter: factor 1.4826)."""
    if values.size < 2:
        return 0.0
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def noise(values: Floats) -> float:
    """Sample-to-sample noise [unit of values] as a standard deviation, from differences: slow change does not count.

    The difference of two independent samples scatters by sqrt(2) times as much as one sample.
    """
    return robust_scatter(_some_steps(values)) / math.sqrt(2.0)


def first_above(values: Floats, level: float) -> int | None:
    """Index of the first sample above `level`; None without one. Looks at a part first: mostly it lies near the beginning."""
    for begin, end in ((0, _LOOKED_AT), (_LOOKED_AT, values.size)):
        above = values[begin:end] > level
        index = int(np.argmax(above)) if above.size else 0
        if above.size and above[index]:
            return begin + index
    return None


def first_crossing(time_s: Floats, values: Floats, level: float) -> float:
    """Time [s] at which `values` first rises through `level`, between two samples by a straight line; nan if never."""
    above = values >= level
    index = int(np.argmax(above))
    if not above[index]:
        return math.nan
    if index == 0:
        return float(time_s[0])
    step = float(values[index] - values[index - 1])
    share = (level - float(values[index - 1])) / step if step > 0 else 1.0
    return float(time_s[index - 1] + share * (time_s[index] - time_s[index - 1]))
