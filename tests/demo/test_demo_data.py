"""The demo season is what its script writes, its truth adds up, and each planted flaw is in the file that is said to hold it."""

import csv
import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from bench_line import line_outlet
from bench_model import (
    Cell,
    draw_comparison,
    draw_levels,
    draw_run,
    pack_resistance,
    true_curve,
    true_level,
    true_percent,
)
from bench_parts import ATMOSPHERE, BLOCK_SCATTER, Coupler, Hose, Setup
from logger_dialects import DIALECTS
from make_season import write_season
from scipy import stats

DEMO = Path(__file__).parents[2] / "data_demo"
GENERATED = ("bench.toml", "tools.csv", "runs.csv", "bench-log.csv", "truth.json")


def _files(folder: Path) -> dict[str, bytes]:
    paths = [folder / name for name in GENERATED] + [p for p in (folder / "recordings").rglob("*") if p.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


@pytest.fixture(scope="module")
def truth():
    return json.loads((DEMO / "truth.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def runs():
    with (DEMO / "runs.csv").open(encoding="utf-8", newline="") as file:
        return {row["run"]: row for row in csv.DictReader(file)}


@pytest.fixture(scope="module")
def read(runs):
    """Columns of a comma-separated demo recording by bare name; the loggers of the flawed runs all write commas or semicolons."""

    def read_columns(run: str) -> dict[str, np.ndarray]:
        row = runs[run]
        text = (DEMO / row["file"]).read_bytes().decode(DIALECTS[row["logger"]].encoding)
        if row["logger"] == "cart":
            text = text.replace(";", "\t").replace(",", ".").replace("\t", ",")
        lines = [line.split(",") for line in text.splitlines()]
        head = next(i for i, line in enumerate(lines) if any("Torque" in cell for cell in line))
        first = head + (2 if row["logger"] == "cart" else 1)
        table = np.array([[float(cell) for cell in line] for line in lines[first:]])
        names = [cell.split("[")[0].split("(")[0].strip() for cell in lines[head]]
        return dict(zip(names, table.T, strict=True))

    return read_columns


def test_remaking_gives_the_committed_bytes(tmp_path):
    write_season(tmp_path)
    made, committed = _files(tmp_path), _files(DEMO)
    assert sorted(made) == sorted(committed)
    assert [name for name in made if made[name] != committed[name]] == []


def test_the_season_weighs_less_than_ten_megabytes():
    assert sum(len(content) for content in _files(DEMO).values()) < 10e6


def test_every_recording_has_its_row_and_every_row_its_recording(runs):
    files = {name for name in _files(DEMO) if name.startswith("recordings/")}
    assert {row["file"] for row in runs.values()} == files
    assert len(runs) == len(files)


def test_rows_name_what_bench_toml_and_tools_csv_define(runs):
    bench = tomllib.loads((DEMO / "bench.toml").read_text("utf-8"))
    tools = {row["tool"] for row in csv.DictReader((DEMO / "tools.csv").read_text("utf-8").splitlines())}
    for row in runs.values():
        assert row["tool"] in tools
        assert row["setup"] in bench["setups"]
        assert row["protocol"] in bench["protocols"]
        assert row["logger"] in bench["loggers"]
        assert (row["exclude"] == "yes") == bool(row["reason"])


def test_there_are_at_least_sixteen_reports_over_eight_episodes(truth):
    paths = [report["path"] for report in truth["reports"]]
    assert len(set(paths)) == len(paths) >= 16
    assert len({path.split("/")[0] for path in paths}) == 8


def test_report_items_have_runs_that_count(truth, runs):
    """By hand from the plan: three or more used runs per item, but for the one cold pack."""
    for report in truth["reports"]:
        for item in report["items"]:
            parts = {"setups": (report["subject"], item), "tools": (item, report["subject"])}
            tool, setup = parts.get(report["axis"]) or item.split("/")
            wanted = (tool, setup, report["protocol"], "")
            used = [r for r in runs.values() if (r["tool"], r["setup"], r["protocol"], r["exclude"]) == wanted]
            assert len(used) == 1 if item == "two-strings-cold" else 3 <= len(used) <= 5


def test_true_percents_follow_from_the_true_levels(truth):
    seen = 0
    for report in truth["reports"]:
        levels = {(row["item"], row["metric"], row["at"]): row["level"] for row in report["rows"]}
        for row in report["rows"]:
            base = levels[report["baseline"], row["metric"], row["at"]]
            if row["item"] == report["baseline"]:
                assert "percent" not in row
                continue
            assert row["percent"] == pytest.approx(100 * (row["level"] - base) / base, abs=1e-6)
            seen += 1
    assert seen > 50


def test_fennwhit_is_planted_equal_to_quernel_1(truth):
    rows = [row for r in truth["reports"] if r["axis"] == "tools" for row in r["rows"] if row["item"] == "fennwhit"]
    assert len(rows) == 2 * 3 * 4  # two protocols, three setups, sustained and three marks
    assert all(row["percent"] == 0 for row in rows)


def test_level_at_a_mark_is_the_formula_worked_by_hand():
    """1180 N*m * (6.2 bar/6.2 bar)^0.8 * (1 - exp(-5/0.75)) = 1178.5 N*m; the transient is over by then."""
    assert true_level(Cell("quernel-1", "near", "held"), "at_mark", 5.0) == pytest.approx(1178.5, abs=0.1)
    assert float(true_curve(Cell("quernel-1", "near", "held"), np.array([-0.1]))[0]) == 0


def test_held_pressure_leaves_nothing_of_the_line_and_a_static_setting_does():
    far, near = (Cell("quernel-1", setup, "held") for setup in ("far", "near"))
    assert abs(true_percent(far, near)) < 0.01
    far, near = (Cell("quernel-1", setup, "static") for setup in ("far", "near"))
    assert true_percent(far, near) < -3


@pytest.mark.parametrize(
    ("flow_scfm", "bore_m", "drop_psi"), [(30, 0.0127, 3.4), (30, 0.01905, 0.48), (30, 0.009525, 14.4)]
)
def test_hose_loss_agrees_with_the_isothermal_darcy_figures(flow_scfm, bore_m, drop_psi):
    """Drops over 15.2 m of smooth hose from 90 psig: figures derived with the same law elsewhere; friction laws differ by 10 %."""
    inlet = 90 * 0.0689476
    outlet = line_outlet(inlet, flow_scfm * 0.478, [Hose(bore_m, 15.2)])
    assert (inlet - outlet) / 0.0689476 == pytest.approx(drop_psi, rel=0.1)


def test_a_mated_pair_passes_its_sonic_flow_when_choked():
    """ISO 6358: choked flow is C * p1, so the outlet of a pair at exactly that flow is at b * p1."""
    inlet_abs = 7.0
    outlet = line_outlet(inlet_abs - ATMOSPHERE, 9.0 * inlet_abs, [Coupler()]) + ATMOSPHERE
    assert outlet == pytest.approx(0.35 * inlet_abs)


def test_a_pack_sags_as_ohms_law_says():
    """By hand: 40 A through 5 * 22 mohm / strings + 20 mohm is 5.2, 3.0 and 2.3 V for one, two and three strings."""
    sags = [40 * pack_resistance(Setup("", "battery", strings=strings)) for strings in (1, 2, 3)]
    assert sags == pytest.approx([5.2, 3.0, 2.27], abs=0.01)


def test_drawn_levels_scatter_about_the_truth_as_stated():
    cell = Cell("quernel-1", "far", "static")
    rng = np.random.default_rng(20260113)
    levels = np.array([draw_levels(rng, cell, 4).mean() for _ in range(4000)])
    # Standard error of the mean of 4000 draws: sqrt((1.5 %)^2/4 + (0.3 %)^2)/sqrt(4000) = 0.013 %; five of those.
    assert levels.mean() == pytest.approx(true_level(cell), rel=7e-4)
    assert levels.std() / levels.mean() == pytest.approx(math.hypot(0.015 / 2, 0.003), rel=0.06)


def test_ordinary_intervals_of_blocked_draws_hold_the_truth_in_95_of_100():
    """Oracle: the paired t interval of log ratios, by scipy. 2,000 draws have a standard error of 0.5 %."""
    cell, base = Cell("quernel-1", "far", "static"), Cell("quernel-1", "near", "static")
    rng = np.random.default_rng(7)
    truth, hits = math.log1p(true_percent(cell, base) / 100), 0
    for _ in range(2000):
        drawn = draw_comparison(rng, [cell, base], 4)
        ratio = np.log(drawn[cell] / drawn[base])
        half = stats.t.ppf(0.975, 3) * ratio.std(ddof=1) / 2
        hits += abs(ratio.mean() - truth) < half
    assert 0.935 < hits / 2000 < 0.965


def test_block_effects_cancel_between_cells_of_one_bench():
    cells = [Cell("quernel-1", "far", "static"), Cell("quernel-1", "near", "static")]
    rng = np.random.default_rng(3)
    first, second = (
        np.array(v) for v in zip(*(draw_comparison(rng, cells, 1).values() for _ in range(4000)), strict=True)
    )
    shared = np.cov(first.ravel() / first.mean(), second.ravel() / second.mean())[0, 1]
    # Covariance of the two is that of the block effect and the shared scale error: 1 % and 0.3 %.
    assert math.sqrt(shared) == pytest.approx(math.hypot(BLOCK_SCATTER, 0.003), rel=0.1)


def test_a_drawn_run_rests_before_its_onset_and_returns_to_zero():
    run = draw_run(np.random.default_rng(5), Cell("pelmoor", "lead-5", "mains"))
    torque, after = run.channels["torque"], run.time_s - run.onset_s
    assert 0.5 <= run.onset_s <= 0.8
    assert abs(torque[after < 0].mean()) < 3
    assert abs(torque[-40:].mean()) < 3
    window = (after > 4) & (after < 5)
    assert torque[window].mean() == pytest.approx(true_level(Cell("pelmoor", "lead-5", "mains")) * run.factor, rel=0.01)


# ---- the planted flaws are where truth.json says ------------------------------------------------------------------------


def test_every_flaw_asked_for_is_listed_once(truth):
    kinds = [flaw["kind"] for flaw in truth["flaws"]]
    assert sorted(kinds) == sorted(
        [
            *("foot-pounds", "duplicate-file", "clipped", "hold-off-target", "slipped-socket", "zero-shift"),
            *(
                "trigger-released",
                "true-sag",
                "two-factors",
                "overdue-sensor",
                "undisclosed-loan",
                "check-out-of-control",
            ),
        ]
    )


def _flawed(truth, kind):
    return next(flaw for flaw in truth["flaws"] if flaw["kind"] == kind)


def test_exclusions_in_truth_are_those_of_runs_csv(truth, runs):
    assert {run for run, facts in truth["runs"].items() if facts["excluded"]} == {
        r for r, row in runs.items() if row["exclude"]
    }


def test_foot_pounds_read_1_356_times_too_low(truth, read):
    """1 ft·lbf is 1.3558 N·m (NIST SP 811); the run's own scatter is left in, so 6 %."""
    run = _flawed(truth, "foot-pounds")["run"]
    others = [read(f"ar-quernel-2-{n}")["Torque"].max() for n in (1, 3)]
    assert np.mean(others) / read(run)["Torque"].max() == pytest.approx(1.3558, rel=0.06)


def test_the_duplicate_has_the_same_bytes_and_nothing_else_has(truth, runs):
    contents = {run: (DEMO / row["file"]).read_bytes() for run, row in runs.items()}
    twin = _flawed(truth, "duplicate-file")["run"]
    assert [run for run in contents if run != twin and contents[run] == contents[twin]] == ["ar-fennwhit-3"]
    assert len(set(contents.values())) == len(contents) - 1


def test_the_clipped_run_sits_on_its_limit(truth, read):
    torque = read(_flawed(truth, "clipped")["run"])["Torque"]
    assert (torque == torque.max()).sum() > 100
    assert torque.max() == 1000.0


def test_only_one_used_run_misses_its_held_pressure(truth, runs, read):
    off = []
    for run, row in runs.items():
        if row["protocol"] == "held":
            columns, onset = read(run), truth["runs"][run]["onset_s"]
            after = columns["t"] / 1000 - onset
            if abs(columns["Inlet pressure"][(after > 1) & (after < 5)].mean() - 6.2) > 0.2:
                off.append(run)
    assert off == [_flawed(truth, "hold-off-target")["run"]]


def test_the_slipped_socket_loses_torque_at_unchanged_pressure(truth, read):
    run = _flawed(truth, "slipped-socket")["run"]
    columns = read(run)
    after = columns["t"] / 1000 - truth["runs"][run]["onset_s"]
    before, behind = (after > 1.9) & (after < 2.1), (after > 2.14) & (after < 2.34)
    assert columns["Torque"][behind].mean() < 0.5 * columns["Torque"][before].mean()
    assert columns["Inlet pressure"][behind].mean() == pytest.approx(columns["Inlet pressure"][before].mean(), abs=0.02)


def test_the_zero_shift_shows_after_the_run(truth, read):
    torque = read(_flawed(truth, "zero-shift")["run"])["Torque"]
    assert torque[-20:].mean() - torque[:80].mean() == pytest.approx(34, abs=3)


def test_a_released_trigger_and_a_true_sag_part_in_the_pressure(truth, read):
    """Released: torque gone and pressure back. Sag: torque and pressure fall together, and torque stays over half."""
    run = _flawed(truth, "trigger-released")["run"]
    columns, index = read(run), round((truth["runs"][run]["onset_s"] + 9) * 200)
    assert columns["Torque"][index : index + 200].mean() < 20
    assert columns["Inlet"][index : index + 200].mean() > columns["Inlet"][index - 600 : index - 400].mean() + 10
    for run in _flawed(truth, "true-sag")["runs"]:
        columns, onset = read(run), truth["runs"][run]["onset_s"]
        early, late = (slice(round((onset + at) * 200), round((onset + at + 1) * 200)) for at in (5, 11))
        for name in ("Torque", "Inlet"):
            assert 0.5 < columns[name][late].mean() / columns[name][early].mean() < 0.95


def test_one_check_standard_run_is_far_below_the_others(truth, runs, read):
    peaks = {run: np.sort(read(run)["Torque"])[-200:].mean() for run, row in runs.items() if row["protocol"] == "check"}
    out = _flawed(truth, "check-out-of-control")["run"]
    rest = np.array([peak for run, peak in peaks.items() if run != out])
    assert peaks[out] < rest.mean() - 4 * rest.std(ddof=1)
    assert np.abs(rest - rest.mean()).max() < 3 * rest.std(ddof=1)


def test_every_block_of_air_runs_has_its_check_standard(runs):
    air = {row["block"] for row in runs.values() if row["block"] and row["logger"] not in ("pack", "lead")}
    assert {row["block"] for row in runs.values() if row["protocol"] == "check"} == air


def test_flaws_of_the_settings_are_in_the_settings(truth, runs):
    bench = tomllib.loads((DEMO / "bench.toml").read_text("utf-8"))
    episodes = {episode["id"]: episode for episode in bench["episodes"]}
    tools = {row["tool"]: row for row in csv.DictReader((DEMO / "tools.csv").read_text("utf-8").splitlines())}
    first, second = (bench["setups"][name] for name in _flawed(truth, "two-factors")["setups"])
    assert {key for key in first if first[key] != second[key]} == {"label", "voltage", "lead"}
    assert "factor" not in episodes["mains-lead"]
    due = bench["sensors"]["inlet-gauge"]["due"].isoformat()
    late = {row["block"][:2] for row in runs.values() if row["started"][:10] > due and row["logger"] == "wall"}
    assert late == {"re"}
    lent = {name for name, row in tools.items() if row["obtained"] == "lent"}
    undisclosed = {e["id"] for e in bench["episodes"] if lent & set(e.get("tools", ())) and not e.get("disclosure")}
    assert (lent, undisclosed) == ({"fennwhit", "ostrel"}, {"packs"})
