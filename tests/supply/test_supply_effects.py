"""What another line would give: the demo's planted differences, the twin by random draws, and worlds where every figure is off."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from bench_model import true_conditions, true_level, true_percent
from bench_parts import ATMOSPHERE, BAR, Cell
from demo_lines import AMBIENT_PA, demo_line
from scipy import stats

from toolbench.errors import AnalysisError
from toolbench.records.comparison import Component, Estimate
from toolbench.supply.effects import Prediction, Question, predict, predict_by_draws
from toolbench.supply.elements import Regulator, Restriction
from toolbench.supply.fitted import Fitted
from toolbench.supply.hose import Hose
from toolbench.supply.line import Demand, Line, find_operating_point

DEMAND = Fitted(value=2.9e-8, standard_uncertainty=0.03 * 2.9e-8, source="learned")
EXPONENT = Fitted(value=0.8, standard_uncertainty=0.05, source="learned")
PAIRS = [
    ("near", "far", "static"),
    ("near", "far-wide", "static"),
    ("far", "far-wide", "static"),
    ("one-coupler", "three-couplers", "static"),
    ("at-6", "at-5", "stepped"),
]


def question(reference: str, other: str, **more: object) -> Question:
    given: dict = {"conductance": DEMAND, "exponent": EXPONENT, **more}
    return Question(reference=demo_line(reference), other=demo_line(other), **given)


def measured(setup: str, protocol: str) -> Fitted:
    flowing = true_conditions(Cell("quernel-1", setup, protocol))["flowing_pressure"]
    return Fitted(value=flowing, standard_uncertainty=2e3, source="learned")


@pytest.mark.parametrize(("reference", "other", "protocol"), PAIRS)
@pytest.mark.parametrize("anchored", [False, True])
def test_planted_differences_lie_in_the_modelled_interval(
    reference: str, other: str, protocol: str, anchored: bool
) -> None:
    """Expected: the demo's own physics, whose friction formula and search are not the package's."""
    more = {"measured_inlet": measured(reference, protocol)} if anchored else {}
    found = predict(question(reference, other, **more))
    truth = true_percent(Cell("quernel-1", other, protocol), Cell("quernel-1", reference, protocol))
    assert found.percent.value == pytest.approx(truth, abs=0.1)
    assert found.percent.lower <= truth <= found.percent.upper
    # Anything holds the truth if it is wide enough: resolved against zero, though not by far.
    assert math.copysign(1, found.percent.lower) == math.copysign(1, found.percent.upper)
    inlet = true_conditions(Cell("quernel-1", other, protocol))
    assert found.inlet.lower <= inlet["flowing_pressure"] + AMBIENT_PA <= found.inlet.upper
    assert found.flow.value == pytest.approx(inlet["air_flow"], rel=0.005)
    assert found.anchored == anchored


@pytest.mark.parametrize(("reference", "other", "protocol"), PAIRS)
def test_linear_propagation_agrees_with_draws(reference: str, other: str, protocol: str) -> None:
    """The friction factor is lognormal with 30 %, so the draws spread a little more than a straight line says."""
    asked = question(reference, other, measured_inlet=measured(reference, protocol))
    linear, drawn = predict(asked), predict_by_draws(asked, draws=20_000)
    for name in ("inlet", "flow", "percent", "change", "reference_inlet"):
        mean, sd, interval = drawn[name.replace("_", " ")]
        one = getattr(linear, name)
        assert one.standard_uncertainty == pytest.approx(sd, rel=0.08)
        assert one.value == pytest.approx(mean, abs=0.2 * sd)
        half = 0.5 * (interval.upper - interval.lower)
        assert 0.5 * (one.upper - one.lower) == pytest.approx(half, rel=0.08)


def world(line: Line, rng: np.random.Generator, common: dict, hoses: dict, kinds: dict, n: int) -> Line:
    """A line as it might be where its stated figures are off: written anew, beside the package's own way."""
    elements = []
    for part in line.elements:
        if isinstance(part, Hose):
            bore, length = hoses.setdefault(part, (rng.normal(1, 0.02, n), rng.normal(1, 0.01, n)))
            elements.append(
                replace(
                    part,
                    bore_m=part.bore_m * bore,
                    length_m=part.length_m * length,
                    roughness_m=part.roughness_m * common["rough"],
                    friction_scale=common["friction"],
                )
            )
        else:
            c, b = kinds.setdefault(part, (rng.normal(1, 0.10, n), rng.normal(0, 0.05, n)))
            elements.append(
                replace(
                    part,
                    sonic_conductance=part.sonic_conductance * c,
                    critical_pressure_ratio=part.critical_pressure_ratio + b,
                )
            )
    regulator = Regulator(
        set_pa_abs=line.regulator.set_pa_abs + common["set"],
        droop_pa_s_m3=line.regulator.droop_pa_s_m3 * common["droop"],
    )
    return replace(line, regulator=regulator, elements=tuple(elements), temperature_k=293.15 + common["warm"])


