"""Open a season and say which reports it asks for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TypeVar

from toolbench.errors import Fault, UsageError
from toolbench.records.comparison import Axis
from toolbench.records.settings import Episode, RunEntry, SeasonSettings
from toolbench.settings import read_settings

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One thing compared before its runs are read: a tool on a setup, and the name it goes by in this report."""

    id: str
    label: str
    tool: str
    setup: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportPlan:
    """One report a season asks for. `reason` is empty unless `state` is "skipped"; `conditioned` are the ids of items that
    were run, but only to be warmed up."""

    episode: str
    axis: Axis
    subject: str
    protocol: str
    cells: tuple[Cell, ...]
    state: str = "planned"
    reason: str = ""
    conditioned: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        kind = {"setups": f"tool-{self.subject}", "tools": f"setup-{self.subject}", "pairs": "pairs"}[self.axis]
        return f"{kind}--{self.protocol}"

    @property
    def path(self) -> str:
        """Path below the output folder."""
        return f"{self.episode}/{self.name}"


@dataclass(frozen=True, slots=True)
class Season:
    """A season folder that has been read and validated; recordings are read when a comparison needs them."""

    folder: Path
    settings: SeasonSettings

    def entries(self, tool: str, setup: str, protocol: str) -> tuple[RunEntry, ...]:
        """Every recording of one tool on one setup under one protocol, excluded ones too, in the order they were made."""
        found = [r for r in self.settings.runs if (r.tool, r.setup, r.protocol) == (tool, setup, protocol)]
        return tuple(sorted(found, key=_made))

    def conditioning(self, protocol: str) -> frozenset[str]:
        """Runs that only warm a tool up: its first of each block, on whatever setup; without blocks, of each setup."""
        if not self.settings.protocols[protocol].conditioning:
            return frozenset()
        seen: dict[tuple[str, str, str], int] = {}
        found: set[str] = set()
        for entry in sorted((r for r in self.settings.runs if r.protocol == protocol), key=_made):
            sitting = (entry.tool, entry.block, "" if entry.block else entry.setup)
            seen[sitting] = seen.get(sitting, 0) + 1
            if seen[sitting] <= self.settings.protocols[protocol].conditioning:
                found.add(entry.run)
        return frozenset(found)

    def plans(
        self,
        episode: str | None = None,
        *,
        tool: str | None = None,
        setup: str | None = None,
        pairs: bool = False,
        protocol: str | None = None,
    ) -> tuple[ReportPlan, ...]:
        """The reports that match; all of them when nothing is named. Raises UsageError for a name the season lacks."""
        episodes = self.settings.episodes
        chosen = [pick(episodes, episode, "episode")] if episode else list(episodes.values())
        plans = [plan for one in chosen for plan in self._plans_of(one)]
        if protocol:
            pick(self.settings.protocols, protocol, "protocol")
            plans = [plan for plan in plans if plan.protocol == protocol]
        wanted: list[tuple[Axis, str]] = []
        if tool:
            wanted.append(("setups", pick(self.settings.tools, tool, "tool").id))
        if setup:
            wanted.append(("tools", pick(self.settings.setups, setup, "setup").id))
        if pairs:
            wanted.append(("pairs", ""))
        if wanted:
            plans = [plan for plan in plans if (plan.axis, plan.subject) in wanted]
        return tuple(plans)

    def _plans_of(self, episode: Episode) -> Iterable[ReportPlan]:
        for protocol in episode.protocols:
            if len(episode.setups) > 1:
                for tool in episode.tools:
                    order = _baseline_first(episode.setups, episode.baseline)
                    cells = tuple(Cell(id=s, label=self.settings.setups[s].label, tool=tool, setup=s) for s in order)
                    yield self._plan(episode, "setups", tool, protocol, cells)
            if len(episode.tools) > 1:
                for setup in episode.setups:
                    order = _baseline_first(episode.tools, episode.baseline_tool)
                    cells = tuple(Cell(id=t, label=self.tool_label(t), tool=t, setup=setup) for t in order)
                    yield self._plan(episode, "tools", setup, protocol, cells)
            if episode.pairs:
                cells = tuple(
                    Cell(
                        id=f"{t}/{s}",
                        label=f"{self.tool_label(t)} on {self.settings.setups[s].label}",
                        tool=t,
                        setup=s,
                    )
                    for t, s in episode.pairs
                )
                yield self._plan(episode, "pairs", "", protocol, cells)

    def tool_label(self, tool: str) -> str:
        """A tool's name, with its id where two specimens of one model share it."""
        name = self.settings.tools[tool].name
        shared = sum(other.name == name for other in self.settings.tools.values()) > 1
        return f"{name} ({tool})" if shared else name

    def _plan(self, episode: Episode, axis: Axis, subject: str, protocol: str, cells: tuple[Cell, ...]) -> ReportPlan:
        left = self.conditioning(protocol)
        made = {c.id: [r for r in self.entries(c.tool, c.setup, protocol) if not r.excluded] for c in cells}
        run = [id for id, entries in made.items() if any(r.run not in left for r in entries)]
        skipped = len(run) < 2
        names = ", ".join(run) or "none"
        warmed = [id for id, entries in made.items() if entries and id not in run]
        after = f"; all runs of {', '.join(warmed)} are conditioning runs" if warmed else ""
        return ReportPlan(
            episode=episode.id,
            axis=axis,
            subject=subject,
            protocol=protocol,
            cells=cells,
            state="skipped" if skipped else "planned",
            reason=f"fewer than two items have runs under {protocol} (with runs: {names}{after})" if skipped else "",
            conditioned=tuple(warmed),
        )


