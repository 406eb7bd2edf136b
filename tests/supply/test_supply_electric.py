"""Packs and leads: sag and voltage at the tool, and what another pack or lead would give."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import uncertainties as unc
from bench_model import pack_resistance, true_percent
from bench_parts import LEAD_SECTION_MM2, OPEN_VOLTAGE, SETUPS, TOOLS, Cell

from toolbench.errors import AnalysisError
from toolbench.supply.electric import (
    Lead,
    Pack,
    cell_rest_voltage,
    cold_factor,
    fit_voltage_exponent,
    predict_voltage,
    voltage_at_tool,
)
from toolbench.supply.fitted import Fitted

ONE = Pack(cells_in_series=5, strings=1, cell_resistance_ohm=0.022, rest_voltage_v=20.0)


@pytest.mark.parametrize(("strings", "sag"), [(1, 5.2), (2, 3.0), (3, 2.3)])
def test_sag_of_packs_at_40_ampere(strings: int, sag: float) -> None:
    # Derived from V = OCV - I (n_s r / n_p + R_c), one digit: 40 A, 22 mohm cells, five in series, 20 mohm of contacts.
    found = voltage_at_tool(replace(ONE, strings=strings), 40.0)
    assert 20.0 - found.value == pytest.approx(sag, abs=0.05)


@pytest.mark.oracle
def test_uncertainty_of_the_voltage_agrees_with_linear_propagation() -> None:
    found = voltage_at_tool(replace(ONE, temperature_c=0.0, rest_voltage_u=0.02), 30.0, current_u=1.0)
    cold = cold_factor(0.0)
    r, contact = unc.ufloat(0.022, 0.0022), unc.ufloat(0.020, 0.020 * 0.5 / np.sqrt(3))
    factor, current = unc.ufloat(cold.value, cold.standard_uncertainty), unc.ufloat(30, 1)
    expected = unc.ufloat(20, 0.02) - current * (5 * r * factor + contact)
    assert found.value == pytest.approx(expected.nominal_value, rel=1e-12)
    # The cold factor is drawn in its logarithm, so the two differ in second order.
    assert found.standard_uncertainty == pytest.approx(expected.std_dev, rel=5e-3)


def test_cold_factor_lies_in_the_middle_of_the_textbook_range() -> None:
    # From memory of textbooks: 1.5 to 2.5 at 0 degC; one at 20 degC by definition; rectangular in the logarithm.
    found = cold_factor(0.0)
    assert found.value == pytest.approx(np.sqrt(1.5 * 2.5))
    assert found.relative_uncertainty == pytest.approx(np.log(2.5 / 1.5) / 2 / np.sqrt(3))
    assert (cold_factor(20.0).value, cold_factor(20.0).standard_uncertainty) == (1.0, 0.0)
    assert cold_factor(10.0).value == pytest.approx(np.sqrt(found.value))


def test_far_from_room_temperature_nothing_is_said() -> None:
    with pytest.raises(AnalysisError, match="outside −15 to 45"):
        cold_factor(-20.0)


def test_a_recorded_rest_voltage_stands_in_for_the_curve() -> None:
    curve = replace(ONE, rest_voltage_v=None, state_of_charge=0.8)
    assert voltage_at_tool(curve, 0.0).value == pytest.approx(5 * cell_rest_voltage(0.8).value)
    assert voltage_at_tool(curve, 0.0).standard_uncertainty == pytest.approx(5 * 0.05)
    assert voltage_at_tool(ONE, 0.0).value == 20.0
    with pytest.raises(ValueError, match="from 0 to 1"):
        cell_rest_voltage(1.2)


def test_voltage_of_the_curve_rises_with_charge() -> None:
    values = [cell_rest_voltage(share).value for share in np.linspace(0, 1, 101)]
    assert np.all(np.diff(values) > 0)


def test_resistance_of_a_lead() -> None:
    # By hand: 2 * 0.0175 * 50 / 1.5 = 1.1667 ohm; at 6 A 7.0 V.
    lead = Lead(voltage_v=230.0, length_m=50.0, section_m2=1.5e-6)
    assert lead.resistance_ohm == pytest.approx(1.16667, rel=1e-5)
    assert voltage_at_tool(lead, 6.0).value == pytest.approx(223.0, abs=1e-9)
    assert replace(lead, temperature_c=70.0).resistance_ohm == pytest.approx(1.16667 * 1.195, rel=1e-5)


def test_a_current_that_takes_all_voltage_is_refused() -> None:
    with pytest.raises(AnalysisError, match="no voltage is left"):
        voltage_at_tool(ONE, 500.0)


def test_the_same_pack_gives_no_change_and_no_uncertainty() -> None:
    found = predict_voltage(ONE, ONE, current_a=35.0, exponent=Fitted(value=0.7, standard_uncertainty=0.1))
    assert found.value == 0.0
    assert found.standard_uncertainty == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("other", "widest"), [("two-strings", 7), ("one-string-cold", 22), ("two-strings-cold", 15)])
def test_planted_differences_of_packs_lie_in_the_modelled_interval(other: str, widest: float) -> None:
    """Constructed: the demo's physics; its cold cells have 1.5 times their resistance where the model expects 1.9."""
    packs = {
        name: Pack(
            cells_in_series=5,
            strings=SETUPS[name].strings,
            cell_resistance_ohm=0.022,
            temperature_c=SETUPS[name].temperature,
            rest_voltage_v=OPEN_VOLTAGE,
        )
        for name in ("one-string", other)
    }
    tool = TOOLS["ostrel"]
    exponent = Fitted(value=tool.exponent, standard_uncertainty=0.1)
    found = predict_voltage(packs["one-string"], packs[other], current_a=tool.current, exponent=exponent)
    truth = true_percent(Cell("ostrel", other, "battery"), Cell("ostrel", "one-string", "battery"))
    assert found.lower <= truth <= found.upper
    assert found.upper - found.lower < widest
    if other == "two-strings":
        # Without the cold only the fall of the open voltage during the run parts the two.
        assert found.value == pytest.approx(truth, abs=0.2)
        pack = packs[other]
        assert pack_resistance(SETUPS[other]) == pytest.approx(0.055 + 0.020)
        assert (20.0 - voltage_at_tool(pack, 1.0).value) == pytest.approx(0.075)


