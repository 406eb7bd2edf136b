"""A response that is lost while the tool should be running: slipped socket, released trigger and a sagging supply told apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from toolbench.records.findings import Finding
from toolbench.records.runs import Floats, Onset
from toolbench.signal.conditions import flowing_from, mean_between
from toolbench.signal.sampling import block_means

BLOCK_S = 0.125
"""One period of the slowest blows: their ripple is gone from the means of such blocks."""

LOST_SHARE = 0.25
"""A loss is a fall by this share of the rise within half a second; blows of 12 % leave less than 4 % in a block mean."""

LASTS_S = 0.3
"""A loss that is over sooner is a dropout of the channel."""

SAG_PRESSURE = 0.04
SAG_RESPONSE = 0.04
"""Slow sag: flowing pressure and response both fall by more than this share between the first part and the end."""


@dataclass(frozen=True, slots=True)
class Loss:
    """A sudden lasting fall of the response: from `before` to `after` at `time_s` after the onset."""

    time_s: float
    before: float
    after: float


def find_loss(time_s: Floats, response: Floats, *, rise: float, duration_s: float, interval_s: float) -> Loss | None:
    """The first sudden lasting fall between the onset and the duration; None without one. Times [s after the onset]."""
    first, last = np.searchsorted(time_s, (0.0, duration_s))
    width = max(1, round(BLOCK_S / interval_s))
    known = response[first:last]
    finite = np.isfinite(known)
    known = known if finite.all() else known[finite]
    blocks = block_means(known, width)
    ahead = max(1, round(0.5 / (width * interval_s)))
    if blocks.size <= ahead + 1:
        return None
    lasting = max(1, round(LASTS_S / (width * interval_s)))
    fall = blocks[:-ahead] - blocks[ahead:]
    for index in np.flatnonzero(fall > LOST_SHARE * rise):
        before = float(blocks[index])
        low = index + int(np.argmin(blocks[index : index + ahead + lasting]))
        after = blocks[low : low + lasting]
        # A dropout comes back: then the blocks that follow stand at the old level again.
        follow = blocks[index + ahead : index + ahead + lasting]
        if float(follow.max()) < before - 0.5 * LOST_SHARE * rise and float(after.min()) < before - LOST_SHARE * rise:
            steepest = index + int(np.argmax(blocks[index : index + ahead] - blocks[index + 1 : index + ahead + 1]))
            return Loss(float(time_s[first]) + (steepest + 1) * width * interval_s, before, float(after.min()))
    return None


def loss_findings(
    time_s: Floats,
    channels: Mapping[str, Floats],
    response: str,
    unit: str,
    *,
    onset: Onset,
    duration_s: float,
    interval_s: float,
) -> list[Finding]:
    """What a loss of the response was, told by the channels beside it; or a slow sag of the supply with it."""
    rise = onset.highest - onset.rest
    values = channels[response]
    loss = find_loss(time_s, values, rise=rise, duration_s=duration_s, interval_s=interval_s)
    if loss is None:
        return _sag(time_s, channels, response, onset=onset, duration_s=duration_s)
    fact = f"{response} falls from {loss.before:.4g} to {loss.after:.4g} {unit} at {loss.time_s:.2f} s after the onset"
    return [_named(fact, *_cause(time_s, channels, loss, duration_s))]


def _change(time_s: Floats, values: Floats | None, at: float, duration_s: float) -> tuple[float, float] | None:
    """Mean over the half second before a time, and from 0.2 s after it on."""
    before = mean_between(time_s, values, max(0.0, at - 0.6), at - 0.1)
    after = mean_between(time_s, values, at + 0.2, max(at + 0.4, min(at + 1.2, duration_s)))
    return (before, after) if before is not None and after is not None else None


def _cause(time_s: Floats, channels: Mapping[str, Floats], loss: Loss, duration_s: float) -> tuple[str, str]:
    """Code of the finding and what the other channels do."""

    def change(name: str) -> tuple[float, float] | None:
        return _change(time_s, channels.get(name), loss.time_s, duration_s)

    trigger, speed, flow, current = change("trigger"), change("speed"), change("air_flow"), change("current")
    for name, moved in (("speed", speed), ("air flow", flow), ("current", current)):
        if moved and moved[1] < 0.3 * moved[0]:
            return "trigger-released", f"{name} stops"
    if trigger and abs(trigger[1] - trigger[0]) > 0.5 * float(
        np.ptp(channels["trigger"][np.isfinite(channels["trigger"])])
    ):
        return "trigger-released", "the trigger changes"
    pressure = change("inlet_pressure")
    rest = mean_between(time_s, channels.get("inlet_pressure"), -0.5, 0.0)
    if pressure and rest is not None:
        droop = rest - pressure[0]
        if droop > 0.01 * abs(rest) and pressure[1] - pressure[0] > 0.5 * droop:
            return "trigger-released", "the inlet pressure recovers"
        if pressure[0] - pressure[1] > 0.08 * abs(pressure[0]):
            return "supply-sag", "the inlet pressure falls with it"
        return "socket-slipped", "the inlet pressure does not change"
    if speed or flow or current:
        return "socket-slipped", "the tool keeps running"
    return "response-lost", ""


_MENDS = {
    "trigger-released": ("wrong", "data", "repeat the run with the trigger held, or exclude it: trigger released"),
    "socket-slipped": ("wrong", "data", "look at the socket, repeat the run, or exclude it: socket slip"),
    "supply-sag": ("doubtful", "condition", "look at receiver, compressor and line: the supply ran out"),
    "response-lost": ("doubtful", "data", "record inlet pressure or speed, so that the cause can be told"),
}
_WORDS = {
    "trigger-released": "the trigger was released",
    "socket-slipped": "possible: the socket slipped",
    "supply-sag": "the supply sags",
    "response-lost": "possible: trigger released, socket slipped or a supply that runs out; the recording has no channel to tell",
}


def _named(fact: str, code: str, evidence: str) -> Finding:
    severity, kind, mend = _MENDS[code]
    beside = f" and {evidence}" if evidence else ""
    return Finding(
        code=code,
        severity=severity,  # type: ignore[arg-type]
        kind=kind,  # type: ignore[arg-type]
        message=f"{fact}{beside}: {_WORDS[code]}.",
        mend=mend,
    )


def _sag(
    time_s: Floats, channels: Mapping[str, Floats], response: str, *, onset: Onset, duration_s: float
) -> list[Finding]:
    """Slow sag: both the inlet pressure and the response end lower than they once were while the tool ran."""
    pressure = channels.get("inlet_pressure")
    begin = flowing_from(duration_s)
    if pressure is None or duration_s < 3.0:
        return []
    edges = np.linspace(begin, duration_s, 7)

    def course(values: Floats) -> list[float] | None:
        means = [mean_between(time_s, values, float(a), float(b)) for a, b in pairwise(edges)]
        return [mean for mean in means if mean is not None] if None not in means else None

    levels, pressures = course(channels[response]), course(pressure)
    if not levels or not pressures:
        return []
    best = int(np.argmax(levels))
    rise = onset.highest - onset.rest
    fall, lost = levels[best] - levels[-1], pressures[best] - pressures[-1]
    if fall <= SAG_RESPONSE * rise or lost <= SAG_PRESSURE * abs(pressures[best]):
        return []
    return [
        Finding(
            code="supply-sag",
            severity="note",
            kind="condition",
            message=(
                f"Inlet pressure falls by {100 * lost / abs(pressures[best]):.0f} % and {response} by "
                f"{100 * fall / rise:.0f} % of its rise while the tool runs: the supply sags."
            ),
            mend="look at receiver, compressor and line, if the sag is not what the run is about",
        )
    ]
