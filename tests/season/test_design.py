"""Findings on the design of a comparison that the demo season does not hold."""

from __future__ import annotations

import dataclasses
from datetime import date
from pathlib import Path

import pytest

import toolbench as tb
from toolbench.records.settings import LogbookEntry
from toolbench.season.comparing import compare_plan
from toolbench.season.opening import Season, find_plan


@pytest.mark.parametrize(
    ("day", "severities"),
    [
        # Constructed: the demo runs `near` in January and `near-again` in February.
        # Its check standard was run on both sides; its planted run in February (truth.json) puts the link in doubt.
        pytest.param(date(2026, 2, 1), ["doubtful"], id="between the two setups"),
        pytest.param(date(2026, 1, 9), [], id="before all runs"),
        pytest.param(date(2026, 12, 1), [], id="after all runs"),
    ],
)
def test_a_change_of_the_rig_between_the_runs_is_said(demo: Path, day: date, severities: list[str]) -> None:
    season: Season = tb.open_season(demo)
    logbook = (LogbookEntry(date=day, changed="cell"),)
    season = dataclasses.replace(season, settings=dataclasses.replace(season.settings, logbook=logbook))
    record = compare_plan(season, find_plan(season, episode="retest", tool="quernel-1"))
    assert [f.severity for f in record.findings if f.code in ("rig-changed", "epochs-linked")] == severities
