"""Comparison records made by hand, so the page is tested without reading a recording.

Every number here is constructed: curves T(t) = level * (1 - exp(-t / 0.9)), items 9 % apart, runs scattered by fixed
offsets. None of it is evidence about a tool.
"""

from __future__ import annotations

import dataclasses
import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from toolbench.records.comparison import (
    Band,
    ComparisonRecord,
    Component,
    Difference,
    Estimate,
    Interval,
    Item,
    Level,
    Span,
)
from toolbench.records.findings import Finding
from toolbench.records.runs import Conditions, Metric, Onset, Run, Trace
from toolbench.records.settings import (
    Display,
    Episode,
    Hold,
    LinePart,
    Protocol,
    RunEntry,
    SeasonSettings,
    Setup,
    Tool,
)

DURATION, MARKS, WINDOW = 12.0, (3.0, 6.0, 12.0), (9.6, 12.0)
GRID = np.linspace(0.012, 11.988, 500)
OFFSETS = (-0.8, 0.5, 0.1, -0.3, 0.6)
LONG = "19 mm hose of 30 m with the long yard extension <b>& three couplers</b>"


class Compared:
    """What the view asks of a Comparison: the record and the settings."""

    def __init__(self, record: ComparisonRecord, settings: SeasonSettings) -> None:
        self.record, self.settings = record, settings


def _level(index: int) -> float:
    return 900.0 * (1 - 0.09 * index / (1 + 0.3 * index))


def _curve(level: float, time_s: np.ndarray | float) -> np.ndarray:
    return level * (1 - np.exp(-np.asarray(time_s) / 0.9))


def _run(item: str, number: int, level: float, tool: str, setup: str) -> Run:
    run = f"{item.replace('/', '-')}-r{number:02d}"
    level *= 1 + OFFSETS[(number - 1) % len(OFFSETS)] / 100
    entry = RunEntry(
        run=run, file=f"recordings/{run}.csv", tool=tool, setup=setup, protocol="held", logger="rig",
        block=f"b{number}", started=datetime(2026, 5, 3 + number, 9, 30, tzinfo=UTC), line=number + 1,
    )  # fmt: skip
    sustained = Metric(response="torque", metric="sustained", at=None, value=level, unit="N*m")
    return Run(
        entry=entry, digest=f"{number:064x}",
        onset=Onset(time_s=1.2034, standard_uncertainty_s=0.0042, rule="level", rest=0.4, rest_scatter=1.1,
                    rest_length_s=1.2, highest=level * 1.02),
        sample_interval_s=0.001, available_s=12.4, grid_s=GRID,
        traces={"torque": Trace(channel="torque", unit="N*m", mean=_curve(level, GRID)),
                "inlet_pressure": Trace(channel="inlet_pressure", unit="Pa",
                                        mean=620000 + 60000 * np.exp(-GRID / 0.4) + 500 * number)},
        metrics=(sustained,),
        conditions=Conditions(rest_pressure=680000.0, flowing_pressure=619000.0 + 500 * number, droop=60500.0,
                              hold_met=number != 2, hold_value=619000.0 + 500 * number),
        rig="cell-a", sensors={"torque": "cell"},
    )  # fmt: skip


def percent_estimate(value: float, u: float, degrees: float = 8.0) -> Estimate:
    """A percent difference with three components: scatter of both sides, and a scale that the scatter holds already."""
    if math.isnan(u):
        return Estimate(value=value, unit="%")
    return Estimate(
        value=value, unit="%",
        components=(
            Component(source="scatter/item", label="Scatter of the item's runs", contribution=0.8 * u, evaluation="A",
                      degrees_of_freedom=degrees / 2, distribution="t"),
            Component(source="scatter/base", label="Scatter of the baseline's runs", contribution=-0.6 * u,
                      evaluation="A", degrees_of_freedom=degrees / 2, distribution="t"),
            Component(source="cell/zero", label="Zero of the cell, per run", contribution=0.2 * u, contained=True),
        ),
    )  # fmt: skip


