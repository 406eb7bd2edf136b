"""The invented bench behind the demo season: tools, supplies, the true curves, and runs drawn from them.

Nothing here was measured. Every number is made up inside the ranges that the trade gives from memory; what
the model says is the truth that a comparison of its runs is to find again.

Torque builds up as ``T(t) = T_ref * (drive(t) / drive_ref)**n * (1 - exp(-t / tau))``, where ``drive`` is the
flowing pressure at the tool inlet [bar gauge] or the voltage at the tool [V]. On top of that a run has a scatter
of its own, its block's effect, blow ripple, a zero error, noise, and the shared scale error of its sensor.

Quick use, no files::

    rng = numpy.random.default_rng(1)
    cell = Cell("quernel-1", "far", "static")
    true_level(cell)                        # N*m, sustained
    true_percent(cell, Cell("quernel-1", "near", "static"))
    draw_levels(rng, cell, 4)               # four runs' sustained levels [N*m], one bench
    draw_comparison(rng, [cell, base], 4)   # the same bench and blocks for several cells
    draw_run(rng, cell).channels["torque"]  # a whole recording
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from bench_line import demand, flowing_inlet, inlet_behind, regulator_for
from bench_parts import (
    ATMOSPHERE,
    BAR,
    BLOCK_SCATTER,
    CELL_RESISTANCE,
    CELLS_IN_SERIES,
    COMPRESSOR,
    CONTACT_RESISTANCE,
    HELD_PRESSURE,
    HOLD_SCATTER,
    LEAD_SECTION_MM2,
    OPEN_VOLTAGE,
    PROTOCOLS,
    RECEIVER_START,
    REGULATOR_DROOP,
    REGULATOR_MARGIN,
    SETTING_SCATTER,
    SETUPS,
    TAIL_S,
    TOOLS,
    Cell,
    Floats,
    Setup,
    Tool,
)

__all__ = [
    "BenchErrors",
    "Cell",
    "Recording",
    "draw_comparison",
    "draw_levels",
    "draw_run",
    "run_scatter",
    "true_conditions",
    "true_curve",
    "true_level",
    "true_percent",
]


@cache
def _receiver_course(tool: str, setup: str, regulator_bar: float) -> tuple[Floats, Floats, Floats]:
    """Times [s], steady inlet pressure and regulator outlet [bar] while the receiver empties: V dp/dt = in - out."""
    kind, volume = TOOLS[tool], SETUPS[setup].receiver_l
    grid = np.linspace(0.5, regulator_bar + 0.5, 201)
    behind = np.array([inlet_behind(tool, setup, float(p)) for p in grid])
    step = 0.02
    times = np.arange(0.0, 14.0, step)
    inlet, outlet = np.empty_like(times), np.empty_like(times)
    receiver, flow = RECEIVER_START, demand(kind, flowing_inlet(tool, setup, regulator_bar))
    for index in range(times.size):
        # With less than its margin over the outlet the regulator is wide open and follows the receiver.
        outlet[index] = min(regulator_bar - REGULATOR_DROOP * flow, receiver - REGULATOR_MARGIN)
        inlet[index] = np.interp(outlet[index], grid, behind)
        flow = demand(kind, float(inlet[index]))
        receiver += step * (COMPRESSOR - flow) / volume
    return times, inlet, outlet


# ---- the true curves ------------------------------------------------------------------------------------------------


def regulator_setting(cell: Cell) -> float:
    """Regulator setting at rest [bar] of an air cell: re-set for each setup where the inlet pressure is held."""
    if PROTOCOLS[cell.protocol].held:
        return regulator_for(cell.tool, cell.setup, HELD_PRESSURE)
    return SETUPS[cell.setup].regulator


def pack_resistance(setup: Setup) -> float:
    """Ohms from the cells to the tool; the cells' share grows 1.5 times in the cold."""
    cold = 1.5 if setup.temperature < 10 else 1.0
    return CELLS_IN_SERIES * CELL_RESISTANCE * cold / setup.strings + CONTACT_RESISTANCE


