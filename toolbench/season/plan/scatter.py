"""What a season knows already of a protocol: its runs, how they scatter, and how the rows of a report move together."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from toolbench.errors import AnalysisError, Fault
from toolbench.metrology import Row
from toolbench.metrology.family import row_correlation
from toolbench.metrology.power import Scatter, residual_scatter
from toolbench.records.comparison import TOLD
from toolbench.records.runs import Floats, Run
from toolbench.records.settings import Protocol, RunEntry
from toolbench.season.judged import METRIC_ORDER
from toolbench.season.opening import Season
from toolbench.season.reducing import Timing, find_timing, reduce_runs
from toolbench.season.repeats import value_of

Pair = tuple[str, str]
"""A tool on a setup."""

FEWEST_FREEDOM = 3
"""Degrees of freedom that a scatter within blocks needs to be used instead of that of all repeats."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownRuns:
    """Runs of one protocol on one rig, by tool and setup. `timing` is None where nothing says how long a run is."""

    protocol: Protocol
    cells: Mapping[Pair, tuple[Run, ...]]
    rows: tuple[Row, ...]
    timing: Timing | None
    left_out: tuple[tuple[RunEntry, Fault], ...] = ()

    @property
    def runs(self) -> tuple[Run, ...]:
        return tuple(run for runs in self.cells.values() for run in runs)

    @property
    def has_repeats(self) -> bool:
        return any(len(runs) > 1 for runs in self.cells.values())

    def scatter(self, row: Row, *, within_blocks: bool) -> Scatter | None:
        """Relative scatter of one run in a row; within blocks where that is asked for and runs were made in them."""
        groups = [np.array([value_of(run, row) for run in runs]) for runs in self.cells.values()]
        if within_blocks:
            found = residual_scatter(groups, [[_sitting(run) for run in runs] for runs in self.cells.values()])
            if found is not None and found.degrees_of_freedom >= FEWEST_FREEDOM:
                return found
        return residual_scatter(groups)

    def block_scatter(self, row: Row) -> float:
        """How the level of a whole block scatters, as a share: what the scatter of all repeats has beyond that within blocks."""
        whole, within = (self.scatter(row, within_blocks=inside) for inside in (False, True))
        if whole is None or within is None:
            return 0.0
        return math.sqrt(max(whole.sd**2 - within.sd**2, 0.0))

    def correlation(self) -> tuple[tuple[float, ...], ...]:
        """Correlation between the rows from the residuals of all repeats; rows count as unrelated without any."""
        residuals = [self._residuals(runs) for runs in self.cells.values() if len(runs) > 1]
        freedom = sum(len(part) - 1 for part in residuals)
        if freedom < FEWEST_FREEDOM:
            return _unrelated(len(self.rows))
        return tuple(map(tuple, row_correlation(residuals, freedom).tolist()))

    def _residuals(self, runs: Sequence[Run]) -> Floats:
        values = np.array([[value_of(run, row) for row in self.rows] for run in runs], dtype=float)
        known = np.isfinite(values).sum(axis=0) > 1
        values[:, ~known] = np.nan
        rest = np.full(values.shape, np.nan)
        rest[:, known] = values[:, known] - np.nanmean(values[:, known], axis=0)
        scale = np.sqrt(np.nansum(rest**2, axis=0) / max(len(runs) - 1, 1))
        return np.asarray(np.divide(rest, scale, out=np.full_like(rest, np.nan), where=scale > 0), dtype=float)


def _sitting(run: Run) -> str:
    """A run without a block shares nothing with another."""
    return run.entry.block or f"run {run.id}"


def _unrelated(count: int) -> tuple[tuple[float, ...], ...]:
    return tuple(map(tuple, np.eye(count).tolist()))


def find_known(season: Season, protocol: Protocol, cells: Sequence[Pair]) -> KnownRuns:
    """Every usable run of the protocol on the rig of the planned cells (on the rig with most runs where these have none)."""
    left = season.conditioning(protocol.id)
    wanted = [e for e in season.settings.runs if e.protocol == protocol.id and not e.excluded and e.run not in left]
    timing: Timing | None = find_timing(protocol, protocol.duration_s) if protocol.duration_s is not None else None
    runs: Sequence[Run] = ()
    failed: tuple[tuple[RunEntry, Fault], ...] = ()
    if wanted:
        try:
            reduced = reduce_runs(season.settings, protocol, wanted)
            runs, timing, failed = reduced.runs, reduced.timing, reduced.failed
        except AnalysisError as error:
            failed = tuple(zip(wanted, error.faults, strict=False))
    found: dict[Pair, list[Run]] = defaultdict(list)
    rig = _rig(runs, cells)
    for run in runs:
        if (run.rig, run.filter) == rig:
            found[(run.entry.tool, run.entry.setup)].append(run)
    kept = [run for like in found.values() for run in like]
    return KnownRuns(
        protocol=protocol,
        cells={pair: tuple(like) for pair, like in found.items()},
        rows=_told_rows(kept, protocol) or _stated_rows(protocol, timing),
        timing=timing,
        left_out=failed,
    )


def _rig(runs: Sequence[Run], cells: Sequence[Pair]) -> tuple[str, str]:
    mine = [run for run in runs if (run.entry.tool, run.entry.setup) in cells] or runs
    counted = Counter((run.rig, run.filter) for run in mine)
    return counted.most_common(1)[0][0] if counted else ("", "")


def _told_rows(runs: Sequence[Run], protocol: Protocol) -> tuple[Row, ...]:
    """The rows of the response that hold together in a report, the headline first."""
    found = {
        (m.response, m.metric, m.at): Row(response=m.response, metric=m.metric, at=m.at, unit=m.unit)
        for run in runs
        for m in run.metrics
        if m.metric in TOLD and m.response in protocol.response and math.isfinite(m.value)
    }
    return tuple(sorted(found.values(), key=lambda row: _place(row, protocol)))


def _place(row: Row, protocol: Protocol) -> tuple[int, bool, int, float]:
    return (
        protocol.response.index(row.response),
        row.metric != "sustained",
        METRIC_ORDER.index(row.metric),
        row.at if row.at is not None else -1.0,
    )


def _stated_rows(protocol: Protocol, timing: Timing | None) -> tuple[Row, ...]:
    """The rows a report will have, where no run says it; without a duration, marks have no time yet."""
    marks = timing.marks_s if timing is not None else protocol.marks_s or (math.nan,) * 3
    return tuple(
        row
        for response in protocol.response
        for row in (
            Row(response=response, metric="sustained", at=None, unit=""),
            *(Row(response=response, metric="at_mark", at=mark, unit="") for mark in marks),
        )
    )
