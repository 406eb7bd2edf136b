"""The common time base where a protocol states none: what the shortest run takes away is said."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

import toolbench as tb
from toolbench.records.settings import Protocol
from toolbench.season.outcome import Comparison
from toolbench.season.reducing import find_timing, round_down


def _write(path: Path, stop_s: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 0.6 + stop_s + 0.5, 0.005)
    since = time - 0.6
    level = (400 + seed) * (1 - np.exp(-np.maximum(since, 0) / 0.5))
    torque = np.where((since > 0) & (since < stop_s), level, 0.0) + rng.normal(0, 2, time.size)
    rows = "".join(f"{t:.3f},{v:.2f}\n" for t, v in zip(time, torque, strict=True))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("t [s],Torque [N*m]\n" + rows, encoding="utf-8")


def _compared(folder: Path, stops: Sequence[float], **options: str) -> Comparison:
    for k, stop in enumerate(stops):
        _write(folder / "a" / f"a{k}.csv", stop, k)
        _write(folder / "b" / f"b{k}.csv", stop, k + 10)
    season = tb.compare_folders([folder / "a", folder / "b"], out=folder / "out", **options)
    comparison: Comparison = tb.compare(tb.open_season(season), episode="comparison", tool="tool")
    return comparison


def test_the_tail_after_the_tool_stopped_is_in_no_window(tmp_path: Path) -> None:
    comparison = _compared(tmp_path, (4.0, 4.0, 4.0))
    # By hand: 4.0 s less 2 % or 0.1 s, cut to two digits.
    assert comparison.record.duration_s == pytest.approx(3.9, abs=0.11)
    level = comparison.levels.query("metric == 'sustained' and item == 'a'")["value"].iloc[0]
    assert level == pytest.approx(401, rel=0.01)  # constructed: 400, 401, 402 N*m
    assert {finding.code for finding in comparison.record.findings} <= {"sensor-not-stated"}


def test_a_run_that_ends_early_is_named(tmp_path: Path) -> None:
    comparison = _compared(tmp_path, (4.0, 4.0, 2.0))
    found = [finding for finding in comparison.record.findings if finding.code == "run-ends-early"]
    assert {subject for finding in found for subject in finding.subjects} == {"a2", "b2"}
    assert comparison.record.duration_s < 2.0


def test_a_mark_that_no_run_reaches_is_said(tmp_path: Path) -> None:
    comparison = _compared(tmp_path, (4.0, 4.0, 4.0), marks="2s,6s")
    assert any("6 s" in f.message for f in comparison.record.findings if f.code == "mark-beyond-run")


@pytest.mark.parametrize(("seconds", "cut"), [(5.19, 5.1), (11.97, 11.0), (0.987, 0.98), (4.0, 4.0), (123.4, 120.0)])
def test_a_default_duration_is_a_number_a_person_can_say(seconds: float, cut: float) -> None:
    assert round_down(seconds) == pytest.approx(cut)  # by hand


def test_default_marks_and_window_are_those_of_the_contract() -> None:
    timing = find_timing(Protocol(id="p", label="p"), 8.0)
    assert timing.marks_s == pytest.approx((2.0, 4.0, 8.0))  # 25, 50 and 100 %
    assert timing.window_s == pytest.approx((6.4, 8.0))  # the last fifth
