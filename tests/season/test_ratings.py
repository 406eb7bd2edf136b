"""`check` says where a regulator is set above what a part or a tool is rated for."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_season import BENCH, write

import toolbench as tb
from toolbench.errors import SettingsError
from toolbench.season.checking import check_season

LINE = """
[setups.near]
regulator = "9 bar"
line = [
  { part = "hose", bore = "13 mm", length = "12 m", rated_pressure = "8 bar" },
  { part = "coupler", name = "drop coupler", sonic_conductance = "9 L/(s*bar)", rated_pressure = "9 bar" },
]
"""
TOOLS = "tool,name,rated_pressure [bar]\nwrench-a,First,6.3\nwrench-b,Second,9\n"


def _bench(line: str = LINE) -> str:
    return BENCH.replace("[setups.near]\n", line.lstrip())


def test_part_and_tool_are_named_with_both_pressures(tmp_path: Path) -> None:
    season = tb.open_season(write(tmp_path / "season", bench=_bench(), tools=TOOLS))
    found = [finding for finding in check_season(season).findings if finding.code == "over-rating"]
    assert [finding.message.replace("\u2009", " ") for finding in found] == [
        "Setup near: its regulator is set to 9.00 bar, and part 1, hose, is rated for 8.00 bar.",
        "Setup near: its regulator is set to 9.00 bar, and tool wrench-a is rated for 6.30 bar.",
    ]
    lines = (season.folder / "bench.toml").read_text("utf-8").splitlines()
    # By hand: the line of the part, and that of the setup.
    assert [finding.line for finding in found] == [
        next(k for k, text in enumerate(lines, start=1) if "rated_pressure" in text),
        lines.index("[setups.near]") + 1,
    ]
    assert {finding.severity for finding in found} == {"doubtful"}


def test_a_setting_at_its_rating_is_none_above_it(tmp_path: Path) -> None:
    bench = _bench(LINE.replace('"8 bar"', '"9 bar"'))
    season = tb.open_season(write(tmp_path / "season", bench=bench, tools=TOOLS.replace("6.3", "9")))
    assert not [finding for finding in check_season(season).findings if finding.code == "over-rating"]


def test_a_hose_of_no_length_is_a_fault_of_the_settings(tmp_path: Path) -> None:
    folder = write(tmp_path / "season", bench=_bench(LINE.replace('"12 m"', '"0 m"')), tools=TOOLS)
    with pytest.raises(SettingsError, match=r"line\[1\].length: a hose is longer than 0"):
        tb.open_season(folder)
