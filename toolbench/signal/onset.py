"""Where a run starts: the onset on the raw samples, with a standard uncertainty of its own.

The default rule `level` fits a straight line to the raw samples around the crossing of a share of the highest value over
rest and carries it back to rest. `extrapolate` does the same with the steepest tangent, `scatter` takes the first lasting
excess over the scatter at rest, `trigger` the edge of the trigger channel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from toolbench.errors import Fault, SignalError
from toolbench.records.runs import Floats, Onset
from toolbench.records.settings import OnsetRule
from toolbench.signal.lines import Line, fit_line, moving_slope
from toolbench.signal.sampling import find_sample_interval, robust_scatter, without_spikes
from toolbench.signal.start import FEWEST_AT_REST, QUIET_S, Start, search_start, started_before

NARROW = (0.3, 1.2)
"""Span of the fitted line, in multiples of the level: around the crossing, clear of the foot of the rise. A build-up that
saturates bends; the lower the span, the less early the line meets the rest."""

OTHERS = ((0.5, 1.5), (0.3, 2.5))
"""Other spans; how far the onset moves to the farther of them shows what curvature and blows do to it. One alone may agree
with the first by chance: with blows of 4 to 12 % it did in one run of twelve."""

SCATTER_FACTOR = 5.0
"""Rule `scatter`: how many standard deviations at rest count as an excess."""

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
    elif rule.rule == "scatter":
        found = _scatter_excess(start, level)
    elif rule.rule == "extrapolate":
        found = _steepest_tangent(start)
    else:
        found = _level_line(start, level)
    if rule.rule != "trigger" and found.time_s - float(start.time_s[0]) < QUIET_S:
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
    line = _line_spikes_aside(x, y)
    if line.slope <= 0:
        return None
    onset = line.meets(start.rest)
    length = float(x[-1] - x[0])
    if not float(x[0]) - 2 * length <= onset <= float(x[-1]):
        return None
    u_rest = start.rest_scatter / math.sqrt(max(1, start.rest_count))
    return _Found(onset, math.hypot(line.uncertainty_at(onset), u_rest) / line.slope)


def _line_spikes_aside(x: Floats, y: Floats) -> Line:
    """A line through raw samples; those farther off it than six times the robust scatter are left out of a second fit."""
    line = fit_line(x, y)
    left = y - (line.mean_y + line.slope * (x - line.mean_x))
    kept = np.abs(left - np.median(left)) <= 6 * robust_scatter(left)
    if kept.all() or np.count_nonzero(kept) < FEWEST_AT_REST:
        return line
    return fit_line(x[kept], y[kept])


def _level_line(start: Start, level: float) -> _Found:
    lines = [_line_to_rest(start, start.span(low * level, min(0.9, high * level))) for low, high in (NARROW, *OTHERS)]
    good = [line for line in lines if line]
    found = good[0] if good else None
    if found is None:
        # No line can be trusted: the crossing itself, with the whole time since rest as a rectangular width.
        part = start.span(NARROW[0] * level, NARROW[1] * level)
        low, high = float(start.time_s[part.start]), float(start.time_s[start.crossing])
        return _Found(0.5 * (low + high), (high - low) / math.sqrt(12.0))
    change = max((abs(line.time_s - found.time_s) for line in good[1:]), default=found.standard_uncertainty_s)
    return _Found(found.time_s, math.hypot(found.standard_uncertainty_s, change))


def _steepest_tangent(start: Start) -> _Found:
    part = start.span(0.02, STEEPEST_UP_TO)
    x, y = start.time_s[part], start.raw[part]
    found = []
    for share in (0.3, 0.5):
        width = max(FEWEST_AT_REST, int(share * x.size))
        if width > x.size:
            break
        steepest = int(np.argmax(moving_slope(x, without_spikes(y), width)))
        line = _line_to_rest(start, slice(part.start + steepest, part.start + steepest + width))
        if line:
            found.append(line)
    if not found:
        return _level_line(start, 0.1)
    change = abs(found[0].time_s - found[-1].time_s)
    return _Found(found[0].time_s, math.hypot(found[0].standard_uncertainty_s, change))


def _scatter_excess(start: Start, level: float) -> _Found:
    # A rest without any scatter (coarse converter) would call the first step an onset: a thousandth of the rise at least.
    excess = max(SCATTER_FACTOR * start.rest_scatter, 1e-3 * start.rise)
    last_above = start.crossing + int(np.argmax(start.smooth[start.crossing :] >= start.rest + excess))
    below = np.flatnonzero(start.smooth[: last_above + 1] < start.rest + excess)
    last_below = int(below[-1]) if below.size else 0
    time = 0.5 * float(start.time_s[last_below] + start.time_s[min(last_below + 1, start.time_s.size - 1)])
    # The rise needs some time to stand out of the scatter. That lag is not corrected; its size, seen against the line
    # carried back to rest, is the standard uncertainty.
    return _Found(time, abs(time - _level_line(start, level).time_s))


def _trigger_edge(time_s: Floats, trigger: Floats | None, interval_s: float) -> _Found:
    if trigger is None:
        raise SignalError(
            Fault(
                "onset rule 'trigger' needs a channel named trigger, and the recording has none",
                mend='name it under [loggers.ID.channels], or use onset = { rule = "level" }',
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
