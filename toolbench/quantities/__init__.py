"""Names, units and the printed form of every measured thing: glossary, the one door for units, the one formatter."""

from toolbench.quantities.format import (
    format_asymmetric,
    format_at_least,
    format_interval,
    format_number,
    format_percent,
    format_seconds,
    format_stated,
    format_value,
    unit_label,
)
from toolbench.quantities.glossary import GLOSSARY, WORDS, Quantity, channel_quantity
from toolbench.quantities.units import (
    DISPLAY_SI,
    DISPLAY_US,
    KINDS,
    QuantityError,
    UnitFactor,
    from_si,
    is_unit,
    to_si,
    unit_factor,
)

__all__ = [
    "DISPLAY_SI",
    "DISPLAY_US",
    "GLOSSARY",
    "KINDS",
    "WORDS",
    "Quantity",
    "QuantityError",
    "UnitFactor",
    "channel_quantity",
    "format_asymmetric",
    "format_at_least",
    "format_interval",
    "format_number",
    "format_percent",
    "format_seconds",
    "format_stated",
    "format_value",
    "from_si",
    "is_unit",
    "to_si",
    "unit_factor",
    "unit_label",
]
