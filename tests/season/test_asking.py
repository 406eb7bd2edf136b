"""What another line would give, held against what was planted in the demo (data_demo/truth.json), and what is refused."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import toolbench as tb
from toolbench.errors import AnalysisError, ToolbenchError, UsageError
from toolbench.records.supply import SupplyFigure
from toolbench.season.opening import Season
from toolbench.season.supply.study import AirStudy, LineStudy
from toolbench.season.supply.study_json import study_json

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))


@cache
def demo() -> Season:
    return tb.open_season(DEMO)


@cache
def asked(setup: str, tool: str = "quernel-1", **more: Any) -> LineStudy:
    found = tb.open_line(demo(), setup=setup, tool=tool, **more)
    assert isinstance(found, LineStudy)
    return found


def air(study: LineStudy) -> AirStudy:
    assert study.air is not None
    return study.air


def inside(figure: SupplyFigure | None, true: float) -> bool:
    assert figure is not None
    return figure.interval.lower <= true <= figure.interval.upper


def planted(path: str, item: str, key: str = "percent") -> float:
    report = next(one for one in TRUTH["reports"] if one["path"] == path)
    return float(next(r[key] for r in report["rows"] if (r["item"], r["metric"]) == (item, "sustained")))


def planted_cell(setup: str, protocol: str, key: str, tool: str = "quernel-1") -> float:
    cells = TRUTH["cells"]
    return float(next(c[key] for c in cells if (c["tool"], c["setup"], c["protocol"]) == (tool, setup, protocol)))


@pytest.mark.parametrize("tool", ["quernel-1", "fennwhit"])
@pytest.mark.parametrize(
    ("question", "other"), [({"length": "30 m"}, "far"), ({"length": "30 m", "bore": "19 mm"}, "far-wide")]
)
def test_asked_from_near_it_finds_the_planted_line(tool: str, question: dict[str, str], other: str) -> None:
    study = asked("near", tool, **question)
    found = air(study)
    assert inside(found.percent, planted(f"far-end/tool-{tool}--static", other))
    assert inside(found.response, planted(f"far-end/tool-{tool}--static", other, "level"))
    assert found.asked is not None
    assert inside(found.asked.inlet, planted_cell(other, "static", "flowing_pressure", tool))
    assert inside(found.asked.flow, planted_cell(other, "static", "air_flow", tool))
    # The measured level of the far setup is another witness, and none that the prediction knows of.
    measured = study.tested[other].response
    assert measured is not None
    assert found.response is not None
    assert found.response.interval.lower < measured.interval.upper
    assert measured.interval.lower < found.response.interval.upper


@pytest.mark.parametrize(("setting", "other"), [("5 bar", "at-5"), ("4 bar", "at-4")])
def test_another_setting_is_found_too(setting: str, other: str) -> None:
    found = air(asked("at-6", pressure=setting))
    assert inside(found.percent, planted("inlet-pressure/tool-quernel-1--stepped", other))
    assert found.asked is not None
    assert inside(found.asked.inlet, planted_cell(other, "stepped", "flowing_pressure"))


def test_the_band_of_another_line_is_not_narrower_than_what_it_starts_from() -> None:
    study = asked("near", length="30 m")
    found, measured = air(study), study.measured
    assert measured is not None
    assert measured.drive is not None
    assert measured.response is not None
    assert found.asked is not None
    assert found.response is not None
    assert found.asked.inlet.estimate.standard_uncertainty >= measured.drive.estimate.standard_uncertainty
    assert found.response.estimate.standard_uncertainty >= measured.response.estimate.standard_uncertainty
    assert not measured.drive.modelled
    assert all(one.modelled for one in (found.tested.inlet_alone, found.asked.inlet, found.asked.flow, found.response))


def test_asking_for_the_tested_line_changes_nothing() -> None:
    found = air(asked("near", length="12 m", bore="13 mm", pressure="6.9 bar"))
    assert found.percent is not None
    assert found.percent.estimate.value == pytest.approx(0.0, abs=1e-9)
    assert found.asked is not None
    assert found.asked.inlet.estimate.value == pytest.approx(found.tested.inlet.estimate.value)


def test_what_is_at_the_tested_line() -> None:
    study = asked("far")
    found = air(study)
    assert found.asked is None
    assert found.percent is None
    assert found.refused == ()
    assert inside(found.tested.inlet_alone, planted_cell("far", "static", "flowing_pressure"))
    # The losses go from the setting to the inlet, and their shares are all of it.
    whole = sum(part.loss for part in found.tested.losses)
    assert 6.9e5 - whole == pytest.approx(found.tested.inlet_alone.estimate.value, abs=1.0)
    assert sum(part.share for part in found.tested.losses) == pytest.approx(1.0)
    assert found.tested.limiting.startswith("hose")
    assert [one.source for one in study.learned] == ["learned", "learned"]
    assert inside_two(study.learned[0].estimate.value, study.learned[0].estimate.standard_uncertainty, demand())


def demand() -> float:
    """Planted: flow over absolute inlet pressure, with the demo's ambient of 1.013 bar."""
    flow, inlet = (planted_cell("near", "static", key) for key in ("air_flow", "flowing_pressure"))
    return flow / (inlet + 101300.0)


