"""A recording that was reduced before is not read again, and nobody can tell by a number."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import shutil
import subprocess
import sys
import typing
from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pytest
import small_season

from toolbench.errors import AnalysisError
from toolbench.logs import kinds
from toolbench.logs.kept import known
from toolbench.logs.kept.store import Store
from toolbench.records.findings import Finding
from toolbench.records.runs import Conditions, Metric, Onset
from toolbench.season import check_season, open_season, reducing, remembering
from toolbench.season.comparing import compare_plan
from toolbench.season.reducing import Reduced, reduce_runs
from toolbench.season.results import results


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of its own for each test, in which files count as hashed however new they are."""
    monkeypatch.setenv("TOOLBENCH_CACHE", str(tmp_path / "the cache"))
    monkeypatch.setattr(known, "NEAR_NS", -(10**12))
    return tmp_path / "the cache"


@pytest.fixture
def season(tmp_path: Path) -> Path:
    return small_season.write(tmp_path / "season")


def reduced(folder: Path, protocol: str = "held") -> Reduced:
    settings = open_season(folder).settings
    return reduce_runs(settings, settings.protocols[protocol], [e for e in settings.runs if e.protocol == protocol])


def exact(value: object) -> object:
    """Everything in a value, numbers with their type and bits."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return [exact(getattr(value, field.name)) for field in dataclasses.fields(value)]
    if isinstance(value, np.ndarray):
        return [str(value.dtype), value.shape, value.tobytes()]
    if isinstance(value, typing.Mapping):
        return [[name, exact(item)] for name, item in value.items()]
    if isinstance(value, (tuple, list)):
        return [type(value).__name__, *map(exact, value)]
    return [type(value).__name__, repr(value)]


def forbid_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    def read(settings: object, entry: object, known: object = None) -> None:
        pytest.fail(f"{entry} was read again")

    monkeypatch.setattr(reducing, "load_run", read)


# ---- the same numbers


@pytest.mark.slow
def test_a_report_of_every_protocol_of_the_demo_has_the_same_bytes(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    season = open_season(demo)
    plans = list({plan.protocol: plan for plan in season.plans() if plan.state == "planned"}.values())
    assert len(plans) > 4

    def texts() -> list[str]:
        return [json.dumps(results(compare_plan(season, plan)), sort_keys=True, allow_nan=False) for plan in plans]

    with monkeypatch.context() as without:
        without.setenv("TOOLBENCH_CACHE", "off")
        fresh = texts()
    filling = texts()
    forbid_reading(monkeypatch)
    assert fresh == filling == texts()


def test_a_reduced_run_comes_back_exactly(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh = reduced(season)
    forbid_reading(monkeypatch)
    assert exact(reduced(season)) == exact(fresh)


@pytest.mark.slow
@pytest.mark.parametrize("protocol", ["held", "stepped", "battery"])
def test_every_run_of_the_demo_comes_back_exactly(demo: Path, protocol: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as without:
        without.setenv("TOOLBENCH_CACHE", "off")
        fresh = exact(reduced(demo, protocol))
    filling = exact(reduced(demo, protocol))
    forbid_reading(monkeypatch)
    assert exact(reduced(demo, protocol)) == filling == fresh


@pytest.mark.slow
def test_what_check_finds_in_the_demo_is_the_same(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as without:
        without.setenv("TOOLBENCH_CACHE", "off")
        fresh = check_season(open_season(demo))
    filling = check_season(open_season(demo))
    forbid_reading(monkeypatch)
    assert check_season(open_season(demo)) == filling == fresh
    assert {"clipped", "zero-shift", "socket-slipped"} <= {finding.code for finding in fresh.findings}  # planted there


def test_check_is_answered_too(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh = check_season(open_season(season))
    forbid_reading(monkeypatch)
    assert check_season(open_season(season)) == fresh


def test_the_digest_is_that_of_the_bytes(season: Path) -> None:
    reduced(season)
    for run in reduced(season).runs:
        assert run.digest == hashlib.sha256((season / run.entry.file).read_bytes()).hexdigest()


# ---- names


def test_the_same_bytes_under_two_names_keep_their_own(
    season: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = season / "recordings" / "wrench-a-near-held-1.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([*lines[:61], "300,broken", *lines[62:100], *lines[104:]]) + "\n", encoding="utf-8")
    first = reduced(season)
    other = tmp_path / "two"
    shutil.copytree(season, other)
    rows = (season / "runs.csv").read_text(encoding="utf-8")
    for path in sorted((other / "recordings").iterdir()):
        path.rename(path.with_name(f"zweite-{path.name}"))
    (other / "runs.csv").write_text(rows.replace("recordings/", "recordings/zweite-"), encoding="utf-8")
    forbid_reading(monkeypatch)
    second = reduced(other)
    assert [run.id for run in second.runs] == [f"zweite-{run.id}" for run in first.runs]
    noticed = second.runs[0].findings
    assert {finding.code for finding in noticed} == {"cells-unreadable", "time-gaps"}  # constructed above
    assert {finding.subjects for finding in noticed} == {("zweite-wrench-a-near-held-1",)}
    assert {finding.file for finding in noticed} == {"recordings/zweite-wrench-a-near-held-1.csv"}
    assert [f.message for f in noticed] == [f.message for f in first.runs[0].findings]


def test_a_finding_that_names_the_file_is_not_kept_for_others(season: Path, cache: Path) -> None:
    run = reduced(season).runs[0]
    told = Finding(
        code="x", severity="note", kind="data", message=f"as in {Path(run.entry.file).name}", subjects=(run.id,),
        file=run.entry.file,
    )  # fmt: skip
    assert remembering._nameless(told, run.entry) is None
    assert remembering._nameless(dataclasses.replace(told, message="", subjects=("another",)), run.entry) is None
    assert remembering._nameless(dataclasses.replace(told, message=""), run.entry) is not None


# ---- what a number rests on

CHANGES = {
    "channel": ('channels.torque = "Torque [N*m]"', 'channels.torque = "Other [N*m]"'),
    "unit": ('channels.torque = "Torque [N*m]"', 'channels.torque = { column = "Torque [N*m]", unit = "kN*m" }'),
    "invert": ('channels.torque = "Torque [N*m]"', 'channels.torque = { column = "Other [N*m]", invert = true }'),
    "one more channel": ('channels.torque = "Torque [N*m]"', 'channels.torque = "Torque [N*m]"\nchannels.extra = "Other [N*m]"'),
    "time": ('time = "t [ms]"', 'time = { rate = "100 Hz" }'),
    "rig": ('time = "t [ms]"', 'time = "t [ms]"\nrig = "second"'),
    "filter": ('time = "t [ms]"', 'time = "t [ms]"\nfilter = "low pass 50 Hz"'),
    "line left out": ('time = "t [ms]"', 'time = "t [ms]"\nskip_lines = [400]'),
    "duration": ('duration = "1.5 s"', 'duration = "1.4 s"'),
    "marks": ('marks = ["1 s"]', 'marks = ["0.5 s"]'),
    "window": ('marks = ["1 s"]', 'window = ["0.5 s", "1 s"]'),
    "reach": ('marks = ["1 s"]', 'reach = ["300 N*m"]'),
    "onset level": ('marks = ["1 s"]', 'onset = { rule = "level", level = 0.2 }'),
    "onset rule": ('marks = ["1 s"]', 'onset = { rule = "scatter" }'),
    "response": ('marks = ["1 s"]', 'response = ["torque", "extra"]'),
    "hold": ('marks = ["1 s"]', 'hold = { channel = "torque", at = "400 N*m", within = "1 N*m" }'),
    "sensor range": ("[setups.near]", '[sensors.cell]\nquantity = "torque"\nrange = ["0 N*m", "400 N*m"]\n[setups.near]'),
}  # fmt: skip


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_of_what_numbers_rest_on_is_not_answered_from_before(
    tmp_path: Path, change: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every answer over a filled cache against one without a cache."""
    bench = small_season.BENCH
    if change == "response":
        bench = bench.replace('"Torque [N*m]"', '"Torque [N*m]"\nchannels.extra = "Other [N*m]"')
    if change == "sensor range":
        bench = bench.replace('"Torque [N*m]"', '{ column = "Torque [N*m]", sensor = "cell" }')
        bench = bench.replace(
            "[setups.near]", '[sensors.cell]\nquantity = "torque"\nrange = ["0 N*m", "2000 N*m"]\n[setups.near]'
        )
    folder = small_season.write(tmp_path / "season", bench)
    for path in (folder / "recordings").iterdir():
        first, *rows = path.read_text(encoding="utf-8").splitlines()
        more = [f"{row},{-2 * float(row.partition(',')[2]):.2f}" for row in rows]
        path.write_text("\n".join([f"{first},Other [N*m]", *more]) + "\n", encoding="utf-8")
    before = exact(outcome(folder))
    old, new = CHANGES[change]
    if change == "sensor range":
        old, new = '"2000 N*m"', '"400 N*m"'
    assert old in bench
    (folder / "bench.toml").write_text(bench.replace(old, new, 1), encoding="utf-8")
    over = exact(outcome(folder))
    assert over == exact(outcome(folder))
    monkeypatch.setenv("TOOLBENCH_CACHE", "off")
    assert over == exact(outcome(folder))
    assert over != before


