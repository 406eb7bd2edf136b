"""Opening a season and finding its reports."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from toolbench.errors import SettingsError, UsageError
from toolbench.season import open_season
from toolbench.season.opening import find_plan


def test_the_demo_asks_for_the_reports_its_episodes_imply(demo: Path) -> None:
    # By hand from bench.toml: far-end 2 protocols x (2 tools + 3 setups), couplers 2 + 2, and six with one report each.
    plans = open_season(demo).plans()
    assert len(plans) == 2 * (2 + 3) + 4 + 6
    assert {plan.state for plan in plans} == {"planned"}
    assert len({plan.path for plan in plans}) == len(plans)


def test_the_baseline_comes_first(demo: Path) -> None:
    plan = find_plan(open_season(demo), episode="far-end", tool="fennwhit", protocol="held")
    assert [cell.id for cell in plan.cells] == ["near", "far", "far-wide"]
    assert plan.path == "far-end/tool-fennwhit--held"


def test_a_misspelt_name_gets_the_nearest(demo: Path) -> None:
    with pytest.raises(UsageError, match="did you mean 'quernel-1'"):
        open_season(demo).plans("far-end", tool="quernal-1")


def test_several_reports_need_a_protocol(demo: Path) -> None:
    with pytest.raises(UsageError, match="2 reports match"):
        find_plan(open_season(demo), episode="far-end", tool="quernel-1")


def test_a_folder_without_bench_toml_is_a_settings_error(tmp_path: Path) -> None:
    with pytest.raises(SettingsError):
        open_season(tmp_path)


def test_a_fault_in_another_episode_is_set_aside(demo: Path, tmp_path: Path) -> None:
    for name in ("bench.toml", "tools.csv", "runs.csv", "bench-log.csv"):
        text = (demo / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(text.replace('tools = ["ostrel"]', 'tools = ["ostrell"]'), encoding="utf-8")
    with pytest.raises(SettingsError, match='did you mean "ostrel"'):
        open_season(tmp_path)
    with pytest.raises(SettingsError, match="ostrell"):
        open_season(tmp_path, episode="packs")
    season = open_season(tmp_path, episode="retest")
    assert "packs" not in season.settings.episodes
    assert [fault.key for fault in season.settings.set_aside] == ["episodes.packs.tools[1]"]


def test_two_specimens_of_one_model_are_told_apart(demo: Path) -> None:
    # Constructed: the demo has two wrenches called Quernel; "Quernel against Quernel" would say nothing.
    (plan,) = open_season(demo).plans("couplers", setup="one-coupler")
    assert [cell.label for cell in plan.cells] == ["Quernel (quernel-1)", "Quernel (quernel-2)"]


def test_conditioning_runs_are_the_first_of_a_tool_in_a_block(demo: Path) -> None:
    # By hand: four blocks of three setups, one run each; one warm-up per block leaves eight of twelve.
    season = open_season(demo)
    protocols = dict(season.settings.protocols)
    protocols["held"] = dataclasses.replace(protocols["held"], conditioning=1)
    season = dataclasses.replace(season, settings=dataclasses.replace(season.settings, protocols=protocols))
    warming = season.conditioning("held")
    runs = [e for s in ("near", "far", "far-wide") for e in season.entries("quernel-1", s, "held")]
    assert len(runs) == 12
    blocks = [e.block for e in runs if e.run in warming]
    assert sorted(blocks) == ["fe-1", "fe-2", "fe-3", "fe-4"]
    assert all(
        min(e.order or 0 for e in runs if e.block == b) == e.order
        for b in blocks
        for e in runs
        if e.run in warming and e.block == b
    )
