"""Where a run starts: the onset on the raw samples, with a standard uncertainty of its own.

The default rule `level` fits a straight line to the raw samples around the crossing of a share of the highest value over
rest and carries it back to rest. `extrapolate` does the same with the steepest tangent, `scatter` takes the first lasting
excess over the scatter at rest, `trigger` the edge of the trigger channel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from toolbench.errors import Fault, SignalError
from toolbench.records.runs import Floats, Onset
from toolbench.records.settings import OnsetRule
from toolbench.signal.blows import FOOT_CLEAR, start_of_blows
from toolbench.signal.lines import Line, fit_line, moving_slope
from toolbench.signal.rest import FEWEST_AT_REST, QUIET_S, SURE_S
from toolbench.signal.sampling import find_sample_interval, first_above, robust_scatter, without_spikes
from toolbench.signal.start import ALL_RISEN, Start, search_start, started_before

NARROW = (0.3, 1.2)
"""Span of the fitted line, in multiples of the level: around the crossing, clear of the foot of the rise. A build-up that
saturates bends; the lower the span, the less early the line meets the rest."""

OTHERS = ((0.5, 1.5), (0.3, 2.5))
"""Other spans; how far the onset moves to the farther of them shows what curvature and blows do to it. One alone may agree
with the first by chance: with blows of 4 to 12 % it did in one run of twelve."""

WIDE = ((0.3, 5.0), (0.3, 7.0))
"""Spans for a rise that is hidden in scatter up to there."""

SURE_SLOPE = 0.2
"""A line whose slope is less certain than this share of it is not carried back."""

SCATTER_FACTOR = 5.0
"""Rule `scatter`: how many standard deviations at rest count as an excess."""

INSIDE = 4.0
"""After a short rest the onset must lie so many standard uncertainties inside the record, or the rise itself may be the
first thing recorded."""

WAVER = 0.06
"""Blows of 4 to 12 % upon a rise lift or lower its foot by as much: as a standard deviation, a share of the way to rest."""

SHORTEST_INTERVAL_S = 1e-9
LONGEST_RECORD_S = 1e8
HIGHEST = 1e12
"""Beyond these no recording of a tool lies [s, s, SI unit]: a wrong unit or a broken cell."""

STEEPEST_UP_TO = 0.7
"""Rule `extrapolate`: the steepest tangent is looked for below this share of the rise."""


@dataclass(frozen=True, slots=True)
class _Found:
    time_s: float
    standard_uncertainty_s: float
    slope_share: float = 0.0
    """Standard uncertainty of the line's slope as a share of it; 0 where there is no line."""
    reach_s: float = 0.0
    """How far the line is carried, from its middle to rest."""

    def wavering(self) -> _Found:
        """With what blows upon the rise may do to the line, where nothing else in the record shows it."""
        doubt = math.hypot(self.standard_uncertainty_s, WAVER * self.reach_s)
        return replace(self, standard_uncertainty_s=doubt)


def find_onset(
    time_s: Floats,
    response: Floats,
    *,
    rule: OnsetRule | None = None,
    trigger: Floats | None = None,
    within_s: float | None = None,
) -> Onset:
    """Find where a run starts.

    Parameters
    ----------
    time_s : shape (n,) [s], strictly rising
    response : shape (n,) [SI unit]; nan where the file lacks a sample
    rule : how; the default is rule `level` at 10 % of the highest value over rest
    trigger : shape (n,), the trigger channel, needed by rule `trigger` only
    within_s : a second start counts only within this time of the first [s]; None: anywhere in the record

    Returns
    -------
    Onset
        Times in the record's own time [s]. The standard uncertainty combines the line's residual scatter, the sample
        interval as a rectangular distribution of that full width, and the largest change between spans of the fit.

    Raises
    ------
    SignalError
        No onset, started before the record, two starts (with both times), or no trigger channel for rule `trigger`.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 (rectangular distribution) and H.3 (line).
    """
    rule = OnsetRule() if rule is None else rule
    level = rule.level if 0 < rule.level < 1 else 0.1
    _refuse_no_bench(time_s, response)
    start = search_start(time_s, response, level, within_s)
    if rule.rule == "trigger":
        found = _trigger_edge(time_s, trigger, start.interval_s)
    elif start.blows is not None:
        found = _Found(*start_of_blows(start.time_s, start.blows, rise=start.rise, interval=start.interval_s))
    elif rule.rule == "scatter":
        found = _scatter_excess(start)
    elif rule.rule == "extrapolate":
        found = _steepest_tangent(start)
    else:
        found = _level_line(start)
    length = found.time_s - float(start.time_s[0])
    least = QUIET_S if length >= SURE_S else max(QUIET_S, INSIDE * found.standard_uncertainty_s)
    if rule.rule != "trigger" and length < least:
        raise started_before(start.time_s, start.crossing)
    return Onset(
        time_s=found.time_s,
        standard_uncertainty_s=math.hypot(found.standard_uncertainty_s, start.interval_s / math.sqrt(12.0)),
        rule=rule.rule,
        rest=start.rest,
        rest_scatter=start.rest_scatter,
        rest_length_s=found.time_s - float(start.time_s[0]),
        highest=start.highest,
    )


