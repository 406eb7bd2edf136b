"""Runs beside each other: like runs of which one is in another unit, and one recording that counts as several runs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from toolbench.records.findings import Finding
from toolbench.records.runs import Run
from toolbench.signal import like_run_findings


def like_findings(runs: Sequence[Run]) -> list[Finding]:
    """Runs of one tool on one setup under one protocol beside each other: a wrong unit or zero in one of them."""
    cells: dict[tuple[str, str, str], list[Run]] = defaultdict(list)
    for run in runs:
        cells[(run.entry.tool, run.entry.setup, run.entry.protocol)].append(run)
    return [finding for like in cells.values() for finding in like_run_findings(like)]


def same_content(runs: Sequence[Run]) -> list[Finding]:
    """Runs that are one recording: the same bytes, or the same samples in another file."""
    by_digest: dict[str, list[Run]] = defaultdict(list)
    for run in runs:
        by_digest[run.digest].append(run)
    found = [_same_recording(same, "byte for byte") for same in by_digest.values() if len(same) > 1]
    cells: dict[tuple[str, str], list[list[Run]]] = defaultdict(list)
    for first, *_ in by_digest.values():
        groups = cells[(first.entry.protocol, first.onset.rule)]
        group = next((group for group in groups if _same_samples(group[0], first)), None)
        if group is None:
            groups.append([first])
        else:
            group.append(first)
    for groups in cells.values():
        found += [_same_recording(group, "in other files") for group in groups if len(group) > 1]
    return found


SAME_SHARE = 0.5
"""Runs are one recording when this share of their moving averages agree to the last digit: with any noise, two runs agree in none."""


def _same_samples(one: Run, other: Run) -> bool:
    """Whether two runs hold the same samples of a response, exported twice; what stands still everywhere tells nothing."""
    for name in {metric.response for metric in one.metrics} & one.traces.keys() & other.traces.keys():
        mine, theirs = one.traces[name], other.traces[name]
        if mine.low is None or mine.high is None or mine.mean.shape != theirs.mean.shape:
            continue
        moving = mine.low < mine.high
        same = int((mine.mean[moving] == theirs.mean[moving]).sum())
        if same > max(SAME_SHARE * int(moving.sum()), 10):
            return True
    return False


def _same_recording(runs: Sequence[Run], how: str) -> Finding:
    names = [run.id for run in runs]
    return Finding(
        code="same-recording",
        severity="wrong",
        kind="data",
        message=f"Runs {', '.join(names)} are the same recording, {how}: one run counted {len(runs)} times.",
        mend="find the missing recording, or exclude the copy with the reason duplicate file",
        subjects=tuple(names),
        file=runs[1].entry.file,
    )
