"""Names and units as loggers write them. Constructed: the unit is what stands behind the name and is one."""

from __future__ import annotations

import pytest

from toolbench.logs import read_log
from toolbench.logs.names import is_unit_row, split_unit
from toolbench.quantities.units import unit_factor

WRITTEN = {
    "Torque (rear) [N*m]": ("Torque (rear)", "N*m"),
    "Ch[0]": ("Ch[0]", ""),
    "Force(max)(N)": ("Force(max)", "N"),
    "Temp, °C (LGR S/N: 10345, SEN S/N: 9876)": ("Temp", "°C"),
    "Druck, kpa": ("Druck", "kpa"),
    "Load (cell 12)": ("Load (cell 12)", ""),
    "p [12345]": ("p [12345]", ""),
    " Flow (m3_h)": ("Flow", "m3_h"),
    "T [ﾟC]": ("T", "ﾟC"),
    "T (Deg C)": ("T", "Deg C"),
    "T [c]": ("T", "c"),
    "Weg, links": ("Weg, links", ""),
    "v [mm/min]": ("v", "mm/min"),
    "x []": ("x []", ""),
}


@pytest.mark.parametrize("written", WRITTEN)
def test_unit_stands_in_the_last_bracket_where_it_is_one(written):
    assert split_unit(written) == WRITTEN[written]


@pytest.mark.parametrize("unit", ["°C", "ﾟC", "Deg C", "degC", "c", "º C", "deg. C", "Celsius", "Degrees C"])
def test_spellings_of_a_degree(unit):
    factor = unit_factor(unit)
    assert (factor.quantity, factor.scale, factor.offset) == ("temperature", 1, 0)


@pytest.mark.parametrize(
    ("unit", "scale"),
    [("Volt", 1), ("kpa", 1e3), ("Bar", 1e5), ("sec", 1), ("msec", 1e-3), ("Newton", 1), ("m3_h", 1 / 3600)],
)
def test_spellings_of_other_units(unit, scale):
    assert unit_factor(unit).scale == pytest.approx(scale, rel=1e-15)  # by definition of the units


def test_row_of_units_may_say_that_a_column_has_none():
    assert is_unit_row(["TS", "RN", "Volts", "Deg C"])
    assert is_unit_row(["s", "-", "bar", ""])
    assert not is_unit_row(["Min", "Avg", "V"])
    assert not is_unit_row(["t", "Torque", "p"])


def test_a_name_that_looks_numbered_stays_another_column(write):
    log = read_log(write("t [s],p,p (2),p\n0,1,2,3\n1,1,2,3\n"))
    assert len(set(log.data.columns)) == 3
    assert log.data.iloc[0].tolist() == [1, 2, 3]
