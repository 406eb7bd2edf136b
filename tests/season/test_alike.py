"""One run in another unit, or without a response, among its like: the report says it, not only `check`."""

from __future__ import annotations

from pathlib import Path

import small_season as small

from toolbench.season import compare, open_season

POUND_FEET = 1.3558  # N*m in one ft*lbf, NIST SP 811 (2008) Appendix B.8, five digits


def in_pound_feet(path: Path) -> None:
    """The same run with its torque in another unit, and the head still saying N*m: what a changed setting does."""
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    cells = [row.split(",") for row in rows]
    lines = [f"{time},{float(torque) / POUND_FEET:.2f}" for time, torque in cells]
    path.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")


def test_a_run_in_another_unit_is_a_caveat_of_its_report(tmp_path: Path) -> None:
    season = small.write(tmp_path / "season")
    in_pound_feet(season / "recordings" / "wrench-a-far-held-2.csv")
    record = compare(open_season(season), episode="long-line", tool="wrench-a").record
    found = [finding for finding in record.findings if finding.code == "unit-factor"]
    assert [(finding.severity, finding.subjects) for finding in found] == [("wrong", ("wrench-a-far-held-2",))]
    assert "1.3558" in found[0].message


def test_a_flawless_report_tells_of_no_factor(tmp_path: Path) -> None:
    record = compare(open_season(small.write(tmp_path / "season")), episode="long-line", tool="wrench-a").record
    assert not [f for f in record.findings if f.code in ("unit-factor", "zero-differs")]


def test_where_one_logger_lacks_a_response_the_run_is_left_out_and_named(tmp_path: Path) -> None:
    bench = small.BENCH.replace(
        'channels.torque = "Torque [N*m]"',
        'channels.torque = "Torque [N*m]"\nchannels.speed = "Speed [rpm]"\n\n'
        '[loggers.old]\ntime = "t [ms]"\nchannels.torque = "Torque [N*m]"',
    )
    bench = bench.replace("[protocols.held]\n", '[protocols.held]\nresponse = ["torque", "speed"]\n')
    season = small.write(tmp_path / "season", bench)
    rows = (season / "runs.csv").read_text(encoding="utf-8").splitlines()
    old = "recordings/wrench-a-far-held-3.csv"
    lines = [f"{rows[0]},logger", *(f"{row},{'old' if row.startswith(old) else 'rig'}" for row in rows[1:])]
    (season / "runs.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    for path in (season / "recordings").glob("*.csv"):
        if path.name != Path(old).name:
            head, *cells = path.read_text(encoding="utf-8").splitlines()
            path.write_text(
                "\n".join([f"{head},Speed [rpm]", *(f"{row},900" for row in cells)]) + "\n", encoding="utf-8"
            )
    record = compare(open_season(season), episode="long-line", tool="wrench-a").record
    assert {band.response for band in record.bands} == {"torque", "speed"}
    (said,) = [finding for finding in record.findings if finding.code == "run-unusable"]
    assert said.subjects == ("wrench-a-far-held-3",)
    assert "no channel speed" in said.message


def test_one_recording_exported_twice_is_one_run(tmp_path: Path) -> None:
    """The same samples with one column more and another way of writing: other bytes, no other run."""
    season = small.write(tmp_path / "season")
    head, *rows = (season / "recordings" / "wrench-a-far-held-1.csv").read_text(encoding="utf-8").splitlines()
    copy = season / "recordings" / "wrench-a-far-held-2.csv"
    copy.write_text(
        "\n".join([f"{head};Note".replace(",", ";"), *(f"{r};x".replace(",", ";") for r in rows)]) + "\n",
        encoding="utf-8",
    )
    record = compare(open_season(season), episode="long-line", tool="wrench-a").record
    (said,) = [finding for finding in record.findings if finding.code == "same-recording"]
    assert said.severity == "wrong"
    assert said.subjects == ("wrench-a-far-held-1", "wrench-a-far-held-2")
    assert "in other files" in said.message
