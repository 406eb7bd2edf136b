"""The budget as printed: whose a row is, what would shrink the largest, and what a departure of the pressure is worth."""

import pytest

from toolbench.records.comparison import POOLED, Component, Estimate
from toolbench.view.tables.budget import dominant_sentence
from toolbench.view.wording.shrinking import sentence


@pytest.mark.parametrize(
    ("source", "label", "words"),
    [
        ("repeatability/far/torque/sustained/", "repeatability", "More runs would shrink it: twice as many take it to about 71"),
        ("repeatability/a - repeatability/b", "repeatability of differences within blocks", "More blocks would shrink it"),
        ("repeatability/far/torque/sustained/", "scatter between 3 sittings", "More sittings would shrink it"),
        ("repeatability/far/torque/sustained/", POOLED, "Repeating the single run"),
        ("scale/cell/cell", "scale of cell", "more runs do not"),
        ("line/cell/cell#1", "calibration line", "More calibration points"),
        ("drift/cell/a/b/2026-03-01", "drift", "closer together in time"),
        ("sitting/b1/torque/sustained/", "sitting", "several sittings"),
        ("departure/inlet_pressure/torque", "pressure", "closer to its target"),
    ],
)  # fmt: skip
def test_what_would_shrink_a_row(source: str, label: str, words: str) -> None:
    assert words in sentence(Component(source=source, label=label, contribution=1.0))


def test_a_source_nobody_knows_gets_no_advice() -> None:
    part = Component(source="weather/rain", label="rain", contribution=1.0)
    assert sentence(part) == ""
    said = dominant_sentence(Estimate(value=1.0, unit="%", components=(part,)))
    assert said.replace("\u2009", " ") == "Rain dominates: 100 % of the variance."
