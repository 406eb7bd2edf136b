"""Composes the rooms below: opens a season, compares, checks, and writes numbers. Names are imported when first used."""

from __future__ import annotations

from importlib import import_module
from typing import Any

_WHERE = {
    "Season": "opening",
    "ReportPlan": "opening",
    "open_season": "opening",
    "Comparison": "outcome",
    "compare": "comparing",
    "compare_plan": "comparing",
    "write_results": "results",
    "finding_row": "results",
    "Published": "results",
    "load": "results",
    "CheckReport": "checking",
    "check_season": "checking",
    "Bench": "bench",
    "check_bench": "bench",
    "compare_folders": "folders",
    "open_line": "supply.asking",
    "LineStudy": "supply.study",
    "rank_tools": "standings.ranking",
    "Standings": "standings.outcome",
    "judge_recording": "watch.judging",
    "Judgement": "watch.verdicts",
    "season_from_recordings": "beginning",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'toolbench.season' has no attribute {name!r}")
    return getattr(import_module(f"toolbench.season.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return __all__
