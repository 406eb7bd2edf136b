"""The things on the invented bench: its tools, supply setups and protocols, and the numbers they share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

BAR = 1e5
ATMOSPHERE = 1.013  # bar
ANR_DENSITY = 1.185  # kg/m3, air at 100 kPa, 20 degC, 65 % humidity
AIR_RT = 287.0 * 293.15  # J/kg
AIR_VISCOSITY = 1.82e-5  # Pa*s
HELD_PRESSURE = 6.2  # bar gauge, flowing, at the inlet
STATIC_PRESSURE = 6.9  # bar gauge, at rest
BLOCK_SCATTER = 0.01
HOLD_SCATTER = 0.03  # bar: how well a person re-sets the regulator
SETTING_SCATTER = 0.015  # bar: how well a static setting is repeated
TAIL_S = 0.5


@dataclass(frozen=True)
class Tool:
    """One specimen. `reference` is the drive at which it ends at `torque` [N*m]; `conductance` [L/(s*bar)] is its demand."""

    torque: float
    tau_s: float
    blow_hz: float
    scatter: float
    exponent: float = 0.8
    reference: float = HELD_PRESSURE
    conductance: float = 0.0
    current: float = 0.0
    ripple: float = 0.03


TOOLS: dict[str, Tool] = {
    "quernel-1": Tool(1180.0, 0.75, 13.0, 0.015, conductance=2.9),
    "quernel-2": Tool(1204.0, 0.75, 13.4, 0.015, conductance=2.9),
    # Equal to quernel-1 in everything that a report shows; only its blows come a little faster.
    "fennwhit": Tool(1180.0, 0.75, 14.6, 0.015, conductance=2.9),
    "old-tasselby": Tool(960.0, 0.90, 11.5, 0.008, conductance=2.5),
    "ostrel": Tool(610.0, 0.55, 22.0, 0.015, exponent=0.7, reference=15.45, current=35.0),
    "pelmoor": Tool(540.0, 0.65, 20.0, 0.017, exponent=1.0, reference=230.0, current=6.0),
}


@dataclass(frozen=True)
class Hose:
    bore_m: float
    length_m: float


@dataclass(frozen=True)
class Coupler:
    """A mated pair: sonic conductance [L/(s*bar)] and critical pressure ratio."""

    conductance: float = 9.0
    ratio: float = 0.35


@dataclass(frozen=True)
class Setup:
    """A supply. Air uses `line`, `regulator` [bar], `settle_s` and `receiver_l`; battery and mains use the rest."""

    label: str
    supply: str
    line: tuple[Hose | Coupler, ...] = ()
    regulator: float = STATIC_PRESSURE
    settle_s: float = 0.15
    receiver_l: float = 500.0
    strings: int = 1
    temperature: float = 20.0
    voltage: float = 230.0
    lead_m: float = 0.0


REGULATOR_DROOP = 0.02  # bar per L/s
REGULATOR_MARGIN = 0.5  # bar that it needs over its outlet
COMPRESSOR = 9.0  # L/s free air
CUT_IN, CUT_OUT = 8.0, 10.0  # bar
RECEIVER_START = 9.2  # bar
LEAD_SECTION_MM2 = 1.5
CELL_RESISTANCE, CELLS_IN_SERIES, CONTACT_RESISTANCE, OPEN_VOLTAGE = 0.022, 5, 0.020, 20.0
PAIR = Coupler()
NEAR_HOSE = Hose(0.013, 12.0)

SETUPS: dict[str, Setup] = {
    "near": Setup("13 mm × 12 m", "air", (PAIR, NEAR_HOSE, PAIR), settle_s=0.15),
    "far": Setup("13 mm × 30 m", "air", (PAIR, Hose(0.013, 30.0), PAIR), settle_s=0.35),
    "far-wide": Setup("19 mm × 30 m", "air", (PAIR, Hose(0.019, 30.0), PAIR), settle_s=0.50),
    "one-coupler": Setup("one coupler", "air", (NEAR_HOSE, PAIR), settle_s=0.15),
    "three-couplers": Setup("three couplers", "air", (NEAR_HOSE, PAIR, PAIR, PAIR), settle_s=0.17),
    "at-4": Setup("regulator at 4 bar", "air", (PAIR, NEAR_HOSE, PAIR), 4.0),
    "at-5": Setup("regulator at 5 bar", "air", (PAIR, NEAR_HOSE, PAIR), 5.0),
    "at-6": Setup("regulator at 6 bar", "air", (PAIR, NEAR_HOSE, PAIR), 6.0),
    "bay-receiver": Setup("500 L receiver", "air", (PAIR, NEAR_HOSE, PAIR), receiver_l=500.0),
    "small-receiver": Setup("40 L receiver", "air", (PAIR, NEAR_HOSE, PAIR), receiver_l=40.0),
    "near-again": Setup("13 mm × 12 m, six weeks later", "air", (PAIR, NEAR_HOSE, PAIR), settle_s=0.15),
    "one-string": Setup("one string, 20 °C", "battery"),
    "two-strings": Setup("two strings, 20 °C", "battery", strings=2),
    "one-string-cold": Setup("one string, 2 °C", "battery", temperature=2.0),
    "two-strings-cold": Setup("two strings, 2 °C", "battery", strings=2, temperature=2.0),
    "lead-5": Setup("5 m lead, bay outlet", "mains", lead_m=5.0),
    # The yard's outlet has 224 V: with the lead it is the second thing that differs (a planted flaw).
    "lead-50": Setup("50 m lead, yard outlet", "mains", voltage=224.0, lead_m=50.0),
}


@dataclass(frozen=True)
class Protocol:
    duration_s: float
    marks_s: tuple[float, ...]
    window_s: tuple[float, float]
    held: bool = False


PROTOCOLS: dict[str, Protocol] = {
    "held": Protocol(5.0, (1.0, 2.5, 5.0), (4.0, 5.0), held=True),
    "static": Protocol(5.0, (1.0, 2.5, 5.0), (4.0, 5.0)),
    "stepped": Protocol(5.0, (1.0, 2.5, 5.0), (4.0, 5.0)),
    "long": Protocol(12.0, (1.0, 3.0, 6.0, 12.0), (10.0, 12.0)),
    "battery": Protocol(5.0, (1.0, 2.5, 5.0), (4.0, 5.0)),
    "mains": Protocol(5.0, (1.0, 2.5, 5.0), (4.0, 5.0)),
    "check": Protocol(3.0, (1.0, 3.0), (2.0, 3.0), held=True),
    "arrival": Protocol(3.0, (1.0, 3.0), (2.0, 3.0)),
}


@dataclass(frozen=True)
class Cell:
    """One tool on one setup under one protocol."""

    tool: str
    setup: str
    protocol: str