def steady_drive(cell: Cell, time_s: Floats) -> tuple[Floats, Floats]:
    """Drive at the tool after transients, and regulator outlet [bar] (air) or open voltage [V], at times after the onset."""
    tool, setup = TOOLS[cell.tool], SETUPS[cell.setup]
    if setup.supply == "air":
        times, inlet, outlet = _receiver_course(cell.tool, cell.setup, regulator_setting(cell))
        return np.interp(time_s, times, inlet), np.interp(time_s, times, outlet)
    if setup.supply == "battery":
        open_voltage = OPEN_VOLTAGE - 0.03 * np.maximum(time_s, 0.0)
        return open_voltage - tool.current * pack_resistance(setup), open_voltage
    lead = 2 * 0.0175 * setup.lead_m / LEAD_SECTION_MM2
    return np.full_like(time_s, setup.voltage - tool.current * lead), np.full_like(time_s, setup.voltage)


def drive_course(cell: Cell, time_s: Floats) -> tuple[Floats, Floats]:
    """Drive at the tool and upstream of it, from rest (`time_s` < 0) through the transient into the steady course."""
    setup = SETUPS[cell.setup]
    steady, upstream = steady_drive(cell, time_s)
    rest = regulator_setting(cell) if setup.supply == "air" else upstream
    settle = {"air": setup.settle_s, "battery": 0.04, "mains": 0.02}[setup.supply]
    fade = np.exp(-np.maximum(time_s, 0.0) / settle)
    running = steady + (rest - steady) * fade
    before = upstream + (rest - upstream) * np.exp(-np.maximum(time_s, 0.0) / 0.1)
    return np.where(time_s < 0, rest, running), np.where(time_s < 0, rest, before)


def build_up(tool: Tool, time_s: Floats, drive: Floats) -> Floats:
    """Mean torque [N*m] at times after the onset for a course of the drive."""
    grown = 1 - np.exp(-np.maximum(time_s, 0.0) / tool.tau_s)
    return np.asarray(tool.torque * np.maximum(drive / tool.reference, 1e-6) ** tool.exponent * grown)


def true_curve(cell: Cell, time_s: Floats) -> Floats:
    """True mean torque [N*m] of a cell, scatter and blocks averaged out."""
    return build_up(TOOLS[cell.tool], time_s, drive_course(cell, time_s)[0])


@cache
def true_level(cell: Cell, metric: str = "sustained", at: float | None = None) -> float:
    """True `sustained` (mean over the protocol's window) or `at_mark` torque [N*m]."""
    if metric == "at_mark":
        if at is None:
            raise ValueError("at_mark needs the time of the mark, at=... [s]")
        return float(true_curve(cell, np.array([float(at)]))[0])
    if metric != "sustained":
        raise ValueError(f"the model knows sustained and at_mark, not {metric}")
    first, last = PROTOCOLS[cell.protocol].window_s
    return float(np.mean(true_curve(cell, np.linspace(first, last, 2001))))


def true_percent(cell: Cell, base: Cell, metric: str = "sustained", at: float | None = None) -> float:
    """True difference of `cell` in percent of `base`."""
    return 100 * (true_level(cell, metric, at) / true_level(base, metric, at) - 1)


def true_conditions(cell: Cell) -> dict[str, float]:
    """Rest and flowing drive in SI (Pa or V), means from 1 s after the onset to the duration; air: regulator and flow too."""
    times = np.linspace(1.0, PROTOCOLS[cell.protocol].duration_s, 2001)
    drive, upstream = (float(np.mean(values)) for values in drive_course(cell, times))
    if SETUPS[cell.setup].supply != "air":
        return {"rest_voltage": float(drive_course(cell, np.array([-0.1]))[0][0]), "running_voltage": drive}
    return {
        "rest_pressure": regulator_setting(cell) * BAR,
        "flowing_pressure": drive * BAR,
        "regulator_flowing": upstream * BAR,
        "air_flow": demand(TOOLS[cell.tool], drive) * 1e-3,
    }


# ---- drawing --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class BenchErrors:
    """What all runs on the bench share: relative scale errors, and the standard deviation of the zero of each run [N*m]."""

    torque_scale: float = 0.0
    pressure_scale: float = 0.0
    zero_scatter: float = 0.5

    @classmethod
    def draw(cls, rng: np.random.Generator) -> BenchErrors:
        """Errors as the certificates in bench.toml allow them: 0.6 % and 0.5 % expanded, k = 2."""
        return cls(rng.normal(0, 0.003), rng.normal(0, 0.0025))