def _refuse_no_bench(time_s: Floats, response: Floats) -> None:
    """Times and values of no test bench, on which the arithmetic behind would fail. Raises SignalError."""
    if time_s.size < 2:
        return
    interval, span = find_sample_interval(time_s), float(time_s[-1] - time_s[0])
    if interval <= 0:
        raise SignalError(
            Fault("the time does not rise from sample to sample", mend="export the recording with more digits of time")
        )
    if interval < SHORTEST_INTERVAL_S or span > LONGEST_RECORD_S:
        raise SignalError(
            Fault(
                f"a sample every {interval:.3g} s over {span:.3g} s cannot be", mend="state the unit of the time column"
            )
        )
    beyond = np.abs(response) > HIGHEST
    if beyond.any() and (found := response[beyond & np.isfinite(response)]).size:
        raise SignalError(
            Fault(
                f"the response reaches {found[0]:.3g}, beyond all measure",
                mend="look at that line of the file, and at the unit and the decimal mark of the column",
            )
        )


def _line_to_rest(start: Start, part: slice) -> _Found | None:
    """The line through the raw samples of `part`, carried back to rest; None where it does not rise or lands nowhere near."""
    first, last = part.start, part.stop
    while last - first < FEWEST_AT_REST:
        first, last = max(0, first - 1), min(start.raw.size, last + 1)
    x, y = start.time_s[first:last], start.raw[first:last]
    return _carried_back(start, x, _line_spikes_aside(x, y))


def _carried_back(start: Start, x: Floats, line: Line) -> _Found | None:
    if line.slope <= 0:
        return None
    onset = line.meets(start.rest)
    length = float(x[-1] - x[0])
    if not float(x[0]) - 2 * length <= onset <= float(x[-1]):
        return None
    u_rest = start.rest_scatter / math.sqrt(max(1, start.rest_count))
    slope_share = line.slope_uncertainty / line.slope
    u_onset = math.hypot(line.uncertainty_at(onset), u_rest) / line.slope
    return _Found(onset, u_onset, slope_share, line.mean_x - onset)


def _line_spikes_aside(x: Floats, y: Floats) -> Line:
    """A line through raw samples; those farther off it than six times the robust scatter are left out of a second fit."""
    line = fit_line(x, y)
    left = y - (line.mean_y + line.slope * (x - line.mean_x))
    kept = np.abs(left - np.median(left)) <= 6 * robust_scatter(left)
    if kept.all() or np.count_nonzero(kept) < FEWEST_AT_REST:
        return line
    return fit_line(x[kept], y[kept])


def _level_line(start: Start) -> _Found:
    """The line around the level; a wider one where the scatter leaves the narrow one no slope to speak of."""
    spans = [(low * start.level, min(STEEPEST_UP_TO, high * start.level)) for low, high in (NARROW, *OTHERS, *WIDE)]
    narrow = start.span(*spans[0])
    if narrow.stop - narrow.start < FEWEST_AT_REST:
        return _foot(start)
    for number, span in enumerate(spans):
        found = _line_to_rest(start, narrow if number == 0 else start.span(*span))
        if found is not None and found.slope_share < SURE_SLOPE:
            break
    else:
        return _foot(start)
    # How far the onset moves to the next two spans: beyond them curvature, not doubt, is seen.
    others = [
        line for low, high in spans[number + 1 : number + 3] if (line := _line_to_rest(start, start.span(low, high)))
    ]
    change = max((abs(line.time_s - found.time_s) for line in others), default=found.standard_uncertainty_s)
    doubt = math.hypot(found.standard_uncertainty_s, change)
    result = replace(found, standard_uncertainty_s=doubt)
    # After a short rest only onsets of small doubt are let through: there the doubt must not be small by chance.
    return result if found.time_s - start.time_s[0] >= SURE_S else result.wavering()


