"""The hand-written side of the demo season: bench.toml, tools.csv and the bench's log, as text."""

from __future__ import annotations

import json

from bench_parts import (
    CELL_RESISTANCE,
    CELLS_IN_SERIES,
    COMPRESSOR,
    CUT_IN,
    CUT_OUT,
    LEAD_SECTION_MM2,
    REGULATOR_DROOP,
    SETUPS,
    Hose,
    Setup,
)
from season_plan import EPISODES, Episode

HEAD = """\
# The wheel bay of a city bus depot. Everything in this season is invented; make_season.py writes it.
format = 1

[bench]
name = "Wheel bay rig"
location = "a city bus depot"
ambient_temperature = "18 degC"
ambient_pressure = "1.013 bar abs"
log = "bench-log.csv"

[display]
torque = "N*m"
pressure = "bar"
length = "m"
air_flow = "L/s"
also = "US"
"""

AIR_CHANNELS = """\
channels.torque = {{ column = "Torque", sensor = "cell-2000"{torque} }}
channels.inlet_pressure = {{ column = "{inlet}", sensor = "inlet-gauge"{pressure} }}
"""
SUPPLY_CHANNELS = """\
channels.supply_pressure = {{ column = "{supply}", sensor = "regulator-gauge"{pressure} }}
channels.air_flow = {{ column = "{flow}"{flow_unit} }}
"""
AIR_RIG = 'rig = "wheel hub rig, 2000 N*m cell"\nfilter = "50 Hz low-pass"\n'
SMALL_RIG = 'rig = "wheel hub rig, 1000 N*m cell"\nfilter = "50 Hz low-pass"\n'


def _air_logger(name: str, time: str, **words: str) -> str:
    words = {
        "torque": "",
        "pressure": "",
        "flow_unit": "",
        "inlet": "Inlet pressure",
        "supply": "Supply pressure",
        "flow": "Air flow",
        "also": SUPPLY_CHANNELS,
        **words,
    }
    channels = (AIR_CHANNELS + words.pop("also")).format(**words)
    return f"[loggers.{name}]\ntime = {time}\n{AIR_RIG}{channels}"


def _loggers() -> str:
    cart = _air_logger("cart", '"Time"') + 'channels.temperature = "Air temperature"\n'
    tank = _air_logger(
        "tank",
        '{ rate = "200 Hz" }',
        torque=', unit = "N*m"',
        pressure=', unit = "psi"',
        flow_unit=', unit = "scfm"',
        inlet="Inlet",
        supply="Regulator",
        flow="Flow",
    )
    pack = (
        f'[loggers.pack]\ntime = "Stamp"\n{SMALL_RIG}'
        'channels.torque = { column = "Torque", sensor = "cell-1000" }\n'
        'channels.voltage = { column = "Pack voltage", sensor = "voltmeter" }\n'
        'channels.current = "Current"\n'
        'channels.temperature = "Pack temperature"\n'
    )
    lead = (
        f'[loggers.lead]\ntime = "t_s"\n{SMALL_RIG}'
        'channels.torque = { column = "Torque", sensor = "cell-1000" }\n'
        'channels.voltage = { column = "Voltage at the tool", sensor = "voltmeter" }\n'
        'channels.current = "Current"\n'
    )
    loggers = (
        _air_logger("wall", '"t [ms]"'),
        _air_logger("tablet", '"Time (s)"'),
        cart,
        tank,
        _air_logger("desk", '"t_us"', also=""),
        pack,
        lead,
    )
    return "\n".join(loggers)


SENSORS = """\
[sensors.cell-2000]
quantity = "torque"
range = ["0 N*m", "2000 N*m"]
scale = { expanded = "0.6 %", k = 2 }
zero = { expanded = "1 N*m", k = 2, per = "run" }
linearity = { limit = "0.1 %" }
resolution = "0.1 N*m"
calibrated = 2025-11-18
due = 2026-11-18

[sensors.cell-1000]
quantity = "torque"
range = ["0 N*m", "1000 N*m"]
scale = { expanded = "0.6 %", k = 2 }
zero = { expanded = "1 N*m", k = 2, per = "run" }
linearity = { limit = "0.1 %" }
resolution = "0.1 N*m"
calibrated = 2025-11-18
due = 2026-11-18

[sensors.inlet-gauge]                # due before the re-test was run: `toolbench check` says so
quantity = "pressure"
range = ["0 bar", "16 bar"]
scale = { expanded = "0.5 %", k = 2 }
zero = { expanded = "0.02 bar", k = 2, per = "season" }
resolution = "0.001 bar"
calibrated = 2025-02-20
due = 2026-02-20

[sensors.regulator-gauge]
quantity = "pressure"
range = ["0 bar", "16 bar"]
scale = { expanded = "0.5 %", k = 2 }
zero = { expanded = "0.02 bar", k = 2, per = "season" }
resolution = "0.001 bar"
calibrated = 2025-11-20
due = 2026-11-20

[sensors.voltmeter]
quantity = "voltage"
range = ["0 V", "400 V"]
scale = { expanded = "0.2 %", k = 2 }
resolution = "0.01 V"
calibrated = 2025-11-20
due = 2026-11-20
"""

