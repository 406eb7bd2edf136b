"""A sensor with calibration points, from its file to the numbers of a report."""

from pathlib import Path

import numpy as np
import pytest

import toolbench as tb
from toolbench.records.comparison import ComparisonRecord
from toolbench.season import open_season
from toolbench.season.plausible import plausible_findings

GAIN, LIFT = 1.02, 4.0
"""Constructed: the cell shows what acts on it divided by GAIN, less LIFT."""

BENCH = """\
[loggers.rig]
time = "t [ms]"
channels.torque = {{ column = "Torque [N*m]", sensor = "cell" }}

[sensors.cell]
quantity = "torque"
range = ["0 N*m", "1000 N*m"]
{keys}
[protocols.held]
duration = "1.5 s"
marks = ["1 s"]

[setups.near]
[setups.far]

[[episodes]]
id = "line"
tools = ["wrench-a"]
setups = ["near", "far"]
protocols = ["held"]
"""
LEVELS = {"near": 500.0, "far": 400.0}


def shown(torque: np.ndarray) -> np.ndarray:
    return (torque - LIFT) / GAIN


def points(gain: float = GAIN, lift: float = LIFT, scatter: float = 0.2) -> str:
    """Eleven points; those about the line are +- scatter in turn."""
    reference = np.linspace(0, 1000, 11)
    indication = (reference - lift) / gain + scatter * np.resize([1.0, -1.0], 11)
    rows = [f"{a:g},{b:.4f}" for a, b in zip(reference, indication, strict=True)]
    return "\n".join(["reference [N*m],indication [N*m]", *rows]) + "\n"