def run_scatter(cell: Cell) -> float:
    """Relative standard deviation of one run's level within a block: the tool's own, and how well the supply was set."""
    tool = TOOLS[cell.tool]
    return math.hypot(tool.scatter, tool.exponent * setting_scatter(cell) / tool.reference)


def setting_scatter(cell: Cell) -> float:
    """Standard deviation of the drive from run to run [bar]; none for battery and mains."""
    if SETUPS[cell.setup].supply != "air":
        return 0.0
    return HOLD_SCATTER if PROTOCOLS[cell.protocol].held else SETTING_SCATTER


def draw_levels(
    rng: np.random.Generator,
    cell: Cell,
    n: int,
    *,
    metric: str = "sustained",
    at: float | None = None,
    errors: BenchErrors | None = None,
    block_effects: Floats | float = 0.0,
) -> Floats:
    """Levels [N*m] of `n` runs of one cell, shape (n,), without drawing the curves.

    `errors` is the bench (drawn when None), `block_effects` [relative] broadcasts to the n runs.
    """
    errors = BenchErrors.draw(rng) if errors is None else errors
    runs = 1 + run_scatter(cell) * rng.standard_normal(n)
    zero = errors.zero_scatter * rng.standard_normal(n)
    return true_level(cell, metric, at) * runs * (1 + block_effects) * (1 + errors.torque_scale) + zero


def draw_comparison(
    rng: np.random.Generator,
    cells: Sequence[Cell],
    n: int,
    *,
    metric: str = "sustained",
    at: float | None = None,
    blocked: bool = True,
) -> dict[Cell, Floats]:
    """Levels [N*m] of several cells on one bench: `n` complete blocks (run i of every cell is in block i), or no blocks."""
    errors = BenchErrors.draw(rng)
    blocks = BLOCK_SCATTER * rng.standard_normal(n) if blocked else 0.0
    return {
        cell: draw_levels(rng, cell, n, metric=metric, at=at, errors=errors, block_effects=blocks) for cell in cells
    }


@dataclass(frozen=True)
class Recording:
    """One drawn run. Channels in SI (torque N*m, pressures Pa, air_flow m3/s, V, A, temperature degC); `onset_s` is the truth."""

    time_s: Floats
    channels: Mapping[str, Floats]
    onset_s: float
    factor: float
    """What scatter and block made of the true level of this run."""
    planted: Mapping[str, float | str] = field(default_factory=dict)


def draw_run(
    rng: np.random.Generator,
    cell: Cell,
    *,
    errors: BenchErrors | None = None,
    block_effect: float = 0.0,
    rate_hz: float = 200.0,
    flaw: str = "",
    level_shift: float = 0.0,
) -> Recording:
    """A whole recording of one run: rest, onset, run, end, and half a second after it.

    `flaw` plants one of "hold-off-target", "slipped-socket", "zero-shift", "clipped", "trigger-released",
    "foot-pounds"; `level_shift` [relative] moves this run alone.
    """
    errors = BenchErrors.draw(rng) if errors is None else errors
    tool, air = TOOLS[cell.tool], SETUPS[cell.setup].supply == "air"
    duration = PROTOCOLS[cell.protocol].duration_s
    onset = 0.55 + 0.2 * rng.random()
    time_s = np.arange(math.floor((onset + duration + 0.15 + TAIL_S) * rate_hz)) / rate_hz
    after = time_s - onset
    release = 7.4 if flaw == "trigger-released" else duration + 0.15
    drive, upstream = drive_course(cell, after)
    offset = setting_scatter(cell) * rng.standard_normal() - (0.26 if flaw == "hold-off-target" else 0.0)
    drive, upstream = drive + offset, upstream + offset
    factor = (1 + tool.scatter * rng.standard_normal()) * (1 + block_effect) * (1 + level_shift)
    torque = factor * build_up(tool, after, drive) * _ripple(rng, tool, after)
    running = after < release
    torque = np.where(running, torque, torque[running][-1] * np.exp(-(after - release) / 0.04))
    # A receiver that ran down cannot bring the line back to its pressure before the run.
    back = min(drive[0], upstream[running][-1] + REGULATOR_MARGIN) if air else drive[0]
    drive, upstream = (_recover(values, after, release, back, 0.15 if air else 0.03) for values in (drive, upstream))
    torque = _plant(torque, after, flaw)
    torque = (torque + errors.zero_scatter * rng.standard_normal()) * (1 + errors.torque_scale)
    torque = torque + rng.normal(0, 1.6, time_s.size)
    if flaw == "clipped":
        torque = np.minimum(torque, 1000.0)
    channels = {"torque": torque / 1.3558179483 if flaw == "foot-pounds" else torque}
    on = np.where(running & (after >= 0), 1.0, 0.0)
    channels |= _supply_channels(rng, cell, errors, drive=drive, upstream=upstream, on=on, rate_hz=rate_hz)
    return Recording(time_s, channels, onset, factor)


