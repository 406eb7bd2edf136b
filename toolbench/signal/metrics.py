"""Numbers of one run: levels at marks and over the window, slope, rise time, time to a level, peak where it can be seen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from toolbench.records.runs import Floats, Metric
from toolbench.signal.envelope import LONGEST_PERIOD_S, find_blow_period
from toolbench.signal.lines import Line, fit_line
from toolbench.signal.sampling import find_sample_interval, first_crossing, moving_mean

MARK_SHARE = 0.005
"""Half-width of the line at a mark, as a share of the duration."""

MARK_SAMPLES = 5
"""Half-width of the line at a mark, in samples, at least."""

PEAK_SHARE = 0.09
"""A peak is given only where the sample interval is at most this share of a blow (a half-sine blow then reads 99 % or more)."""

SHORTEST_BLOW_S = 0.3e-3
"""How long a blow lasts where the protocol does not say: the shortest of 0.3 to 2 ms."""

LONGEST_BLOW_S = 5e-3
"""What is stated as longer than this is no blow but the period between two."""

FIRST_LOOK_S = 2.0
"""A level is looked for in the first two seconds, then in four times as much, and so on: most are reached early."""

BATCHES = 16
"""The window is cut into so many parts; blows and slow noise within a part count once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A value, its slope in time and the standard uncertainty that the scatter inside the span gives it."""

    value: float
    slope: float
    standard_uncertainty: float


_UNKNOWN = Reading(value=math.nan, slope=math.nan, standard_uncertainty=math.nan)


def _line_in(time_s: Floats, values: Floats, low: float, high: float) -> Line | None:
    # A hair on both sides: marks and samples often meet exactly, and rounding must not decide.
    slack = 1e-9 * max(1.0, abs(high))
    first, last = np.searchsorted(time_s, (low - slack, high + slack))
    x, y = time_s[first:last], values[first:last]
    known = np.isfinite(y)
    if not known.all():
        x, y = x[known], y[known]
    return fit_line(x, y) if x.size >= 3 else None


def at_mark(
    time_s: Floats,
    values: Floats,
    mark_s: float,
    *,
    duration_s: float,
    sample_interval_s: float,
    blow_period_s: float | None = None,
) -> Reading:
    """Response at a mark: a local straight line, evaluated at the mark.

    Parameters
    ----------
    time_s, values : shape (n,) [s after the onset], [SI unit]
    mark_s : the mark [s after the onset]
    duration_s : duration of the run [s]; the line uses nothing before the onset and nothing after the duration
    sample_interval_s : [s]
    blow_period_s : period of the blows [s]; where known, the span holds two of them and the line is fitted together with a
        sine of that period and its first overtone, else a mark would read where in a blow it falls: with blows of 10 %,
        by up to 10 %

    Returns
    -------
    Reading
        nan where fewer than three samples lie around the mark. The span is the larger of 0.5 % of the duration and five
        samples to either side; at both ends of the run it has one side only.
    """
    half = max(MARK_SHARE * duration_s, MARK_SAMPLES * sample_interval_s)
    # The record must come up to the mark: a line is not carried on over a gap or over the end of the record.
    if not time_s[0] - sample_interval_s <= mark_s <= time_s[-1] + 2 * sample_interval_s:
        return _UNKNOWN
    if blow_period_s is not None:
        reading = _with_blows(time_s, values, mark_s, max(half, blow_period_s), duration_s, blow_period_s)
        if reading is not None:
            return reading
    line = _line_in(time_s, values, max(0.0, mark_s - half), min(mark_s + half, duration_s))
    if line is None:
        return _UNKNOWN
    return Reading(value=line.at(mark_s), slope=line.slope, standard_uncertainty=line.uncertainty_at(mark_s))


def _with_blows(
    time_s: Floats, values: Floats, mark_s: float, half: float, duration_s: float, period: float
) -> Reading | None:
    """Line and blows fitted together around a mark; None where the span holds too little to tell them apart."""
    low, high = mark_s - half, mark_s + half
    two_sided = low >= 0 and high <= duration_s
    if high > duration_s:
        low, high = duration_s - 2 * half, duration_s
    low = max(0.0, low)
    slack = 1e-9 * max(1.0, abs(high))
    first, last = np.searchsorted(time_s, (low - slack, high + slack))
    x, y = time_s[first:last] - mark_s, values[first:last]
    known = np.isfinite(y)
    x, y = x[known], y[known]
    if high - low < 1.8 * period or x.size < 12:
        return None
    angle = (2 * math.pi / period) * x
    columns = np.column_stack((np.ones(x.size), x, np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)))
    # Overtones that the sampling cannot show would be fitted to noise alone.
    columns = columns if x.size * period / (high - low) >= 8 else columns[:, :4]
    if two_sided:
        # Over two blow periods a build-up bends visibly; at the ends of the run a bend cannot be told from the blows.
        columns = np.column_stack((columns, (x / half) ** 2))
    inverse = np.linalg.pinv(np.einsum("ij,ik->jk", columns, columns))
    found = np.einsum("jk,ik,i->j", inverse, columns, y, optimize=["einsum_path", (1, 2), (0, 1)])
    left = y - np.einsum("ij,j->i", columns, found)
    scatter = math.sqrt(float(np.sum(left * left)) / (x.size - columns.shape[1]))
    # The blows alone are no level: at the mark they are taken off, the line stays.
    u = scatter * math.sqrt(max(0.0, float(inverse[0, 0])))
    return Reading(value=float(found[0]), slope=float(found[1]), standard_uncertainty=u)


def sustained(time_s: Floats, values: Floats, window_s: tuple[float, float]) -> tuple[Reading, float]:
    """Mean over the window with its slope, and the slope's standard uncertainty [unit/s].

    The standard uncertainties come from the scatter of 16 batch means about the line, because samples within a blow are not
    independent of each other. nan where the window holds fewer than three samples, or the record ends before its end.
    """
    low, high = window_s
    line = _line_in(time_s, values, low, high)
    if line is None or time_s[-1] < high - 0.02 * (high - low):
        return _UNKNOWN, math.nan
    first, last = np.searchsorted(time_s, (low, high))
    x, y = time_s[first:last], values[first:last]
    known = np.isfinite(y)
    x, y = x[known], y[known]
    width = y.size // BATCHES
    if width:
        size = width * BATCHES
        batches = fit_line(x[:size].reshape(BATCHES, width).mean(axis=1), y[:size].reshape(BATCHES, width).mean(axis=1))
    else:
        batches = line
    # The mean of the samples stands at their mean time; the line carries it to the middle of the window.
    value = line.at(0.5 * (low + high))
    reading = Reading(value=value, slope=line.slope, standard_uncertainty=batches.scatter / math.sqrt(batches.n))
    return reading, batches.slope_uncertainty


def smooth_over_blows(time_s: Floats, values: Floats, blow_period_s: float) -> Floats:
    """Moving mean over one blow period [SI unit], shape (n,); samples that are missing are bridged by straight lines."""
    known = np.isfinite(values)
    if not known.any():
        return values
    filled = values if known.all() else np.interp(time_s, time_s[known], values[known])
    interval = float(time_s[-1] - time_s[0]) / max(1, time_s.size - 1)
    return moving_mean(filled, round(blow_period_s / interval))


def find_crossing(time_s: Floats, values: Floats, level: float, *, blow_period_s: float) -> float:
    """Time [s after the onset] at which the response first reaches a level, on its mean over a blow period; nan if never.

    Close to the onset the mean takes a shorter span, so that it holds nothing of the rest.
    """
    if time_s.size < MARK_SAMPLES:
        return math.nan
    begin = int(np.searchsorted(time_s, -0.5 * blow_period_s))
    coarse = _first_on_mean(time_s, values, level, begin, blow_period_s)
    if math.isnan(coarse) or coarse >= 0.8 * blow_period_s:
        return coarse
    last = int(np.searchsorted(time_s, coarse + 2 * blow_period_s))
    x, y = time_s[begin:last], values[begin:last]
    finer = smooth_over_blows(x, y, max(coarse, 0.0))
    return max(0.0, first_crossing(x, finer, level))


def _first_on_mean(time_s: Floats, values: Floats, level: float, begin: int, blow_period_s: float) -> float:
    """First crossing on the mean over a blow period, from sample `begin` on; a longer part is looked at only where it is needed."""
    stop_s = FIRST_LOOK_S
    while True:
        stop = int(np.searchsorted(time_s, stop_s))
        # The mean of the last samples of a part would lack what follows them.
        whole = int(np.searchsorted(time_s, stop_s + blow_period_s))
        smooth = smooth_over_blows(time_s[:whole], values[:whole], blow_period_s)
        found = first_crossing(time_s[begin:stop], smooth[begin:stop], level) if stop > begin else math.nan
        if not math.isnan(found) or stop >= time_s.size:
            return found
        stop_s *= 4


def rise_time(time_s: Floats, values: Floats, *, rest: float, top: float, blow_period_s: float) -> float:
    """Time [s] from 10 to 90 % of the way from rest to the sustained level `top`; nan where either is not reached."""
    low, high = (
        find_crossing(time_s, values, rest + share * (top - rest), blow_period_s=blow_period_s) for share in (0.1, 0.9)
    )
    return high - low


def can_show_peak(*, sample_interval_s: float, bandwidth_hz: float | None, blow_s: float | None) -> bool:
    """Whether sampling and bandwidth let a peak be read: at most 0.09 of a blow a sample, bandwidth stated and wide enough.

    A half-sine blow that lasts T has most of its content below 1 / (2 T); a bandwidth below that flattens it.
    """
    blow = blow_length(blow_s)
    if bandwidth_hz is None or bandwidth_hz < 0.5 / blow:
        return False
    return sample_interval_s <= PEAK_SHARE * blow * (1 + 1e-6)


def blow_length(blow_s: float | None) -> float:
    """How long a blow lasts [s]: as stated, else 0.3 ms; a stated value above 5 ms is a period, not a blow."""
    return blow_s if blow_s is not None and blow_s <= LONGEST_BLOW_S else SHORTEST_BLOW_S


def stated_period(blow_s: float | None) -> float | None:
    """The period of the blows [s] where what is stated is one."""
    return blow_s if blow_s is not None and blow_s > LONGEST_BLOW_S else None


def peak(time_s: Floats, values: Floats, duration_s: float) -> float:
    """Highest sample [SI unit] between the onset and the duration; nan where there is none."""
    first, last = np.searchsorted(time_s, (0.0, duration_s))
    part = values[first : last + 1]
    return float(np.nanmax(part)) if np.isfinite(part).any() else math.nan


def measure(
    time_s: Floats,
    values: Floats,
    *,
    response: str,
    unit: str,
    rest: float,
    onset_uncertainty_s: float,
    duration_s: float,
    marks_s: Sequence[float],
    window_s: tuple[float, float],
    reach: Sequence[float] = (),
    blow_s: float | None = None,
    bandwidth_hz: float | None = None,
    sample_interval_s: float | None = None,
) -> tuple[Metric, ...]:
    """All metrics of one response of one run.

    Parameters
    ----------
    time_s : shape (n,) [s after the onset]
    values : shape (n,) [`unit`]
    rest : level before the onset [`unit`]; 10 and 90 % of the rise time count from it
    onset_uncertainty_s : standard uncertainty of the onset [s]
    reach : levels [`unit`] for `time_to`
    blow_s : how long a blow lasts [s], for the peak; above 5 ms: the period of the blows
    bandwidth_hz : bandwidth of the chain [Hz]; without it there is no peak

    Returns
    -------
    tuple of Metric
        `at_mark` per mark, `sustained`, `slope`, `rise_time`, `time_to` per level, and `peak` where it can be read. A value
        that the run does not reach is nan.
    """
    interval = find_sample_interval(time_s) if sample_interval_s is None else sample_interval_s
    onset_u = onset_uncertainty_s
    found: list[Metric] = []

    def add(metric: str, at: float | None, value: float, in_unit: str, by_onset: float, by_window: float = 0.0) -> None:
        # Where too little is known for an uncertainty, nothing is added: a nan would wipe out the rest of the budget.
        found.append(
            Metric(
                response=response,
                metric=metric,
                at=at,
                value=value,
                unit=in_unit,
                onset_uncertainty=by_onset if math.isfinite(by_onset) else 0.0,
                window_uncertainty=by_window if math.isfinite(by_window) else 0.0,
            )
        )

    first, last = np.searchsorted(time_s, (-2 * LONGEST_PERIOD_S, duration_s + interval))
    x, y = time_s[first:last], values[first:last]
    period = stated_period(blow_s) or find_blow_period(x, y)
    for mark in marks_s:
        reading = at_mark(x, y, mark, duration_s=duration_s, sample_interval_s=interval, blow_period_s=period)
        add("at_mark", mark, reading.value, unit, abs(reading.slope) * onset_u, reading.standard_uncertainty)
    mean, u_slope = sustained(time_s, values, window_s)
    add("sustained", None, mean.value, unit, abs(mean.slope) * onset_u, mean.standard_uncertainty)
    add("slope", None, mean.slope, f"{unit}/s", _bend(time_s, values, window_s) * onset_u, u_slope)
    if can_show_peak(sample_interval_s=interval, bandwidth_hz=bandwidth_hz, blow_s=blow_s):
        add("peak", None, peak(time_s, values, duration_s), unit, 0.0)
    blows_s = period or LONGEST_PERIOD_S
    add("rise_time", None, rise_time(x, y, rest=rest, top=mean.value, blow_period_s=blows_s), "s", 0.0)
    for level in reach:
        add("time_to", level, find_crossing(x, y, level, blow_period_s=blows_s), "s", onset_u)
    return tuple(found)


def _bend(time_s: Floats, values: Floats, window_s: tuple[float, float]) -> float:
    """Size of the change of slope per second of time [unit/s2], from the two halves of the window."""
    low, high = window_s
    middle = 0.5 * (low + high)
    early, late = _line_in(time_s, values, low, middle), _line_in(time_s, values, middle, high)
    if early is None or late is None:
        return 0.0
    return abs(late.slope - early.slope) / (0.5 * (high - low))