def inside_two(value: float, u: float, true: float) -> bool:
    # The planted gauge reads 0.09 % low, which the stated scale of 0.25 % covers.
    return abs(value - true) <= 2.5 * u


def test_a_sweep_meets_the_lines_it_passes_through() -> None:
    found = air(asked("near", length="30 m"))
    sweep = found.sweep
    assert sweep is not None
    assert found.asked is not None
    row = sweep.bores_m.index(0.013)
    at_30 = float(np.interp(30.0, sweep.lengths_m, sweep.inlet_pa[row]))
    assert at_30 == pytest.approx(found.asked.inlet.estimate.value, rel=1e-4)
    at_12 = float(np.interp(12.0, sweep.lengths_m, sweep.inlet_pa[row]))
    assert at_12 == pytest.approx(found.tested.inlet.estimate.value, rel=1e-4)
    assert sweep.response is not None
    assert found.response is not None
    torque = float(np.interp(30.0, sweep.lengths_m, sweep.response[row]))
    assert torque == pytest.approx(found.response.estimate.value, rel=1e-4)
    # Longer loses more, wider loses less, at every length.
    assert (np.diff(sweep.inlet_pa, axis=1) < 0).all()
    assert (np.diff(sweep.inlet_pa, axis=0) > 0).all()
    assert (np.isnan(sweep.response) == (sweep.inlet_pa < 3e5)).all()


def test_every_tested_setup_is_marked_and_those_alike_are_told() -> None:
    sweep = air(asked("near", length="30 m")).sweep
    assert sweep is not None
    alike = {mark.tested.setup: mark.alike for mark in sweep.marks}
    # By hand from data_demo/bench.toml: same couplers, setting and receiver, another hose.
    assert {name for name, same in alike.items() if same} == {"near", "far", "far-wide", "bay-receiver"}
    assert {"one-coupler", "three-couplers", "at-4", "at-5", "at-6", "small-receiver"} <= set(alike)
    # near-again was run with its inlet pressure held only: its setting was another.
    assert "near-again" not in alike


def test_advice_is_enough_when_it_is_followed() -> None:
    study = asked("far", want="5.6 bar")
    found = air(study)
    assert found.advice is not None
    assert found.advice.lists
    for one in found.advice.lists:
        inlet = float(one.point.inlet_pa_abs) - one.line.ambient_pa_abs + found.offset_pa
        assert inlet >= 5.6e5 - 1.0
    raised = next(one for one in found.advice.lists if [c.kind for c in one.changes] == ["regulator"])
    setting = float(raised.line.regulator.set_pa_abs) - raised.line.ambient_pa_abs
    again = air(asked("far", pressure=setting)).asked
    assert again is not None
    assert again.inlet.estimate.value >= 5.6e5 - 1.0


