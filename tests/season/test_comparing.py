"""Comparisons of the demo season against the truth it was drawn from."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

import toolbench as tb
from toolbench.season.outcome import CURVE_COLUMNS, DIFFERENCE_COLUMNS, LEVEL_COLUMNS, Comparison


@pytest.fixture(scope="module")
def stepped(demo: Path) -> Comparison:
    comparison: Comparison = tb.compare(tb.open_season(demo), episode="inlet-pressure", tool="quernel-1")
    return comparison


def test_tables_have_the_columns_of_the_contract(stepped: Comparison) -> None:
    assert list(stepped.levels.columns) == LEVEL_COLUMNS
    assert list(stepped.differences.columns) == DIFFERENCE_COLUMNS
    assert list(stepped.bands.columns) == CURVE_COLUMNS


def test_planted_pressure_steps_are_found(stepped: Comparison) -> None:
    # Constructed: data_demo draws T_end ~ p^0.8; truth.json gives -14.06 % and -28.72 % for 5 and 4 against 6 bar.
    rows = stepped.differences.query("metric == 'sustained' and response == 'torque'").set_index("item")
    for item, truth in (("at-5", -14.06), ("at-4", -28.72)):
        assert rows.loc[item, "lower_family"] < truth < rows.loc[item, "upper_family"]
        assert rows.loc[item, "verdict_family"] == "lower"


def test_a_baseline_has_no_row(stepped: Comparison) -> None:
    assert set(stepped.differences["item"]) == {"at-5", "at-4"}
    assert set(stepped.differences["baseline"]) == {"at-6"}


def test_a_shared_scale_error_is_in_the_level_and_not_in_the_percent(stepped: Comparison) -> None:
    record = stepped.record
    level = next(one for one in record.levels if one.metric == "sustained" and one.response == "torque")
    assert any(part.source.startswith("scale/") and part.contribution != 0 for part in level.estimate.components)
    percent = next(one for one in record.differences if one.metric == "sustained" and one.response == "torque")
    scale = [part.contribution for part in percent.percent.components if part.source.startswith("scale/")]
    assert all(contribution == pytest.approx(0, abs=1e-12) for contribution in scale)


def test_a_family_interval_is_never_narrower(stepped: Comparison) -> None:
    # A slope near zero has no bounded percent interval; those rows are empty rather than wide.
    table = stepped.differences.dropna(subset=["lower_family", "upper_family"])
    assert len(table) > 10
    assert (table["lower_family"] <= table["lower"] + 1e-9).all()
    assert (table["upper_family"] >= table["upper"] - 1e-9).all()


def test_the_single_run_is_judged_by_the_bench_and_says_so(demo: Path) -> None:
    comparison: Comparison = tb.compare(tb.open_season(demo), episode="packs", tool="ostrel")
    row = comparison.differences.query("item == 'two-strings-cold' and metric == 'sustained'").iloc[0]
    assert row["n"] == 1
    assert np.isfinite(row["lower"])
    level = next(
        one for one in comparison.record.levels if one.item == "two-strings-cold" and one.metric == "sustained"
    )
    assert any("pooled from the bench's other runs" in part.label for part in level.estimate.components)


def test_results_are_plain_json_without_a_path_of_the_machine(stepped: Comparison, tmp_path: Path, demo: Path) -> None:
    tb.write_results(stepped, tmp_path)
    text = (tmp_path / "results.json").read_text(encoding="utf-8")
    content = json.loads(text)
    assert content["format"] == 1
    assert content["report"] == "inlet-pressure/tool-quernel-1--stepped"
    assert str(demo) not in text
    assert str(demo.parent) not in text
    published = tb.load(tmp_path)
    assert len(published.differences) == len(stepped.differences)
    assert published.differences["percent"].to_numpy() == pytest.approx(
        stepped.differences["percent"].to_numpy(dtype=float), rel=0, abs=0, nan_ok=True
    )


def test_nothing_is_written_unless_told_where(
    stepped: Comparison, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    tb.write_results(stepped, "")
    assert list(tmp_path.iterdir()) == []


def test_two_writes_are_the_same_bytes(demo: Path, tmp_path: Path) -> None:
    for name in ("a", "b"):
        tb.write_results(tb.compare(tb.open_season(demo), episode="retest", tool="quernel-1"), tmp_path / name)
    for file in ("results.json", "levels.csv", "differences.csv", "curves.csv"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_a_reading_error_acts_once_per_reading(stepped: Comparison) -> None:
    # By hand: 0.1 % of 2000 N*m, rectangular, is 1.155 N*m on a level; a slope over the window holds no single reading.
    levels = {
        one.metric: one.estimate for one in stepped.record.levels if one.item == "at-6" and one.response == "torque"
    }
    linear = [c.contribution for c in levels["sustained"].components if c.source.startswith("linearity/")]
    assert linear == pytest.approx([2.0 / 3**0.5])
    assert not [c for c in levels["slope"].components if c.source.startswith(("linearity/", "resolution/"))]


def test_response_and_supporting_rows_are_counted_apart(stepped: Comparison, tmp_path: Path) -> None:
    # By hand: two items times three marks and the window; everything else supports.
    record = stepped.record
    assert record.family_size == 2 * 4
    assert record.supporting_size == len(record.differences) - 8
    tb.write_results(stepped, tmp_path)
    content = json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))
    assert content["supporting_family"]["rows"] == record.supporting_size
    assert 0 < content["supporting_family"]["row_error_probability"] <= 0.05


def test_what_a_single_run_is_judged_by_is_among_the_inputs(demo: Path) -> None:
    season = tb.open_season(demo)
    entries = season.settings.runs
    keep = next(e for e in entries if (e.tool, e.setup, e.protocol) == ("pelmoor", "lead-50", "mains"))
    used = tuple(e for e in entries if (e.setup, e.protocol) != ("lead-50", "mains") or e.run == keep.run)
    spare = dataclasses.replace(keep, run="spare", setup="one-string", excluded=False)
    repeats = [
        dataclasses.replace(e, setup="one-string")
        for e in entries
        if (e.setup, e.protocol) == ("lead-50", "mains") and e.run != keep.run
    ]
    season = dataclasses.replace(season, settings=dataclasses.replace(season.settings, runs=(*used, spare, *repeats)))
    record = tb.compare(season, episode="mains-lead", tool="pelmoor").record
    assert {entry.file for entry in repeats} <= set(record.digests)