def _ripple(rng: np.random.Generator, tool: Tool, after: Floats) -> Floats:
    """Blow ripple around one: one sine whose rate differs a little from run to run, and a slow breathing."""
    rate = tool.blow_hz * (1 + 0.015 * rng.standard_normal())
    phase = 2 * math.pi * rng.random()
    depth = tool.ripple * (1 + 0.2 * np.sin(2 * math.pi * 0.7 * after + 2 * math.pi * rng.random()))
    return np.asarray(1 + depth * np.sin(2 * math.pi * rate * after + phase))


def _recover(values: Floats, after: Floats, release: float, rest: float, settle: float) -> Floats:
    """The supply goes back to `rest` once the tool stops."""
    running = after < release
    last = values[running][-1]
    return np.where(running, values, rest - (rest - last) * np.exp(-(after - release) / settle))


def _plant(torque: Floats, after: Floats, flaw: str) -> Floats:
    """Flaws of the torque channel alone."""
    if flaw == "slipped-socket":
        # The socket jumps at 2.1 s and the build-up starts again from a quarter.
        lost = 0.75 * np.exp(-np.maximum(after - 2.13, 0.0) / 1.6)
        return np.where(after > 2.1, torque * (1 - np.where(after < 2.13, (after - 2.1) / 0.03 * 0.75, lost)), torque)
    if flaw == "zero-shift":
        return torque + np.where(after > 3.2, 34.0, 0.0)
    return torque


def _supply_channels(
    rng: np.random.Generator,
    cell: Cell,
    errors: BenchErrors,
    *,
    drive: Floats,
    upstream: Floats,
    on: Floats,
    rate_hz: float,
) -> dict[str, Floats]:
    tool, setup, size = TOOLS[cell.tool], SETUPS[cell.setup], drive.size
    if setup.supply == "air":
        beat = 0.012 * on * np.sin(2 * math.pi * 2 * tool.blow_hz * np.arange(size) / rate_hz)
        flow = on * tool.conductance * (drive + ATMOSPHERE)
        kernel = np.exp(-np.arange(int(0.25 * rate_hz)) / (0.05 * rate_hz))
        smooth = np.convolve(flow, kernel / kernel.sum())[:size]
        return {
            "inlet_pressure": ((drive + beat) * (1 + errors.pressure_scale) + rng.normal(0, 0.006, size)) * BAR,
            "supply_pressure": (upstream + rng.normal(0, 0.005, size)) * BAR,
            "air_flow": (smooth + rng.normal(0, 0.08, size)) * 1e-3,
            "temperature": 19.0 + 0.01 * np.arange(size) / rate_hz + rng.normal(0, 0.03, size),
        }
    noise = {"battery": 0.03, "mains": 0.15}[setup.supply]
    return {
        "voltage": drive + rng.normal(0, noise, size),
        "current": on * tool.current * (1 + 0.03 * rng.standard_normal(size)) + rng.normal(0, 0.05, size),
        "temperature": setup.temperature + 0.4 * np.cumsum(on) / rate_hz / 5 + rng.normal(0, 0.03, size),
    }
