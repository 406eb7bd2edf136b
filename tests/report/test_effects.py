"""The season's table of effects, from constructed results."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from toolbench.records.settings import Episode, LinePart, Protocol, Setup, Tool
from toolbench.report.effects import effect_rows, effects_csv, effects_of


def setup(name: str, length_m: float, price: float | None = None, currency: str = "EUR") -> Setup:
    hose = LinePart(part="hose", bore_m=0.013, length_m=length_m)
    return Setup(
        id=name, label=name.title(), supply="air", line=(hose,), price=price, price_currency=currency if price else ""
    )


def settings(*setups: Setup, factor: str = "") -> Any:
    return SimpleNamespace(
        setups={one.id: one for one in setups},
        tools={name: Tool(id=name, name="Wrench") for name in ("a", "b")},
        protocols={"static": Protocol(id="static", label="Static setting")},
        episodes={"e": Episode(id="e", title="E", factor=factor)},
    )


def results(axis: str = "setups", tool: str = "a", **more: Any) -> dict[str, Any]:
    row = {"response": "torque", "metric": "sustained", "at": None, "item": "far", "baseline": "near"}
    numbers = {"percent": -5.0, "lower": -7.0, "upper": -3.0, "verdict_family": "lower"}
    mark = {**row, **numbers, "metric": "at_mark", "at": 1.0, "percent": -9.0}
    return {
        "axis": axis,
        "episode": {"id": "e"},
        "protocol": {"id": "static"},
        "items": [{"id": one, "tool": tool, "setup": one} for one in ("near", "far")],
        "differences": [mark, {**row, **numbers}],
        **more,
    }


NEAR, FAR = setup("near", 12, 60.0), setup("far", 30, 150.0)


def test_an_effect_names_what_differs_and_what_the_change_costs() -> None:
    (one,) = effects_of(settings(NEAR, FAR), {"e/tool-a--static": results()})
    # By hand: the headline is the sustained row; 150 less 60.
    assert (one.percent, one.factor, one.how, one.verdict) == (-5.0, "hose 1 length", "measured", "lower")
    assert (one.price_change, one.currency) == (90.0, "EUR")
    (row,) = effect_rows(settings(NEAR, FAR), [one])
    assert row["price"] == "+90\u2009EUR"
    assert row["tool"] == "Wrench (a)"
    assert row["change"] == "Far against Near"


@pytest.mark.parametrize("far", [setup("far", 30), setup("far", 30, 150.0, "USD")])
def test_a_price_that_is_not_stated_or_in_another_currency_gives_no_change(far: Setup) -> None:
    (one,) = effects_of(settings(NEAR, far), {"r": results()})
    assert one.price_change is None
    assert effect_rows(settings(NEAR, far), [one])[0]["price"] == "\u2013"


def test_the_factor_that_an_episode_names_comes_first() -> None:
    (one,) = effects_of(settings(NEAR, FAR, factor="the line as a whole"), {"r": results()})
    assert one.factor == "the line as a whole"


def test_tools_on_one_setup_are_no_effect_of_the_supply() -> None:
    assert effects_of(settings(NEAR, FAR), {"r": results("tools")}) == []


def test_a_setup_that_the_season_no_longer_has_is_left_out() -> None:
    assert effects_of(settings(NEAR), {"r": results()}) == []


def test_an_item_that_was_not_run_is_a_modelled_row() -> None:
    wide = setup("wide", 30, 200.0)
    figure = {"value": 1.5, "lower": 0.5, "upper": 2.5}
    untested = [
        {"item": "wide", "label": "Wide", "baseline": "near", "percent": figure, "drive": None, "remark": ""},
        {"item": "gone", "label": "Gone", "baseline": "near", "percent": None, "drive": None, "remark": "chokes"},
    ]
    found = effects_of(settings(NEAR, FAR, wide), {"r": results(supply={"untested": untested})})
    assert [(one.item, one.how, one.verdict) for one in found] == [
        ("far", "measured", "lower"),
        ("wide", "modelled", ""),
    ]
    assert found[1].number.endswith("modelled")
    assert not found[0].number.endswith("modelled")


def test_csv_has_a_row_per_effect_and_ids() -> None:
    text = effects_csv(effects_of(settings(NEAR, FAR), {"e/tool-a--static": results()}))
    assert text.splitlines() == [
        "episode,report,tool,protocol,factor,baseline,item,percent,lower,upper,verdict,how,price_change,currency",
        "e,e/tool-a--static,a,static,hose 1 length,near,far,-5.0,-7.0,-3.0,lower,measured,90.0,EUR",
    ]
