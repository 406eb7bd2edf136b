"""Plans of whole episodes: design found, sheet in blocks, check standard, conditioning, costs, refusals."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
import small_season
from bench_runs import BENCH, write_season

from toolbench.errors import UsageError
from toolbench.season.opening import open_season
from toolbench.season.plan.planning import EpisodePlan, is_balanced, plan_episode
from toolbench.season.plan.sheet import sheet_csv
from toolbench.season.watch.plan_sheet import read_plan
from toolbench.settings import read_bench

TOOLS = (
    "tool,name,supply,role,rated_pressure [bar],air_consumption [L/s]\n"
    "quernel-1,Quernel,air,,8,22\nold-tasselby,Old,air,,8,20\nreference,Ref,air,check standard,8,10\n"
)


def planned(folder: Path, resolve: float = 0.03, **options: object) -> EpisodePlan:
    stated = {"repeatability": 0.02, "blocks": 4, "seed": 9} | options
    return plan_episode(open_season(folder), "one", resolve, **stated)  # type: ignore[arg-type]


def fresh(folder: Path, bench: str = BENCH, tools: str = TOOLS) -> Path:
    """A season without a run, with a check standard."""
    write_season(folder, bench)
    (folder / "tools.csv").write_text(tools, encoding="utf-8")
    return folder


def test_every_item_once_a_block_between_two_check_runs(tmp_path: Path) -> None:
    plan = planned(fresh(tmp_path / "s"))
    cells = {(tool, setup) for tool in ("quernel-1", "old-tasselby") for setup in ("near", "far")}
    assert [row.order for row in plan.sheet] == list(range(1, 25))
    assert len({row.run.casefold() for row in plan.sheet}) == 24
    orders = set()
    for block in dict.fromkeys(row.block for row in plan.sheet):
        rows = [row for row in plan.sheet if row.block == block]
        assert [row.kind for row in rows] == ["check", *["run"] * 4, "check"]
        assert {row.tool for row in rows if row.kind == "check"} == {"reference"}
        made = tuple((row.tool, row.setup) for row in rows if row.kind == "run")
        assert set(made) == cells
        orders.add(made)
    assert len(orders) > 1  # drawn anew for every block


def test_orders_are_drawn_evenly(tmp_path: Path) -> None:
    # Each of four items comes first in a quarter of 200 blocks: 50, with a standard deviation of 6.1 (binomial).
    plan = planned(fresh(tmp_path / "s"), blocks=200)
    runs = [row for row in plan.sheet if row.kind == "run"]
    first = Counter((row.tool, row.setup) for row in runs[::4])
    assert sum(first.values()) == 200
    assert all(abs(count - 50) < 4 * 6.2 for count in first.values())


def test_the_sheet_is_read_back_as_it_was_planned(tmp_path: Path) -> None:
    folder = fresh(tmp_path / "s")
    plan = planned(folder)
    (folder / "plan.csv").write_text(sheet_csv(plan.sheet, loggers=1), encoding="utf-8")
    read = read_plan(folder, folder / "plan.csv", read_bench(folder))
    assert not read.faults
    assert [(r.run, r.tool, r.setup, r.protocol, r.block, r.order, r.note, r.file) for r in read.rows] == [
        (r.run, r.tool, r.setup, r.protocol, r.block, float(r.order), r.note, "") for r in plan.sheet
    ]


def test_a_tool_is_conditioned_once_a_block_before_its_first_run(tmp_path: Path) -> None:
    bench = BENCH.replace("[protocols.static]", "[protocols.static]\nconditioning = 2")
    plan = planned(fresh(tmp_path / "s", bench, "tool,name\nquernel-1,Q\nold-tasselby,O\n"), blocks=2)
    for block in dict.fromkeys(row.block for row in plan.sheet):
        seen: Counter[str] = Counter()
        for row in (row for row in plan.sheet if row.block == block):
            assert (row.kind == "conditioning") == (seen[row.tool] < 2)
            seen[row.tool] += 1
        assert set(seen.values()) == {4}  # two to condition, two setups


def test_costs_of_a_sheet(tmp_path: Path) -> None:
    # By hand: 4 blocks of 6 starts of 5 s; a block takes 2 x (22 + 20) + 2 x 10 = 104 L/s times 5 s: 4 x 520 L = 2.08 m3
    (need,) = planned(fresh(tmp_path / "s"), interval_s=600.0).protocols
    costs = need.costs
    assert (costs.starts, costs.checks, costs.run_s, costs.running_s) == (24, 8, 5.0, 120.0)
    assert costs.total_s == 24 * 600.0
    assert costs.air_m3 == pytest.approx(2.08)
    assert costs.air_source == "air_consumption of tools.csv"
    (unknown,) = planned(fresh(tmp_path / "t", tools="tool,supply\nquernel-1,air\nold-tasselby,air\n")).protocols
    assert (unknown.costs.air_m3, unknown.costs.total_s) == (None, None)
    assert unknown.costs.air_unknown


def test_a_setup_above_a_rated_pressure_is_refused(tmp_path: Path) -> None:
    weak = TOOLS.replace("quernel-1,Quernel,air,,8,", "quernel-1,Quernel,air,,6.2,")
    folder = fresh(tmp_path / "tool", tools=weak)
    with pytest.raises(
        UsageError, match=r"tool quernel-1 is rated for 6.20\s?bar, and 6.90\s?bar is planned"
    ) as refused:
        planned(folder)
    assert refused.value.faults[0].line is not None
    assert planned(folder, permission="letter of 2026-01-02").sheet  # a tool only, and cited
    hose = BENCH.replace(
        '[setups.far]\nregulator = { set = "6.9 bar" }',
        '[setups.far]\nregulator = { set = "6.9 bar" }\n'
        'line = [{ part = "hose", bore = "10 mm", length = "5 m", rated_pressure = "6 bar" }]',
    )
    folder = fresh(tmp_path / "hose", hose)
    for permission in ("", "letter of 2026-01-02"):
        with pytest.raises(UsageError, match=r"its hose is rated for 6.00\s?bar"):
            planned(folder, permission=permission)


def test_without_a_regulator_the_compressor_decides(tmp_path: Path) -> None:
    receiver = 'receiver = { volume = "50 L", free_air = "3 L/s ANR", cut_in = "7 bar", cut_out = "10 bar" }'
    bench = BENCH.replace('[setups.far]\nregulator = { set = "6.9 bar" }', f"[setups.far]\n{receiver}")
    with pytest.raises(UsageError, match="no regulator stated"):
        planned(fresh(tmp_path / "s", bench))


def test_constant_readings_ask_for_a_repeatability(tmp_path: Path) -> None:
    folder = small_season.write(tmp_path / "s")
    text = small_season.recording(500.0, 1)
    for path in (folder / "recordings").glob("*held*.csv"):
        path.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match="read exactly alike"):
        plan_episode(open_season(folder), "long-line", 0.03)


def test_several_loggers_and_none_that_was_used(tmp_path: Path) -> None:
    bench = BENCH.replace(
        "[sensors.cell]", '[loggers.other]\ntime = "t [s]"\nchannels.torque = "T [N*m]"\n\n[sensors.cell]'
    )
    folder = fresh(tmp_path / "s", bench)
    with pytest.raises(UsageError, match="there are 2 loggers"):
        planned(folder)
    assert {row.logger for row in planned(folder, logger="other").sheet} == {"other"}
    with pytest.raises(UsageError, match='no logger "third"'):
        planned(folder, logger="third")


def test_a_plan_goes_on_from_what_is_there(demo: Path) -> None:
    # The demo's season has four blocks, fe-1 to fe-4, of far-end under held: what is missing is planned, under new names.
    season = open_season(demo)
    plan = plan_episode(season, "far-end", 0.03, protocol="held", seed=3)
    (need,) = plan.protocols
    assert {(report.there, report.in_blocks) for report in need.reports} == {(4, True)}
    worst = max(report.rows[0].family[0].runs or 0 for report in need.reports)
    assert need.blocks == worst - 4
    for report in need.reports:
        for one in (*report.rows[0].alone, *report.rows[0].family):
            assert one.fewest is not None
            assert one.runs is not None
            assert one.most is not None
            assert one.fewest < one.runs < one.most
        for alone, family in zip(report.rows[0].alone, report.rows[0].family, strict=True):
            assert (alone.runs or 0) <= (family.runs or 0)
    before = season.settings.runs
    assert not {row.run.casefold() for row in plan.sheet} & {run.run.casefold() for run in before}
    assert not {row.block for row in plan.sheet} & {run.block for run in before}
    assert min(row.order for row in plan.sheet) > max(run.order or 0 for run in before)
    assert {row.logger for row in plan.sheet} == {"wall"}
    assert need.costs.interval_s == 720.0  # one start every 12 minutes, as the demo's runs.csv says
    assert {(row.tool, row.protocol) for row in plan.sheet if row.kind == "check"} == {("old-tasselby", "check")}


def test_an_air_tool_is_no_check_standard_of_packs(demo: Path) -> None:
    plan = plan_episode(open_season(demo), "packs", 0.03, blocks=2, seed=3)
    assert {row.kind for row in plan.sheet} == {"run"}  # an air tool says nothing of a pack


def test_when_further_blocks_keep_a_report_in_blocks() -> None:
    assert is_balanced([[], []])
    assert is_balanced([["a", "b"], ["b", "a"]])
    assert not is_balanced([["a", "b"], ["a"]])
    assert not is_balanced([["a", "a"], ["a", "a"]])
    assert not is_balanced([[""], [""]])