@pytest.mark.parametrize(("reference", "other"), [pair[:2] for pair in PAIRS[:4]])
def test_intervals_hold_what_happens_where_every_stated_figure_is_off(reference: str, other: str) -> None:
    """Expected: 95 %, 2,000 worlds; a straight line through a lognormal friction costs up to two percent."""
    n, rng = 2000, np.random.default_rng(20263)
    common = {
        "friction": np.exp(rng.normal(0, np.log(1.3), n)),
        "rough": np.exp(rng.normal(0, np.log(2), n)),
        "set": rng.normal(0, 2e3, n),
        "droop": np.maximum(rng.normal(1, 0.3, n), 0),
        "warm": rng.normal(0, 5, n),
    }
    hoses: dict = {}
    kinds: dict = {}
    demand = Demand(conductance=rng.normal(DEMAND.value, DEMAND.standard_uncertainty, n))
    before, after = (
        find_operating_point(world(demo_line(s), rng, common, hoses, kinds, n), demand).inlet_pa_abs - AMBIENT_PA
        for s in (reference, other)
    )
    truth = 100 * ((after / before) ** rng.normal(0.8, 0.05, n) - 1)
    found = predict(question(reference, other)).percent
    held = int(np.sum((truth >= found.lower) & (truth <= found.upper)))
    low, high = stats.binom.interval(0.999, n, 0.95)
    assert low - 0.02 * n <= held <= high


def part_of(found: Prediction, output: str, source: str) -> float:
    return next(c.contribution for c in getattr(found, output).components if c.source == source)


def test_friction_is_one_error_in_both_lines() -> None:
    """By hand: what friction does to the change is its effect on one inlet less that on the other, not their root sum."""
    found = predict(question("near", "far"))
    friction = [part_of(found, name, "friction factor") for name in ("reference_inlet", "inlet", "change")]
    assert friction[2] == pytest.approx(friction[1] - friction[0], rel=1e-9)
    assert abs(friction[2]) < abs(friction[1])


def test_the_same_line_changes_nothing_for_sure() -> None:
    found = predict(question("near", "near"))
    assert found.percent.value == pytest.approx(0.0, abs=1e-9)
    assert found.percent.standard_uncertainty == pytest.approx(0.0, abs=1e-9)


def test_swapping_the_lines_inverts_the_ratio() -> None:
    there, back = predict(question("near", "far")).percent, predict(question("far", "near")).percent
    assert (1 + there.value / 100) * (1 + back.value / 100) == pytest.approx(1.0, rel=1e-10)


def level(u: float) -> Estimate:
    truth = true_level(Cell("quernel-1", "near", "static"))
    return Estimate(
        value=truth,
        unit="N*m",
        components=(Component(source="runs", label="runs", contribution=u, degrees_of_freedom=4.0, evaluation="A"),),
    )


