"""Which item lacks which block, and pairs compared in a part of their runs, on the demo season with runs left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import toolbench as tb
from toolbench.records.comparison import ComparisonRecord
from toolbench.records.findings import Finding
from toolbench.records.settings import RunEntry
from toolbench.season.checking import check_season
from toolbench.season.comparing import compare_plan
from toolbench.season.opening import Season, find_plan
from toolbench.season.results import results


def _without(season: Season, *left_out: str) -> Season:
    def changed(entry: RunEntry) -> RunEntry:
        return replace(entry, excluded=True, reason="rig fault") if entry.run in left_out else entry

    runs = tuple(changed(entry) for entry in season.settings.runs)
    return replace(season, settings=replace(season.settings, runs=runs))


def _in_no_block(season: Season, run: str) -> Season:
    runs = tuple(replace(entry, block="") if entry.run == run else entry for entry in season.settings.runs)
    return replace(season, settings=replace(season.settings, runs=runs))


@pytest.fixture(scope="module")
def season(demo: Path) -> Season:
    opened: Season = tb.open_season(demo)
    return opened


def _compared(season: Season) -> ComparisonRecord:
    # Constructed: the demo runs three setups of this tool in each of the blocks fs-1 to fs-4.
    return compare_plan(season, find_plan(season, episode="far-end", tool="quernel-1", protocol="static"))


def _said(record: ComparisonRecord) -> list[Finding]:
    return [one for one in record.findings if one.code in ("blocks-incomplete", "compared-in-part")]


def _blocks(record: ComparisonRecord) -> dict[str, tuple[int, int, int]]:
    rows = [row for row in record.differences if row.metric == "sustained" and row.response == "torque"]
    return {row.item: (row.blocks, row.n, row.n_baseline) for row in rows}


def test_nothing_is_said_of_complete_blocks(season: Season) -> None:
    record = _compared(season)
    assert _said(record) == []
    assert _blocks(record) == {"far": (4, 4, 4), "far-wide": (4, 4, 4)}


def test_a_missing_block_is_named_and_touches_its_own_pair_alone(season: Season) -> None:
    record = _compared(_without(season, "fs4-quernel-1-far"))
    assert _blocks(record) == {"far": (3, 3, 3), "far-wide": (4, 4, 4)}
    lacks, part = _said(record)
    assert (lacks.code, lacks.severity, lacks.subjects) == ("blocks-incomplete", "note", ("far",))
    assert lacks.message == "13 mm × 30 m has no run in block fs-4."
    assert (part.code, part.severity, part.subjects) == ("compared-in-part", "note", ("far", "near"))
    assert "within 3 blocks that both were run in" in part.message
    assert "1 run outside them (fs4-quernel-1-near) counts in the levels only" in part.message


def test_a_missing_block_of_the_base_touches_every_pair(season: Season) -> None:
    record = _compared(_without(season, "fs4-quernel-1-near"))
    assert _blocks(record) == {"far": (3, 3, 3), "far-wide": (3, 3, 3)}
    assert [one.code for one in _said(record)] == ["blocks-incomplete", "compared-in-part", "compared-in-part"]


def test_a_run_of_no_block_counts_in_the_level_only(season: Season) -> None:
    record = _compared(_in_no_block(season, "fs4-quernel-1-far"))
    assert _blocks(record)["far"] == (3, 3, 3)
    level = next(one for one in record.levels if (one.item, one.metric) == ("far", "sustained"))
    assert level.n == 4


def test_with_two_common_blocks_runs_are_independent_and_that_is_doubted(season: Season) -> None:
    record = _compared(_without(season, "fs4-quernel-1-far", "fs1-quernel-1-near"))
    assert _blocks(record)["far"] == (0, 3, 3)
    far = next(one for one in _said(record) if one.subjects == ("far",))
    assert far.severity == "doubtful"
    assert "independent" in far.message


def test_the_percentage_of_a_pair_in_part_is_that_of_its_blocks(season: Season) -> None:
    record = _compared(_without(season, "fs4-quernel-1-far"))
    row = next(one for one in record.differences if (one.item, one.metric) == ("far", "sustained"))
    whole = next(one for one in _compared(season).levels if (one.item, one.metric) == ("near", "sustained"))
    assert row.within is not None
    item, base = row.within
    assert row.percent.value == pytest.approx(100 * (item.value / base.value - 1), rel=1e-12)
    made = next(one for one in results(record)["differences"] if (one["item"], one["metric"]) == ("far", "sustained"))
    assert made["levels_in_blocks"] == {"item": item.value, "baseline": base.value}
    assert base.value != pytest.approx(whole.estimate.value, rel=1e-6)


def test_a_season_in_other_blocks_is_not_called_incomplete(season: Season) -> None:
    # Constructed: a re-test is made in blocks of its own; no block holds both items.
    assert _said(compare_plan(season, find_plan(season, episode="retest", tool="quernel-1"))) == []


def test_check_says_so_too(season: Season) -> None:
    found = check_season(_without(season, "fs4-quernel-1-far")).findings
    assert any(one.code == "blocks-incomplete" and one.subjects == ("far",) for one in found)
