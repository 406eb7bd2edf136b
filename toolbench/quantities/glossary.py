"""The glossary: name, symbol, unit, label and definition of every channel, metric, column and word of the trade.

Table heads, axis labels and the glossary of the README are read from here, so one thing has one name everywhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measured or derived thing. `unit` is the SI unit inside the program; empty where the response decides it."""

    name: str
    symbol: str
    unit: str
    label: str
    definition: str
    dimension_key: str = ""
    """The quantity whose units fit: a key of `[display]` such as `torque` or `pressure`; empty for counts and words."""


_CHANNELS = (
    Quantity("torque", "T", "N*m", "Torque", "Torque on the rig's joint or cell, as its measurand says.", "torque"),
    Quantity("force", "F", "N", "Force", "Force on a cell; with a lever arm it gives torque.", "force"),
    Quantity(
        "inlet_pressure",
        "p_in",
        "Pa",
        "Inlet pressure (gauge)",
        "Gauge pressure at the tool's inlet: flowing while the tool runs, static at rest.",
        "pressure",
    ),
    Quantity(
        "supply_pressure",
        "p_s",
        "Pa",
        "Supply pressure (gauge)",
        "Gauge pressure at the start of the line, after the regulator.",
        "pressure",
    ),
    Quantity(
        "air_flow",
        "q",
        "m3/s",
        "Air flow (free air, ANR)",
        "Volume flow of free air in the reference state of ISO 8778 (ANR: 100 kPa, 20 °C, 65 % RH).",
        "air_flow",
    ),
    Quantity("speed", "ω", "rad/s", "Speed", "Rotational speed of the output or the motor.", "speed"),
    Quantity("voltage", "U", "V", "Voltage", "Voltage at the tool's terminals.", "voltage"),
    Quantity("current", "I", "A", "Current", "Current that the tool draws.", "current"),
    Quantity("temperature", "θ", "degC", "Temperature", "Temperature at the sensor.", "temperature"),
    Quantity("trigger", "", "", "Trigger", "State of the trigger switch; a rise marks the start."),
    Quantity("time_s", "t", "s", "Time after the onset", "Time counted from the onset of the run.", "time"),
)

_METRICS = (
    Quantity(
        "at_mark", "T(t)", "", "Level at the mark", "Response at a stated time after the onset (local straight line)."
    ),
    Quantity("sustained", "T_s", "", "Sustained level", "Mean of the response over the protocol's window."),
    Quantity(
        "peak",
        "T_max",
        "",
        "Peak",
        "Highest sample; given only where sampling and bandwidth resolve a blow, and never compared across rigs.",
    ),
    Quantity("rise_time", "t_r", "s", "Rise time", "Time from 10 % to 90 % of the sustained level.", "time"),
    Quantity(
        "time_to",
        "t_L",
        "s",
        "Time to level",
        "Time from the onset until the response first reaches a stated level.",
        "time",
    ),
    Quantity(
        "slope", "dT/dt", "", "Slope over the window", "Slope of the response over the window: is it still rising?"
    ),
    Quantity(
        "regulator_needed",
        "p_reg",
        "Pa",
        "Regulator pressure needed",
        "Flowing pressure behind the regulator that held the flowing inlet pressure; set at rest, it is higher by the droop"
        " of the regulator.",
        "pressure",
    ),
    Quantity(
        "flowing_pressure",
        "p_f",
        "Pa",
        "Flowing inlet pressure",
        "Mean inlet pressure from 1 s after the onset to the end of the duration, gauge.",
        "pressure",
    ),
    Quantity(
        "droop",
        "Δp",
        "Pa",
        "Droop",
        "Static inlet pressure before the onset less the flowing one.",
        "pressure_difference",
    ),
    Quantity("envelope", "", "", "Envelope", "Highest response in a sliding span of at least two blow periods."),
)

_COLUMNS = (
    Quantity(
        "percent",
        "d",
        "%",
        "Difference",
        "Difference from the baseline in percent of the baseline's level.",
        "fraction",
    ),
    Quantity("difference", "Δ", "", "Difference", "Difference from the baseline in the level's unit."),
    Quantity("value", "", "", "Level", "Mean over the runs used."),
    Quantity(
        "standard_uncertainty", "u", "", "Standard uncertainty", "Standard uncertainty of the row's value (GUM 2.3.1)."
    ),
    Quantity(
        "expanded_uncertainty",
        "U",
        "",
        "Expanded uncertainty",
        "Coverage factor times standard uncertainty (GUM 2.3.5).",
    ),
    Quantity("coverage_factor", "k", "1", "Coverage factor", "Student's factor for the stated confidence (GUM G.3)."),
    Quantity(
        "degrees_of_freedom",
        "ν_eff",
        "1",
        "Effective degrees of freedom",
        "By the Welch-Satterthwaite formula (GUM G.4).",
    ),
    Quantity(
        "repeatability",
        "s",
        "",
        "Repeatability",
        "One standard deviation between the runs of an item. Runs of several blocks or days hold what differs between these, too.",
    ),
    Quantity("n", "n", "1", "Runs", "Number of runs used."),
    Quantity("n_baseline", "n_0", "1", "Runs of the baseline", "Number of runs used for the baseline."),
    Quantity("at", "t", "", "At", "Seconds after the onset, or the level for the time to a level."),
    Quantity("lower", "", "%", "Lower bound", "Lower end of the interval of this row alone.", "fraction"),
    Quantity("upper", "", "%", "Upper bound", "Upper end of the interval of this row alone.", "fraction"),
    Quantity(
        "lower_family",
        "",
        "%",
        "Lower bound, all rows together",
        "Lower end of the interval that holds together over all items and marks of the response.",
        "fraction",
    ),
    Quantity(
        "upper_family",
        "",
        "%",
        "Upper bound, all rows together",
        "Upper end of the interval that holds together over all items and marks of the response.",
        "fraction",
    ),
    Quantity("verdict", "", "", "Verdict", "higher, lower, not resolved or not assessed: for this row alone."),
    Quantity(
        "verdict_family",
        "",
        "",
        "Verdict, all rows together",
        "The same, holding over all items and marks of the response.",
    ),
    Quantity(
        "at_least",
        "",
        "%",
        "At least",
        "One-sided bound nearest zero at the same confidence; none when it includes zero.",
        "fraction",
    ),
    Quantity("within_limit", "", "", "Within the limit", "Does the interval lie inside the stated equivalence limit?"),
    Quantity(
        "smallest_resolvable",
        "",
        "%",
        "Smallest resolvable difference",
        "The true difference that this many runs with this scatter show with 80 % power.",
        "fraction",
    ),
    Quantity("setup", "", "", "Setup", "A supply arrangement, told apart part by part."),
    Quantity("tool", "", "", "Tool", "One specimen under test; a specimen is not a model."),
    Quantity("protocol", "", "", "Protocol", "How a test is run, named by what is held."),
    Quantity("block", "", "", "Block", "Runs made in one sitting."),
    Quantity("baseline", "", "", "Baseline", "The item every percentage of a report refers to."),
)

