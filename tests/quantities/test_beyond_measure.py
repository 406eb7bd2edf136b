"""Numbers that nobody measured are shown short, and stop no command."""

import pytest

from toolbench.quantities import format_number, format_seconds

M = "\u2212"


# constructed, by hand: what a wrong unit or a broken cell gives; the decimal context holds 28 digits and failed beyond
@pytest.mark.parametrize(
    ("value", "text"),
    [(2.595e297, "2.595 × 10^297"), (-1.5e300, f"{M}1.500 × 10^300"), (5e-303, f"5.000 × 10^{M}303"), (5e-324, f"4.941 × 10^{M}324")],
)  # fmt: skip
def test_a_number_that_nobody_measured_is_short(value: float, text: str) -> None:
    assert format_number(value) == text
    assert len(format_seconds(value)) < 30
