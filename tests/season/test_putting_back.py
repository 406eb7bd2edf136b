"""The result with all runs beside the one with the runs used, on the demo season's excluded runs."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

import toolbench as tb
from toolbench.records.comparison import ComparisonRecord
from toolbench.records.settings import RunEntry
from toolbench.report.keys import report_key
from toolbench.season.comparing import compare_plan
from toolbench.season.opening import Season, find_plan
from toolbench.season.results import results

CLIPPED, SHIFTED = "fs3-quernel-1-near-first", "co2-quernel-1-three-couplers-first"


def _with(season: Season, run: str, change: Callable[[RunEntry], RunEntry]) -> Season:
    runs = tuple(change(entry) if entry.run == run else entry for entry in season.settings.runs)
    return replace(season, settings=replace(season.settings, runs=runs))


def _far_end(season: Season) -> ComparisonRecord:
    return compare_plan(season, find_plan(season, episode="far-end", tool="quernel-1", protocol="static"))


@pytest.fixture(scope="module")
def season(demo: Path) -> Season:
    opened: Season = tb.open_season(demo)
    return opened


@pytest.fixture(scope="module")
def record(season: Season) -> ComparisonRecord:
    return _far_end(season)


def test_all_runs_are_what_the_season_without_the_exclusion_gives(season: Season, record: ComparisonRecord) -> None:
    # Oracle: the same season whose runs.csv excludes nothing. The protocol states its duration, so the time base is the same.
    other = _far_end(_with(season, CLIPPED, lambda entry: replace(entry, excluded=False, reason="")))
    assert other.all_runs is None
    assert record.all_runs is not None
    told = [row for row in other.differences if other.is_told(row)]
    assert len(told) == len(record.all_runs.differences) == 8
    for mine, theirs in zip(record.all_runs.differences, told, strict=True):
        assert (mine.item, mine.metric, mine.at, mine.n) == (theirs.item, theirs.metric, theirs.at, theirs.n)
        assert mine.percent.value == pytest.approx(theirs.percent.value, rel=1e-12)
        assert mine.interval.lower == pytest.approx(theirs.interval.lower, rel=1e-9)
        assert mine.family_interval.upper == pytest.approx(theirs.family_interval.upper, rel=1e-6)
        assert mine.family_verdict == theirs.family_verdict


def test_a_verdict_that_turns_is_a_caveat_of_its_pair(record: ComparisonRecord) -> None:
    # Constructed: truth.json says that this run's torque stops at 1000 N*m, which lowers the baseline alone.
    found = [one for one in record.findings if one.code == "rests-on-exclusion"]
    assert [one.subjects for one in found] == [("far",)]
    assert {one.severity for one in found} == {"note"}
    assert all(f"{CLIPPED} (clipped)" in one.message for one in found)
    assert "sustained torque" in found[0].message


def test_a_verdict_that_stays_is_no_caveat(season: Season) -> None:
    record = compare_plan(season, find_plan(season, episode="couplers", tool="quernel-1"))
    assert record.all_runs is not None
    assert [one.run for one in record.all_runs.put_back] == [SHIFTED]
    verdicts = {(whole.family_verdict, row.family_verdict) for whole, row in record.all_runs.beside(record.differences)}
    assert verdicts == {("lower", "lower")}
    assert "rests-on-exclusion" not in {one.code for one in record.findings}


def test_the_report_depends_on_what_was_put_back(season: Season, record: ComparisonRecord) -> None:
    file = next(entry.file for entry in season.settings.runs if entry.run == CLIPPED)
    assert file in record.digests
    assert CLIPPED not in {run.id for run in record.runs}

    class Files:
        def __init__(self, changed: str = "") -> None:
            self.changed = changed

        def of(self, name: str) -> str:
            return f"{name}{name == self.changed}"

    plan = find_plan(season, episode="far-end", tool="quernel-1", protocol="static")
    first, again, other = (report_key(plan, season.settings, files, "") for files in (Files(), Files(), Files(file)))
    assert first == again != other


def test_a_copy_is_not_put_back(season: Season) -> None:
    used = next(entry for entry in season.settings.runs if entry.run == "fs3-quernel-1-near")
    record = _far_end(_with(season, CLIPPED, lambda entry: replace(entry, file=used.file, reason="duplicate file")))
    assert record.all_runs is not None
    assert [one.failure for one in record.all_runs.excluded] == ["it is the same recording as another run"]
    assert record.all_runs.differences == ()


def test_a_run_that_cannot_be_read_is_named_with_the_cause(season: Season) -> None:
    record = _far_end(_with(season, CLIPPED, lambda entry: replace(entry, file="recordings/gone.csv")))
    assert record.all_runs is not None
    assert record.all_runs.put_back == ()
    assert record.all_runs.excluded[0].failure
    assert "rests-on-exclusion" not in {one.code for one in record.findings}


def test_conditioning_runs_are_not_put_back(season: Season) -> None:
    # Constructed: the protocol of this report leaves out the first run of every block; that run is now also excluded by hand.
    protocols = dict(season.settings.protocols)
    protocols["static"] = replace(protocols["static"], conditioning=1)
    warmed = replace(season, settings=replace(season.settings, protocols=protocols))
    first = next(run for run in sorted(warmed.conditioning("static")) if run.startswith("fs1-quernel-1"))
    record = _far_end(_with(warmed, first, lambda entry: replace(entry, excluded=True, reason="warm-up")))
    told = {one.run for one in record.all_runs.excluded} if record.all_runs else set()
    assert first not in told


def test_results_hold_both(record: ComparisonRecord) -> None:
    content = json.loads(json.dumps(results(record), allow_nan=False))["all_runs"]
    assert content["excluded"] == [
        {"item": "near", "run": CLIPPED, "reason": "clipped", "put_back": True, "failure": ""}
    ]
    assert len(content["differences"]) == 8
    assert {row["n_baseline"] for row in content["differences"]} == {5}