@pytest.mark.parametrize("other", ["near", "far", "far-wide"])
def test_a_modelled_torque_is_never_known_better_than_the_measured_one(other: str) -> None:
    found = predict(
        question("near", other, measured_inlet=measured("near", "static"), measured_level=level(9.0))
    ).torque
    assert found is not None
    assert found.standard_uncertainty >= 9.0
    truth = true_level(Cell("quernel-1", other, "static"))
    assert found.lower <= truth <= found.upper
    if other == "near":
        assert found.value == pytest.approx(truth, rel=1e-9)
        # Four degrees of freedom of the measured level stay: t 2.776 (GUM, Table G.2).
        assert found.upper - found.value == pytest.approx(2.776 * 9.0, rel=1e-3)


def test_an_anchor_moves_the_prediction_with_what_was_measured() -> None:
    """By hand: 20 kPa less measured at the reference are 20 kPa less at the other line, and a little more percent."""
    plain = measured("near", "static")
    lower = replace(plain, value=plain.value - 2e4)
    first, second = (predict(question("near", "far", measured_inlet=m)) for m in (plain, lower))
    assert first.inlet.value - second.inlet.value == pytest.approx(2e4, rel=1e-9)
    assert second.percent.value < first.percent.value
    assert part_of(first, "inlet", "measured inlet") == pytest.approx(2e3, rel=1e-9)


def test_settings_that_are_equal_share_their_error() -> None:
    sources = {c.source for c in predict(question("near", "far")).percent.components}
    assert "regulator setting" in sources
    parted = {c.source for c in predict(question("at-6", "at-5")).percent.components}
    assert {"regulator setting of the reference", "regulator setting of the other"} <= parted


def test_ten_inputs_and_more_are_named_in_words() -> None:
    components = predict(question("near", "far")).percent.components
    assert len(components) >= 10
    assert all(part.label for part in components)
    sizes = [abs(part.contribution) for part in components]
    assert sizes == sorted(sizes, reverse=True)


def test_couplers_of_one_kind_share_their_error_whatever_they_are_called() -> None:
    line = demo_line("near")
    renamed = replace(line, elements=tuple(replace(e, label=f"part {k}") for k, e in enumerate(line.elements)))
    found = predict(Question(reference=line, other=renamed, conductance=DEMAND, exponent=EXPONENT))
    assert found.percent.standard_uncertainty == pytest.approx(0.0, abs=1e-9)


# ---- refusals -------------------------------------------------------------------------------------------------------


def low(line: Line, bar: float) -> Line:
    return replace(line, regulator=replace(line.regulator, set_pa_abs=(bar + ATMOSPHERE) * BAR))


def ask(other: Line, **more: object) -> Prediction:
    return predict(
        Question(reference=demo_line("near"), other=other, conductance=DEMAND, exponent=EXPONENT, **more)  # type: ignore[arg-type]
    )


def test_less_than_three_bar_at_the_inlet_is_refused() -> None:
    with pytest.raises(AnalysisError, match=r"below 3.bar the power law is not supported"):
        ask(low(demo_line("near"), 3.5))


def test_a_line_that_chokes_is_refused() -> None:
    narrow = Restriction(sonic_conductance=0.8e-8, critical_pressure_ratio=0.3, label="old coupler")
    line = demo_line("near")
    with pytest.raises(AnalysisError, match="the other line: old coupler chokes"):
        ask(replace(line, elements=(*line.elements, narrow)))


def test_a_part_or_a_tool_above_its_rating_is_refused() -> None:
    line = demo_line("near")
    weak = replace(line.elements[1], rated_pa_abs=6e5 + AMBIENT_PA, label="thin hose")
    with pytest.raises(AnalysisError, match=r"thin hose stands at 6\.90.bar, above its rated 6\.00.bar"):
        ask(replace(line, elements=(line.elements[0], weak)))
    with pytest.raises(AnalysisError, match=r"tool stands at 6\.90.bar"):
        ask(line, rated_pa_abs=6.3e5 + AMBIENT_PA)
