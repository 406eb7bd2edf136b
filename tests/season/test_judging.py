"""Recordings drawn from the invented bench, each flaw planted in one of them: repeat for the planted reason, keep elsewhere.

Which flaw must lead to which reason is by hand, from how the bench model plants it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bench_runs import BENCH, drawn, run_text, text_of, write_season

from toolbench.records.runs import Run
from toolbench.records.settings import RunEntry, SeasonSettings, Setup
from toolbench.season import Judgement, judge_recording
from toolbench.season.watch.judging import judge_file
from toolbench.season.watch.verdicts import MENDS, REPEAT, TOLD
from toolbench.settings import read_settings

NEAR, FAR, HELD = ("quernel-1", "near", "static"), ("quernel-1", "far", "static"), ("quernel-1", "near", "held")


@pytest.fixture
def settings(tmp_path: Path) -> SeasonSettings:
    return read_settings(write_season(tmp_path / "s"))


def _entry(name: str, cell: tuple[str, str, str]) -> RunEntry:
    tool, setup, protocol = cell
    return RunEntry(
        run=name, file=f"recordings/{name}.csv", tool=tool, setup=setup, protocol=protocol, logger="rig"
    )  # fmt: skip


def judge(
    settings: SeasonSettings,
    text: str | bytes,
    cell: tuple[str, str, str],
    earlier: list[Run] | None = None,
    name: str = "new",
) -> Judgement:
    """Write a recording and judge it as a run of `cell`."""
    entry = _entry(name, cell)
    data = text.encode() if isinstance(text, str) else text
    (settings.folder / entry.file).write_bytes(data)
    return judge_recording(settings, entry, earlier or [])


def made(settings: SeasonSettings, cell: tuple[str, str, str], seeds: range) -> list[Run]:
    """Runs of a cell that were judged and kept before."""
    runs: list[Run] = []
    for seed in seeds:
        judged = judge(settings, run_text(seed, cell), cell, runs, f"{cell[1]}-{seed}")
        assert judged.verdict == "keep", judged.reasons
        assert judged.run is not None
        runs.append(judged.run)
    return runs


@pytest.mark.parametrize(
    ("flaw", "cell", "code"),
    [
        ("slipped-socket", NEAR, "socket-slipped"),
        ("zero-shift", NEAR, "zero-shift"),
        ("clipped", NEAR, "clipped"),
        ("hold-off-target", HELD, "hold-off-target"),
        ("trigger-released", ("quernel-1", "small-receiver", "long"), "trigger-released"),
    ],
)
def test_a_planted_flaw_is_the_reason(
    settings: SeasonSettings, flaw: str, cell: tuple[str, str, str], code: str
) -> None:
    spoilt = judge(settings, run_text(5, cell, flaw), cell)
    assert (spoilt.verdict, spoilt.reasons[0].code) == ("repeat", code)
    assert judge(settings, run_text(5, cell), cell).verdict == "keep"


def test_foot_pounds_show_beside_the_runs_before(settings: SeasonSettings) -> None:
    before = made(settings, NEAR, range(3))
    spoilt = judge(settings, run_text(5, NEAR, "foot-pounds"), NEAR, before)
    assert [reason.code for reason in spoilt.reasons] == ["unit-factor"]
    assert spoilt.words == "wrong setup: unit of the logger"


@pytest.mark.parametrize("seed", range(8))
def test_flawless_runs_are_kept_and_nothing_is_told(settings: SeasonSettings, seed: int) -> None:
    cell = (NEAR, FAR, HELD)[seed % 3]
    before = made(settings, cell, range(100 * seed, 100 * seed + 2))
    judged = judge(settings, run_text(100 * seed + 50, cell), cell, before)
    assert (judged.verdict, judged.reasons, judged.told) == ("keep", (), ())
    assert judged.facts is not None
    assert judged.facts.number == 3


def test_the_wrong_hose_is_told_by_the_line_and_named(settings: SeasonSettings) -> None:
    before = [*made(settings, NEAR, range(3)), *made(settings, FAR, range(10, 13))]
    judged = judge(settings, run_text(5, FAR), NEAR, before)  # the sheet says near, the far hose is on
    assert [reason.code for reason in judged.reasons] == ["setup-line"]
    assert "as on far" in judged.reasons[0].message
    assert judged.words == "wrong setup: hose or coupler"


def test_the_wrong_regulator_is_told_and_named(settings: SeasonSettings) -> None:
    cell = ("quernel-1", "at-6", "stepped")
    judged = judge(settings, run_text(5, ("quernel-1", "at-5", "stepped")), cell)
    assert [reason.code for reason in judged.reasons] == ["setup-pressure"]
    assert "at-5 has that" in judged.reasons[0].message


def bare(settings: SeasonSettings) -> SeasonSettings:
    """The season with a setup and a protocol that state nothing, as one that was begun from recordings."""
    protocol = replace(settings.protocols["static"], rest=None, hold=None)
    return replace(
        settings,
        setups={**settings.setups, "near": Setup(id="near", label="near")},
        protocols={**settings.protocols, "static": protocol},
    )


def test_a_supply_unlike_the_runs_before_is_told_where_the_setup_states_nothing(settings: SeasonSettings) -> None:
    settings = bare(settings)
    before = made(settings, NEAR, range(3))
    recording = drawn(5, NEAR)
    assert judge(settings, text_of(recording), NEAR, before).verdict == "keep"
    for factor in (0.6, 100.0):  # another setting; kilopascals in a column of bar
        pressure = recording.channels["inlet_pressure"] * factor
        changed = replace(recording, channels=dict(recording.channels) | {"inlet_pressure": pressure})
        codes = [reason.code for reason in judge(settings, text_of(changed), NEAR, before).reasons]
        assert "setup-pressure" in codes, factor


def test_two_starts_are_called_so(settings: SeasonSettings) -> None:
    recording = drawn(5, NEAR)
    torque = recording.channels["torque"].copy()
    middle = torque.size // 2
    torque[middle : middle + 160] = torque[:5].mean()  # 0.8 s at rest in the middle of the run
    judged = judge(settings, text_of(replace(recording, channels=dict(recording.channels) | {"torque": torque})), NEAR)
    assert judged.reasons[0].code == "two-starts"
    assert judged.words == "rig fault: two starts in the recording"
    assert judged.reasons[0].mend.startswith("let the logger record one start")


def test_static_pressure_out_of_the_protocols_band(settings: SeasonSettings) -> None:
    judged = judge(settings, run_text(5, ("quernel-1", "at-6", "stepped")), NEAR)  # 6 bar, asked for 6.9 bar
    assert [reason.code for reason in judged.reasons] == ["rest-off-target"]
    assert judged.words == "supply out of window"


def test_another_tool_on_the_hose_takes_another_flow(settings: SeasonSettings) -> None:
    before = made(settings, FAR, range(3))
    recording = drawn(5, FAR)
    channels = dict(recording.channels) | {"air_flow": recording.channels["air_flow"] * 0.8}
    judged = judge(settings, text_of(replace(recording, channels=channels)), FAR, before)
    assert [reason.code for reason in judged.reasons] == ["setup-flow"]


def test_a_recording_that_stops_too_early(settings: SeasonSettings) -> None:
    lines = run_text(5, NEAR).splitlines(keepends=True)
    judged = judge(settings, "".join(lines[:700]), NEAR)
    assert (judged.verdict, judged.reasons[0].code, judged.may_be_unfinished) == ("repeat", "cut-short", True)


def test_a_cut_last_row_of_a_whole_run_is_only_told(settings: SeasonSettings) -> None:
    judged = judge(settings, run_text(5, NEAR)[:-20], NEAR)
    assert (judged.verdict, [one.code for one in judged.told]) == ("keep", ["cut-last-row"])


def test_a_gap_in_the_run_is_a_dropout(settings: SeasonSettings) -> None:
    lines = run_text(5, NEAR).splitlines(keepends=True)
    judged = judge(settings, "".join(lines[:500] + lines[560:]), NEAR)  # 60 rows are 0.3 s at 200 Hz
    assert judged.reasons[0].code == "dropout"
    assert "no samples for 0.3 s" in judged.reasons[0].message.lower()


def test_a_gap_that_swallows_the_end_of_the_run_is_a_dropout(settings: SeasonSettings) -> None:
    recording = drawn(5, NEAR)
    lines = text_of(recording).splitlines(keepends=True)
    ends = recording.onset_s + 5.0  # the protocol's duration; rows follow it, so the recording is not cut short
    gone, back = 1 + np.searchsorted(recording.time_s, (ends - 2.0, ends + 0.1))
    assert back < len(lines) - 5
    judged = judge(settings, "".join(lines[:gone] + lines[back:]), NEAR)
    assert [one.code for one in judged.reasons] == ["dropout"]
    assert "no samples for 2.1 s" in judged.reasons[0].message.lower()


def test_no_rest_before_the_start(settings: SeasonSettings) -> None:
    recording = drawn(5, NEAR)
    first = int(np.searchsorted(recording.time_s, recording.onset_s - 0.1))
    lines = text_of(recording).splitlines(keepends=True)
    judged = judge(settings, "".join([lines[0], *lines[1 + first :]]), NEAR)
    assert (judged.verdict, judged.reasons[0].code) in {("repeat", "rest-short"), ("repeat", "no-onset")}


@pytest.mark.parametrize(
    ("data", "words"),
    [(b"", "Is empty"), (bytes(range(256)) * 40, "Is not text"), (b"t [s],Torque [N*m]\n", "Holds only a header")],
    ids=["empty", "binary", "header"],
)
def test_what_cannot_be_read_is_to_be_repeated(settings: SeasonSettings, data: bytes, words: str) -> None:
    judged = judge(settings, data, NEAR)
    assert (judged.verdict, judged.reasons[0].code) == ("repeat", "unreadable")
    assert words in judged.reasons[0].message


def test_rest_alone_has_no_start(settings: SeasonSettings) -> None:
    rows = "".join(f"{k / 200:.3f},{k * 7 % 11 / 10},6.9,6.9,0\n" for k in range(1400))
    judged = judge(settings, f"t [s],Torque [N*m],Inlet [bar],Regulator [bar],Flow [L/s]\n{rows}", NEAR)
    assert (judged.verdict, judged.reasons[0].code) == ("repeat", "no-onset")


def test_a_file_that_bench_toml_does_not_fit_is_no_reason_to_repeat(settings: SeasonSettings) -> None:
    judged = judge(settings, run_text(5, NEAR).replace("Torque", "Twist"), NEAR)
    assert (judged.verdict, judged.reasons[0].code) == ("look", "settings-do-not-fit")


def test_the_same_bytes_again(settings: SeasonSettings) -> None:
    (first,) = made(settings, NEAR, range(1))
    entry = _entry("copy", NEAR)
    (settings.folder / entry.file).write_bytes((settings.folder / first.entry.file).read_bytes())
    judged = judge_recording(settings, entry, [first], digests={first.digest: first.entry.file})
    assert [reason.code for reason in judged.reasons] == ["same-recording"]
    again = judge_recording(settings, first.entry, [first], digests={first.digest: first.entry.file})
    assert again.verdict == "keep"  # the same file judged once more is no copy of itself


def test_the_number_stands_beside_the_earlier_runs(settings: SeasonSettings) -> None:
    before = made(settings, NEAR, range(2))
    judged = judge(settings, run_text(9, NEAR), NEAR, before)
    values = [run.metric("torque", "sustained").value for run in before]  # type: ignore[union-attr]
    assert judged.facts is not None
    values.append(judged.facts.value)
    assert judged.facts.mean == pytest.approx(np.mean(values))  # oracle: numpy
    assert judged.facts.scatter == pytest.approx(np.std(values, ddof=1) / np.mean(values))
    assert (judged.facts.number, judged.facts.of, judged.facts.unit) == (3, 3, "N*m")


def test_excluded_runs_count_for_nothing(settings: SeasonSettings) -> None:
    before = made(settings, NEAR, range(2))
    out = [replace(run, entry=replace(run.entry, excluded=True)) for run in before]
    judged = judge(settings, run_text(9, NEAR), NEAR, out)
    assert judged.facts is not None
    assert (judged.facts.number, judged.facts.mean) == (1, None)


def test_a_level_unlike_the_others_is_told_and_kept(settings: SeasonSettings) -> None:
    before = made(settings, NEAR, range(4))
    recording = drawn(9, NEAR)
    channels = dict(recording.channels) | {"torque": recording.channels["torque"] * 0.85}
    judged = judge(settings, text_of(replace(recording, channels=channels)), NEAR, before)
    assert (judged.verdict, [one.code for one in judged.told]) == ("keep", ["level-differs"])


def test_a_level_of_less_than_half_the_others_is_no_repeat_of_them(settings: SeasonSettings) -> None:
    before = made(settings, NEAR, range(4))
    recording = drawn(9, NEAR)
    channels = dict(recording.channels) | {"torque": recording.channels["torque"] * 0.4}
    judged = judge(settings, text_of(replace(recording, channels=channels)), NEAR, before)
    assert (judged.verdict, [one.code for one in judged.reasons]) == ("repeat", ["level-far-off"])


def test_a_loss_that_like_runs_show_too_is_told_and_not_asked_for_again(settings: SeasonSettings) -> None:
    """Without a channel to tell, torque that is lost may be an empty receiver: then the next run shows it again."""
    lost = [_loss(1), _loss(2)]
    first = judge(settings, lost[0], ("quernel-1", "near", "stepped"), name="first")
    assert [reason.code for reason in first.reasons] == ["response-lost"]
    assert first.run is not None  # a person takes the exclusion away: the run is one of those kept
    second = judge(settings, lost[1], ("quernel-1", "near", "stepped"), [first.run], name="second")
    assert (second.verdict, second.told[-1].code) == ("keep", "response-lost")


def _loss(seed: int) -> str:
    """500 N*m built up, and from 3 s after the start on 150 N*m."""
    time = np.arange(1400) / 200
    level = np.where(time < 4, 500.0, 150.0)
    torque = level * (1 - np.exp(-np.maximum(time - 1, 0) / 0.3)) + np.random.default_rng(seed).normal(0, 1, time.size)
    rows = "".join(f"{t:.3f},{m:.2f}\n" for t, m in zip(time, torque, strict=True))
    return f"t [s],Torque [N*m]\n{rows}"


def test_a_pack_that_has_not_rested(tmp_path: Path) -> None:
    pack = BENCH.replace(
        "[setups.near]\nregulator", '[setups.pack]\nnominal_voltage = "18 V"\n[setups.near]\nregulator'
    )
    pack = pack.replace('channels.air_flow = "Flow [L/s]"', 'channels.voltage = "U [V]"').replace(
        '"near", "far"', '"pack", "far"'
    )
    settings = read_settings(write_season(tmp_path / "p", pack))
    cell = ("ostrel", "pack", "stepped")
    rng = np.random.default_rng(3)
    time = np.arange(1400) / 200
    torque = 500 * (1 - np.exp(-np.maximum(time - 1.0, 0) / 0.3)) + rng.normal(0, 1, time.size)

    def text(at_rest: np.ndarray) -> str:
        volts = np.where(time < 1, at_rest, 15.0) + rng.normal(0, 0.01, time.size)
        rows = [f"{t:.3f},{m:.2f},0,0,{u:.4f}\n" for t, m, u in zip(time, torque, volts, strict=True)]
        return "t [s],Torque [N*m],Inlet [bar],Regulator [bar],U [V]\n" + "".join(rows)

    rested, rising = judge(settings, text(0 * time + 20.0), cell), judge(settings, text(19 + 0.3 * time), cell)
    assert rested.verdict == "keep", rested.reasons
    assert [reason.code for reason in rising.reasons] == ["pack-resting"]
    wrong = judge(settings, text(0 * time + 40.0), cell)  # a pack of 36 V
    assert [reason.code for reason in wrong.reasons] == ["setup-voltage"]
    assert rested.run is not None
    low = judge(settings, text(0 * time + 19.0), cell, [replace(rested.run, entry=_entry(n, cell)) for n in "ab"])
    assert [reason.code for reason in low.reasons] == ["pack-low"]


def test_a_file_of_nothing_said_is_judged_by_itself(settings: SeasonSettings) -> None:
    good, bad = settings.folder / "recordings/g.csv", settings.folder / "recordings/b.csv"
    good.write_text(run_text(5, NEAR))
    bad.write_text(run_text(5, NEAR, "clipped"))
    judged = judge_file(settings, "recordings/g.csv", "nobody says which setup")
    assert (judged.verdict, judged.reasons[0].message) == ("look", "Nobody says which setup.")
    assert judge_file(settings, "recordings/b.csv", "").reasons[0].code == "clipped"


def test_a_link_out_of_the_season_is_not_read(settings: SeasonSettings) -> None:
    outside = settings.folder.parent / "outside.csv"
    outside.write_text(run_text(5, NEAR))
    (settings.folder / "recordings/l.csv").symlink_to(outside)
    for judged in (
        judge_file(settings, "recordings/l.csv", ""),
        judge_recording(settings, _entry("l", NEAR)),
    ):
        assert judged.verdict == "look"
        assert "leads out of the season" in judged.reasons[0].message.lower()


def test_no_finding_is_both_told_and_a_reason() -> None:
    assert not set(REPEAT) & set(TOLD)
    assert set(MENDS) <= set(REPEAT)