def difference(
    item: str = "far", baseline: str = "near", *, value: float = -9.4, half: float = 1.9, family: str | None = None,
    verdict: str | None = None, metric: str = "sustained", at: float | None = None, response: str = "torque",
    n: int = 5, at_least: float | None = None, within: str = "", smallest: float = 4.1, unit: str = "N*m",
    interval: tuple[float, float] | None = None, blocks: int = 0,
) -> Difference:  # fmt: skip
    """One row by hand; a verdict that is not given follows from the interval."""
    low, high = interval or (value - half, value + half)
    found = "not assessed" if math.isnan(low) else "lower" if high < 0 else "higher" if low > 0 else "not resolved"
    wide = Interval(lower=value - 1.4 * (value - low), upper=value + 1.4 * (high - value))
    wide_found = (
        "not assessed" if math.isnan(low) else
        "lower" if wide.upper < 0 else "higher" if wide.lower > 0 else "not resolved"
    )  # fmt: skip
    u = half / 2.31
    return Difference(
        item=item, baseline=baseline, response=response, metric=metric, at=at, percent=percent_estimate(value, u),
        expanded_uncertainty=half, coverage_factor=2.31, interval=Interval(lower=low, upper=high), verdict=verdict or found,
        family_interval=wide, family_verdict=family or wide_found, at_least=at_least, n=n, n_baseline=n,
        within_limit=within, smallest_resolvable=smallest,
        difference=Estimate(value=value * 9, unit=unit, components=percent_estimate(value * 9, u * 9).components),
        difference_interval=Interval(lower=low * 9, upper=high * 9), blocks=blocks,
    )  # fmt: skip


def make_settings(setups: tuple[str, ...], labels: dict[str, str] | None = None) -> SeasonSettings:
    """A season with one tool and the setups asked for, on a hose of 19 mm."""
    labels = labels or {}
    hose = LinePart(part="hose", name="hose", bore_m=0.019, length_m=30.0, rated_pressure_pa=1.5e6)
    return SeasonSettings(
        folder=Path("season"), name="Bus depot", display=Display(units={"pressure": "bar"}),
        tools={
            "quernel-1": Tool(id="quernel-1", name="Quernel", specimen="1 of 2", drive_m=0.01905, obtained="lent",
                              obtained_from="a depot workshop", rated_pressure_pa=630000.0),
            "ostrel": Tool(id="ostrel", name="Ostrel <i>", specimen="", obtained=""),
        },
        setups={s: Setup(id=s, label=labels.get(s, s), supply="air", line=(hose,)) for s in setups},
        digests={"bench.toml": "ab" * 32, "tools.csv": "cd" * 32},
    )  # fmt: skip


def make(
    count: int = 3, runs: int = 5, *, long_names: bool = False, failed: bool = False, compensated: bool = True,
    findings: tuple[Finding, ...] | None = None,
) -> Compared:  # fmt: skip
    """A comparison of `count` setups with `runs` runs each. `failed`: no run of any item could be used."""
    ids = ("near", "far", "coiled", "coupled", "small", "longest", "bare", "double")[:count]
    labels = {i: f"{LONG} ({i})" for i in ids} if long_names else {}
    settings = make_settings(ids, labels)
    protocol = Protocol(
        id="held", label="Held inlet pressure", measurand="torque on the rig's stiff joint, tightening",
        duration_s=DURATION, marks_s=MARKS, window_s=WINDOW,
        hold=Hold(channel="inlet_pressure", at=620000.0, within=10000.0) if compensated else None,
    )  # fmt: skip
    episode = Episode(
        id="far-end", title="The far end of the bay", question="What does the long line cost?", tools=("quernel-1",),
        setups=ids, protocols=("held",), factor="the line as a whole", disclosure="The hoses were lent by a depot.",
        expected="About 8 % less at the far end.",
    )  # fmt: skip
    used = {i: [] if failed else [_run(i, k + 1, _level(x), "quernel-1", i) for k in range(runs)]
            for x, i in enumerate(ids)}  # fmt: skip
    items = tuple(
        Item(id=i, label=labels.get(i, i), tool="quernel-1", setup=i, runs=tuple(r.id for r in used[i]),
             excluded=((f"{i}-r06", "socket slip"),) if i == "far" else ())
        for i in ids
    )  # fmt: skip
    rows = [] if failed else _levels_and_differences(ids, runs)
    bands = [] if failed else [_band(i, x, runs) for x, i in enumerate(ids)]
    spans = () if failed or runs < 2 else tuple(
        Span(item=i, baseline="near", response="torque", from_s=1.25, to_s=12.0, smallest_percent=-6.2,
             largest_percent=-9.9) for i in ids[1:]
    )  # fmt: skip
    record = ComparisonRecord(
        axis="setups", subject="quernel-1", episode=episode, protocol=protocol, items=items, baseline=ids[0],
        runs=tuple(r for i in ids for r in used[i]),
        levels=tuple(r for r in rows if isinstance(r, Level)),
        differences=tuple(r for r in rows if isinstance(r, Difference)), bands=tuple(bands), spans=spans,
        findings=FINDINGS if findings is None else findings, duration_s=DURATION, marks_s=MARKS, window_s=WINDOW,
        confidence=0.95, family_size=4 * (count - 1), family_level=0.0125,
        digests={"recordings/near-r01.csv": "12" * 32, "bench.toml": "ab" * 32}, compensated=compensated,
    )  # fmt: skip
    return Compared(record, settings)