def open_season(folder: str | Path, *, episode: str | None = None) -> Season:
    """Read and validate a season folder.

    Parameters
    ----------
    folder
        Folder that holds bench.toml, or the path of that bench.toml.
    episode
        The one episode that is wanted: another episode with a fault is left out (`settings.set_aside`) and stops nothing.

    Raises
    ------
    SettingsError
        With every fault of bench.toml, tools.csv and runs.csv at once.
    """
    path = Path(folder)
    if path.name == "bench.toml":
        path = path.parent
    return Season(folder=path, settings=read_settings(path, episode=episode))


def find_plan(
    season: Season,
    *,
    episode: str,
    tool: str | None = None,
    setup: str | None = None,
    pairs: bool = False,
    protocol: str | None = None,
) -> ReportPlan:
    """The one report that the arguments name. Raises UsageError when none or several match."""
    plans = season.plans(episode, tool=tool or None, setup=setup or None, pairs=pairs, protocol=protocol or None)
    if len(plans) == 1:
        return plans[0]
    if not plans:
        listed = ", ".join(plan.name for plan in season.plans(episode)) or "none"
        raise UsageError(Fault(f"episode {episode!r} has no such report", mend=f"its reports: {listed}"))
    names = ", ".join(plan.name for plan in plans)
    raise UsageError(
        Fault(f"{len(plans)} reports match in episode {episode!r}: {names}", mend="name a tool, a setup or a protocol")
    )


def _made(entry: RunEntry) -> tuple[float, str, str]:
    return (
        entry.order if entry.order is not None else float("inf"),
        entry.started.isoformat() if entry.started else "",
        entry.run,
    )


def _baseline_first(ids: tuple[str, ...], baseline: str | None) -> tuple[str, ...]:
    if baseline is None or baseline not in ids:
        return ids
    return (baseline, *(one for one in ids if one != baseline))


def pick(known: Mapping[str, T], name: str, kind: str) -> T:
    """What goes by a name in a season. Raises UsageError with the nearest one."""
    if name in known:
        return known[name]
    near = get_close_matches(name, known, n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known) or 'none'}"
    raise UsageError(Fault(f"there is no {kind} {name!r} in this season", mend=hint))