def test_planted_difference_of_leads() -> None:
    leads = [
        Lead(voltage_v=SETUPS[s].voltage, length_m=SETUPS[s].lead_m, section_m2=LEAD_SECTION_MM2 * 1e-6)
        for s in ("lead-5", "lead-50")
    ]
    tool = TOOLS["pelmoor"]
    found = predict_voltage(*leads, current_a=tool.current, exponent=Fitted(value=1.0, standard_uncertainty=0.1))
    truth = true_percent(Cell("pelmoor", "lead-50", "mains"), Cell("pelmoor", "lead-5", "mains"))
    assert found.value == pytest.approx(truth, abs=0.01)
    assert found.lower <= truth <= found.upper


def test_exponent_of_voltage_is_learned_or_left_to_its_prior() -> None:
    volts = np.array([12.0, 14.0, 16.0, 18.0] * 3)
    rng = np.random.default_rng(3)
    learned = fit_voltage_exponent(volts, 600 * (volts / 15) ** 0.7 * np.exp(rng.normal(0, 0.01, 12)))
    assert learned.fitted.value == pytest.approx(0.7, abs=3 * learned.fitted.standard_uncertainty)
    regulated = fit_voltage_exponent(volts, 600 * np.exp(rng.normal(0, 0.01, 12)))
    assert regulated.fitted.value == pytest.approx(0.0, abs=3 * regulated.fitted.standard_uncertainty)
    prior = fit_voltage_exponent([18.0, 17.0], [600.0, 580.0]).fitted
    assert (prior.value, prior.standard_uncertainty, prior.source) == (
        0.5,
        pytest.approx(0.5 / 3**0.5),
        "prior",
    )  # anything from 0 to 1, rectangular
