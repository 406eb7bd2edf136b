"""A modelled figure with the sources of its uncertainty: one vectorised call of a model makes all central differences.

A model takes its inputs as arrays by name and gives its outputs as arrays by name. An input that two lines share moves both at
once, so its error cancels in their comparison as far as it acts alike on both.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from toolbench.metrology.intervals import difference_interval
from toolbench.metrology.monte_carlo import Drawn, summarise_draws
from toolbench.records.comparison import Component, Estimate, Interval
from toolbench.records.runs import Floats
from toolbench.supply.fitted import Fitted

Model = Callable[[Mapping[str, Floats]], Mapping[str, Floats]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Modelled:
    """What the model gives [unit], never measured; `estimate` holds its components by source, largest first."""

    estimate: Estimate
    interval: Interval

    @property
    def value(self) -> float:
        """The best value [unit]."""
        return self.estimate.value

    @property
    def unit(self) -> str:
        """The unit of value and interval."""
        return self.estimate.unit

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty [unit]."""
        return self.estimate.standard_uncertainty

    @property
    def lower(self) -> float:
        """Lower end of the interval [unit]."""
        return self.interval.lower

    @property
    def upper(self) -> float:
        """Upper end of the interval [unit]."""
        return self.interval.upper

    @property
    def components(self) -> tuple[Component, ...]:
        """Sources of the uncertainty, largest first."""
        return self.estimate.components


def drawn_from(fitted: Fitted) -> Drawn:
    """A learned, assumed or stated figure as an input of a model."""
    return Drawn(value=fitted.value, u=fitted.standard_uncertainty, degrees_of_freedom=fitted.degrees_of_freedom)


def as_modelled(estimate: Estimate, confidence: float = 0.95) -> Modelled:
    """A modelled figure with its interval at a confidence."""
    return Modelled(estimate=estimate, interval=difference_interval(estimate, confidence))


def propagate_linear(
    model: Model, inputs: Mapping[str, Drawn], units: Mapping[str, str], labels: Mapping[str, str]
) -> dict[str, Estimate]:
    """Every output of a model with a component per input, from central differences one standard uncertainty to each side.

    Parameters
    ----------
    model
        Called once, with arrays of shape (1 + 2 k,) for k uncertain inputs.
    inputs
        Each with its standard uncertainty; one of zero is fixed and has no component.
    units
        Unit of each output.
    labels
        Words for each input.

    References
    ----------
    GUM 5.1.3, note 2: half the change of the output as an input goes one standard uncertainty up and down.
    """
    names = list(inputs)
    uncertain = [name for name in names if inputs[name].u > 0]
    table = {name: np.full(1 + 2 * len(uncertain), inputs[name].value) for name in names}
    for row, name in enumerate(uncertain):
        table[name][1 + 2 * row] += inputs[name].u
        table[name][2 + 2 * row] -= inputs[name].u
    outputs = model(table)
    return {
        output: Estimate(
            value=float(found[0]),
            unit=units[output],
            components=tuple(
                sorted(
                    (
                        _component(
                            name, inputs[name], labels[name], 0.5 * float(found[1 + 2 * row] - found[2 + 2 * row])
                        )
                        for row, name in enumerate(uncertain)
                    ),
                    key=lambda part: (-abs(part.contribution), part.source),
                )
            ),
        )
        for output, found in outputs.items()
    }


def _component(name: str, drawn: Drawn, label: str, contribution: float) -> Component:
    return Component(
        source=name,
        label=label,
        contribution=contribution,
        degrees_of_freedom=drawn.degrees_of_freedom,
        distribution=drawn.shape,
        value=drawn.value,
        standard_uncertainty=drawn.u,
    )


def propagate_draws(
    model: Model, inputs: Mapping[str, Drawn], *, confidence: float = 0.95, draws: int = 20_000, seed: int = 1
) -> dict[str, tuple[float, float, Interval]]:
    """Mean, standard deviation and interval of every output from random draws of the inputs, one call of the model.

    Draws that the model has no answer for (nan) are left out of all outputs; a model that is meant to hold has none.

    References
    ----------
    JCGM 101:2008, 7.6 and 7.7.
    """
    generator = np.random.default_rng(seed)
    outputs = model({name: drawn.draw(generator, draws) for name, drawn in inputs.items()})
    good = np.logical_and.reduce([np.isfinite(found) for found in outputs.values()])
    found = {}
    for name, values in outputs.items():
        summary = summarise_draws(np.array(values[good]), confidence)
        found[name] = (summary.mean, summary.standard_deviation, summary.symmetric)
    return found


def rectangular_u(half_width: float) -> float:
    """Standard uncertainty of a rectangular distribution of that half width (GUM 4.3.7)."""
    return half_width / math.sqrt(3.0)