PROTOCOL_TEXT = """\
[protocols.held]
label = "Held inlet pressure"
measurand = "mean torque on a wheel hub rig, tightening"
duration = "5 s"
marks = ["1 s", "2.5 s", "5 s"]
window = ["4 s", "5 s"]
hold = { channel = "inlet_pressure", at = "6.2 bar", within = "0.2 bar" }
direction = "tightening"

[protocols.static]
label = "Static setting"
measurand = "mean torque on a wheel hub rig, tightening"
duration = "5 s"
marks = ["1 s", "2.5 s", "5 s"]
window = ["4 s", "5 s"]
reach = ["800 N*m"]
rest = { channel = "inlet_pressure", at = "6.9 bar", within = "0.1 bar" }
direction = "tightening"

[protocols.stepped]
label = "Static setting, stepped"
measurand = "mean torque on a wheel hub rig, tightening"
duration = "5 s"
marks = ["1 s", "2.5 s", "5 s"]
window = ["4 s", "5 s"]
direction = "tightening"

[protocols.long]
label = "Static setting, 12 s"
measurand = "mean torque on a wheel hub rig, tightening"
duration = "12 s"
marks = ["1 s", "3 s", "6 s", "12 s"]
window = ["10 s", "12 s"]
rest = { channel = "inlet_pressure", at = "6.9 bar", within = "0.1 bar" }
direction = "tightening"

[protocols.battery]
label = "Charged pack"
measurand = "mean torque on a wheel hub rig, tightening"
duration = "5 s"
marks = ["1 s", "2.5 s", "5 s"]
window = ["4 s", "5 s"]
direction = "tightening"

[protocols.mains]
label = "Mains"
measurand = "mean torque on a wheel hub rig, tightening"
duration = "5 s"
marks = ["1 s", "2.5 s", "5 s"]
window = ["4 s", "5 s"]
direction = "tightening"

[protocols.check]                    # the check standard, first in every block of the air episodes; in no episode itself
label = "Check standard, held inlet pressure"
measurand = "mean torque on a wheel hub rig, tightening"
duration = "3 s"
marks = ["1 s", "3 s"]
window = ["2 s", "3 s"]
hold = { channel = "inlet_pressure", at = "6.2 bar", within = "0.2 bar" }
direction = "tightening"

[protocols.arrival]                  # three short runs when a tool comes in; in no episode
label = "Acceptance on arrival"
measurand = "mean torque on a wheel hub rig, tightening"
duration = "3 s"
marks = ["1 s", "3 s"]
window = ["2 s", "3 s"]
rest = { channel = "inlet_pressure", at = "6.9 bar", within = "0.1 bar" }
direction = "tightening"
"""


def _line_part(part: object) -> str:
    if isinstance(part, Hose):
        size = f'bore = "{part.bore_m * 1000:g} mm", length = "{part.length_m:g} m", roughness = "0.002 mm"'
        return f'  {{ part = "hose", {size}, material = "rubber", rated_pressure = "15 bar" }},'
    size = f'sonic_conductance = "{part.conductance:g} L/(s*bar)"'  # type: ignore[attr-defined]
    return f'  {{ part = "coupler", {size}, critical_pressure_ratio = {part.ratio:g} }},'  # type: ignore[attr-defined]


def _supply(setup: Setup) -> list[str]:
    if setup.supply == "air":
        free_air = f'free_air = "{COMPRESSOR:g} L/s ANR", cut_in = "{CUT_IN:g} bar", cut_out = "{CUT_OUT:g} bar"'
        return [
            f'regulator = {{ set = "{setup.regulator:g} bar", droop = "{REGULATOR_DROOP:g} bar/(L/s)" }}',
            f'receiver = {{ volume = "{setup.receiver_l:g} L", {free_air} }}',
            "line = [",
            *(_line_part(part) for part in setup.line),
            "]",
        ]
    if setup.supply == "battery":
        return [
            'nominal_voltage = "18 V"',
            f"cells_in_series = {CELLS_IN_SERIES}",
            f"strings = {setup.strings}",
            f'cell_resistance = "{CELL_RESISTANCE * 1000:g} mohm"',
            f'temperature = "{setup.temperature:g} degC"',
        ]
    lead = f'length = "{setup.lead_m:g} m", section = "{LEAD_SECTION_MM2:g} mm^2"'
    return [f'voltage = "{setup.voltage:g} V"', f"lead = {{ {lead} }}"]