FINDINGS = (
    Finding(code="few-runs", severity="note", kind="design", message="Only 5 runs a side.", subjects=("near",)),
    Finding(code="hold-off-target", severity="doubtful", kind="condition", mend="Leave the run out or say why.",
            message="Flowing inlet pressure outside 6.20 ± 0.10 bar.", subjects=("far-r02",)),
    Finding(code="hold-off-target", severity="doubtful", kind="condition", mend="Leave the run out or say why.",
            message="Flowing inlet pressure outside 6.20 ± 0.10 bar.", subjects=("near-r02",)),
    Finding(code="sensor-overdue", severity="wrong", kind="calibration", subjects=("cell",),
            message='The sensor "cell" <script>alert(1)</script> was overdue on the day of the run.'),
)  # fmt: skip


def _levels_and_differences(ids: tuple[str, ...], runs: int) -> list[Level | Difference]:
    out: list[Level | Difference] = []
    single = runs < 2
    for x, item in enumerate(ids):
        for metric, at in (*(("at_mark", m) for m in MARKS), ("sustained", None)):
            value = float(_curve(_level(x), at if at is not None else 10.8))
            u = math.nan if single else 4.1
            components = () if single else (
                Component(source=f"scatter/{item}", label="Scatter of the runs", contribution=3.5, evaluation="A",
                          degrees_of_freedom=runs - 1, distribution="t"),
                Component(source="cell/scale", label="Scale of the torque cell", contribution=2.1),
            )  # fmt: skip
            out.append(Level(
                item=item, response="torque", metric=metric, at=at,
                estimate=Estimate(value=value, unit="N*m", components=components), expanded_uncertainty=2.3 * u,
                coverage_factor=math.nan if single else 2.3, n=runs, repeatability=math.nan if single else 7.8,
            ))  # fmt: skip
            if x:
                percent = 100 * (_level(x) / _level(0) - 1)
                half = math.nan if single else 1.9
                smallest = math.nan if single else 4.1
                out.append(difference(item, ids[0], value=percent, half=half, metric=metric, at=at, n=runs,
                                      smallest=smallest, at_least=None if single else percent + 1.5))  # fmt: skip
    return out


def _band(item: str, index: int, runs: int) -> Band:
    mean = _curve(_level(index), GRID)
    wide = np.full_like(mean, np.nan if runs < 2 else 14.0)
    percent = None if index == 0 else np.full_like(mean, 100 * (_level(index) / _level(0) - 1)) * (1 - np.exp(-GRID))
    pair = None if percent is None else (percent - wide / 5, percent + wide / 5)
    return Band(item=item, response="torque", unit="N*m", time_s=GRID, n=runs, mean=mean,
                pointwise=(mean - wide / 2, mean + wide / 2), simultaneous=(mean - wide, mean + wide),
                percent=percent, percent_pointwise=pair, percent_simultaneous=pair,
                baseline="" if index == 0 else "near")  # fmt: skip


def with_differences(compared: Compared, *rows: Difference) -> Compared:
    """The same comparison with other rows of differences."""
    return Compared(dataclasses.replace(compared.record, differences=rows), compared.settings)
