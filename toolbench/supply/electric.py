"""Battery pack and mains lead: what voltage is left at the tool under current, and what another supply would give.

Pack: V = OCV(SoC) - I (n_s r / n_p + R_c). Lead: V = V_0 - 2 I rho L / A. Figures from memory are priors and say so; a recorded
voltage at rest stands in for the generic curve wherever there is one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from toolbench.errors import AnalysisError, Fault
from toolbench.metrology.monte_carlo import Drawn
from toolbench.quantities import format_number
from toolbench.records.comparison import Estimate
from toolbench.records.runs import Floats
from toolbench.supply.exponent import ExponentFit, fit_power_law
from toolbench.supply.fitted import Fitted, alike
from toolbench.supply.modelled import Modelled, as_modelled, propagate_linear, rectangular_u

ZERO_C = 273.15
ROOM_C = 20.0
CONTACT_OHM = 0.020
"""Contacts, fuse and wires of a pack; a prior from the trade, derived."""
CONTACT_SHARE = rectangular_u(0.5)
"""Its relative standard uncertainty: anything within half of itself; assumed."""
CELL_SHARE = 0.10
"""Relative standard uncertainty of a stated cell resistance: cells of one kind and their age; common practice, no source."""
COLD_LOW, COLD_HIGH = 1.5, 2.5
"""Cell resistance at 0 degC over that at 20 degC, from textbooks by memory."""
WARMEST_C, COLDEST_C = 45.0, -15.0
REST_CURVE = (
    (0.0, 3.00),
    (0.05, 3.30),
    (0.1, 3.45),
    (0.2, 3.56),
    (0.4, 3.68),
    (0.6, 3.83),
    (0.8, 3.99),
    (0.9, 4.07),
    (1.0, 4.18),
)
"""State of charge and voltage at rest [V] of the usual lithium-ion cell: a generic curve from memory."""
REST_V = 0.05
"""Standard uncertainty of that curve per cell [V]: chemistries differ by about as much."""
COPPER_OHM_M = 1.75e-8
"""Resistivity of copper in cables at 20 degC (handbooks: 0.0175 ohm mm2/m)."""
COPPER_PER_K = 0.0039
LEAD_SHARE = 0.07
"""Relative standard uncertainty of a lead's resistance: a flexible 1.5 mm2 core may have up to 13.3 ohm/km (IEC 60228, from
memory), 14 % more than its section alone gives."""
PRIOR_VOLTAGE = Fitted(
    value=0.5,
    standard_uncertainty=rectangular_u(0.5),
    source="prior",
    note="prior: an unregulated motor loses torque about with voltage (1), a regulated one loses none (0)",
)
DISTINCT_SHARE = 0.01
"""Two voltages closer than this share of their mean are one setting."""


def cold_factor(temperature_c: float) -> Fitted:
    """Cell resistance over that at 20 degC; its uncertainty grows with the distance from there.

    Raises
    ------
    AnalysisError
        Outside -15 to 45 degC, where nothing supports the curve.
    """
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise AnalysisError(
            Fault(
                f"a pack at {format_number(temperature_c, 3, unit='°C')} is outside "
                f"{format_number(COLDEST_C, 2)} to {format_number(WARMEST_C, 2, unit='°C')}, where its resistance is known",
                mend="let the pack come to room temperature, or record its voltage under load",
            )
        )
    # Geometric middle of the two textbook factors, as a power of the share of the way from 20 to 0 degC.
    share = (ROOM_C - temperature_c) / ROOM_C
    middle = 0.5 * math.log(COLD_LOW * COLD_HIGH)
    value = math.exp(share * middle)
    u = value * abs(share) * rectangular_u(0.5 * math.log(COLD_HIGH / COLD_LOW))
    return Fitted(value=value, standard_uncertainty=u, source="prior", note="textbook, from memory")


def cell_rest_voltage(state_of_charge: float) -> Fitted:
    """Voltage of one cell at rest [V] by the generic curve, for a state of charge from 0 to 1.

    Raises
    ------
    ValueError
        Outside 0 to 1.
    """
    if not 0.0 <= state_of_charge <= 1.0:
        raise ValueError(f"a state of charge lies from 0 to 1; got {state_of_charge:g}")
    charge, voltage = zip(*REST_CURVE, strict=True)
    value = float(np.interp(state_of_charge, charge, voltage))
    return Fitted(value=value, standard_uncertainty=REST_V, source="prior", note="generic curve, from memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """Cells in series, in parallel strings. `rest_voltage_v` is recorded at rest; without it the generic curve is used.

    `cell_resistance_ohm` is that of one cell at 20 degC.
    """

    cells_in_series: int
    strings: int
    cell_resistance_ohm: float
    contact_ohm: float = CONTACT_OHM
    temperature_c: float = ROOM_C
    state_of_charge: float = 1.0
    rest_voltage_v: float | None = None
    rest_voltage_u: float = 0.0
    label: str = ""

    def inputs(self) -> dict[str, Drawn]:
        """What its voltage under load depends on, by source; sources that two packs share are the same error."""
        cold = cold_factor(self.temperature_c)
        # In units of the textbook range, so that packs at two temperatures share one error.
        inputs = {
            "cell resistance": Drawn(value=1.0, u=CELL_SHARE),
            "contact resistance": Drawn(value=1.0, u=CONTACT_SHARE),
            "cold": Drawn(value=0.0, u=1.0 if cold.standard_uncertainty else 0.0),
        }
        if self.rest_voltage_v is None:
            inputs["rest curve"] = Drawn(value=0.0, u=REST_V)
        else:
            inputs[f"rest voltage {self.label}".strip()] = Drawn(value=0.0, u=self.rest_voltage_u)
        return inputs

    def voltage(self, current_a: Floats | float, errors: Mapping[str, Floats]) -> Floats:
        """Voltage at the tool [V] under a current [A] for errors of its `inputs`."""
        cold = cold_factor(self.temperature_c)
        factor = cold.value * np.exp(np.asarray(errors["cold"]) * cold.relative_uncertainty)
        cells = self.cells_in_series * self.cell_resistance_ohm * factor * errors["cell resistance"] / self.strings
        drop = current_a * (cells + self.contact_ohm * errors["contact resistance"])
        if self.rest_voltage_v is None:
            rest = self.cells_in_series * (cell_rest_voltage(self.state_of_charge).value + errors["rest curve"])
        else:
            rest = self.rest_voltage_v + errors[f"rest voltage {self.label}".strip()]
        return np.asarray(rest - drop)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """A mains outlet and a lead of copper, there and back."""

    voltage_v: float
    length_m: float
    section_m2: float
    temperature_c: float = ROOM_C
    voltage_u: float = 0.0
    label: str = ""

    @property
    def resistance_ohm(self) -> float:
        """Of both cores."""
        warm = 1.0 + COPPER_PER_K * (self.temperature_c - ROOM_C)
        return 2.0 * COPPER_OHM_M * warm * self.length_m / self.section_m2

    def inputs(self) -> dict[str, Drawn]:
        """What the voltage at the tool depends on, by source."""
        return {
            "lead resistance": Drawn(value=1.0, u=LEAD_SHARE),
            f"outlet voltage {self.label}".strip(): Drawn(value=0.0, u=self.voltage_u),
        }

    def voltage(self, current_a: Floats | float, errors: Mapping[str, Floats]) -> Floats:
        """Voltage at the tool [V] under a current [A] for errors of its `inputs`."""
        outlet = self.voltage_v + errors[f"outlet voltage {self.label}".strip()]
        return np.asarray(outlet - current_a * self.resistance_ohm * errors["lead resistance"])


_LABELS = {
    "cell resistance": "resistance of the cells",
    "contact resistance": "resistance of contacts and wires (prior)",
    "cold": "resistance of cold cells (textbook, from memory)",
    "rest curve": "generic voltage at rest (from memory)",
    "lead resistance": "resistance of the lead",
    "current": "current",
    "exponent": "exponent of torque against voltage",
}


def voltage_at_tool(supply: Pack | Lead, current_a: float, *, current_u: float = 0.0) -> Estimate:
    """Modelled voltage at the tool [V] under a recorded or assumed current [A], with its components.

    Raises
    ------
    AnalysisError
        Where the current takes all of the voltage.
    """
    inputs = {**supply.inputs(), "current": Drawn(value=current_a, u=current_u)}
    found = propagate_linear(
        lambda x: {"voltage": supply.voltage(x["current"], x)}, inputs, {"voltage": "V"}, _labels(inputs)
    )["voltage"]
    _has_voltage(found.value, current_a)
    return found


def predict_voltage(
    reference: Pack | Lead,
    other: Pack | Lead,
    *,
    current_a: float,
    exponent: Fitted,
    current_u: float = 0.0,
    confidence: float = 0.95,
) -> Modelled:
    """Modelled change of torque [%] with another supply at the same current: 100 ((V / V_ref)^n - 1).

    Errors that both supplies share, as of their cells' resistance, act on both at once.

    Raises
    ------
    AnalysisError
        Where the current takes all of a supply's voltage.
    """
    for supply in (reference, other):
        voltage_at_tool(supply, current_a)
    inputs = {
        **_together(reference.inputs(), other.inputs()),
        "current": Drawn(value=current_a, u=current_u),
        "exponent": Drawn(
            value=exponent.value, u=exponent.standard_uncertainty, degrees_of_freedom=exponent.degrees_of_freedom
        ),
    }

    def model(x: Mapping[str, Floats]) -> dict[str, Floats]:
        ratio = other.voltage(x["current"], x) / reference.voltage(x["current"], x)
        return {"percent": np.asarray(100.0 * (ratio ** x["exponent"] - 1.0))}

    return as_modelled(propagate_linear(model, inputs, {"percent": "%"}, _labels(inputs))["percent"], confidence)


def fit_voltage_exponent(
    voltage_v: Sequence[float] | Floats,
    torque: Sequence[float] | Floats,
    groups: Sequence[str] | None = None,
    *,
    prior: Fitted = PRIOR_VOLTAGE,
    repeatability: tuple[float, float] | None = None,
) -> ExponentFit:
    """Exponent of torque against voltage at the tool under load; as `fit_exponent` does for pressure."""
    voltage, response = alike("an exponent", voltage_v, torque)
    names = tuple(groups) if groups is not None else ("",) * voltage.size
    distinct = DISTINCT_SHARE * float(np.mean(voltage)) if voltage.size else 1.0
    return fit_power_law(voltage, response, names, prior=prior, distinct=distinct, repeatability=repeatability)


def _together(first: Mapping[str, Drawn], second: Mapping[str, Drawn]) -> dict[str, Drawn]:
    """The inputs of both; of a source that both have, the one that is known less well."""
    return {
        name: max((one[name] for one in (first, second) if name in one), key=lambda drawn: drawn.u)
        for name in dict.fromkeys([*first, *second])
    }


def _labels(inputs: Mapping[str, Drawn]) -> dict[str, str]:
    return {name: _LABELS.get(name, name) for name in inputs}


def _has_voltage(value: float, current_a: float) -> None:
    if not value > 0:
        raise AnalysisError(
            Fault(
                f"at {format_number(current_a, 3, unit='A')} no voltage is left at the tool",
                mend="check current, resistance and lead",
            )
        )