def _setup(name: str, setup: Setup) -> str:
    return "\n".join(
        [f"[setups.{name}]", f"label = {_quoted(setup.label)}", f'supply = "{setup.supply}"', *_supply(setup)]
    )


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _list(words: tuple[str, ...]) -> str:
    return "[" + ", ".join(_quoted(word) for word in words) + "]"


def _episode(episode: Episode) -> str:
    lines = [
        "[[episodes]]",
        *(f"{k} = {_quoted(getattr(episode, k))}" for k in ("id", "title", "question", "expected")),
    ]
    lines += [f"{key} = {_list(getattr(episode, key))}" for key in ("tools", "setups") if getattr(episode, key)]
    lines.append(f"protocols = {_list(episode.protocols)}")
    if episode.pairs:
        lines.append("pairs = [" + ", ".join(_list(pair) for pair in episode.pairs) + "]")
    last = ("factor", "equivalent_within", "disclosure", "notes")
    lines += [f"{key} = {_quoted(getattr(episode, key))}" for key in last if getattr(episode, key)]
    return "\n".join(lines)


SCORECARD = """\
[scorecard]
title = "Wheel wrenches"
setups = { air = "near", battery = "two-strings", mains = "lead-5" }
show = 10
retest = "replace"

[[scorecard.criteria]]               # the anchors are fixed: they are not the best and the worst of those tested
id = "torque"
label = "Sustained torque"
weight = "40 %"
protocol = { air = "static", battery = "battery", mains = "mains" }
metric = "sustained"
worst_at = "200 N*m"
best_at = "1400 N*m"

[[scorecard.criteria]]
id = "torque-per-mass"
label = "Sustained torque per mass"
weight = "20 %"
protocol = { air = "static", battery = "battery", mains = "mains" }
metric = "sustained"
per = "mass"
worst_at = "50 N*m/kg"
best_at = "400 N*m/kg"

[[scorecard.criteria]]
id = "torque-per-price"
label = "Sustained torque per price"
weight = "20 %"
protocol = { air = "static", battery = "battery", mains = "mains" }
metric = "sustained"
per = "price"
worst_at = "0.5 N*m/EUR"
best_at = "5 N*m/EUR"

[[scorecard.criteria]]
id = "quickness"
label = "Time from 10 to 90 % of the sustained torque"
weight = "20 %"
protocol = { air = "static", battery = "battery", mains = "mains" }
metric = "rise_time"
worst_at = "4 s"
best_at = "0.5 s"
"""


def bench_toml() -> str:
    """The text of bench.toml."""
    parts = [HEAD, _loggers(), SENSORS, PROTOCOL_TEXT]
    parts += ["\n\n".join(_setup(name, setup) for name, setup in SETUPS.items()) + "\n"]
    parts += ["\n\n".join(_episode(episode) for episode in EPISODES) + "\n", SCORECARD]
    return "\n".join(parts)


BENCH_LOG = """\
date,changed,note
2026-01-09,joint,"new hub studs, oiled"
2026-03-02,cell,1000 N*m cell in place of the 2000 N*m one for the half-inch tools
"""

TOOLS_CSV = """\
tool,name,family,introduced,supply,drive [mm],length [mm],mass [kg],price [EUR],price_date,price_source,claimed_torque [N*m],\
claim_kind,claim_source,specimen,rated_pressure [bar],air_consumption [L/s],obtained,from,returned,role,status,note
quernel-1,Quernel,Quernel,2024,air,19.05,224,3.6,389,2026-01-08,shelf price,1250,tightening,leaflet,1,8,22,bought,a tool shop,,,,
quernel-2,Quernel,Quernel,2024,air,19.05,224,3.6,389,2026-01-08,shelf price,1250,tightening,leaflet,2,8,22,bought,a tool shop,,,,
fennwhit,Fennwhit,Fennwhit,2025,air,19.05,231,3.9,295,2026-01-08,offer,1600,loosening,box,1,8,23,lent,its seller,no,,,on loan for six weeks
ostrel,Ostrel,Ostrel,2025,battery,12.7,172,2.4,279,2026-02-25,shelf price,700,tightening,leaflet,1,,,lent,its seller,no,,,
pelmoor,Pelmoor,Pelmoor,2019,mains,12.7,268,3.1,198,2026-02-25,shelf price,600,peak,box,1,,,bought,a second-hand shop,,,,
old-tasselby,Old Tasselby,Tasselby,1998,air,19.05,252,5.2,,,,,,,1,8,20,bought,the depot's own,,check standard,,kept for checking the rig only
"""
