"""Epochs of the rig: a change of 4 % between two items is taken out by the check standard, with the link's uncertainty."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
import small_season
from scipy import stats

import toolbench as tb
from toolbench.errors import AnalysisError
from toolbench.records.comparison import ComparisonRecord, Component
from toolbench.season import check_season
from toolbench.season.comparing import compare_plan
from toolbench.season.opening import find_plan
from toolbench.season.results import results
from toolbench.view.wording.sentences import sentence

CHANGE, SECOND = "2026-03-01", "2026-04-01"
BEFORE, SINCE, LATER = "2026-02-0", "2026-03-0", "2026-04-0"
BENCH = """\
[bench]
log = "bench-log.csv"

[loggers.rig]
time = "t [ms]"
channels.torque = { column = "Torque [N*m]", sensor = "cell" }

[sensors.cell]
quantity = "torque"
range = ["0 N*m", "2000 N*m"]
SCALE

[protocols.held]
duration = "1.5 s"
marks = ["1 s"]
reach = ["300 N*m"]

[protocols.check]
duration = "1.5 s"
CHECK

[setups.near]
[setups.far]
[setups.wide]

[[episodes]]
id = "line"
tools = ["wrench"]
setups = ["near", "far", "wide"]
protocols = ["held"]
compare = "all"
BASELINE
"""
TOOLS = "tool,name,role\nwrench,First,\nold,Old One,check standard\n"
STEP = 1.04
"""Constructed: since the change the rig shows 4 % more of everything."""
STANDARD = (300.0, 303.0, 298.5, 301.5)
"""Constructed: levels of the check standard's blocks on one side [N*m]."""
LEVELS = (500.0, 504.0, 497.0)

Row = tuple[str, str, str, str, float]
"""Tool, setup, block, day and level of a run."""


def _runs(
    tool: str, setup: str, month: str, levels: Iterable[float], *, step: float = 1.0, block: str = ""
) -> list[Row]:
    """A run a day, each in a block of its own where `block` begins its name."""
    return [
        (tool, setup, f"{block}{k}" if block else "", f"{month}{k + 1}" if month else "", level * step)
        for k, level in enumerate(levels)
    ]


def _standard(month: str, step: float = 1.0, levels: Iterable[float] = STANDARD) -> list[Row]:
    return _runs("old", "near", month, levels, step=step)


