"""A check standard out of control doubts the runs since its last good block, on its rig and in every report that uses them."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

import toolbench as tb
from toolbench.records.findings import Finding
from toolbench.records.runs import Metric, Onset, Run
from toolbench.records.settings import RunEntry
from toolbench.report.keys import Inputs, report_key
from toolbench.season import check_season
from toolbench.season.comparing import compare_plan
from toolbench.season.opening import Season
from toolbench.season.standards import chart_findings, chart_standards, doubted_runs

CODE = "check-standard-out-of-control"
SEASON = cast(
    "Season",
    SimpleNamespace(
        settings=SimpleNamespace(
            tools={
                "old": SimpleNamespace(id="old", name="Old One", role="check standard"),
                "new": SimpleNamespace(id="new", name="New One", role=""),
            },
            protocols={"check": SimpleNamespace(response=("torque",))},
            logbook=(),
            in_control_until=None,
        )
    ),
)
"""What a chart asks of a season: whose role it is, its name, and what the protocol's response is."""

FIRST_DAY = datetime(2026, 1, 5, 8)
STEADY = (300.2, 299.9, 300.1, 300.3, 300.0, 299.8, 300.1, 299.9)


def _run(
    name: str, *, tool: str = "new", block: str = "", days: float | None = None, level: float = 500.0, rig: str = "hub",
    response: str = "torque",
) -> Run:  # fmt: skip
    started = None if days is None else FIRST_DAY + timedelta(days=days)
    return Run(
        entry=RunEntry(
            run=name, file=f"{name}.csv", tool=tool, setup="near", protocol="check", logger="one", block=block, started=started
        ),
        digest=name,
        onset=Onset(
            time_s=1, standard_uncertainty_s=0, rule="", rest=0, rest_scatter=0, rest_length_s=1, highest=level
        ),
        sample_interval_s=0.005, available_s=5, grid_s=np.array([1.0]), traces={},
        metrics=(Metric(response=response, metric="sustained", at=None, value=level, unit="N*m"),), rig=rig,
    )  # fmt: skip


def _standard(levels: tuple[float, ...] = STEADY, *, rig: str = "hub", dated: bool = True) -> list[Run]:
    """One run of the check standard at the head of each daily block b0, b1, ..."""
    return [
        _run(f"s{k}", tool="old", block=f"b{k}", days=float(k) if dated else None, level=level, rig=rig)
        for k, level in enumerate(levels)
    ]


def _with(out: dict[int, float]) -> tuple[float, ...]:
    return tuple(out.get(k, level) for k, level in enumerate(STEADY))


def _doubted(standard: list[Run], runs: list[Run]) -> list[Finding]:
    return doubted_runs(chart_standards(SEASON, standard), runs)


RUNS = [
    _run("in-good", block="b3", days=3.1), _run("loose-before", days=2.5), _run("loose-since", days=3.5),
    _run("in-bad", block="b4", days=4.1), _run("loose-after", days=4.5), _run("in-next", block="b5", days=5.1),
    _run("loose-later", days=5.5),
]  # fmt: skip


def test_a_chart_in_control_doubts_nothing() -> None:
    assert _doubted(_standard(), RUNS) == []


def test_runs_since_the_last_good_block_and_until_the_next_are_in_doubt() -> None:
    (found,) = _doubted(_standard(_with({4: 285.0})), RUNS)
    assert (found.code, found.severity) == (CODE, "doubtful")
    assert found.subjects == ("loose-since", "in-bad", "loose-after")  # by hand: day 3.5 to day 4.5
    assert "out of control in block b4" in found.message
    assert "since its last good block, b3" in found.message
    # by hand: 285 against the mean of the others, 300.03: -5.0 %; 7 blocks are left to make the limits
    assert "−5.0" in found.message
    assert "from that of the 7 other blocks" in found.message


def test_the_first_block_has_no_good_one_before() -> None:
    (found,) = _doubted(_standard(_with({0: 285.0})), [_run("early", days=-1.0), *RUNS])
    assert found.subjects == ("early",)
    assert "with no good block before" in found.message


def test_two_blocks_out_one_after_the_other_are_one_stretch() -> None:
    (found,) = _doubted(_standard(_with({4: 240.0, 5: 285.0})), RUNS)
    assert found.subjects == ("loose-since", "in-bad", "loose-after", "in-next", "loose-later")
    assert "in 2 blocks, b4 to b5" in found.message


def test_blocks_out_apart_in_time_are_two_findings() -> None:
    found = _doubted(_standard(_with({2: 240.0, 5: 285.0})), RUNS)
    assert [one.subjects for one in found] == [("loose-before",), ("loose-after", "in-next", "loose-later")]


def test_a_drift_doubts_the_half_of_the_blocks_that_it_led_to() -> None:
    # constructed: a climb of 0.8 N*m a block with scatter of 0.5 N*m: no block stands apart, and the later
    # half is far above the first
    random = np.random.default_rng(4)
    levels = tuple(300 + 0.8 * np.arange(14) + 0.5 * random.standard_normal(14))
    standard = _standard(levels)
    (chart,) = chart_standards(SEASON, standard)
    assert chart.judged.step is not None
    assert not chart.judged.apart
    (found,) = _doubted(standard, [_run("middle", block="b6", days=6.1), _run("late", block="b13", days=13.1)])
    assert found.subjects == ("late",)
    assert f"the mean of these {len(chart.judged.step.blocks)} blocks is" in found.message
    (told,) = chart_findings([chart])
    assert told.subjects == tuple(chart.blocks[k] for k in chart.judged.step.blocks)


