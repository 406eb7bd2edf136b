"""How names and numbers of a record are printed: units of `[display]`, words for metrics, labels for items."""

from __future__ import annotations

import math
from collections.abc import Sequence

from toolbench.quantities import (
    DISPLAY_SI,
    DISPLAY_US,
    GLOSSARY,
    format_asymmetric,
    format_number,
    format_seconds,
    format_value,
    from_si,
)
from toolbench.quantities.format import THIN
from toolbench.records.comparison import ComparisonRecord, Difference
from toolbench.records.settings import SeasonSettings

VERDICT_SIGNS = {"higher": "▲", "lower": "▼", "not resolved": "○", "not assessed": "–"}
_KIND_OF_UNIT = {
    "N*m": "torque",
    "N": "force",
    "Pa": "pressure",
    "m3/s": "air_flow",
    "rad/s": "speed",
    "m": "length",
    "kg": "mass",
    "V": "voltage",
    "A": "current",
}


def display_unit(unit: str, settings: SeasonSettings) -> str:
    """The unit to print a value of SI `unit` in: what `[display]` says, else the customary one."""
    kind = _KIND_OF_UNIT.get(unit)
    if kind is None:
        return unit
    return settings.display.units.get(kind) or DISPLAY_SI.get(kind, unit)


def second_unit(unit: str, settings: SeasonSettings) -> str:
    """The unit of the second system where `[display] also` asks for one that differs; empty elsewhere."""
    kind = _KIND_OF_UNIT.get(unit)
    if kind is None or not settings.display.also:
        return ""
    table = DISPLAY_US if settings.display.also == "US" else DISPLAY_SI
    other = table.get(kind, "")
    return "" if other == display_unit(unit, settings) else other


def scaled(value: float, unit: str, settings: SeasonSettings) -> float:
    """`value` [SI `unit`] in the display unit, for axes."""
    shown = display_unit(unit, settings)
    return value if shown == unit else from_si(value, shown, _KIND_OF_UNIT[unit])


def print_value(value: float, u: float | None, unit: str, settings: SeasonSettings, *, signed: bool = False) -> str:
    """A value with its expanded uncertainty [SI `unit`] in the display unit, and in the second one where asked."""
    first = format_value(value, u, unit, display=display_unit(unit, settings), signed=signed)
    other = second_unit(unit, settings)
    if not other:
        return first
    return f"{first} ({format_value(value, u, unit, display=other, signed=signed)})"


def print_number(value: float | None, unit: str, settings: SeasonSettings, digits: int = 4) -> str:
    """A number without uncertainty [SI `unit`] in the display unit."""
    if value is None or not math.isfinite(value):
        return format_number(None)
    return format_number(scaled(value, unit, settings), digits, unit=display_unit(unit, settings))


def print_both(value: float | None, unit: str, settings: SeasonSettings, digits: int = 4) -> str:
    """A number without uncertainty [SI `unit`] in the display unit, and in the second one where asked."""
    first, other = print_number(value, unit, settings, digits), second_unit(unit, settings)
    if value is None or not math.isfinite(value) or not other:
        return first
    return f"{first} ({format_number(from_si(value, other, _KIND_OF_UNIT[unit]), digits, unit=other)})"


def print_change(row: Difference, settings: SeasonSettings) -> str:
    """The absolute difference of a row with its interval, in the display unit, and in the second one where asked."""
    unit, interval = row.difference.unit, row.difference_interval
    texts = []
    for shown in filter(None, (display_unit(unit, settings), second_unit(unit, settings))):
        ends = (row.difference.value, interval.lower, interval.upper)
        value, low, high = (v if shown == unit else from_si(v, shown, _KIND_OF_UNIT[unit]) for v in ends)
        if math.isfinite(low):
            texts.append(format_asymmetric(value, low, high, shown, signed=True))
        else:
            texts.append(format_number(value, 3, unit=shown, signed=True))
    return texts[0] + "".join(f" ({text})" for text in texts[1:])


def print_share(value: float) -> str:
    """A share such as a confidence: 0.95 gives ``"95 %"``."""
    return f"{round(100 * value, 6):g}{THIN}%"


def response_words(response: str) -> str:
    """A response in the middle of a sentence: `inlet_pressure` gives "inlet pressure (gauge)"."""
    known = GLOSSARY.get(response)
    label = known.label if known else response.replace("_", " ")
    return label[:1].lower() + label[1:] if known else label


def response_unit(record: ComparisonRecord, response: str) -> str:
    """The SI unit of a response, from the rows that hold its level; empty where there is none."""
    rows = (r for r in record.levels if r.response == response and r.metric in ("sustained", "at_mark", "peak"))
    return next((row.estimate.unit for row in rows), "")


def metric_words(
    record: ComparisonRecord, settings: SeasonSettings, response: str, metric: str, at: float | None
) -> str:
    """A metric in the middle of a sentence: "sustained torque", "torque at 3 s", "time to 400 N·m"."""
    name = response_words(response)
    fixed = {
        "sustained": f"sustained {name}",
        "at_mark": f"{name} at {format_seconds(at)}",
        "time_to": f"time to {print_number(at, response_unit(record, response), settings)}",
        "slope": f"slope of the {name} over the window",
        "peak": f"peak {name}",
    }
    if metric in fixed:
        return fixed[metric]
    label = GLOSSARY[metric].label if metric in GLOSSARY else metric.replace("_", " ")
    words = label[:1].lower() + label[1:]
    return words if response == record.protocol.response[0] or metric in _SUPPLY else f"{words} of the {name}"


_SUPPLY = ("regulator_needed", "flowing_pressure", "droop")


def item_label(record: ComparisonRecord, item: str) -> str:
    """The label of an item; its id where it has none."""
    return next((found.label or found.id for found in record.items if found.id == item), item)


def list_words(words: list[str] | tuple[str, ...]) -> str:
    """``["a", "b", "c"]`` gives ``"a, b and c"``."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]])) if words else ""


MOST_NAMES, FIRST_NAMES = 6, 3


def name_some(names: Sequence[str]) -> str:
    """Ids with commas between; of more than MOST_NAMES the first few and how many more (results.json and --json name all)."""
    if len(names) <= MOST_NAMES:
        return ", ".join(names)
    return f"{', '.join(names[:FIRST_NAMES])} and {len(names) - FIRST_NAMES} more"


def print_span(from_s: float, to_s: float) -> str:
    """A stretch of time: ``"1.25 s to 12 s"``."""
    return f"{format_seconds(from_s)} to {format_seconds(to_s)}"