def _write(folder: Path, rows: Iterable[Row], *, changes: Iterable[str] = (CHANGE,), **said: str) -> Path:
    (folder / "recordings").mkdir(parents=True)
    listed = [("file", "tool", "setup", "protocol", "block", "started")]
    for number, (tool, setup, block, day, level) in enumerate(rows):
        name = f"recordings/r{number:02}.csv"
        (folder / name).write_text(small_season.recording(level, number), encoding="utf-8")
        listed.append(
            (name, tool, setup, "check" if tool == "old" else "held", block, f"{day}T10:00:00" if day else "")
        )
    with (folder / "runs.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(listed)
    log = "".join(f"{day},cell,another cell\n" for day in changes)
    (folder / "bench-log.csv").write_text(f"date,changed,note\n{log}", encoding="utf-8")
    bench = BENCH
    for place in ("SCALE", "CHECK", "BASELINE"):
        bench = bench.replace(place, said.get(place.lower(), ""))
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    (folder / "tools.csv").write_text(TOOLS, encoding="utf-8")
    return folder


def _compare(folder: Path) -> ComparisonRecord:
    season = tb.open_season(folder)
    return compare_plan(season, find_plan(season, episode="line", tool="wrench"))


def _codes(record: ComparisonRecord) -> list[tuple[str, str]]:
    return [(f.code, f.severity) for f in record.findings if f.code.startswith(("epoch", "rig-"))]


def _percent(record: ComparisonRecord, item: str, base: str = "near") -> float:
    return next(
        d.percent.value for d in record.differences if (d.item, d.baseline, d.metric) == (item, base, "sustained")
    )


def _link_parts(record: ComparisonRecord, item: str, base: str = "near") -> list[Component]:
    row = next(d for d in record.differences if (d.item, d.baseline, d.metric) == (item, base, "sustained"))
    return [part for part in row.percent.components if part.source.startswith("epoch/") and part.contribution]


APART = [
    *_runs("wrench", "near", BEFORE, LEVELS), *_runs("wrench", "far", SINCE, [0.95 * x for x in LEVELS], step=STEP)
]  # fmt: skip
LINKED = [*APART, *_standard(BEFORE), *_standard(SINCE, STEP)]


@pytest.fixture(scope="module")
def linked(tmp_path_factory: pytest.TempPathFactory) -> ComparisonRecord:
    return _compare(_write(tmp_path_factory.mktemp("linked") / "season", LINKED))


def test_the_difference_is_recovered(linked: ComparisonRecord) -> None:
    # Constructed: 5 % less; without the link it would read -1.2 %. The recordings' noise is 1 N*m a sample.
    assert _percent(linked, "far") == pytest.approx(-5.0, abs=0.1)
    # By hand: a build-up with tau 0.2 s has exp(-6.75) left to rise at the middle of the window from 1.2 to 1.5 s.
    level = next(one for one in linked.levels if (one.item, one.metric) == ("far", "sustained"))
    assert level.estimate.value == pytest.approx(0.95 * np.mean(LEVELS) * (1 - math.exp(-6.75)), rel=1e-3)


def test_its_uncertainty_holds_the_links_part(linked: ComparisonRecord) -> None:
    # By hand: each side's mean is known to s/sqrt(4) of it, with 3 degrees of freedom; both act on the ratio of 0.95 in full.
    parts = _link_parts(linked, "far")
    share = float(np.std(STANDARD, ddof=1)) / 2 / float(np.mean(STANDARD))
    assert [abs(part.contribution) for part in parts] == pytest.approx([95.0 * share] * 2, rel=0.05)
    assert [part.degrees_of_freedom for part in parts] == [3.0, 3.0]
    assert {part.label for part in parts} == {
        f"link of the rig's epochs, check standard {when} {CHANGE}" for when in ("before", "since")
    }
    row = next(d for d in linked.differences if (d.item, d.metric) == ("far", "sustained"))
    scatter = [part.contribution for part in row.percent.components if part.evaluation == "A"]
    assert row.percent.standard_uncertainty == pytest.approx(
        math.hypot(*scatter, *(part.contribution for part in parts)), rel=1e-9
    )


def test_levels_curves_and_runs_agree(linked: ComparisonRecord) -> None:
    level = next(one for one in linked.levels if (one.item, one.metric) == ("far", "sustained"))
    runs = [run for run in linked.runs if run.entry.setup == "far"]
    assert level.estimate.value == pytest.approx(np.mean([run.metric("torque", "sustained").value for run in runs]))
    band = next(one for one in linked.bands if one.item == "far")
    assert band.mean[-1] == pytest.approx(level.estimate.value, rel=2e-3)
    assert band.percent is not None
    assert band.percent[-1] == pytest.approx(-5.0, abs=0.5)


def test_times_stay_and_what_no_ratio_carries_goes(linked: ComparisonRecord) -> None:
    far, near = (next(run for run in linked.runs if run.entry.setup == name) for name in ("far", "near"))
    names = [{m.metric for m in run.metrics} for run in (far, near)]
    assert "time_to" in names[1]
    assert names[0] == names[1] - {"time_to", "peak"}
    # Constructed: both build up with tau 0.2 s, so they rise in 0.2 s x ln 9 (by hand), whatever the rig shows.
    assert far.metric("torque", "rise_time").value == pytest.approx(0.2 * math.log(9), rel=0.03)


def test_the_factor_is_told_with_how_well_it_is_known(linked: ComparisonRecord) -> None:
    (told,) = [finding for finding in linked.findings if finding.code == "epochs-linked"]
    assert told.severity == "note"
    assert told.subjects == ("far",)
    # By hand: 1/1.04 = 0.9615; u = sqrt(2) x 0.35 %, 6 effective degrees of freedom, factor 2.45: 0.0107.
    relative = math.sqrt(2) * float(np.std(STANDARD, ddof=1)) / 2 / float(np.mean(STANDARD))
    assert stats.t.ppf(0.975, 6) * relative / STEP == pytest.approx(0.0107, abs=5e-5)
    far = next(run for run in linked.runs if run.entry.setup == "far")
    assert far.links["torque"].factor == pytest.approx(1 / STEP, rel=1e-3)
    assert re.search(
        r"is multiplied by 0\.96[12] ± 0\.011 ", told.message
    )  # 0.9615, less or more by the recordings' noise
    assert f"Old One on near under check: 4 runs before {CHANGE}, 4 runs since {CHANGE}" in told.message
    assert f"on {CHANGE} (cell)" in told.message


def test_check_tells_the_same(tmp_path: Path, linked: ComparisonRecord) -> None:
    told = {f.message for f in check_season(tb.open_season(_write(tmp_path / "s", LINKED))).findings}
    assert {f.message for f in linked.findings if f.code == "epochs-linked"} <= told
    assert not [message for message in told if "out of control" in message]


def test_every_recording_of_the_check_standard_is_among_the_digests(linked: ComparisonRecord) -> None:
    assert {f"recordings/r{n:02}.csv" for n in range(len(LINKED))} <= set(linked.digests)


@pytest.mark.parametrize(
    "standard",
    [
        pytest.param([], id="no check standard"),
        pytest.param(_standard(BEFORE), id="on one side"),
        pytest.param([*_standard(BEFORE), *_standard(SINCE, STEP, STANDARD[:1])], id="once on one side"),
        pytest.param([*_standard(BEFORE), *_runs("old", "wide", SINCE, STANDARD, step=STEP)], id="on another setup"),
        pytest.param([*_standard(BEFORE), *_standard("", STEP)], id="not dated"),
    ],
)
def test_without_a_link_nothing_is_compared(tmp_path: Path, standard: list[Row]) -> None:
    folder = _write(tmp_path / "s", [*APART, *standard])
    with pytest.raises(AnalysisError, match="only near is left: far was run in another epoch of the rig") as caught:
        _compare(folder)
    assert "run the check standard in 2 blocks or more on both sides" in str(caught.value)
    told = [f for f in check_season(tb.open_season(folder)).findings if f.code == "rig-changed"]
    assert [(f.severity, f.subjects) for f in told] == [("doubtful", ("far",))]


@pytest.mark.parametrize("check", ['measurand = "residual torque"', 'direction = "loosening"', 'response = "speed"'])
def test_a_check_standard_of_another_measurand_direction_or_response_is_no_link(tmp_path: Path, check: str) -> None:
    with pytest.raises(AnalysisError, match="only near is left"):
        _compare(_write(tmp_path / "s", LINKED, check=check))


def test_the_other_base_inverts_the_ratio(tmp_path: Path, linked: ComparisonRecord) -> None:
    # Property: the link is the other way round, and so is the difference; its relative uncertainty stays.
    record = _compare(_write(tmp_path / "s", LINKED, baseline='baseline = "far"'))
    there, back = (1 + _percent(linked, "far") / 100, 1 + _percent(record, "near", "far") / 100)
    assert there * back == pytest.approx(1, rel=1e-9)
    parts = [
        sorted(abs(p.contribution) for p in _link_parts(*where)) for where in ((linked, "far"), (record, "near", "far"))
    ]
    assert np.array(parts[1]) / back == pytest.approx(np.array(parts[0]) / there, rel=1e-9)
    near = next(one for one in record.levels if (one.item, one.metric) == ("near", "sustained"))
    assert near.estimate.value == pytest.approx(STEP * float(np.mean(LEVELS)) * (1 - math.exp(-6.75)), rel=2e-3)


def test_the_link_stands_beside_the_runs_in_the_results(linked: ComparisonRecord) -> None:
    runs = {run["run"]: run for run in results(linked)["runs"]}
    far, near = (next(run.id for run in linked.runs if run.entry.setup == name) for name in ("far", "near"))
    assert "links" not in runs[near]
    assert runs[far]["links"]["torque"]["factor"] == pytest.approx(1 / STEP, rel=1e-3)
    assert runs[far]["links"]["torque"]["degrees_of_freedom"] == pytest.approx(6, abs=0.1)


def test_a_row_that_is_not_linked_is_said_to_be_not_compared(tmp_path: Path, linked: ComparisonRecord) -> None:
    season = tb.open_season(_write(tmp_path / "s", LINKED))
    row = next(d for d in linked.differences if d.metric == "time_to")
    assert sentence(linked, season.settings, row).endswith("is not compared with near: no run of far has it.")


def test_an_item_that_no_link_reaches_is_left_out_and_the_others_compared(tmp_path: Path) -> None:
    rows = [*APART, *_runs("wrench", "wide", BEFORE, [0.97 * x for x in LEVELS])]
    record = _compare(_write(tmp_path / "s", rows))
    assert [item.id for item in record.items] == ["near", "wide"]
    assert _codes(record) == [("rig-changed", "doubtful")]
    (told,) = [f for f in record.findings if f.code == "rig-changed"]
    assert told.message.startswith("far is left out as not comparable")
    assert not [f for f in record.findings if f.code == "no-runs"]
    assert _percent(record, "wide") == pytest.approx(-3.0, abs=0.1)


def _both_sides(setup: str, share: float, count: tuple[int, int]) -> list[Row]:
    return [
        *_runs("wrench", setup, BEFORE, [share * x for x in LEVELS[: count[0]]], block="a"),
        *_runs("wrench", setup, SINCE, [share * x for x in LEVELS[: count[1]]], step=STEP, block="b"),
    ]


def test_items_on_both_sides_alike_stay_as_they_are(tmp_path: Path) -> None:
    rows = [*_both_sides("near", 1.0, (2, 2)), *_both_sides("far", 0.95, (2, 2))]
    record = _compare(_write(tmp_path / "s", [*rows, *_standard(BEFORE), *_standard(SINCE, STEP)]))
    assert _codes(record) == [("rig-changed", "note")]
    assert not any(run.links for run in record.runs)
    assert _percent(record, "far") == pytest.approx(-5.0, abs=0.1)


def test_items_on_both_sides_unequally_are_linked_and_share_the_link_in_part(tmp_path: Path) -> None:
    rows = [*_both_sides("near", 1.0, (3, 1)), *_both_sides("far", 0.95, (1, 3))]
    record = _compare(_write(tmp_path / "s", [*rows, *_standard(BEFORE), *_standard(SINCE, STEP)]))
    assert _codes(record) == [("epochs-linked", "note")]
    # By hand: levels of three runs of one side and the first of the other, (500 + 504 + 497 + 500) / 4 in both.
    assert _percent(record, "far") == pytest.approx(-5.0, abs=0.15)
    # By hand: 3/4 of far's runs and 1/4 of near's were brought over, so half of each mean's share is left in the ratio.
    share = float(np.std(STANDARD, ddof=1)) / 2 / float(np.mean(STANDARD))
    assert [abs(part.contribution) for part in _link_parts(record, "far")] == pytest.approx([47.5 * share] * 2, rel=0.1)


def test_on_both_sides_unequally_without_a_link_is_doubtful(tmp_path: Path) -> None:
    record = _compare(_write(tmp_path / "s", [*_both_sides("near", 1.0, (3, 1)), *_both_sides("far", 0.95, (1, 3))]))
    assert _codes(record) == [("rig-changed", "doubtful")]
    assert all(len(item.runs) == 4 for item in record.items)


def test_runs_that_no_link_reaches_leave_an_item_of_both_sides(tmp_path: Path) -> None:
    rows = [*_both_sides("near", 1.0, (3, 2)), *_runs("wrench", "far", BEFORE, [0.95 * x for x in LEVELS])]
    record = _compare(_write(tmp_path / "s", rows))
    (near, far) = record.items
    assert (len(near.runs), len(near.excluded), len(far.runs)) == (3, 2, 3)
    assert {reason for _, reason in near.excluded} == {"another epoch of the rig, and no check standard links it"}
    assert _codes(record) == [("rig-changed", "doubtful")]
    assert _percent(record, "far") == pytest.approx(-5.0, abs=0.1)


THREE = [
    *APART, *_runs("wrench", "wide", LATER, [0.9 * x for x in LEVELS], step=STEP * STEP),
]  # fmt: skip
CHAIN = [
    *_standard(BEFORE), *_standard(SINCE, STEP),
    *_runs("old", "far", SINCE, STANDARD, step=STEP), *_runs("old", "far", LATER, STANDARD, step=STEP * STEP),
]  # fmt: skip


def test_links_multiply_along_a_chain_each_with_its_own_parts(tmp_path: Path) -> None:
    # The check standard was run on `near` over the first change and on `far` over the second.
    record = _compare(_write(tmp_path / "s", [*THREE, *CHAIN], changes=(CHANGE, SECOND)))
    assert _percent(record, "far") == pytest.approx(-5.0, abs=0.15)
    assert _percent(record, "wide") == pytest.approx(-10.0, abs=0.2)
    assert (len(_link_parts(record, "far")), len(_link_parts(record, "wide"))) == (2, 4)
    # By hand: between the second epoch and the third the first link is the same in both, and cancels.
    assert {part.source.split("/")[3] for part in _link_parts(record, "wide", "far")} == {"far"}
    assert [code for code, _ in _codes(record)] == ["epochs-linked", "epochs-linked"]


def test_one_check_standard_over_all_epochs_links_each_to_the_base_directly(tmp_path: Path) -> None:
    rows = [*THREE, *_standard(BEFORE), *_standard(SINCE, STEP), *_standard(LATER, STEP * STEP)]
    record = _compare(_write(tmp_path / "s", rows, changes=(CHANGE, SECOND)))
    # By hand: the mean of the epoch between stands on no side of the third's link; the base's cancels between the other two.
    epochs = {pair: {part.source.split("/")[1] for part in _link_parts(record, *pair)} for pair in
              (("wide", "near"), ("wide", "far"))}  # fmt: skip
    assert epochs == {("wide", "near"): {"first", SECOND}, ("wide", "far"): {CHANGE, SECOND}}


def test_a_chain_that_breaks_leaves_out_what_lies_behind(tmp_path: Path) -> None:
    rows = [*THREE, *_standard(BEFORE), *_standard(SINCE, STEP)]
    record = _compare(_write(tmp_path / "s", rows, changes=(CHANGE, SECOND)))
    assert [item.id for item in record.items] == ["near", "far"]
    assert _codes(record) == [("rig-changed", "doubtful"), ("epochs-linked", "note")]


def test_runs_without_a_date_are_named(tmp_path: Path) -> None:
    rows = [*LINKED, *_runs("wrench", "far", "", [0.95 * STEP * LEVELS[0]])]
    record = _compare(_write(tmp_path / "s", rows))
    assert _codes(record) == [("epoch-not-known", "doubtful"), ("epochs-linked", "note")]
    (told,) = [f for f in record.findings if f.code == "epoch-not-known"]
    assert told.subjects == (f"r{len(LINKED):02}",)
    # It counts with its item's other runs, which all lie in one epoch.
    assert _percent(record, "far") == pytest.approx(-5.0, abs=0.3)


def test_an_undated_run_is_placed_by_its_block(tmp_path: Path) -> None:
    near = _runs("wrench", "near", BEFORE, LEVELS, block="a")
    far = _runs("wrench", "far", SINCE, [0.95 * x for x in LEVELS], step=STEP, block="b")
    loose = [(tool, setup, block, "", level) for tool, setup, block, _, level in far[:1]]
    record = _compare(_write(tmp_path / "s", [*near, *far, *loose, *_standard(BEFORE), *_standard(SINCE, STEP)]))
    assert _codes(record) == [("epochs-linked", "note")]


def test_linked_runs_carry_the_scale_of_the_bases_epoch(tmp_path: Path) -> None:
    # By hand: the cell calibrated anew at the change has another certificate; the check standard was read with both, so the
    # second one's scale drops out of what is brought over, and the first one's is the base's own: it cancels.
    scale = "\n".join(
        f'[[sensors.cell.certificates]]\nfrom = "{day}"\nscale = {{ expanded = "2 %", k = 2 }}'
        for day in ("2026-01-01", CHANGE)
    )
    record = _compare(_write(tmp_path / "s", LINKED, scale=scale))
    row = next(d for d in record.differences if (d.item, d.metric) == ("far", "sustained"))
    assert not [part for part in row.percent.components if part.source.startswith("scale/") and part.contribution]
    level = next(one for one in record.levels if (one.item, one.metric) == ("far", "sustained"))
    (part,) = [part for part in level.estimate.components if part.source.startswith("scale/")]
    assert part.contribution == pytest.approx(0.01 * level.estimate.value)


def test_a_check_standard_out_of_control_on_one_side_puts_the_link_in_doubt(tmp_path: Path) -> None:
    steady = [300.0, 300.2, 299.8, 300.1, 299.9, 300.0, 300.1, 270.0]
    record = _compare(_write(tmp_path / "s", [*APART, *_standard(BEFORE, 1.0, steady), *_standard(SINCE, STEP)]))
    assert ("epochs-linked", "doubtful") in _codes(record)


def test_an_excluded_run_is_put_back_brought_over_too(tmp_path: Path) -> None:
    folder = _write(tmp_path / "s", [*LINKED, ("wrench", "far", "", f"{SINCE}9", 0.95 * STEP * LEVELS[0])])
    rows = (folder / "runs.csv").read_text(encoding="utf-8").splitlines()
    rows = [f"{row},{',' if k < len(rows) - 1 else 'yes,rig fault'}" for k, row in enumerate(rows)]
    rows[0] = rows[0].removesuffix(",,") + ",exclude,reason"
    (folder / "runs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    record = _compare(folder)
    assert record.all_runs is not None
    whole = next(d for d in record.all_runs.differences if (d.item, d.metric) == ("far", "sustained"))
    # Constructed: the run put back is 5 % under like the others; as it was read it would lift the mean by 1 %.
    assert whole.n == 4
    assert whole.percent.value == pytest.approx(-5.0, abs=0.15)