@pytest.mark.parametrize(
    ("first", "then"),
    [
        # The fourth point reads otherwise; the bytes of the recordings and bench.toml stay.
        (("points", "750,740"), ("points", "750,730")),
        # The same two certificates on another day of the run.
        (("day", "2026-03-02"), ("day", "2026-03-05")),
    ],
    ids=["a calibration point", "the day of the run"],
)
def test_another_correction_of_the_readings_is_not_answered_from_before(
    tmp_path: Path, first: tuple[str, str], then: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    sensor = """[sensors.cell]
quantity = "torque"
[[sensors.cell.certificates]]
from = 2026-03-01
points = "one.csv"
[[sensors.cell.certificates]]
from = 2026-03-04
points = "two.csv"
[setups.near]"""
    bench = small_season.BENCH.replace('"Torque [N*m]"', '{ column = "Torque [N*m]", sensor = "cell" }')
    folder = small_season.write(tmp_path / "season", bench.replace("[setups.near]", sensor))
    rows = (folder / "runs.csv").read_text(encoding="utf-8").splitlines()

    def state(points: str = "750,740", day: str = "2026-03-02") -> None:
        lines = ["reference [N*m],indication [N*m]", "0,1", "250,249", "500,493", "{}", "1000,985"]
        (folder / "one.csv").write_text("\n".join(lines).format(points) + "\n", encoding="utf-8")
        (folder / "two.csv").write_text("\n".join(lines).format("750,747") + "\n", encoding="utf-8")
        dated = [f"{rows[0]},started", *(f"{row},{day}T10:00" for row in rows[1:])]
        (folder / "runs.csv").write_text("\n".join(dated) + "\n", encoding="utf-8")

    state(**dict([first]))
    before = exact([run.metrics for run in reduced(folder).runs])
    state(**dict([then]))
    over = exact([run.metrics for run in reduced(folder).runs])
    monkeypatch.setenv("TOOLBENCH_CACHE", "off")
    assert over == exact([run.metrics for run in reduced(folder).runs])
    assert over != before


def outcome(folder: Path) -> object:
    try:
        return reduced(folder)
    except AnalysisError as error:
        return str(error)


def test_a_run_on_another_time_base_is_another(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A recording that is sampled half as often makes the grid coarser for all: theirs change too."""
    settings = open_season(season).settings
    held = [entry for entry in settings.runs if entry.protocol == "held"]
    alone = reduce_runs(settings, settings.protocols["held"], held[:3])
    path = season / held[3].file
    first, *rows = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([first, *rows[::2]]) + "\n", encoding="utf-8")
    over = reduce_runs(settings, settings.protocols["held"], held[:4])
    monkeypatch.setenv("TOOLBENCH_CACHE", "off")
    assert exact(over) == exact(reduce_runs(settings, settings.protocols["held"], held[:4]))
    assert len(over.runs[0].grid_s) < len(alone.runs[0].grid_s)


def test_a_changed_byte_gives_new_numbers(season: Path) -> None:
    before = reduced(season)
    path = season / before.runs[0].entry.file
    state = path.stat()
    text = path.read_text(encoding="utf-8").splitlines()
    at = next(k for k, line in enumerate(text) if line.startswith("1600,"))  # one second after the onset
    text[at] = text[at].replace(",4", ",3").replace(",5", ",3")
    path.write_text("\n".join(text) + "\n", encoding="utf-8")
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    assert path.stat().st_size == state.st_size
    after = reduced(season)
    assert after.runs[0].digest != before.runs[0].digest
    assert exact(after.runs[0].metrics) != exact(before.runs[0].metrics)
    assert exact(after.runs[1:]) == exact(before.runs[1:])


def test_a_file_that_changes_between_digest_and_reading_is_refused(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    load = reducing.load_run

    def growing(settings: typing.Any, entry: typing.Any, known: typing.Any = None) -> object:
        with (settings.folder / entry.file).open("a", encoding="utf-8") as stream:
            stream.write("2600,500.00\n")
        return load(settings, entry, known)

    monkeypatch.setattr(reducing, "load_run", growing)
    with pytest.raises(AnalysisError, match="changed while it was read"):
        reduced(season)


def test_nothing_is_kept_of_a_file_that_may_change_unseen(
    season: Path, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its clock's tick is not over: written again now, with as many bytes, it would look the same and be another recording."""
    monkeypatch.setattr(known, "NEAR_NS", 10**15)
    reduced(season)
    assert not [path for path in cache.rglob("*") if path.is_file()]
    monkeypatch.setattr(known, "NEAR_NS", -(10**12))
    reduced(season)
    assert {path.suffix for path in cache.rglob("*") if path.is_file()} == {".digest", ".start", ".run"}


def test_a_refusal_is_not_kept(season: Path, cache: Path) -> None:
    path = season / "recordings" / "wrench-a-near-held-1.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("Torque", "Twist"), encoding="utf-8")
    assert len(reduced(season).failed) == len(reduced(season).failed) == 1
    assert Store(cache).held().counts == {"run": 5, "start": 5, "digest": 6}  # by hand: six recordings, one refused


def test_what_a_reader_of_others_gives_is_not_kept(season: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its code may change without a trace in the bytes of the recording."""
    path = season / "recordings" / "wrench-a-near-held-1.csv"
    path.rename(path.with_suffix(".foreign"))
    rows = (season / "runs.csv").read_text(encoding="utf-8")
    (season / "runs.csv").write_text(rows.replace("near-held-1.csv", "near-held-1.foreign"), encoding="utf-8")
    point = EntryPoint("foreign", f"{__name__}:nothing_of_mine", kinds.GROUP)
    monkeypatch.setattr(kinds, "_installed", lambda: {"foreign": point})
    assert len(reduced(season).runs) == 6
    assert Store(cache).held().counts == {"run": 5, "start": 5, "digest": 5}


def nothing_of_mine(path: Path) -> None:
    """A reader that leaves a file to the rules for text."""


def test_a_link_out_of_the_season_is_refused_though_its_bytes_are_known(season: Path, tmp_path: Path) -> None:
    reduced(season)
    path = season / "recordings" / "wrench-a-near-held-1.csv"
    path.rename(tmp_path / "outside.csv")
    path.symlink_to(tmp_path / "outside.csv")
    ((_, fault),) = reduced(season).failed
    assert "leads out of the season folder" in fault.message


def test_nothing_is_kept_when_the_program_was_changed_after_it_was_loaded(season: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    newest = max(path.stat().st_mtime_ns for path in Path(remembering.__file__).parent.glob("*.py"))
    assert remembering._program.__wrapped__(newest - 1) is None
    monkeypatch.setattr(remembering, "program", lambda: None)
    reduced(season)
    assert not cache.exists()


def test_another_program_has_another_digest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Constructed: a copy of the package with one more comment in one room."""
    mine = remembering.program()
    copy = tmp_path / "toolbench"
    shutil.copytree(Path(remembering.__file__).parents[1], copy, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(remembering, "_PACKAGE", copy)
    far = 2**62
    assert remembering._program.__wrapped__(far) == mine
    with (copy / "signal" / "grid.py").open("a", encoding="utf-8") as stream:
        stream.write("# edited\n")
    assert remembering._program.__wrapped__(far) not in (None, mine)


# ---- never in the way


def test_a_cache_that_cannot_be_written_changes_nothing(season: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    fresh = exact(reduced(season))
    (tmp_path / "file").write_bytes(b"")
    monkeypatch.setenv("TOOLBENCH_CACHE", str(tmp_path / "file" / "below"))
    assert exact(reduced(season)) == fresh


def test_damaged_files_change_nothing(season: Path, cache: Path) -> None:
    fresh = exact(reduced(season))
    files = [path for path in cache.rglob("*") if path.is_file()]
    for number, path in enumerate(files):
        data = path.read_bytes()
        path.write_bytes((data[: len(data) // 2], b"", data[:-1] + b"?", os.urandom(len(data)))[number % 4])
    assert exact(reduced(season)) == fresh
    assert exact(reduced(season)) == fresh


def test_the_cache_may_go_between_any_two_steps(season: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh = exact(reduced(season))
    get = Store.get

    def gone(self: Store, kind: str, key: str) -> object:
        found = get(self, kind, key)
        shutil.rmtree(cache, ignore_errors=True)
        return found

    monkeypatch.setattr(Store, "get", gone)
    assert exact(reduced(season)) == fresh


def test_two_processes_and_a_third_that_clears(season: Path, cache: Path) -> None:
    code = (
        "import sys; from toolbench.season import open_season; from toolbench.season.reducing import reduce_runs\n"
        "s = open_season(sys.argv[1]).settings\n"
        "for _ in range(15):\n"
        "    r = reduce_runs(s, s.protocols['held'], [e for e in s.runs if e.protocol == 'held'])\n"
        "    assert len(r.runs) == 6\n"
        "    print(hash(tuple(m.value for run in r.runs for m in run.metrics)))\n"
    )
    environment = small_season.environment(TOOLBENCH_CACHE=str(cache))
    running = [
        subprocess.Popen([sys.executable, "-c", code, str(season)], env=environment, stdout=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    while any(process.poll() is None for process in running):
        Store(cache).clear()
    said = [process.communicate()[0].split() for process in running]
    assert [process.returncode for process in running] == [0, 0]
    assert len({line for lines in said for line in lines}) == 1


# ---- what is kept is what JSON holds exactly


@pytest.mark.parametrize("kind", [Onset, Metric, Conditions])
def test_a_value_that_json_would_change_is_noticed_here(kind: type) -> None:
    """A tuple would come back as a list: who adds such a field has to mend `remembering` first."""
    plain = {float, int, str, bool, type(None)}
    for name, hint in typing.get_type_hints(kind).items():
        assert set(typing.get_args(hint) or (hint,)) <= plain, name
