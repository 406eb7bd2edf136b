"""Data that a comparison can make little of: each gives a sentence or a result with its caveat, and no page says nan.

One season, a report per kind, rendered once. All recordings are constructed.
"""

from __future__ import annotations

import html
import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from small_season import toolbench

import toolbench as tb

BENCH = """\
[loggers.rig]
time = "t [ms]"
channels.torque = "Torque [N*m]"
channels.force = "Side [N]"

[setups.near]
[setups.far]
"""
SAID = {
    # kind: what its page says of it
    "singles": ("not assessed: no repeat to judge by (1 and 1 runs)", "near has 1 run; the protocol asks for 3"),
    "pair": ("near has 2 runs; the protocol asks for 3", "undecided"),
    "constant": (
        "not assessed: the repeats read all alike, and no resolution is stated to judge by (3 and 3 runs)",
        "500.0 N·m, uncertainty not assessed",
        "No row of the response could be judged",
    ),
    "about-zero": ("no percentage in sustained force against near, whose level is too near zero", "N, higher."),
    "exact-zero": ("no percentage in sustained force against near, whose level is too near zero", "N, higher."),
    "one-block": ("no complete blocks were used",),
}
RUNS = {"singles": (1, 1), "pair": (2, 2)}
BESIDE = 'response = ["torque", "force"]\n'


def recording(level: float, rest: int, rng: np.random.Generator, *, noise: float, force: np.ndarray) -> str:
    """200 Hz: `rest` samples of rest, then the build-up to `level` [N*m], 2 s of it; a side force [N] beside."""
    time_s = np.arange(rest + 400) / 200
    torque = level * (1 - np.exp(-np.maximum(time_s - rest / 200, 0) / 0.1)) + noise * rng.standard_normal(time_s.size)
    rows = [
        f"{1000 * t:.0f},{value:.2f},{side:.3f}"
        for t, value, side in zip(time_s, torque, force[: time_s.size], strict=True)
    ]
    return "\n".join(["t [ms],Torque [N*m],Side [N]", *rows]) + "\n"


def write(folder: Path) -> Path:
    (folder / "recordings").mkdir(parents=True)
    rng, rows, text = np.random.default_rng(3), ["file,tool,setup,protocol,block"], [BENCH]
    for kind in SAID:
        keys = BESIDE if kind.endswith("zero") else ""
        text.append(f'[protocols.{kind}]\nduration = "1.5 s"\nmarks = ["1 s"]\n{keys}')
        text.append(
            f'[[episodes]]\nid = "{kind}"\ntools = ["wrench-{kind}"]\nsetups = ["near", "far"]\nprotocols = ["{kind}"]\n'
            'equivalent_within = "3 %"\n'
        )
        for side, (setup, level) in enumerate((("near", 500.0), ("far", 470.0))):
            for run in range(RUNS.get(kind, (3, 3))[side]):
                still = kind == "constant"
                at = level if still else level * (1 + (0.04 if kind == "pair" else 0.01) * rng.standard_normal())
                force = 5.0 * side + rng.normal(0, 0.5, 1000) + 0.2 * rng.normal()
                if kind == "exact-zero" and setup == "near":
                    force = np.zeros(1000)
                made = recording(at, 120 + 2 * run, rng, noise=0.0 if still else 1.0, force=force)
                name = f"recordings/{kind}-{setup}-{run + 1}.csv"
                (folder / name).write_text(made, encoding="utf-8")
                block = "b1" if kind == "one-block" else ""
                rows.append(f"{name},wrench-{kind},{setup},{kind},{block}")
    (folder / "bench.toml").write_text("\n".join(text), encoding="utf-8")
    (folder / "runs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("poor") / "season")


@pytest.fixture(scope="module")
def out(season: Path) -> Path:
    done = toolbench("season", season, "-o", season.parent / "out")
    assert done.returncode == 0, done.stderr
    return season.parent / "out"


def folder(out: Path, kind: str) -> Path:
    return out / kind / f"tool-wrench-{kind}--{kind}"


def words(page: Path) -> str:
    """Everything a reader of the page can see, with the text of its figures."""
    body = re.sub(r"<(style|script)\b.*?</\1>", " ", page.read_text("utf-8"), flags=re.DOTALL)
    return (
        re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", body))).replace("\u2009", " ").replace("\u00a0", " ")
    )


@pytest.mark.slow
@pytest.mark.parametrize("kind", SAID)
def test_a_page_says_what_it_cannot_say(out: Path, kind: str) -> None:
    text = words(folder(out, kind) / "report.html")
    assert not re.search(r"\b(nan|NaN|inf|Infinity|None)\b", text)
    assert "all 0 rows" not in text
    for told in SAID[kind]:
        assert told in text, told


@pytest.mark.slow
def test_no_file_of_a_report_holds_what_is_no_number(out: Path) -> None:
    for path in sorted([*out.rglob("*.csv"), *out.rglob("*.json"), *out.rglob("*.md"), *out.rglob("index.html")]):
        # A word of its own: JSON has no NaN, and CSV files leave the cell empty.
        assert not re.search(r"(?<![\w.-])(nan|-?inf|-?infinity)(?![\w.-])", path.read_text("utf-8"), re.IGNORECASE), (
            path
        )
    for path in sorted(out.rglob("results.json")):
        json.loads(path.read_text("utf-8"), parse_constant=pytest.fail)


@pytest.mark.parametrize(
    ("kind", "verdict", "percent"),
    # Constructed: far is made 6 % lower than near, and two runs that scatter by 4 % cannot show it.
    [("singles", "not assessed", True), ("pair", "not resolved", True), ("constant", "not assessed", True)],
)
def test_verdicts_of_poor_data(season: Path, kind: str, verdict: str, percent: bool) -> None:
    rows = tb.compare(tb.open_season(season), episode=kind, tool=f"wrench-{kind}").record.differences
    found = next(row for row in rows if row.metric == "sustained")
    assert found.family_verdict == verdict
    assert math.isfinite(found.percent.value) == percent
    assert math.isfinite(found.interval.lower) == (verdict != "not assessed")


@pytest.mark.parametrize("kind", ["about-zero", "exact-zero"])
def test_a_base_near_zero_is_judged_in_its_unit(season: Path, kind: str) -> None:
    record = tb.compare(tb.open_season(season), episode=kind, tool=f"wrench-{kind}").record
    found = next(row for row in record.differences if (row.metric, row.response) == ("sustained", "force"))
    assert math.isnan(found.interval.lower)
    # Constructed: 5 N; a mean of three runs that differ by 0.2 N is known to some tenths.
    assert found.difference_interval.lower < 5.0 < found.difference_interval.upper
    assert found.difference.value == pytest.approx(5.0, abs=0.6)
    assert (found.verdict, found.family_verdict) == ("higher", "higher")
