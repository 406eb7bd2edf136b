"""Rows of a budget: value, standard uncertainty and sensitivity of each input, in levels, differences and percentages."""

import numpy as np
import pytest

from toolbench.metrology import ItemRuns, Row, Source, compare_items
from toolbench.records.comparison import Component, Estimate

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")
A = [412.0, 418.0, 409.0, 415.0, 411.0]  # mean 413
B = [400.0, 396.0, 404.0, 399.0, 401.0]  # mean 400
SOURCES = (
    Source(source="scale/cell", label="scale", relative=0.003),
    Source(source="zero/cell", label="zero", absolute=0.5),
    Source(source="arm/rig", label="arm", relative=0.002, value=0.4, uncertainty=0.0008, unit="m"),
    Source(source="onset/torque", label="onset", absolute=0.1, per_run=True, uncertainty=0.005, unit="s"),
)


def rows(estimate: Estimate) -> dict[str, Component]:
    return {component.label: component for component in estimate.components}


def outcome(blocks: str = "") -> tuple[dict[str, Component], dict[str, Component], dict[str, Component]]:
    items = [
        ItemRuns(id=name, values=np.array(values)[:, None], sources=(SOURCES,), blocks=tuple(blocks))
        for name, values in (("b", B), ("a", A))
    ]
    found = compare_items(items, [ROW], [("a", "b")])
    one = found.differences[0]
    return rows(found.levels[1].estimate), rows(one.percent), rows(one.difference)


def test_a_level_by_hand() -> None:
    level, _, _ = outcome()
    inputs = {label: (c.value, c.unit, c.standard_uncertainty, c.sensitivity) for label, c in level.items()}
    assert inputs["scale"] == (1.0, "1", 0.003, pytest.approx(413.0))  # torque per unit of the factor
    assert inputs["zero"] == (0.0, "N*m", 0.5, pytest.approx(1.0))
    assert inputs["arm"] == (0.4, "m", 0.0008, pytest.approx(413 / 0.4))  # torque over length is the force
    assert inputs["repeatability"][:2] == (413.0, "N*m")
    # A run's onset is 5 ms and moves it by 0.1 N*m: 20 N*m/s, whatever the number of runs.
    assert inputs["onset"] == (0.0, "s", pytest.approx(0.005 / 5**0.5), pytest.approx(20.0))
    assert level["onset"].contained


def test_sensitivities_of_a_percentage_by_hand() -> None:
    _, percent, _ = outcome()
    assert percent["scale"].sensitivity == percent["arm"].sensitivity == 0.0  # they cancel, and the row says so
    # 100 (413 + z) / (400 + z): derivative 100 (400 - 413) / 400^2 % per N*m
    assert percent["zero"].sensitivity == pytest.approx(-100 * 13 / 400**2)


def test_sensitivities_of_a_difference_by_hand() -> None:
    _, _, difference = outcome()
    assert difference["scale"].sensitivity == pytest.approx(13.0)
    assert difference["zero"].sensitivity == 0.0


def test_what_scatters_from_block_to_block_is_not_called_repeatability() -> None:
    # VIM 2.20, from memory: repeatability is of one place, one team and a short time; blocks lie days apart.
    level, _, _ = outcome("12345")
    assert "scatter of block means" in level
    assert not any(label.startswith("repeatability") for label in level)


def test_in_blocks_the_input_is_the_difference_within_them() -> None:
    _, percent, _ = outcome("12345")
    (row,) = [c for c in percent.values() if c.evaluation == "A"]
    gaps = np.array(A) - 413 / 400 * np.array(B)
    assert (row.value, row.unit) == (0.0, "N*m")
    assert row.standard_uncertainty == pytest.approx(float(np.std(gaps, ddof=1)) / 5**0.5)
    assert row.sensitivity == pytest.approx(0.25)  # 100 % / 400 N*m


@pytest.mark.parametrize("blocks", ["", "12345"])
def test_every_row_is_sensitivity_times_standard_uncertainty(blocks: str) -> None:
    for estimate in outcome(blocks):
        for component in estimate.values():
            assert component.contribution == pytest.approx(
                component.sensitivity * component.standard_uncertainty, abs=1e-15
            )
