"""Epochs of the rig: a change in the bench's log starts a new one on its date, and a run lies in the epoch of its day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from toolbench.records.settings import LogbookEntry, RunEntry, SeasonSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class Epochs:
    """The epochs of a season, numbered from 0; `changes` start those from 1 on, one entry or several of one day each.

    `blocks` places a run without a date by its block, where the dated runs of that block lie in one epoch.
    """

    changes: tuple[tuple[LogbookEntry, ...], ...]
    blocks: Mapping[str, int]

    def on(self, day: date) -> int:
        """The epoch of a day; the day of a change is in the new one."""
        return sum(change[0].date <= day for change in self.changes)

    def of(self, entry: RunEntry) -> int | None:
        """The epoch of a run, None where neither its date nor its block says."""
        if not self.changes:
            return 0
        if entry.started is not None:
            return self.on(entry.started.date())
        return self.blocks.get(entry.block) if entry.block else None

    def bounds(self, epoch: int) -> tuple[date | None, date | None]:
        """First day of an epoch, and first day of the next; None where it has no beginning or no end."""
        since = self.changes[epoch - 1][0].date if epoch else None
        return since, self.changes[epoch][0].date if epoch < len(self.changes) else None

    def words(self, epoch: int) -> str:
        """When an epoch is: "before 2026-01-09", "from 2026-01-09 to 2026-03-02", "since 2026-03-02"."""
        since, until = self.bounds(epoch)
        if since is None:
            return f"before {until}" if until else ""
        return f"since {since}" if until is None else f"from {since} to {until}"

    def between(self, first: int, second: int) -> str:
        """The changes between two epochs: "on 2026-01-09 (joint) and on 2026-03-02 (cell)"."""
        low, high = sorted((first, second))
        told = [f"on {day[0].date} ({'; '.join(one.changed for one in day)})" for day in self.changes[low:high]]
        return " and ".join(told)


def find_epochs(settings: SeasonSettings) -> Epochs:
    """The epochs that the bench's log makes; one where it records no change."""
    days: dict[date, list[LogbookEntry]] = {}
    for entry in sorted(settings.logbook, key=lambda one: one.date):
        days.setdefault(entry.date, []).append(entry)
    dated = Epochs(changes=tuple(map(tuple, days.values())), blocks={})
    if not days:
        return dated
    found: dict[str, set[int]] = {}
    for run in settings.runs:
        if run.block and run.started is not None:
            found.setdefault(run.block, set()).add(dated.on(run.started.date()))
    return Epochs(changes=dated.changes, blocks={name: min(one) for name, one in found.items() if len(one) == 1})