def season(folder: Path, keys: str, files: dict[str, str], day: str | None = "2026-03-02") -> ComparisonRecord:
    (folder / "recordings").mkdir(parents=True)
    (folder / "calibration").mkdir()
    (folder / "bench.toml").write_text(BENCH.format(keys=keys), encoding="utf-8")
    for name, text in files.items():
        (folder / "calibration" / name).write_text(text, encoding="utf-8")
    rows = ["file,tool,setup,protocol,started"]
    for number, (setup, level) in enumerate(LEVELS.items()):
        for run in range(3):
            rng = np.random.default_rng(10 * number + run)
            time = np.arange(520) / 200
            acting = (level + (run - 1)) * (1 - np.exp(-np.maximum(time - 0.6, 0) / 0.05))
            read = shown(acting + rng.normal(0, 0.5, time.size))
            name = f"recordings/{setup}-{run}.csv"
            body = [f"{1000 * t:.0f},{v:.3f}" for t, v in zip(time, read, strict=True)]
            (folder / name).write_text("\n".join(["t [ms],Torque [N*m]", *body]) + "\n", encoding="utf-8")
            rows.append(f"{name},wrench-a,{setup},held,{day + 'T10:00' if day else ''}")
    (folder / "runs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return tb.compare(open_season(folder), episode="line", tool="wrench-a").record


def level(record: ComparisonRecord, item: str) -> float:
    return next(one.estimate.value for one in record.levels if (one.item, one.metric) == (item, "sustained"))


def parts(record: ComparisonRecord, what: str) -> dict[str, float]:
    rows = record.levels if what == "near" else record.differences
    found = next(one for one in rows if one.item == what and one.metric == "sustained")
    estimate = found.estimate if what == "near" else found.percent  # type: ignore[union-attr]
    return {
        c.source.replace("#", "/").split("/")[0] + c.source.partition("#")[2]: c.contribution
        for c in estimate.components
    }


def codes(record: ComparisonRecord) -> set[str]:
    return {one.code for one in record.findings if one.kind == "calibration"}


def told(record: ComparisonRecord, code: str) -> str:
    return next(one.message for one in record.findings if one.code == code)


def test_readings_are_corrected_and_the_page_says_by_what(tmp_path: Path) -> None:
    record = season(tmp_path, 'points = "calibration/cell.csv"\ncalibrated = 2026-01-10\n', {"cell.csv": points()})
    assert level(record, "near") == pytest.approx(500.0, abs=0.3)  # what acted; uncorrected it would read 486
    assert level(record, "far") == pytest.approx(400.0, abs=0.3)
    trace = record.runs[0].traces["torque"].mean
    assert trace[-1] == pytest.approx(499.0, abs=1.0)  # curves and bands are made of corrected readings too
    assert codes(record) == {"calibration-line"}
    sentence = told(record, "calibration-line")
    assert "calibration of 2026-01-10 (11 points" in sentence
    assert "9 degrees of freedom" in sentence
    assert "Drift since then is not known" in sentence


def test_the_line_is_one_error_shared_by_all_runs(tmp_path: Path) -> None:
    record = season(tmp_path, 'points = "calibration/cell.csv"\ncalibrated = 2026-01-10\n', {"cell.csv": points()})
    own, between = parts(record, "near"), parts(record, "far")
    # By hand: residuals of +- 0.2/GAIN... in turn over 11 points: sd about 0.2 * sqrt(11 / 9) * GAIN-free = 0.22 N*m.
    sd = own["straightness"]
    assert sd == pytest.approx(0.2 * np.sqrt(11 / 9), rel=0.05)
    assert own["line0"] == pytest.approx(sd / np.sqrt(11), rel=0.05)
    # The level's error on both: 100 (400 + e) / (500 + e) - 80 = 0.04 e percent.
    assert between["line0"] == pytest.approx(0.04 * own["line0"], rel=0.02)
    # The slope's acts on the distance from the middle of the points: what is left in a ratio is its part at zero, u * centre.
    line = sd / np.sqrt(11 * 1e6 * 10 / 100)
    assert abs(between["line1"]) == pytest.approx(0.04 * line * 490, rel=0.1)


def test_a_stated_linearity_takes_the_place_of_scatter_about_the_line(tmp_path: Path) -> None:
    keys = 'points = "calibration/cell.csv"\nlinearity = { limit = "0.1 %" }\n'
    record = season(tmp_path, keys, {"cell.csv": points()})
    assert "straightness" not in parts(record, "near")
    assert parts(record, "near")["linearity"] == pytest.approx(1.0 / np.sqrt(3), rel=1e-6)  # 0.1 % of 1000 N*m


CLOSING = """points = "calibration/old.csv"
calibrated = 2026-01-01

[[sensors.cell.certificates]]
from = 2026-05-01
points = "calibration/new.csv"
"""


def test_a_closing_calibration_shares_the_drift_between_the_days(tmp_path: Path) -> None:
    # Halfway (60 of 120 days) between a line of LIFT - 3 and one of LIFT + 3 the readings are right; they drifted by 6 N*m.
    files = {"old.csv": points(lift=LIFT - 3), "new.csv": points(lift=LIFT + 3)}
    record = season(tmp_path, CLOSING, files, day="2026-03-02")
    assert level(record, "near") == pytest.approx(500.0, abs=0.3)
    assert parts(record, "near")["drift"] == pytest.approx(6.0 / 2 / np.sqrt(3), rel=1e-3)
    assert "in proportion to time" in told(record, "calibration-line")
    assert "drifted by 6.0" in told(record, "calibration-line")


def test_an_adjustment_breaks_the_line_between_two_calibrations(tmp_path: Path) -> None:
    files = {"old.csv": points(), "new.csv": points(lift=LIFT + 3)}
    record = season(tmp_path, CLOSING + "adjusted = true\n", files, day="2026-03-02")
    assert level(record, "near") == pytest.approx(500.0, abs=0.3)
    assert "drift" not in parts(record, "near")


def test_the_certificate_is_chosen_by_the_day_of_the_run(tmp_path: Path) -> None:
    record = season(tmp_path, CLOSING, {"old.csv": points(lift=LIFT + 50), "new.csv": points()}, day="2026-06-01")
    assert level(record, "near") == pytest.approx(500.0, abs=0.3)
    assert codes(record) == {"calibration-line"}


@pytest.mark.parametrize(
    ("keys", "day", "code", "words"),
    [
        ("", "2026-03-02", "calibration-not-stated", "has no calibration stated"),
        ('points = "calibration/old.csv"\ncalibrated = 2026-04-01\n', "2026-03-02", "calibration-later", "first calibration is of 2026-04-01"),
        ('points = "calibration/old.csv"\ncalibrated = 2025-01-01\ndue = 2026-01-01\n', "2026-03-02", "calibration-overdue", "was due"),
        (CLOSING, None, "run-undated", "the last one is taken"),
        ('points = "calibration/low.csv"\n', "2026-03-02", "beyond-calibration", "calibrated from 0 N·m to 300 N·m only"),
        (CLOSING.replace('points = "calibration/new.csv"\n', 'scale = { expanded = "1 %", k = 2 }\n'), "2026-06-02", "points-missing",
         "not corrected"),
    ],
)  # fmt: skip
def test_what_a_reader_must_know_of_a_calibration(
    tmp_path: Path, keys: str, day: str | None, code: str, words: str
) -> None:
    low = "".join(line + "\n" for line in points().splitlines()[:5])
    record = season(tmp_path, keys, {"old.csv": points(), "new.csv": points(), "low.csv": low}, day)
    assert code in codes(record)
    assert words in told(record, code).replace("\u2009", " ")


def test_other_points_are_other_numbers_also_where_runs_are_remembered(tmp_path: Path) -> None:
    season(tmp_path, 'points = "calibration/cell.csv"\n', {"cell.csv": points()})
    (tmp_path / "calibration" / "cell.csv").write_text(points(lift=LIFT + 10), encoding="utf-8")
    again = tb.compare(open_season(tmp_path), episode="line", tool="wrench-a").record
    assert level(again, "near") == pytest.approx(510.0, abs=0.3)  # constructed: the line now lies 10 N*m higher


def test_the_page_shows_the_line_in_the_budget_of_a_level(tmp_path: Path) -> None:
    season(tmp_path, 'points = "calibration/cell.csv"\n', {"cell.csv": points()})
    comparison = tb.compare(open_season(tmp_path), episode="line", tool="wrench-a")
    html = tb.show_budget(comparison)._repr_html_().replace("\u2009", " ")
    assert "calibration line of cell, its slope" in html
    assert "Sensitivity" in html
    assert "cell about its calibration line: near" in html
    results = tb.show_caveats(comparison)._repr_html_()
    assert "Readings of sensor cell are corrected by the line of the calibration" in results


@pytest.mark.parametrize(("gain", "doubted"), [(1.02, False), (1.356, True), (0.001, True)])
def test_points_that_correct_by_more_than_a_fifth_are_doubted(tmp_path: Path, gain: float, doubted: bool) -> None:
    """A gain of 1.356 is ft·lbf taken for N·m; constructed."""
    keys = 'points = "calibration/cell.csv"\ncalibrated = 2026-01-10\n'
    season(tmp_path, keys, {"cell.csv": points(gain=gain)})
    found = [f for f in plausible_findings(open_season(tmp_path).settings) if f.file == "calibration/cell.csv"]
    assert bool(found) == doubted
    assert all("which is hardly meant" in finding.message for finding in found)
