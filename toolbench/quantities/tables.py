"""The everyday units and what they are in SI; a test holds each against the units library.

References
----------
NIST SP 811 (2008), appendix B: conversion factors. ISO 8778: reference state ANR (100 kPa, 20 °C, 65 % RH).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

STANDARD_ATMOSPHERE_PA = 101325.0


@dataclass(frozen=True, slots=True)
class Kind:
    """One quantity: its SI unit, what a right text looks like, and whose table of units it uses."""

    si_unit: str
    example: str
    table: str


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "torque": Kind("N*m", "850 N*m", "torque"),
        "force": Kind("N", "2 kN", "force"),
        "pressure": Kind("Pa", "6.2 bar", "pressure"),
        "pressure_difference": Kind("Pa", "0.1 bar", "pressure"),
        "absolute_pressure": Kind("Pa", "1013 hPa", "pressure"),
        "air_flow": Kind("m3/s", "12 L/s ANR", "air_flow"),
        "speed": Kind("rad/s", "6500 rpm", "speed"),
        "length": Kind("m", "400 mm", "length"),
        "mass": Kind("kg", "2.4 kg", "mass"),
        "time": Kind("s", "2 s", "time"),
        "voltage": Kind("V", "18 V", "voltage"),
        "current": Kind("A", "40 A", "current"),
        "temperature": Kind("degC", "21 degC", "temperature"),
        "temperature_difference": Kind("K", "5 K", "temperature_difference"),
        "fraction": Kind("1", "0.6 %", "fraction"),
        "frequency": Kind("Hz", "1 kHz", "frequency"),
        "volume": Kind("m3", "50 L", "volume"),
        "area": Kind("m2", "2.5 mm2", "area"),
        "resistance": Kind("ohm", "22 mohm", "resistance"),
        "charge": Kind("A*s", "5 Ah", "charge"),
        "sonic_conductance": Kind("m3/(s*Pa)", "4.5 L/(s*bar)", "sonic_conductance"),
        "droop_rate": Kind("Pa*s/m3", "0.03 bar/(L/s)", "droop_rate"),
        "flow_coefficient": Kind("Cv", "1.2 Cv", "flow_coefficient"),
        "power": Kind("W", "1.2 kW", "power"),
        "acceleration": Kind("m/s2", "9.81 m/s2", "acceleration"),
    }
)

DISPLAY_SI: Mapping[str, str] = MappingProxyType(
    {
        "torque": "N*m", "force": "N", "pressure": "bar", "pressure_difference": "bar", "absolute_pressure": "hPa",
        "air_flow": "L/s ANR", "speed": "rpm", "length": "m", "mass": "kg", "time": "s", "voltage": "V",
        "current": "A",
        "temperature": "degC", "temperature_difference": "K", "fraction": "%", "volume": "L",
    }
)  # fmt: skip
DISPLAY_US: Mapping[str, str] = MappingProxyType(
    {
        "torque": "ft*lbf", "force": "lbf", "pressure": "psi", "pressure_difference": "psi",
        "absolute_pressure": "psi",
        "air_flow": "scfm", "length": "ft", "mass": "lb", "temperature": "degF", "volume": "ft3",
    }
)  # fmt: skip

_INCH, _FOOT, _POUND, _GRAVITY = 0.0254, 0.3048, 0.45359237, 9.80665
_LBF = _POUND * _GRAVITY
_PSI = _LBF / _INCH**2
_CFM = _FOOT**3 / 60

# scale to the SI unit of the table's quantity; offsets (temperature) stand in OFFSETS
TABLE: dict[str, dict[str, float]] = {
    "torque": {
        "N*m": 1, "Nm": 1, "kN*m": 1e3, "kNm": 1e3, "mN*m": 1e-3, "mNm": 1e-3, "cNm": 1e-2, "daNm": 10,
        "kgf*m": _GRAVITY,
        "kp*m": _GRAVITY, "ft*lbf": _FOOT * _LBF, "lbf*ft": _FOOT * _LBF, "ft*lb": _FOOT * _LBF,
        "lb*ft": _FOOT * _LBF,
        "ftlb": _FOOT * _LBF, "ftlbf": _FOOT * _LBF, "lbft": _FOOT * _LBF, "lbfft": _FOOT * _LBF,
        "ft*lbs": _FOOT * _LBF,
        "ftlbs": _FOOT * _LBF, "lbs*ft": _FOOT * _LBF, "in*lbf": _INCH * _LBF, "lbf*in": _INCH * _LBF,
        "in*lb": _INCH * _LBF, "lb*in": _INCH * _LBF, "inlb": _INCH * _LBF, "in*lbs": _INCH * _LBF,
        "inlbs": _INCH * _LBF,
    },
    "force": {"N": 1, "kN": 1e3, "daN": 10, "lbf": _LBF, "kgf": _GRAVITY, "kp": _GRAVITY, "newton": 1,
        "newtons": 1},
    "pressure": {
        "Pa": 1, "hPa": 100, "kPa": 1e3, "MPa": 1e6, "MPA": 1e6, "bar": 1e5, "mbar": 100, "psi": _PSI,
        "lbf/in2": _PSI,
        "lb/in2": _PSI, "atm": STANDARD_ATMOSPHERE_PA, "kgf/cm2": 98066.5, "kg/cm2": 98066.5, "N/mm2": 1e6,
        "inHg": 3386.388640341, "inHg_32F": 3386.38, "inHg_60F": 3376.85, "mmHg": 133.322387415, "Torr": 101325 / 760,
    },
    "air_flow": {
        "m3/s": 1, "m3/min": 1 / 60, "m3/h": 1 / 3600, "L/s": 1e-3, "L/min": 1e-3 / 60, "L/h": 1e-3 / 3600,
        "lpm": 1e-3 / 60,
        "dm3/s": 1e-3, "dm3/min": 1e-3 / 60, "ft3/min": _CFM, "cfm": _CFM, "ft3/s": _FOOT**3, "cu*ft/min": _CFM,
        "mL/s": 1e-6,
    },
    "speed": {
        "rad/s": 1, "rpm": math.pi / 30, "1/min": math.pi / 30, "min-1": math.pi / 30, "r/min": math.pi / 30,
        "U/min": math.pi / 30, "rev/min": math.pi / 30, "rev/s": 2 * math.pi, "rps": 2 * math.pi,
        "deg/s": math.pi / 180,
    },
    "length": {
        "m": 1, "mm": 1e-3, "cm": 1e-2, "dm": 0.1, "km": 1e3, "um": 1e-6, "in": _INCH, "inch": _INCH, "inches": _INCH,
        '"': _INCH, "ft": _FOOT, "foot": _FOOT, "feet": _FOOT, "'": _FOOT, "yd": 0.9144,
    },
    "mass": {"kg": 1, "g": 1e-3, "mg": 1e-6, "t": 1e3, "lb": _POUND, "lbs": _POUND, "lbm": _POUND, "oz": _POUND / 16},
    "time": {
        "s": 1, "sec": 1, "secs": 1, "second": 1, "seconds": 1, "ms": 1e-3, "msec": 1e-3, "us": 1e-6, "usec": 1e-6,
        "ns": 1e-9,
        "min": 60, "minute": 60, "minutes": 60, "h": 3600, "hr": 3600, "hour": 3600, "hours": 3600, "d": 86400,
        "day": 86400,
    },
    "voltage": {"V": 1, "mV": 1e-3, "uV": 1e-6, "kV": 1e3, "Volt": 1, "Volts": 1, "millivolt": 1e-3, "millivolts": 1e-3},
    "current": {"A": 1, "mA": 1e-3, "uA": 1e-6, "kA": 1e3, "Amp": 1, "Amps": 1, "Ampere": 1},
    "temperature": {"degC": 1, "C": 1, "c": 1, "K": 1, "degF": 5 / 9, "F": 5 / 9, "celsius": 1, "kelvin": 1,
    "fahrenheit": 5 / 9},
    "temperature_difference": {"K": 1, "degC": 1, "C": 1, "degF": 5 / 9, "F": 5 / 9, "celsius": 1,
    "fahrenheit": 5 / 9},
    "fraction": {"1": 1, "%": 1e-2, "percent": 1e-2, "pct": 1e-2, "ppm": 1e-6, "‰": 1e-3},
    "frequency": {"Hz": 1, "kHz": 1e3, "MHz": 1e6, "1/s": 1, "S/s": 1, "kS/s": 1e3, "samples/s": 1},
    "volume": {"m3": 1, "L": 1e-3, "mL": 1e-6, "dm3": 1e-3, "cm3": 1e-6, "mm3": 1e-9, "ft3": _FOOT**3,
    "in3": _INCH**3,
               "gal": 231 * _INCH**3},
    "area": {"m2": 1, "cm2": 1e-4, "mm2": 1e-6, "in2": _INCH**2},
    "resistance": {"ohm": 1, "mohm": 1e-3, "uohm": 1e-6, "kohm": 1e3},
    "charge": {"A*s": 1, "Ah": 3600, "A*h": 3600, "mAh": 3.6, "mA*h": 3.6},
    "sonic_conductance": {
        "m3/(s*Pa)": 1, "L/(s*bar)": 1e-8, "L/s/bar": 1e-8, "dm3/(s*bar)": 1e-8, "dm3/s/bar": 1e-8,
        "L/(min*bar)": 1e-8 / 60,
    },
    "droop_rate": {"Pa*s/m3": 1, "bar/(L/s)": 1e8, "bar*s/L": 1e8, "bar/L*s": 1e8, "bar*per*L/s": 1e8,
    "kPa/(L/s)": 1e6,
                   "psi/cfm": _PSI / _CFM, "psi/scfm": _PSI / (_CFM * 1.01325)},
    # Kv is m3/h of water at 1 bar, Cv US gallons a minute at 1 psi: Kv = 0.865 Cv
    "flow_coefficient": {"Cv": 1, "Kv": 1 / (231 * _INCH**3 * 60 * math.sqrt(1e5 / _PSI))},
    "power": {"W": 1, "watt": 1, "watts": 1, "mW": 1e-3, "kW": 1e3, "hp": 550 * _FOOT * _LBF},
    "acceleration": {"m/s2": 1},
}  # fmt: skip

OFFSETS = {"K": -273.15, "kelvin": -273.15, "degF": -160 / 9, "F": -160 / 9, "fahrenheit": -160 / 9}

# volume of ANR air that one volume in the named state becomes: (p / 100 kPa) * (293.15 K / T)
REFERENCE_STATES = {
    "ANR": 1.0,
    "standard": 1.01325,
    "normal": 1.01325 * 293.15 / 273.15,
    "ISA": 1.01325 * 293.15 / 288.15,
}
NAMED_FLOWS = {
    "scfm": (_CFM, "standard"), "scfh": (_CFM / 60, "standard"), "Nm3/h": (1 / 3600, "normal"), "Nm3/min": (1 / 60,
    "normal"),
    "NL/min": (1e-3 / 60, "normal"), "Nl/min": (1e-3 / 60, "normal"), "NL/s": (1e-3, "normal"),
}  # fmt: skip
REFUSED = {
    "acfm": "flow at line pressure is not free air: write scfm or L/s ANR",
    "icfm": "flow in intake conditions has no fixed reference state: write scfm or L/s ANR",
    "slpm": "its reference state differs between makers: write L/min ANR or NL/min (0 °C, 101.325 kPa)",
    "sccm": "its reference state differs between makers: write L/min ANR or NL/min (0 °C, 101.325 kPa)",
}