_WORDS = (
    Quantity("run", "", "", "Run", "One recording of one tool on one setup under one protocol."),
    Quantity(
        "onset", "t_0", "s", "Onset", "The moment at which the response begins to rise; times are counted from it."
    ),
    Quantity("mark", "", "s", "Mark", "A time after the onset, fixed beforehand, at which runs are compared."),
    Quantity("window", "", "s", "Window", "The stretch of time whose mean is the sustained level."),
    Quantity("specimen", "", "", "Specimen", "The one tool that was tested; others of its model may differ."),
    Quantity("conditioning_run", "", "", "Conditioning run", "A run that only warms the tool up; it is in no result."),
    Quantity("sitting", "", "", "Sitting", "Runs made together: those of one block, or, without blocks, of one day."),
    Quantity(
        "intermediate_precision",
        "s_I",
        "",
        "Intermediate precision",
        "One standard deviation of a run from sitting to sitting: repeatability and what differs between sittings (ISO 5725-3).",
    ),
    Quantity(
        "family",
        "",
        "",
        "All rows together",
        "The rows of one response that a report judges at once: with their wider intervals, all of them hold at the stated"
        " confidence.",
    ),
    Quantity(
        "span",
        "",
        "s",
        "Span",
        "A stretch of time in which the band of the difference leaves zero: there, the curves differ.",
    ),
    Quantity(
        "band",
        "",
        "",
        "Band",
        "An interval about a mean curve; a simultaneous one holds over the whole time at once, a pointwise one at each time"
        " alone.",
    ),
    Quantity(
        "departure",
        "",
        "",
        "Departure",
        "How far the flowing pressure of an item's runs lay from what the protocol holds; it enters the budget.",
    ),
    Quantity(
        "calibration_line",
        "",
        "",
        "Calibration line",
        "The straight line through a sensor's calibration points; readings are corrected by it, and its uncertainty is in the"
        " budget.",
    ),
    Quantity(
        "budget",
        "",
        "",
        "Budget",
        "The components of an uncertainty, each with its size and how it acts on the result.",
    ),
    Quantity("scale_error", "", "", "Scale error", "An error in proportion to the reading; it cancels in a ratio."),
    Quantity("zero_error", "", "", "Zero error", "An error that is the same at every reading; it cancels in no ratio."),
    Quantity(
        "check_standard",
        "",
        "",
        "Check standard",
        "A reference tool run in every block, to see whether the rig itself has changed.",
    ),
    Quantity(
        "in_control",
        "",
        "",
        "In control",
        "A block whose check standard reads as those before it, within what chance allows.",
    ),
    Quantity(
        "moving_average",
        "",
        "",
        "Moving average",
        "Mean of a block and those before it, with weights that fall by a fifth from each block to the one before (EWMA,"
        " lambda 0.2).",
    ),
    Quantity("epoch", "", "", "Epoch", "The time between two changes of the rig that the bench's log names."),
)

GLOSSARY: Mapping[str, Quantity] = MappingProxyType({q.name: q for q in (*_CHANNELS, *_METRICS, *_COLUMNS, *_WORDS)})

WORDS: tuple[str, ...] = (
    *(
        "run",
        "onset",
        "mark",
        "window",
        "sustained",
        "specimen",
        "conditioning_run",
        "block",
        "sitting",
        "repeatability",
    ),
    *("intermediate_precision", "family", "smallest_resolvable", "band", "span", "departure", "calibration_line"),
    *("scale_error", "zero_error", "check_standard", "in_control", "epoch", "budget", "coverage_factor"),
    *("degrees_of_freedom", "standard_uncertainty"),
)
"""Words that a report uses and explains, in the order they are explained."""

CHANNELS: tuple[str, ...] = tuple(q.name for q in _CHANNELS if q.name != "time_s")
METRICS: tuple[str, ...] = tuple(q.name for q in _METRICS if q.name != "envelope")


def channel_quantity(channel: str) -> str:
    """The quantity whose units fit a channel (`inlet_pressure`: `pressure`); empty for the trigger and other names."""
    return GLOSSARY[channel].dimension_key if channel in CHANNELS else ""
