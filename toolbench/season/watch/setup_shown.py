"""Whether the supply that a recording shows is the planned setup: by what bench.toml states, and by the runs before it."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence

import numpy as np

from toolbench.quantities import DISPLAY_SI, channel_quantity, format_number, from_si
from toolbench.records.findings import Finding
from toolbench.records.runs import RawRun, Run
from toolbench.records.settings import Hold, RunEntry, SeasonSettings

SET_SHARE = 0.05
"""A static pressure further than this share from the regulator's setting is another setting; gauges agree within 1 %."""

STATIC_SHARE = 0.25
"""Where no regulator is stated: a compressor without one switches on and off within a fifth of its pressure (from memory)."""

PACK_SHARES = (0.80, 1.25)
"""Open voltage of a pack as a share of its nominal voltage: 3.0 to 4.2 V of a cell of 3.6 V nominal (from memory)."""

MAINS_SHARE = 0.10
"""Mains voltage keeps within 10 % of the nominal one (EN 50160)."""

LOSS_SHARE, LOSS_PA = 0.25, 15_000.0
"""The line's loss differs from that of the like runs by more than this share, and more than this: another hose or coupler.
A person sets a regulator again to 0.03 bar; a second mated pair or a hose of the next size changes the loss by half."""

FLOW_SHARE = 0.15
"""Air flow per absolute inlet pressure is the tool's own; the runs of one tool agree within a few percent."""

CHARGE_SHARE = 0.025
"""Open voltage of a pack below that of the like runs by more: about 10 % of charge (from memory)."""

RECOVERY_PER_S = 0.005
"""A pack whose open voltage still rises by more than this share in a second has not rested."""

FEWEST = 2
"""Like runs that must agree among themselves before another one is said to differ."""

ATMOSPHERE_PA = 101_325.0


def setup_findings(
    settings: SeasonSettings, raw: RawRun, run: Run, kept: Sequence[Run], like: Sequence[Run]
) -> list[Finding]:
    """Findings about the setup of one run.

    Parameters
    ----------
    settings : gives what the setup states
    raw, run : the recording, before and after its reduction
    kept : runs of this tool made before, on any setup
    like : those of them on the same setup under the same protocol
    """
    setup = settings.setups[run.entry.setup]
    found: list[Finding] = []
    if setup.supply in ("air", ""):  # what a setup that states nothing runs on shows in the channels that there are
        found += _regulator(settings, run, like) + _line(run, kept, like) + _flow(run, kept)
    if setup.supply in ("battery", "mains"):
        found += _voltage(settings, run)
    if setup.supply == "battery":
        found += _charge(run, like) + _resting(settings, raw, run)
    return found


def in_words(value: float, channel: str) -> str:
    """A value [SI] of a channel in the customary unit, as a person says it at the bench."""
    quantity = channel_quantity(channel)
    unit = DISPLAY_SI.get(quantity, "")
    return format_number(from_si(value, unit, quantity), 3, unit=unit) if unit else format_number(value, 3)


def _finding(code: str, message: str, mend: str, entry: RunEntry) -> Finding:
    return Finding(
        code=code, severity="wrong", kind="condition", message=f"{message}.", mend=mend, subjects=(entry.run,), file=entry.file
    )  # fmt: skip


def _stated(settings: SeasonSettings, setup: str, key: str) -> float | None:
    fact = settings.setups[setup].facts.get(key)
    return float(fact[0]) if fact is not None and not isinstance(fact[0], str) else None


def _regulator(settings: SeasonSettings, run: Run, like: Sequence[Run]) -> list[Finding]:
    """Static pressure against the regulator's setting, or against the like runs where none is stated.

    Not where the protocol has the regulator set for each setup.
    """
    protocol = settings.protocols[run.entry.protocol]
    stated, static = _stated(settings, run.entry.setup, "regulator.set"), run.conditions.rest_pressure
    if static is None or _is_reset(protocol.hold):
        return []
    if protocol.rest is not None and protocol.rest.channel == "inlet_pressure":
        return []  # the protocol's own band is the narrower one
    if stated is None:
        return _static(run, static, like)
    if abs(static - stated) <= SET_SHARE * stated:
        return []
    others = [
        id
        for id, other in settings.setups.items()
        if id != run.entry.setup
        and (value := _stated(settings, id, "regulator.set")) is not None
        and abs(static - value) <= SET_SHARE * value
    ]
    hint = f"; {others[0]} has that" if len(others) == 1 else ""
    message = (
        f"Static pressure is {in_words(static, 'inlet_pressure')}, setup {run.entry.setup} has its regulator at "
        f"{in_words(stated, 'inlet_pressure')}{hint}"
    )
    return [_finding("setup-pressure", message, "look at the regulator and at the setup", run.entry)]


def _static(run: Run, static: float, like: Sequence[Run]) -> list[Finding]:
    """Static pressure beside the like runs: another setting, or a logger set to another unit."""
    before = _known(like, lambda one: one.conditions.rest_pressure)
    if len(before) < FEWEST:
        return []
    middle = statistics.median(before)
    if abs(static - middle) <= max(STATIC_SHARE * abs(middle), 2 * (max(before) - min(before))):
        return []
    message = (
        f"Static pressure is {in_words(static, 'inlet_pressure')}, in the {len(before)} runs before it on {run.entry.setup} "
        f"{in_words(middle, 'inlet_pressure')}"
    )
    return [
        _finding("setup-pressure", message, "look at the regulator, and at the unit the logger is set to", run.entry)
    ]


def _is_reset(hold: Hold | None) -> bool:
    return hold is not None and hold.channel == "inlet_pressure"


