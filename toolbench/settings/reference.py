"""bench.toml with every key shown once: what `toolbench new` writes, and what the documentation shows."""

from __future__ import annotations

_TEXT = """\
# The rig and the questions of one season. Lines that begin with "#" and no space are keys that may be used:
# take the sign away. Quantities are written with their unit, in quotes; any unit of the right kind will do.
# Pressures are gauge unless the unit says "abs"; flow is free air in the state the unit names ("scfm", "L/s ANR").
format = 1

# Which file is which run, where the paths say it; runs.csv then holds the exceptions only.
#recordings = "recordings/{tool}/{setup}/{protocol}-{run}.csv"

[bench]
name = "My bench"
#location = "the workshop"
#ambient_temperature = "20 degC"
#ambient_pressure = "1013 hPa"
#log = "bench-log.csv"              # columns: date, changed, note; each change starts a new epoch of the rig
#in_control_until = "2026-03-31"    # the check standard's blocks up to this day were judged in control: later ones are judged by them

# The unit to print per quantity, and a second unit system beside it: "US" or "SI".
#[display]
#torque = "N*m"
#force = "N"
#pressure = "bar"
#length = "m"
#mass = "kg"
#air_flow = "L/s ANR"
#also = "US"

# The data logger: its time column, and which column is which channel. "toolbench inspect FILE" prints this table.
# The time may also be { column = "Stamp", unit = "ms", format = "%H:%M:%S.%f", zone = "UTC" } or { rate = "1 kHz" }; a clock in
# several columns is { column = ["Date", "Time", "ms"] }. In a format %f stands for decimals of a second and %L for a count of
# milliseconds; spread = true spreads the rows with equal stamps of a coarse clock evenly.
[loggers.rig]
time = "t [ms]"
channels.torque = "Torque [N*m]"
#channels.inlet_pressure = { column = "Inlet", unit = "bar", sensor = "inlet-gauge", invert = false }
#channels.force = { column = "Force", unit = "N", arm = { length = "400 mm", expanded = "0.5 mm", k = 2 } }
#rig = "hub rig, 2000 N*m cell"     # runs that differ in rig or filter are not compared
#filter = "50 Hz low-pass"
#bandwidth = "1 kHz"                # stated, a peak may be reported
# The dialect of the file is found; state it only where that goes wrong. Lines are counted from 1.
#encoding = "utf-8"
#delimiter = ","
#decimal = "."
#header_line = 1
#unit_line = 2
#skip_lines = [3]
#missing = ["-99.9", "OFF"]         # cells that mean "no value"; [] takes every number as a value
#group = "Run 1"                    # the one meant in a TDMS or MDF file that holds several groups

# What is known of a sensor; without it the uncertainty says "repeatability only, sensor not stated".
#[sensors.inlet-gauge]
#quantity = "pressure"
#range = ["0 bar", "16 bar"]
#scale = { expanded = "0.5 %", k = 2 }                     # the same error in every run on this sensor
#zero = { expanded = "0.02 bar", k = 2, per = "run" }      # or per = "season"
#linearity = { limit = "0.2 %" }                           # of the range
#resolution = "0.001 bar"
#calibrated = 2026-01-15
#due = 2027-01-15
#points = "calibration/inlet-gauge.csv"                    # columns reference [bar], indication [bar]; if known expanded [%], k

# A later calibration: the same keys, in force from a day on.
#[[sensors.inlet-gauge.certificates]]
#from = 2026-06-01
#scale = { expanded = "0.4 %", k = 2 }
#points = "calibration/inlet-gauge-june.csv"
#adjusted = false                   # true: it was adjusted then, so nothing is shared out between the two lines of points

# How a test is run. Times are counted from the onset.
[protocols.held]
#label = "Held inlet pressure"
#response = "torque"                # a channel, or a list of them
#measurand = "mean torque on the hub rig, tightening"
#duration = "5 s"                   # default: the shortest run
#marks = ["1 s", "2.5 s", "5 s"]    # default: 25, 50 and 100 % of the duration
#window = ["4 s", "5 s"]            # of the sustained mean; default: the last fifth
#reach = ["400 N*m"]                # levels for the time to reach them
#hold = { channel = "inlet_pressure", at = "6.2 bar", within = "0.2 bar" }    # flowing, while the tool runs
#rest = { channel = "inlet_pressure", at = "6.9 bar", within = "0.1 bar" }    # static, before the onset
#onset = { rule = "level", level = "10 %" }
#envelope = false                   # true, or the time it spans, two blow periods or more: "130 ms"
#blow = "1 ms"                      # how long one blow lasts, for the peak
#direction = "tightening"
#conditioning = 0                   # first runs of a block that are left out
#min_runs = 3
#repeatability = { value = "4 %", source = "runs of the season before" }      # for single runs; shown as assumed
#confidence = "95 %"

# The supply, part by part. A setup needs no key, but what is stated tells setups apart.
[setups.near]
#label = "13 mm hose, 12 m"
#supply = "air"
#price = "89 EUR"                   # what the setup costs, for the price of a change
#regulator = { set = "6.9 bar", droop = "0.02 bar/(L/s)" }
#receiver = { volume = "500 L", free_air = "9 L/s ANR", cut_in = "8 bar", cut_out = "10 bar" }

#[[setups.near.line]]               # parts in order, from the regulator to the tool
#part = "hose"
#name = "the red one"
#bore = "13 mm"
#length = "12 m"
#roughness = "0.002 mm"
#coil_diameter = "300 mm"
#material = "rubber"
#rated_pressure = "15 bar"

#[[setups.near.line]]
#part = "coupler"
#sonic_conductance = "4.5 L/(s*bar)"
#critical_pressure_ratio = 0.3

#[[setups.near.line]]
#part = "fitting"
#flow_coefficient = "1.2 Cv"

[setups.far]

#[setups.pack]
#supply = "battery"
#nominal_voltage = "18 V"
#cells_in_series = 5
#strings = 2
#capacity = "5 Ah"
#cell_resistance = "22 mohm"
#temperature = "20 degC"
#state_of_charge = "100 %"

#[setups.lead]
#supply = "mains"
#voltage = "230 V"
#lead = { length = "25 m", section = "1.5 mm2" }

# A question put to the bench.
[[episodes]]
id = "far-end"
tools = ["wrench-a"]
setups = ["near", "far"]            # the first is the baseline
protocols = ["held"]
#title = "The far end of the bay"
#question = "What does the long hose cost?"
#expected = "About 5 %."            # written before the runs
#baseline = "near"
#baseline_tool = "wrench-a"
#compare = "baseline"               # or "neighbours", "all"
#pairs = [["wrench-a", "near"], ["wrench-a", "far"]]
#factor = "the line as a whole"     # what the setups are meant to differ in
#equivalent_within = "3 %"
#disclosure = "The tool was bought."
#notes = ""

# The reason that a correction notice gives.
#[[corrections]]
#date = 2026-05-31
#note = "The arm's length was wrong."
#tools = ["wrench-a"]
#runs = []

#[scorecard]
#title = "Standings"
#setups = { air = "near" }          # per kind of supply, the setup that counts
#show = 10
#retest = "replace"                 # or "pool"

#[[scorecard.criteria]]
#id = "torque"
#label = "Sustained torque"
#weight = "60 %"                    # all weights add up to 100 %
#protocol = "held"
#metric = "sustained"
#worst_at = "400 N*m"
#best_at = "1400 N*m"

#[[scorecard.criteria]]
#id = "for-its-mass"
#weight = "40 %"
#protocol = { air = "held" }        # where kinds of supply are run under different protocols
#metric = "at_mark"
#at = "2.5 s"
#per = "mass"                       # a column of tools.csv
#worst_at = "100 N*m/kg"
#best_at = "400 N*m/kg"
"""


def commented_bench() -> str:
    """The text of a bench.toml that works as it stands and shows every key once, most of them commented out."""
    return _TEXT
