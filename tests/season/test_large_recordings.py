"""Recordings too large to be read whole: the same run while all samples fit, averages with a word about it where they do not."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from toolbench.errors import AnalysisError
from toolbench.logs.large import blocks, pieces
from toolbench.records.findings import Finding
from toolbench.records.runs import Run
from toolbench.season import loading, open_season
from toolbench.season.reducing import Reduced, reduce_runs

RATE_HZ = 10_000
DURATION_S = 4.0
BENCH = """\
[loggers.rig]
time = "t [ms]"
channels.torque = { column = "Torque [N*m]", sensor = "cell" }
channels.inlet_pressure = "p [bar]"
channels.speed = "n [rpm]"

[sensors.cell]
quantity = "torque"
range = ["0 N*m", "1000 N*m"]

[protocols.held]
duration = "4 s"
marks = ["1 s", "2 s", "4 s"]

[setups.near]

[[episodes]]
id = "one"
tools = ["wrench"]
setups = ["near"]
protocols = ["held"]
"""


@pytest.fixture(autouse=True)
def without_a_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TOOLBENCH_CACHE", "off")


def lines(highest: float = 1e9) -> list[str]:
    """A run at 10 kHz for 5.5 s: a second at rest, then a build-up with noise of 2 N*m; torque ends at `highest`."""
    random = np.random.default_rng(3)
    time = np.arange(int(5.5 * RATE_HZ)) / RATE_HZ
    since = np.maximum(time - 1.0, 0.0)
    torque = np.minimum(500 * (1 - np.exp(-since / 0.5)) + random.normal(0, 2, time.size), highest)
    pressure = 6.9 - 0.7 * (since > 0) + random.normal(0, 0.01, time.size)
    rows = [f"{1000 * t:.1f},{v:.2f},{p:.3f},x" for t, v, p in zip(time, torque, pressure, strict=True)]
    return ["t [ms],Torque [N*m],p [bar],Note", *rows]


def season(folder: Path, rows: Sequence[str]) -> Path:
    (folder / "recordings").mkdir(parents=True)
    (folder / "recordings" / "long-run.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "tools.csv").write_text("tool\nwrench\n", encoding="utf-8")
    (folder / "runs.csv").write_text(
        "file,tool,setup,protocol\nrecordings/long-run.csv,wrench,near,held\n", encoding="utf-8"
    )
    return folder


def reduced(folder: Path) -> Reduced:
    settings = open_season(folder).settings
    return reduce_runs(settings, settings.protocols["held"], settings.runs)


def large(monkeypatch: pytest.MonkeyPatch, budget: int) -> None:
    monkeypatch.setattr(blocks, "LARGE_BYTES", 100_000)
    monkeypatch.setattr(pieces, "PIECE_BYTES", 50_000)
    monkeypatch.setattr(loading, "HELD_BYTES", budget)


def told(run: Run) -> dict[str, Finding]:
    return {finding.code: finding for finding in run.findings}


def test_while_all_samples_fit_nothing_changes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = season(tmp_path / "s", lines())
    (whole,) = reduced(folder).runs
    large(monkeypatch, budget=10_000_000)
    (run,) = reduced(folder).runs
    assert (run.onset, run.metrics, run.conditions) == (whole.onset, whole.metrics, whole.conditions)
    assert (run.findings, run.digest) == (whole.findings, whole.digest)
    for name, trace in whole.traces.items():
        np.testing.assert_array_equal(run.traces[name].mean, trace.mean)
    assert "channel-missing" in told(run)  # speed, by construction


@pytest.fixture
def averaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Run, Run]:
    """One recording reduced from its samples, and from averages of eleven."""
    folder = season(tmp_path / "s", lines())
    (whole,) = reduced(folder).runs
    large(monkeypatch, budget=450_000)
    (run,) = reduced(folder).runs
    return whole, run


def test_averages_move_no_number_beyond_its_uncertainty(averaged: tuple[Run, Run]) -> None:
    whole, run = averaged
    assert run.sample_interval_s > 5 * whole.sample_interval_s
    assert abs(run.onset.time_s - whole.onset.time_s) < whole.onset.standard_uncertainty_s
    for metric in whole.metrics:
        if metric.metric in ("at_mark", "sustained", "flowing_pressure", "droop"):
            found = run.metric(metric.response, metric.metric, metric.at)
            assert found is not None
            # Constructed: noise of 2 N*m on means of 400 samples and more is 0.1 N*m, and 0.1 % of the level is more.
            assert found.value == pytest.approx(metric.value, rel=1e-3)


def test_peaks_stay_in_what_is_drawn(averaged: tuple[Run, Run]) -> None:
    whole, run = (run.traces["torque"] for run in averaged)
    assert whole.high is not None
    assert run.high is not None
    assert run.low is not None
    # An average lies across the edge of a bucket, so each is compared with its neighbours too.
    around = np.stack([np.roll(whole.high, shift) for shift in (-1, 0, 1)])[:, 1:-1]
    assert np.all(run.high[1:-1] <= around.max(axis=0) + 1e-9)
    assert np.mean(run.high[1:-1] == whole.high[1:-1]) > 0.8
    assert np.all(run.low <= run.mean)


def test_the_run_says_how_it_was_averaged(averaged: tuple[Run, Run]) -> None:
    whole, run = averaged
    finding = told(run)["recording-averaged"]
    assert "recording-averaged" not in told(whole)
    every = round(run.sample_interval_s * RATE_HZ)
    assert f"every {every} neighbouring samples" in finding.message
    assert (finding.subjects, finding.file) == (("long-run",), "recordings/long-run.csv")
    # By hand: 4 s over 1.x ms is fewer than 5000 averages, which is coarse.
    assert finding.severity == "doubtful"


def test_fine_averages_are_a_note(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = season(tmp_path / "s", lines())
    large(monkeypatch, budget=1_200_000)
    (run,) = reduced(folder).runs
    assert run.sample_interval_s < DURATION_S / 5000
    assert told(run)["recording-averaged"].severity == "note"


def test_clipping_is_found_in_averages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = season(tmp_path / "s", lines(highest=490.0))
    large(monkeypatch, budget=450_000)
    (run,) = reduced(folder).runs
    assert "490 N·m" in told(run)["clipped"].message


def test_what_exceeds_the_range_is_found_in_averages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [row.replace(",5", ",15", 1) if k % 50 == 0 and k > 30_000 else row for k, row in enumerate(lines())]
    folder = season(tmp_path / "s", rows)
    large(monkeypatch, budget=450_000)
    (run,) = reduced(folder).runs
    assert "over-range" in told(run)


@pytest.mark.parametrize("budget", [450_000, 10_000_000])
def test_time_that_steps_back_within_an_average_is_refused_with_its_line(
    tmp_path: Path, budget: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = lines()
    rows[40_000], rows[40_001] = rows[40_001], rows[40_000]
    folder = season(tmp_path / "s", rows)
    large(monkeypatch, budget)
    with pytest.raises(AnalysisError, match="time steps back") as caught:
        reduced(folder)
    assert caught.value.faults[0].line == 40_002  # by hand: the second of the two, counted from 1


def test_a_response_that_is_not_there_is_refused_with_the_columns_that_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = season(tmp_path / "s", [lines()[0].replace("Torque", "Twist"), *lines()[1:]])
    large(monkeypatch, budget=450_000)
    with pytest.raises(AnalysisError, match="has no column 'Torque"):
        reduced(folder)