def test_the_longest_hose_of_a_bore_loses_what_was_allowed() -> None:
    longest = next(one for one in air(asked("near", loss="8 %")).longest if one.bore_m == 0.016)
    assert longest.length_m is not None
    found = air(asked("near", length=longest.length_m, bore=0.016)).asked
    assert found is not None
    before, inlet = found.losses[0].pressure, found.inlet_alone.estimate.value
    assert 100.0 * (1.0 - inlet / before) == pytest.approx(8.0, abs=1e-3)


def test_the_small_receiver_sags_within_the_run_and_the_large_one_does_not() -> None:
    full = air(asked("small-receiver")).courses[0]
    isothermal, adiabatic = full.sag_begins_s
    assert isothermal is not None
    assert adiabatic is not None
    # Air that exchanges no heat falls faster.
    assert adiabatic < isothermal < full.duration_s
    assert full.end[1] < full.end[0]
    # Measured over the last two seconds of the run: between the two courses or near them.
    large = air(asked("bay-receiver")).courses[0]
    assert large.sag_begins_s == (None, None)
    assert large.end[0] == pytest.approx(large.end[1])


@pytest.mark.parametrize("other", ["two-strings", "one-string-cold", "two-strings-cold"])
def test_another_pack_is_found_as_planted(other: str) -> None:
    study = asked("one-string", "ostrel")
    assert study.electric is not None
    found = next(one for one in study.electric.others if one.setup.id == other)
    assert inside(found.percent, planted("packs/tool-ostrel--battery", other))
    assert found.voltage.modelled


def test_another_lead_is_found_as_planted_and_a_length_is_taken() -> None:
    study = asked("lead-5", "pelmoor", length="50 m")
    assert study.electric is not None
    yard = next(one for one in study.electric.others if one.setup.id == "lead-50")
    assert inside(yard.percent, planted("mains-lead/tool-pelmoor--mains", "lead-50"))
    longer = study.electric.asked
    assert longer is not None
    # By hand: 2 x 0.0175 ohm mm2/m x 45 m / 1.5 mm2 = 1.05 ohm more.
    more = study.electric.tested.voltage.estimate.value - longer.voltage.estimate.value
    assert more == pytest.approx(1.05 * study.electric.current.estimate.value)


@pytest.mark.parametrize(
    ("question", "error", "words"),
    [
        ({"setup": "nera"}, UsageError, "no setup 'nera' in this season\n  did you mean 'near'?"),
        ({"tool": "quernel1"}, UsageError, "no tool 'quernel1' in this season\n  did you mean 'quernel-1'?"),
        ({"tool": "ostrel"}, UsageError, "tool: ostrel runs on battery, and setup near is a supply of air"),
        ({"length": "-3 m"}, UsageError, 'length: "-3 m" is not above zero'),
        ({"bore": "0 mm"}, UsageError, 'bore: "0 mm" is not above zero'),
        ({"length": "30"}, UsageError, 'length: "30" has no unit'),
        ({"length": "3 bar"}, UsageError, "length: "),
        ({"bore": math.inf}, UsageError, "bore: "),
        ({"loss": "10"}, UsageError, 'loss: "10" has no unit'),
        ({"loss": "100 %"}, UsageError, 'loss: "100\u2009%" is all of the pressure'),
        (
            {"pressure": "9 bar"},
            AnalysisError,
            "pressure: at rest Quernel stands at 9.00\u2009bar, above its rated 8.00",
        ),
        ({"pressure": "11 bar"}, AnalysisError, "setups.near: its compressor stops at 10\u2009bar"),
        ({"want": "9 bar"}, AnalysisError, "want: the wanted 9.00\u2009bar is above the 8.00\u2009bar that Quernel"),
        (
            {"setup": "one-string", "tool": "ostrel", "bore": "13 mm"},
            UsageError,
            "bore: has no meaning on a supply of battery",
        ),
        (
            {"setup": "lead-5", "tool": "pelmoor", "want": "6 bar"},
            UsageError,
            "want: has no meaning on a supply of mains",
        ),
    ],
)
def test_refusals_say_what_and_where(question: dict[str, Any], error: type[ToolbenchError], words: str) -> None:
    with pytest.raises(error) as caught:
        tb.open_line(demo(), **{"setup": "near", "tool": "quernel-1", **question})
    assert words in str(caught.value)
    assert len(str(caught.value).splitlines()) <= 3