def _voltage(settings: SeasonSettings, run: Run) -> list[Finding]:
    """Open voltage against what the setup states."""
    supply, at_rest = settings.setups[run.entry.setup].supply, run.conditions.voltage_rest
    nominal = _stated(settings, run.entry.setup, "nominal_voltage" if supply == "battery" else "voltage")
    if nominal is None or at_rest is None:
        return []
    low, high = PACK_SHARES if supply == "battery" else (1 - MAINS_SHARE, 1 + MAINS_SHARE)
    if low * nominal <= at_rest <= high * nominal:
        return []
    message = f"Voltage at rest is {in_words(at_rest, 'voltage')}, setup {run.entry.setup} states {in_words(nominal, 'voltage')}"
    return [_finding("setup-voltage", message, "look at the pack or the outlet", run.entry)]


def _loss(run: Run) -> float | None:
    """Pressure lost from the regulator to the inlet while the tool runs [Pa]; else the droop at the inlet."""
    conditions = run.conditions
    if conditions.supply_pressure is not None and conditions.flowing_pressure is not None:
        return conditions.supply_pressure - conditions.flowing_pressure
    return conditions.droop


def _conductance(run: Run) -> float | None:
    """Air flow per absolute inlet pressure [m3/(s*Pa)]: what the running tool lets through."""
    conditions = run.conditions
    if conditions.air_flow is None or conditions.flowing_pressure is None or conditions.air_flow <= 0:
        return None
    return conditions.air_flow / (conditions.flowing_pressure + ATMOSPHERE_PA)


def _known(runs: Sequence[Run], value: Callable[[Run], float | None]) -> list[float]:
    return [found for run in runs if (found := value(run)) is not None]


def _line(run: Run, kept: Sequence[Run], like: Sequence[Run]) -> list[Finding]:
    """Loss of the line beside the like runs: a step means that another hose or coupler is on."""
    loss, before = _loss(run), _known([one for one in like if _has_supply(one) == _has_supply(run)], _loss)
    if loss is None or len(before) < FEWEST:
        return []
    middle = statistics.median(before)
    limit = max(LOSS_SHARE * abs(middle), LOSS_PA, 2 * (max(before) - min(before)))
    if abs(loss - middle) <= limit:
        return []
    hint = _looks_like(run, loss, kept)
    message = (
        f"The line loses {in_words(loss, 'inlet_pressure')}, in the {len(before)} runs before it on {run.entry.setup} "
        f"{in_words(middle, 'inlet_pressure')}{hint}"
    )
    return [_finding("setup-line", message, "look at hose, couplers and valves", run.entry)]


def _has_supply(run: Run) -> bool:
    return run.conditions.supply_pressure is not None


def _looks_like(run: Run, loss: float, kept: Sequence[Run]) -> str:
    """The one other setup of this tool whose runs lose as much."""
    near: set[str] = set()
    for other in kept:
        value = _loss(other)
        same = other.entry.protocol == run.entry.protocol and _has_supply(other) == _has_supply(run)
        if same and other.entry.setup != run.entry.setup and value is not None and abs(value - loss) < 0.1 * abs(loss):
            near.add(other.entry.setup)
    return f": as on {near.pop()}" if len(near) == 1 else ""


def _flow(run: Run, kept: Sequence[Run]) -> list[Finding]:
    """The tool's own demand beside its earlier runs on whatever setup."""
    now, before = _conductance(run), _known([one for one in kept if one.entry.tool == run.entry.tool], _conductance)
    if now is None or len(before) < FEWEST or max(before) > (1 + FLOW_SHARE) * min(before):
        return []
    middle = statistics.median(before)
    if abs(now / middle - 1) <= FLOW_SHARE:
        return []
    more = "more" if now > middle else "less"
    message = f"{run.entry.tool} takes {100 * abs(now / middle - 1):.0f} % {more} air at its inlet pressure than in its runs before"
    return [
        _finding(
            "setup-flow", message, "look whether it is this tool, and for a leak or a valve half closed", run.entry
        )
    ]


def _charge(run: Run, like: Sequence[Run]) -> list[Finding]:
    """Open voltage of the pack beside the like runs."""
    now, before = run.conditions.voltage_rest, _known(like, lambda one: one.conditions.voltage_rest)
    if now is None or len(before) < FEWEST:
        return []
    middle = statistics.median(before)
    if now >= (1 - CHARGE_SHARE) * middle:
        return []
    message = f"The pack rests at {in_words(now, 'voltage')}, in the runs before it at {in_words(middle, 'voltage')}"
    return [_finding("pack-low", message, "charge it as before, or take a charged one", run.entry)]


def _resting(settings: SeasonSettings, raw: RawRun, run: Run) -> list[Finding]:
    """A pack whose voltage still rises before the start: it has not rested since the run before."""
    voltage = raw.channels.get("voltage")
    nominal = _stated(settings, run.entry.setup, "nominal_voltage") or run.conditions.voltage_rest
    if voltage is None or not nominal:
        return []
    end = run.onset.time_s - 2 * run.onset.standard_uncertainty_s - 0.05
    part = slice(0, int(np.searchsorted(raw.time_s, end)))
    known = np.isfinite(voltage[part])
    time, values = raw.time_s[part][known], voltage[part][known]
    if time.size < 20 or time[-1] - time[0] < 0.3:
        return []
    (slope, _), covariance = np.polyfit(time - time[0], values, 1, cov=True)
    if slope <= max(RECOVERY_PER_S * nominal, 5 * float(np.sqrt(covariance[0, 0]))):
        return []
    message = f"The pack's voltage still rises by {1000 * slope:.0f} mV in a second before the start"
    return [_finding("pack-resting", message, "let the pack rest", run.entry)]