def test_a_stated_history_is_what_later_blocks_are_judged_by() -> None:
    until = (FIRST_DAY + timedelta(days=4)).date()
    told = SimpleNamespace(settings=SimpleNamespace(**{**vars(SEASON.settings), "in_control_until": until}))
    (chart,) = chart_standards(cast("Season", told), _standard(_with({6: 285.0})))
    assert (chart.stated, chart.judged.stated) == (5, 5)  # by hand: a block a day, days 0 to 4
    assert set(chart.judged.apart) == {6}
    (found,) = chart_findings([chart])
    assert "from that of the 5 other blocks" in found.message


def test_another_rig_and_another_response_are_not_touched() -> None:
    out = _standard(_with({4: 285.0}))
    assert _doubted(out, [_run("other", days=4.1, rig="bench two"), _run("speed", days=4.1, response="speed")]) == []
    # Blocks of two rigs are two histories: beside another rig's level none of these stands apart.
    charts = chart_standards(SEASON, _standard() + _standard(tuple(2 * level for level in STEADY), rig="bench two"))
    assert [(chart.rig, len(chart.blocks)) for chart in charts] == [("hub", 8), ("bench two", 8)]
    assert not any(chart.judged.out for chart in charts)


def test_runs_without_date_are_placed_by_their_block_or_said_to_be_not() -> None:
    runs = [_run("in-bad", block="b4"), _run("in-good", block="b3"), _run("nowhere")]
    placed, unplaced = _doubted(_standard(_with({4: 285.0}), dated=False), runs)
    assert placed.subjects == ("in-bad",)
    assert unplaced.subjects == ("nowhere",)
    assert "is not known" in unplaced.message


def test_zones_do_not_change_the_order_of_blocks() -> None:
    east, west = timezone(timedelta(hours=9)), timezone(timedelta(hours=-5))
    runs: list[Run] = []
    for run, zone in zip(_standard(), [east, west] * 4, strict=True):
        at = FIRST_DAY.replace(tzinfo=UTC) + timedelta(hours=len(runs))
        entry = replace(run.entry, started=at.astimezone(zone))
        runs.append(replace(run, entry=entry))
    (chart,) = chart_standards(SEASON, runs[::-1])
    assert chart.blocks == tuple(f"b{k}" for k in range(8))


@pytest.mark.parametrize("blocks", [1, 2, 3])
def test_fewer_than_four_blocks_are_no_history(blocks: int) -> None:
    assert _doubted(_standard((300.0, 400.0, 300.0)[:blocks]), RUNS) == []


def test_many_runs_are_counted_and_all_are_subjects() -> None:
    runs = [_run(f"r{k}", block="b4", days=4.1) for k in range(9)]
    (found,) = _doubted(_standard(_with({4: 285.0})), runs)
    assert "9 runs (r0, r1, r2, r3, r4, r5 and 3 more)" in found.message
    assert len(found.subjects) == 9


@pytest.fixture(scope="module")
def season(demo: Path) -> Season:
    return tb.open_season(demo)


def _told(season: Season, **which: str) -> list[Finding]:
    return [one for one in tb.compare(season, **which).record.findings if one.code == CODE]


def test_the_planted_block_doubts_the_runs_of_the_demo_that_were_made_in_it(season: Season, demo: Path) -> None:
    # Planted: truth.json shifts ip4-check; by hand from runs.csv: three other runs are of block ip-4.
    flaw = next(
        one for one in json.loads((demo / "truth.json").read_text())["flaws"] if one["kind"] == "check-out-of-control"
    )
    assert flaw["run"] == "ip4-check"
    (found,) = _told(season, episode="inlet-pressure", tool="quernel-1")
    assert set(found.subjects) == {f"ip4-quernel-1-at-{bar}" for bar in (4, 5, 6)}
    assert "block ip-4" in found.message
    assert "25 other blocks" in found.message  # by hand: 26 blocks of air runs have a check standard run


def test_no_other_report_of_the_demo_uses_them(season: Season) -> None:
    others = [plan for plan in season.plans() if plan.state != "skipped" and plan.episode != "inlet-pressure"]
    assert len(others) == 19
    assert [p.path for p in others if any(f.code == CODE for f in compare_plan(season, p).findings)] == []


def test_a_report_of_one_episode_still_reads_the_whole_history(demo: Path) -> None:
    only = tb.open_season(demo, episode="inlet-pressure")
    (found,) = _told(only, episode="inlet-pressure", tool="quernel-1")
    assert "25 other blocks" in found.message


def test_the_report_says_which_recordings_it_read_for_the_chart(season: Season) -> None:
    digests = tb.compare(season, episode="inlet-pressure", tool="quernel-1").record.digests
    assert len([name for name in digests if "check-standard/" in name]) == 26


def test_check_says_the_same_block_once(season: Season) -> None:
    told = [one for one in check_season(season).findings if one.code == CODE]
    assert [one.subjects for one in told] == [("ip-4",)]


def test_another_recording_of_the_standard_makes_the_reports_anew(demo: Path, tmp_path: Path) -> None:
    copy = tmp_path / "season"
    shutil.copytree(demo, copy)
    season = tb.open_season(copy)
    plan = next(plan for plan in season.plans() if plan.episode == "inlet-pressure")

    def key() -> str:
        return report_key(plan, season.settings, Inputs(copy), "program")

    before = key()
    assert key() == before
    with (copy / "recordings/check-standard/fe1-check.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    assert key() != before


def test_the_caveats_of_the_page_tell_it(season: Season) -> None:
    shown = tb.show_caveats(tb.compare(season, episode="inlet-pressure", tool="quernel-1"))._repr_html_()
    assert "out of control in block ip-4" in shown
    assert "ip4-quernel-1-at-4" in shown
