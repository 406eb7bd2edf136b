"""What must fit together across bench.toml: ids, references, times."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from toolbench.quantities.glossary import METRICS
from toolbench.records.settings import Correction, Episode, Protocol
from toolbench.settings.convert import Path
from toolbench.settings.faults import Faults, did_you_mean, id_fault


def check_ids(table: str, ids: Sequence[str], paths: Sequence[Path], faults: Faults) -> None:
    """Pattern of each id, and uniqueness ignoring case."""
    seen: dict[str, str] = {}
    for id, path in zip(ids, paths, strict=True):
        problem = id_fault(id)
        if problem:
            faults.bench(path, problem)
        if id.casefold() in seen:
            same = seen[id.casefold()] == id
            why = "stands already" if same else f'differs from "{seen[id.casefold()]}" in case only'
            faults.bench(path, f'the id "{id}" {why} in {table}')
        seen.setdefault(id.casefold(), id)


def check_names(
    names: Iterable[str], known: Sequence[str] | None, kind: str, path: Path, faults: Faults, *, many: bool = True
) -> None:
    """Each name is known and stands once. `known` None: any name with the form of an id."""
    seen: set[str] = set()
    for i, name in enumerate(names):
        place = (*path, i) if many else path
        if name in seen:
            faults.bench(place, f'{kind} "{name}" stands twice')
        seen.add(name)
        if known is None:
            if problem := id_fault(name):
                faults.bench(place, problem)
        elif name not in known:
            none = "add it to tools.csv" if kind == "tool" else f"add a table [{kind}s.{name}]"
            faults.bench(place, f'{kind} "{name}" is not known', did_you_mean(name, known, none=none))


def check_protocol(protocol: Protocol, faults: Faults) -> None:
    """Marks and the window lie in 0 to the duration; levels to reach are positive."""
    path: Path = ("protocols", protocol.id)
    end = protocol.duration_s if protocol.duration_s is not None else math.inf
    span = f"0 to {end:g} s" if math.isfinite(end) else "0 s and later"
    marks = protocol.marks_s or ()
    if protocol.marks_s == ():
        faults.bench((*path, "marks"), "holds no time", 'leave it out, or write for example marks = ["2 s"]')
    for i, mark in enumerate(marks):
        if not 0 <= mark <= end:
            faults.bench((*path, "marks", i), f"the mark at {mark:g} s lies outside {span}, counted from the onset")
        if mark in marks[:i]:
            faults.bench((*path, "marks", i), f"the mark at {mark:g} s stands twice")
    if protocol.window_s is not None:
        begin, stop = protocol.window_s
        if not 0 <= begin < stop <= end:
            faults.bench((*path, "window"), f"the window {begin:g} s to {stop:g} s does not lie in {span}")
    for i, level in enumerate(protocol.reach):
        if level <= 0:
            faults.bench((*path, "reach", i), "a level to reach must be greater than zero")


def check_episode(
    episode: Episode, path: Path, tools: Sequence[str] | None, setups: Sequence[str], protocols: Sequence[str],
    faults: Faults,
) -> None:  # fmt: skip
    """What an episode names is known, and there is something to compare."""
    check_names(episode.tools, tools, "tool", (*path, "tools"), faults)
    check_names(episode.setups, setups, "setup", (*path, "setups"), faults)
    check_names(episode.protocols, protocols, "protocol", (*path, "protocols"), faults)
    for i, (tool, setup) in enumerate(episode.pairs):
        check_names([tool], tools, "tool", (*path, "pairs", i), faults, many=False)
        check_names([setup], setups, "setup", (*path, "pairs", i), faults, many=False)
        if (tool, setup) in episode.pairs[:i]:
            faults.bench((*path, "pairs", i), f'the pair "{tool}", "{setup}" stands twice')
    if not episode.protocols:
        faults.bench(path, "names no protocol", did_you_mean("", protocols, none="add a table [protocols.ID]"))
    if not episode.pairs and not (episode.tools and episode.setups):
        faults.bench(path, "names nothing to compare", "add tools and setups, or pairs")
    if episode.pairs and len(episode.pairs) == 1:
        faults.bench((*path, "pairs"), "one pair has nothing to be compared with", "add a second pair")
    for key, name, own in (
        ("baseline", episode.baseline, episode.setups),
        ("baseline_tool", episode.baseline_tool, episode.tools),
    ):
        if name is not None and name not in own:
            what = "tools" if key == "baseline_tool" else "setups"
            faults.bench((*path, key), f'"{name}" is none of the episode\'s {what}', did_you_mean(name, own))


def check_correction(
    correction: Correction, path: Path, tools: Sequence[str] | None, runs: Sequence[str], faults: Faults
) -> None:
    check_names(correction.tools, tools, "tool", (*path, "tools"), faults)
    for i, run in enumerate(correction.runs):
        if run not in runs:
            faults.bench(
                (*path, "runs", i), f'run "{run}" is not known', did_you_mean(run, runs, none="there are no runs")
            )


def check_metric(name: str, path: Path, faults: Faults) -> bool:
    if name not in METRICS:
        faults.bench(path, f'metric "{name}" is not known', did_you_mean(name, METRICS))
        return False
    return True
