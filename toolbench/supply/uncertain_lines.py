"""Two air lines with the errors of what is stated of them: which errors they share, and what each does to a line."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from toolbench.metrology.monte_carlo import Drawn
from toolbench.records.runs import Floats
from toolbench.supply.elements import Element, Restriction
from toolbench.supply.hose import Hose
from toolbench.supply.line import Line


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Standard uncertainties of what is stated of a line: assumed, common practice, where nothing better is known."""

    friction_factor: float = 1.3
    """As a factor (lognormal): published charts of hoses scatter about the friction model by so much."""
    conductance: float = 0.10
    """Relative, of each kind of coupler or fitting."""
    critical_pressure_ratio: float = 0.05
    bore: float = 0.02
    """Relative, of each piece of hose."""
    length: float = 0.01
    roughness: float = 2.0
    """As a factor (lognormal)."""
    droop: float = 0.3
    setting_pa: float = 2e3
    """Of a regulator's setting by hand; lines with one setting share its error, since nobody touches it in between."""
    temperature_k: float = 5.0


ASSUMED = Assumed()
"""What stands where nobody says better."""
LEAST = 0.05
"""A draw of what must be above zero is not let below this share of its value."""


@dataclass(frozen=True, slots=True)
class _Part:
    """How errors act on one part: names of its inputs."""

    inputs: Mapping[str, tuple[Drawn, str]]
    changed: Callable[[Mapping[str, Floats]], Element]


class UncertainLines:
    """A pair of lines whose numbers carry errors.

    `inputs` names every error with its distribution and words for it. Friction, roughness, droop and temperature are the same
    error in both lines; so are equal pieces of hose, couplers of one kind, and the setting where it is the same.
    """

    def __init__(self, lines: tuple[Line, Line], assumed: Assumed) -> None:
        self._lines = lines
        self._settings = _setting_sources(lines)
        self._parts = _parts(lines, assumed)
        self.inputs: dict[str, tuple[Drawn, str]] = {
            "friction factor": (
                Drawn(value=0.0, u=math.log(assumed.friction_factor)),
                "friction in hoses (published charts)",
            ),
            "roughness": (Drawn(value=0.0, u=math.log(assumed.roughness)), "roughness of hoses (assumed)"),
            "droop": (Drawn(value=1.0, u=assumed.droop), "droop of the regulator (assumed)"),
            "temperature": (Drawn(value=0.0, u=assumed.temperature_k), "temperature of the air (assumed)"),
            **{name: (Drawn(value=0.0, u=assumed.setting_pa), f"{name} (assumed)") for name in self._settings},
        }
        for part in self._parts.values():
            self.inputs.update(part.inputs)

    def with_errors(self, place: int, x: Mapping[str, Floats]) -> Line:
        """The first or second line with its numbers moved by the errors `x`, one array each."""
        line = self._lines[place]
        regulator = replace(
            line.regulator,
            set_pa_abs=line.regulator.set_pa_abs + x[self._settings[place]],
            droop_pa_s_m3=np.maximum(line.regulator.droop_pa_s_m3 * x["droop"], 0.0),
        )
        elements = tuple(self._parts[_plain(element)].changed(x) for element in line.elements)
        return replace(
            line, regulator=regulator, elements=elements, temperature_k=line.temperature_k + x["temperature"]
        )


def _setting_sources(lines: tuple[Line, Line]) -> tuple[str, str]:
    """The source of each line's setting error: one for both where the settings are equal."""
    same = float(lines[0].regulator.set_pa_abs) == float(lines[1].regulator.set_pa_abs)
    return (
        ("regulator setting",) * 2 if same else ("regulator setting of the reference", "regulator setting of the other")
    )


def _plain(element: Element) -> Element:
    """The part without its name and rating: equal ones are one piece of hose, or couplers of one kind, with the same error."""
    return replace(element, label="", rated_pa_abs=None)


def _parts(lines: tuple[Line, Line], assumed: Assumed) -> dict[Element, _Part]:
    """How errors act on each kind of part; named by its label, with a number where another kind has the same."""
    kinds = {_plain(element): element for line in reversed(lines) for element in reversed(line.elements)}
    ordered = dict(reversed(kinds.items()))
    labels = [element.label for element in ordered.values()]
    names = [
        f"{label} ({labels[: place + 1].count(label)})" if labels.count(label) > 1 else label
        for place, label in enumerate(labels)
    ]
    return {kind: _part(kind, name, assumed) for kind, name in zip(ordered, names, strict=True)}


def _part(element: Element, name: str, assumed: Assumed) -> _Part:
    return _hose(element, name, assumed) if isinstance(element, Hose) else _restriction(element, name, assumed)


def _hose(hose: Hose, name: str, assumed: Assumed) -> _Part:
    bore, length = f"bore of {name}", f"length of {name}"

    def changed(x: Mapping[str, Floats]) -> Element:
        return replace(
            hose,
            bore_m=hose.bore_m * np.maximum(x[bore], LEAST),
            length_m=hose.length_m * np.maximum(x[length], LEAST),
            roughness_m=hose.roughness_m * np.exp(x["roughness"]),
            friction_scale=hose.friction_scale * np.exp(x["friction factor"]),
        )

    inputs = {
        bore: (Drawn(value=1.0, u=assumed.bore), f"{bore} (assumed)"),
        length: (Drawn(value=1.0, u=assumed.length), f"{length} (assumed)"),
    }
    return _Part(inputs, changed)


def _restriction(restriction: Restriction, name: str, assumed: Assumed) -> _Part:
    passes, ratio = f"conductance of {name}", f"critical pressure ratio of {name}"

    def changed(x: Mapping[str, Floats]) -> Element:
        return replace(
            restriction,
            sonic_conductance=restriction.sonic_conductance * np.maximum(x[passes], LEAST),
            critical_pressure_ratio=np.clip(restriction.critical_pressure_ratio + x[ratio], 0.0, 0.95),
        )

    inputs = {
        passes: (Drawn(value=1.0, u=assumed.conductance), f"{passes} (assumed)"),
        ratio: (Drawn(value=0.0, u=assumed.critical_pressure_ratio), f"{ratio} (assumed)"),
    }
    return _Part(inputs, changed)