def test_below_three_bar_pressures_are_told_and_no_torque() -> None:
    study = asked("at-4", length="50 m")
    found = air(study)
    assert found.percent is None
    assert found.response is None
    assert [fault.code for fault in study.refused] == ["too-low"]
    assert found.asked is not None
    assert 0 < found.asked.inlet.estimate.value < 3e5
    assert found.asked.inlet.interval.upper > found.asked.inlet.estimate.value


def test_a_line_that_chokes_gives_no_torque() -> None:
    # By hand: isothermal flow chokes at 1 / (rho sqrt(R T)) = 0.29 L/(s*bar) per mm2 of the exit, so the 7.1 mm2 of a 3 mm
    # bore pass 2.1 L/(s*bar), less than the 2.9 that the tool takes.
    study = asked("near", bore="3 mm", length="10 m")
    assert "chokes" in {fault.code for fault in study.refused}
    assert air(study).percent is None
    found = air(study).asked
    assert found is not None
    assert found.choked


Change = Callable[[str], str]


def spoilt(tmp_path: Path, change: Change = str, tools: Change = str) -> Season:
    """The demo with its settings changed; recordings are the same."""
    folder = tmp_path / "season"
    shutil.copytree(DEMO / "recordings", folder / "recordings")
    for name in ("runs.csv", "bench-log.csv"):
        shutil.copy(DEMO / name, folder / name)
    for name, how in (("bench.toml", change), ("tools.csv", tools)):
        (folder / name).write_text(how((DEMO / name).read_text("utf-8")), encoding="utf-8")
    return tb.open_season(folder)


def test_a_setup_above_a_rating_is_refused_with_its_line(tmp_path: Path) -> None:
    season = spoilt(tmp_path, lambda text: text.replace('rated_pressure = "15 bar"', 'rated_pressure = "6 bar"', 1))
    with pytest.raises(AnalysisError) as caught:
        tb.open_line(season, setup="near", tool="quernel-1")
    assert "hose 13\u2009mm × 12\u2009m stands at 6.90\u2009bar, above its rated 6.00" in str(caught.value)
    fault = caught.value.faults[0]
    assert fault.file == "bench.toml"
    # By hand: the line of [setups.near] in data_demo/bench.toml.
    lines = (DEMO / "bench.toml").read_text("utf-8").splitlines()
    assert fault.line == lines.index("[setups.near]") + 1
    assert fault.key == "setups.near"


def test_a_setup_without_a_line_is_refused(tmp_path: Path) -> None:
    season = spoilt(tmp_path, lambda text: text + "\n[setups.bare]\n")
    with pytest.raises(AnalysisError, match="bare: states no air line"):
        tb.open_line(season, setup="bare", tool="quernel-1")


def without_inlet(text: str) -> str:
    return "\n".join(line for line in text.splitlines() if not line.startswith("channels.inlet_pressure")) + "\n"


def no_windows(text: str) -> str:
    """Without the inlet channel nothing may be held at it."""
    kept = (line for line in without_inlet(text).splitlines() if not line.startswith(("hold = ", "rest = ")))
    return "\n".join(kept) + "\n"


def test_without_an_inlet_pressure_figures_are_of_this_setup_alone(tmp_path: Path) -> None:
    season = spoilt(tmp_path, no_windows)
    study = tb.open_line(season, setup="near", tool="quernel-1")
    assert study.effective
    assert study.air.sweep is None
    assert [one.name for one in study.learned] == ["demand"]
    for question in ({"length": "30 m"}, {"want": "6 bar"}, {"loss": "5 %"}):
        with pytest.raises(AnalysisError, match="effective for this setup: no other line is predicted"):
            tb.open_line(season, setup="near", tool="quernel-1", **question)


