"""Blows in a record: their period, and the upper envelope over at least two of them."""

from __future__ import annotations

import math

import numpy as np

from toolbench.records.runs import Floats
from toolbench.signal.sampling import block_means, find_sample_interval, moving_mean, robust_scatter

LONGEST_PERIOD_S = 1 / 6.0
"""Slowest blows looked for, a little below the 8 Hz of a large tool; also stands where no blows are found."""

SHORTEST_PERIOD_S = 1 / 45.0
"""Fastest blows looked for, a little above the 30 Hz of a small tool."""

LOOKED_AT_S = 60.0
"""A minute of blows shows their period as well as an hour does; what comes later in a longer record is not looked at."""

_PROMINENCE = 15.0
"""A blow line stands out of the median power by this factor; noise alone reaches 15 in a band of 300 lines in 1 of 100 records."""

_TOP_SHARES = (1 / 6, 1 / 12, 1 / 24, 1 / 48, 1 / 96)
"""Half widths of the parabola at a top, as shares of the period: at a sixth it misses a sine by 0.4 % of its amplitude."""

_ONLY_NOISE = 1.2
"""What the parabola leaves may be this much more than the noise."""

_SUBHARMONIC = 0.25
"""Share of a line's amplitude at half or a third of its rate that makes the slower one the blow rate."""


def find_blow_period(time_s: Floats, response: Floats) -> float | None:
    """Period of the blows [s] from the record's spectrum; None where no line stands out between 6 and 45 Hz.

    Parameters
    ----------
    time_s, response : shape (n,) [s], [SI unit]; the part of a run that is looked at, rise included
    """
    last = int(np.searchsorted(time_s, time_s[0] + LOOKED_AT_S)) if time_s.size else 0
    time_s, response = time_s[:last], response[:last]
    known = np.isfinite(response)
    if not known.all():
        time_s, response = time_s[known], response[known]
    if time_s.size < 32 or time_s[-1] - time_s[0] < 4 * LONGEST_PERIOD_S:
        return None
    interval = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
    # Block means down to about 400 Hz: the blows stay, and a long record costs no more than a short one.
    width = max(1, int(1 / (400.0 * interval)))
    values = block_means(response, width)
    interval *= width
    if interval > SHORTEST_PERIOD_S / 2:
        return None
    values = values - moving_mean(values, round(2 * LONGEST_PERIOD_S / interval))
    power = np.abs(np.fft.rfft(values * np.hanning(values.size))) ** 2
    rate = np.asarray(np.fft.rfftfreq(values.size, interval), dtype=np.float64)
    band = (rate >= 1 / LONGEST_PERIOD_S) & (rate <= 1 / SHORTEST_PERIOD_S)
    inside = np.flatnonzero(band)
    if inside.size < 8:
        return None
    line = int(inside[np.argmax(power[inside])])
    # At the slow edge stands what is left of the build-up itself: a line is a summit.
    is_summit = line > inside[0] and power[line] >= power[line - 1 : line + 2].max()
    if not (is_summit and power[line] > _PROMINENCE * np.median(power[inside])):
        return None
    return 1.0 / _refined(rate, power, _fundamental(power, line, int(inside[0])))


def _fundamental(power: Floats, line: int, lowest: int) -> int:
    """Short blows have strong overtones: go to half or a third of the rate where a line stands there too."""
    for divisor in (3, 2):
        centre = round(line / divisor)
        low, high = max(lowest, centre - 2), centre + 3
        if high > low and centre >= lowest:
            near = low + int(np.argmax(power[low:high]))
            if power[near] > _SUBHARMONIC**2 * power[line] and power[near] >= power[near - 1 : near + 2].max():
                return near
    return line


def _refined(rate: Floats, power: Floats, line: int) -> float:
    """Rate of a line [Hz] between two bins, by a parabola through the logarithms of three powers."""
    if not 0 < line < power.size - 1 or power[line - 1 : line + 2].min() <= 0:
        return float(rate[line])
    a, b, c = (math.log(value) for value in power[line - 1 : line + 2])
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return float(rate[line] + max(-0.5, min(0.5, shift)) * (rate[1] - rate[0]))


def upper_envelope(
    time_s: Floats, response: Floats, *, blow_period_s: float | None = None, blows: float = 2.0
) -> tuple[Floats, float]:
    """Upper envelope of a response, at the samples given.

    The highest blow of each span of at least two blow periods is kept at its own time; between them the envelope is a
    straight line. So the highest blow stands where it fell, and a rising envelope is not early. Its height is that of a parabola
    through its top, so that the noise does not lift it; blows of a few samples keep their highest sample.

    Parameters
    ----------
    time_s, response : shape (n,) [s], [SI unit]
    blow_period_s : period of the blows [s]; None: found from the record
    blows : periods a span covers; fewer than two are raised to two

    Returns
    -------
    envelope : shape (n,) [SI unit]
    span_s : length of the spans used [s]
    """
    period = blow_period_s or find_blow_period(time_s, response) or LONGEST_PERIOD_S
    span = max(2.0, blows) * period
    begin = float(time_s[0])
    edges = begin + span * np.arange(max(1, math.floor((float(time_s[-1]) - begin) / span)))
    cuts = np.unique(np.searchsorted(time_s, edges))
    ends = np.append(cuts[1:], time_s.size)
    filled = np.where(np.isfinite(response), response, -np.inf)
    highest = [int(low + np.argmax(filled[low:high])) for low, high in zip(cuts, ends, strict=True)]
    points = [index for index in highest if math.isfinite(response[index])]
    if not points:
        return np.full(time_s.size, np.nan), span
    # Before the first and after the last point the envelope stays level; a line carried on would leave the record's range.
    places, heights = _tops(response, points, cuts, ends, period / max(1e-300, find_sample_interval(time_s)))
    return np.interp(time_s, time_s[places], heights), span


def _tops(
    response: Floats, points: list[int], cuts: np.ndarray, ends: np.ndarray, samples: float
) -> tuple[list[int], Floats]:
    """Places and heights of the tops, the noise taken off where it can be: the highest of many noisy samples sits above the blow.

    A parabola through the samples around a top has its height. It is as wide as it may be while what it leaves is noise alone; a
    blow of a few samples leaves more, and keeps its highest sample.
    """
    plain = np.asarray(response[points])
    if not np.isfinite(response).all():
        return points, plain
    scatter = robust_scatter(np.diff(response, n=2)) / math.sqrt(6.0)
    if scatter <= 1e-9 * float(np.abs(plain).max()):
        return points, plain
    for share in _TOP_SHARES:
        half = int(share * samples)
        if half < 2:
            break
        smooth = moving_mean(response, half)
        places = [int(low + np.argmax(smooth[low:high])) for low, high in zip(cuts, ends, strict=True)]
        fits = [_parabola(response, place, half) for place in places]
        if float(np.median([left for _, left in fits])) <= _ONLY_NOISE * scatter:
            return places, np.array([height for height, _ in fits])
    return points, plain


def _parabola(response: Floats, place: int, half: int) -> tuple[float, float]:
    """Height at `place` of the parabola through the samples around it, and the standard deviation of what it leaves."""
    first, last = max(0, place - half), min(response.size, place + half + 1)
    x = (np.arange(first, last) - place) / half
    columns = np.stack((np.ones(x.size), x, x * x), axis=1)
    y = response[first:last]
    fit = np.linalg.lstsq(columns, y, rcond=None)[0]
    left = y - columns @ fit
    return float(fit[0]), math.sqrt(float(left @ left) / max(1, x.size - 3))
