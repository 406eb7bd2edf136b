"""A season that has nothing to look at is not passed; and the README's smallest example is one that opens."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from toolbench.errors import AnalysisError
from toolbench.season import check_season, compare, open_season

README = Path(__file__).parents[2] / "README.md"


@pytest.fixture
def smallest(tmp_path: Path) -> Path:
    found = re.search(r"```toml\n(.*?)```", README.read_text(encoding="utf-8"), re.S)
    assert found
    (tmp_path / "bench.toml").write_text(found.group(1), encoding="utf-8")
    return tmp_path


def _record(season: Path, setup: str, level: float) -> None:
    folder = season / "recordings" / "wrench-a" / setup
    folder.mkdir(parents=True)
    time = np.arange(0, 6000, 10)
    for k in range(3):
        # constructed: an exponential rise one second into the recording, three runs of differing level
        torque = np.where(time < 1000, 0, (level + k) * (1 - np.exp(-(time - 1000) / 500)))
        rows = [f"{t},{value:.2f}" for t, value in zip(time, torque, strict=True)]
        (folder / f"held-{k + 1}.csv").write_text("\n".join(["t [ms],Torque [N*m]", *rows]), encoding="utf-8")


def test_a_season_without_recordings_is_doubtful(smallest: Path) -> None:
    report = check_season(open_season(smallest))
    assert [finding.code for finding in report.findings] == ["no-report"]
    assert "names no recording" in report.findings[0].message
    assert report.exit_status == 1
    assert report.looked_at[1:] == ("1 episode with 1 report", "1 tool, 2 setups, 0 sensors")


def test_runs_of_one_setup_only_make_no_report(smallest: Path) -> None:
    _record(smallest, "near", 400)
    report = check_season(open_season(smallest))
    assert "No report can be made" in next(one.message for one in report.findings if one.code == "no-report")
    assert report.exit_status == 1


def test_the_smallest_example_of_the_readme_works_with_runs_of_both(smallest: Path) -> None:
    _record(smallest, "near", 400)
    _record(smallest, "far", 390)
    report = check_season(open_season(smallest))
    assert not [finding for finding in report.findings if finding.severity != "note"]
    assert report.looked_at[0] == "6 recordings, 6 of them analysed and 0 not"


def test_a_recording_cut_short_beside_others_is_told(smallest: Path) -> None:
    _record(smallest, "near", 400)
    _record(smallest, "far", 390)
    cut = smallest / "recordings/wrench-a/far/held-2.csv"
    cut.write_text("\n".join(cut.read_text().splitlines()[:301]), encoding="utf-8")  # 3 s of 6 s, the start at 1 s
    (found,) = [one for one in check_season(open_season(smallest)).findings if one.code == "run-ends-early"]
    assert (found.severity, found.file) == ("doubtful", "recordings/wrench-a/far/held-2.csv")


def test_the_recording_that_the_readme_reads_is_there() -> None:
    found = re.search(r'read_log\("([^"]+)"\)', README.read_text(encoding="utf-8"))
    assert found
    assert (README.parent / found.group(1)).is_file()


def test_a_recording_that_is_a_link_to_itself_is_told(smallest: Path) -> None:
    for setup, level in (("near", 500), ("far", 470)):
        _record(smallest, setup, level)
    recording = next(iter(sorted((smallest / "recordings" / "wrench-a" / "near").iterdir())))
    recording.unlink()
    recording.symlink_to(recording)
    found = check_season(open_season(smallest)).findings
    assert any("leads back to itself" in f.message for f in found if f.file and f.file.endswith(recording.name))


def test_where_no_run_is_usable_the_comparison_says_so(smallest: Path) -> None:
    for setup in ("near", "far"):
        _record(smallest, setup, 400)
    bench = smallest / "bench.toml"
    text = bench.read_text(encoding="utf-8")
    bench.write_text(
        re.sub(r"\[protocols\.held\][^[]*", '[protocols.held]\nduration = "60 s"\n\n', text), encoding="utf-8"
    )
    with pytest.raises(AnalysisError, match="no run is usable; recordings/wrench-a/"):
        compare(open_season(smallest), episode="far-end", tool="wrench-a")


def test_one_report_that_is_skipped_beside_others_is_said(smallest: Path) -> None:
    _record(smallest, "near", 400)
    _record(smallest, "far", 380)
    bench = smallest / "bench.toml"
    second = '\n[[episodes]]\nid = "later"\ntools = ["wrench-b"]\nsetups = ["near", "far"]\nprotocols = ["held"]\n'
    bench.write_text(bench.read_text(encoding="utf-8") + second, encoding="utf-8")
    report = check_season(open_season(smallest))
    skipped = [finding for finding in report.findings if finding.code == "report-skipped"]
    assert [finding.severity for finding in skipped] == ["note"]
    assert "later/tool-wrench-b--held" in skipped[0].message


# (where, what is put there, words of the finding); constructed: values a few times beyond those of any bench
IMPLAUSIBLE = [
    (
        "bench.toml",
        '[bench]\nambient_temperature = "200 degC"\n',
        "bench.ambient_temperature: 200\u2009°C is hardly meant",
    ),
    ("bench.toml", '[setups.deep]\nregulator = "690 bar"\n', "setups.deep.regulator.set: 690\u2009bar"),
    (
        "bench.toml",
        '[setups.wide]\nline = [{ part = "hose", bore = "1 m" }]\n',
        "setups.wide.line[1].bore: 1000\u2009mm",
    ),
    (
        "bench.toml",
        '[setups.pack]\nsupply = "battery"\ncells_in_series = 1000\n',
        "setups.pack.cells_in_series: 1000 is hardly meant; 1.00 to 40.0 would be usual",
    ),
    (
        "bench.toml",
        '[setups.slack]\nregulator = { set = "6 bar", droop = "10 bar/(L/s)" }\n',
        "setups.slack.regulator.droop",
    ),
    ("tools.csv", "mass [kg]\nwrench-a,900", "wrench-a: mass: 900\u2009kg"),
]


@pytest.mark.parametrize(("file", "text", "words"), IMPLAUSIBLE, ids=lambda v: str(v)[:24])
def test_a_value_that_no_bench_has_is_doubted(smallest: Path, file: str, text: str, words: str) -> None:
    _record(smallest, "near", 400)
    _record(smallest, "far", 390)
    if file == "bench.toml":
        bench = smallest / file
        bench.write_text(f"{bench.read_text(encoding='utf-8')}\n{text}", encoding="utf-8")
    else:
        (smallest / file).write_text(f"tool,{text}\n", encoding="utf-8")
    report = check_season(open_season(smallest))
    (found,) = [finding for finding in report.findings if finding.code == "implausible-value"]
    assert words in found.message
    assert (found.file, report.exit_status) == (file, 1)
    assert file != "bench.toml" or found.line


def test_more_conditioning_than_runs_is_doubted_and_makes_no_report(smallest: Path) -> None:
    _record(smallest, "near", 400)
    _record(smallest, "far", 390)
    bench = smallest / "bench.toml"
    text = bench.read_text(encoding="utf-8")
    assert "[protocols.held]\n" in text
    bench.write_text(text.replace("[protocols.held]\n", "[protocols.held]\nconditioning = 3\n"), encoding="utf-8")
    season = open_season(smallest)
    report = check_season(season)
    (found,) = [finding for finding in report.findings if finding.code == "report-skipped"]
    assert "all runs of near, far are conditioning runs" in found.message
    assert (found.severity, report.exit_status) == ("doubtful", 1)
    assert [plan.state for plan in season.plans()] == ["skipped"]