def test_without_a_stated_consumption_the_demand_comes_from_the_flow(tmp_path: Path) -> None:
    season = spoilt(tmp_path, no_windows, lambda text: text.replace(",8,22,", ",8,,"))
    study = tb.open_line(season, setup="one-coupler", tool="quernel-1")
    assert study.learned[0].note.startswith("effective for this setup")
    assert study.learned[0].estimate.value == pytest.approx(demand(), rel=0.01)


def test_a_tool_that_never_ran_has_its_stated_demand_and_priors(tmp_path: Path) -> None:
    season = spoilt(tmp_path, tools=lambda text: text + "newcomer,Newcomer,,,air,,,,,,,,,,,8,22,,,,,,\n")
    study = tb.open_line(season, setup="near", tool="newcomer", length="30 m")
    assert [one.source for one in study.learned] == ["stated", "prior"]
    assert study.measured is None
    assert study.air.response is None
    known = asked("near", length="30 m")
    assert study.air.percent.estimate.standard_uncertainty > air(known).percent.estimate.standard_uncertainty  # type: ignore[union-attr]
    unknown = spoilt_again(tmp_path)
    with pytest.raises(AnalysisError, match="the air demand of newcomer is not known"):
        tb.open_line(unknown, setup="near", tool="newcomer")


def spoilt_again(tmp_path: Path) -> Season:
    path = tmp_path / "season" / "tools.csv"
    path.write_text(path.read_text("utf-8").replace("air,,,,,,,,,,,8,22,", "air,,,,,,,,,,,8,,"), encoding="utf-8")
    return tb.open_season(tmp_path / "season")


def test_runs_that_hold_the_inlet_anchor_nothing() -> None:
    study = asked("near-again", length="30 m")
    found = air(study)
    assert study.measured is not None
    assert study.measured.held
    assert not found.tested.anchored
    assert found.response is None
    assert any("hold the inlet pressure" in text for text in study.remarks)
    assert inside(found.percent, planted("far-end/tool-quernel-1--static", "far"))


def test_recordings_made_at_another_setting_anchor_nothing(tmp_path: Path) -> None:
    season = spoilt(tmp_path, lambda text: text.replace('set = "6.9 bar"', 'set = "6.4 bar"', 1))
    study = tb.open_line(season, setup="near", tool="quernel-1", length="30 m")
    assert not study.air.tested.anchored
    assert any("At rest the recordings stand at 6.91" in text for text in study.remarks)


def test_it_is_one_json_object_of_plain_values() -> None:
    for study in (
        asked("near", length="30 m", want="6 bar", loss="10 %"),
        asked("one-string", "ostrel"),
        asked("at-4", length="50 m"),
    ):
        found = study_json(study)
        again = json.loads(json.dumps(found, allow_nan=False))
        assert again == json.loads(json.dumps(study_json(study), allow_nan=False))
        assert again["format"] == 1
        assert all(len(digest) == 64 for digest in again["inputs"].values())
    found = study_json(asked("near", length="30 m"))
    assert found["asked"]["length_m"] == 30.0
    assert found["air"]["asked"]["line"]["parts"][1]["length_m"] == 30.0
    assert found["air"]["percent"]["modelled"] is True
    assert found["tested"][0]["drive"]["modelled"] is False
    assert str(DEMO) not in json.dumps(found)


def _changed(tmp_path: Path, old: str, new: str) -> Season:
    folder = tmp_path / "season"
    shutil.copytree(DEMO, folder)
    bench = folder / "bench.toml"
    text = bench.read_text(encoding="utf-8")
    assert old in text
    bench.write_text(text.replace(old, new, 1), encoding="utf-8")
    return tb.open_season(folder)


BORE = 'bore = "13 mm", length = "12 m"'