def _foot(start: Start) -> _Found:
    """A rise of a few samples: between the last sample at rest and the first above it, by a line where three lie between."""
    t, y = start.time_s, start.raw
    near = max(0, start.crossing - 3)
    top = start.rest + ALL_RISEN * start.rise
    clear = start.rest + max(start.level * start.rise, FOOT_CLEAR * start.rest_scatter)
    above = first_above(y[near:], clear)
    high = near + above if above is not None else start.crossing
    below = np.flatnonzero(y[: high + 1] < start.rest + 2 * start.rest_scatter + 1e-9 * start.rise)
    low = int(below[-1]) if below.size else max(0, high - 1)
    over = first_above(y[low:], top)
    risen = low + over if over is not None else y.size - 1
    # Twice the scatter at rest is reached a little after the start.
    lag = 2 * start.rest_scatter * float(t[risen] - t[low]) / (ALL_RISEN * start.rise)
    earliest, latest = float(t[low]) - lag, float(t[min(low + 1, high)])
    bracket = _Found(0.5 * (earliest + latest), (latest - earliest) / math.sqrt(12.0))
    if risen - low < 4:
        return bracket
    x = t[low + 1 : risen]
    line = _carried_back(start, x, fit_line(x, y[low + 1 : risen]))
    if line is None or not earliest <= line.time_s <= latest:
        return bracket
    return _Found(line.time_s, math.hypot(line.standard_uncertainty_s, 0.5 * abs(line.time_s - bracket.time_s)))


def _steepest_tangent(start: Start) -> _Found:
    part = start.span(0.02, STEEPEST_UP_TO)
    x, y = start.time_s[part], start.raw[part]
    if x.size < 3 * FEWEST_AT_REST:
        return _foot(start)
    found = []
    for share in (0.3, 0.5):
        width = max(FEWEST_AT_REST, int(share * x.size))
        steepest = int(np.argmax(moving_slope(x, without_spikes(y), width)))
        line = _line_to_rest(start, slice(part.start + steepest, part.start + steepest + width))
        if line:
            found.append(line)
    if not found:
        return _level_line(start)
    change = abs(found[0].time_s - found[-1].time_s)
    return _Found(found[0].time_s, math.hypot(found[0].standard_uncertainty_s, change))


def _scatter_excess(start: Start) -> _Found:
    """The first lasting excess over the scatter at rest, carried back to rest: the rise needs some time to stand out of it."""
    # A rest without any scatter (coarse converter) would call the first step an onset: a thousandth of the rise at least.
    excess = max(SCATTER_FACTOR * start.rest_scatter, 1e-3 * start.rise) / start.rise
    if 2.5 * excess > STEEPEST_UP_TO:
        return _level_line(start)
    lines = [_line_to_rest(start, start.span(low * excess, high * excess)) for low, high in ((0.5, 1.5), (0.5, 2.5))]
    good = [line for line in lines if line and line.slope_share < SURE_SLOPE]
    part = start.span(0.5 * excess, 1.5 * excess)
    if not good or part.stop - part.start < FEWEST_AT_REST:
        return _level_line(start)
    change = abs(good[0].time_s - _level_line(start).time_s)
    return replace(good[0], standard_uncertainty_s=math.hypot(good[0].standard_uncertainty_s, change)).wavering()


def _trigger_edge(time_s: Floats, trigger: Floats | None, interval_s: float) -> _Found:
    if trigger is None:
        raise SignalError(
            Fault(
                "onset rule 'trigger' needs a channel named trigger, and the recording has none",
                mend='name it under [loggers.ID.channels], or use onset = { rule = "level" }',
                code="settings",
            )
        )
    known = np.isfinite(trigger)
    values = without_spikes(trigger[known])
    if values.size < FEWEST_AT_REST or not values.max() > values.min():
        raise SignalError(Fault("the trigger channel never changes", mend='use onset = { rule = "level" }'))
    pressed = values > 0.5 * (values.max() + values.min())
    # The first change from the first state: a switch may be wired so that it opens when pressed.
    index = int(np.argmax(pressed != pressed[0]))
    before, after = (float(value) for value in time_s[known][index - 1 : index + 1])
    # One interval is added for every rule; here is what a gap at the edge adds to it.
    return _Found(0.5 * (before + after), max(0.0, after - before - interval_s) / math.sqrt(12.0))