# (what is put in place of what in the setup near, where and what is said); constructed: beyond a hundred times of any bench
NOT_MODELLED = [
    (BORE, 'bore = "1e300 m", length = "12 m"', "setups.near.line[2].bore: 1.00 × 10^303 mm is nothing that can be modelled"),
    (BORE, 'bore = "13 mm", length = "1e300 m"', "setups.near.line[2].length"),
    ('sonic_conductance = "9 L/(s*bar)"', 'sonic_conductance = "1e-300 L/(s*bar)"', "setups.near.line[1].sonic_conductance"),
    ('volume = "500 L"', 'volume = "1e-9 L"', "setups.near.receiver.volume: 0.00000000100 L"),
    ('"18 degC"', '"-273.15 degC"', "bench.ambient_temperature: −273 °C is nothing that can be modelled"),
    ('"1.013 bar abs"', '"1e-300 bar abs"', "bench.ambient_pressure"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), NOT_MODELLED, ids=lambda v: str(v)[:24])
def test_a_value_that_no_model_works_with_is_refused_with_its_key(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    with pytest.raises(AnalysisError) as caught:
        tb.open_line(_changed(tmp_path, old, new), setup="near", tool="quernel-1")
    said = str(caught.value).replace("\u2009", " ")
    assert words in said
    assert "bench.toml:" in said
    assert "the model works from" in said


@pytest.mark.parametrize(
    "question", [{"length": "1e300 m"}, {"bore": "1e-9 mm"}, {"bore": "1e300 m"}, {"pressure": "1e-9 bar"}]
)
def test_a_question_that_no_model_works_with_is_refused_under_its_name(question: dict[str, str]) -> None:
    with pytest.raises(UsageError, match="is nothing that can be modelled") as caught:
        tb.open_line(demo(), setup="near", tool="quernel-1", **question)
    assert caught.value.faults[0].key in question


def test_an_implausible_value_is_doubted_where_the_model_uses_it(tmp_path: Path) -> None:
    season = _changed(tmp_path, BORE, 'bore = "1 m", length = "12 m"')
    doubt = "setups.near.line[2].bore: 1000\u2009mm is hardly meant"
    assert any(doubt in remark for remark in tb.open_line(season, setup="near", tool="quernel-1").remarks)
    report = tb.compare(season, episode="far-end", tool="quernel-1", protocol="static")
    assert any(doubt in finding.message for finding in report.record.findings)
    other = tb.compare(season, episode="packs", tool="ostrel", protocol="battery")
    assert not any("hardly meant" in finding.message for finding in other.record.findings)


def test_where_all_torque_is_below_three_bar_the_picture_shows_pressure() -> None:
    study = asked("near", pressure="0.1 bar")
    sweep = air(study).sweep
    assert sweep is not None
    assert sweep.response is None
    assert np.isfinite(sweep.inlet_pa).any()
    assert "Flowing inlet pressure" in tb.plot_sweep(study).get_ylabel()


def test_a_pack_that_leaves_no_voltage_is_told_with_its_setup(tmp_path: Path) -> None:
    season = _changed(tmp_path, 'cell_resistance = "22 mohm"', 'cell_resistance = "900 mohm"')
    with pytest.raises(AnalysisError, match=r"bench.toml:\d+: setups.one-string: at .* no voltage is left"):
        tb.open_line(season, setup="one-string", tool="ostrel")


def test_of_runs_on_two_sides_of_a_change_of_the_rig_the_last_count(tmp_path: Path) -> None:
    season = spoilt(tmp_path)
    log = season.folder / "bench-log.csv"
    log.write_text(log.read_text("utf-8") + "2026-01-21,arm,a new one\n", encoding="utf-8")
    before = tb.open_line(tb.open_season(DEMO), setup="near", tool="quernel-1").tested["near"]
    after = tb.open_line(tb.open_season(season.folder), setup="near", tool="quernel-1").tested["near"]
    assert before.epoch == ""
    assert after.epoch == "from 2026-01-21 to 2026-03-02"
    assert set(after.runs) < set(before.runs)
    started = {run.run: run.started for run in season.settings.runs}
    assert all(str(started[run].date()) >= "2026-01-21" for run in after.runs if started[run])
