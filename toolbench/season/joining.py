"""The runs of a report over the epochs of its rig: brought together by the check standard, or left out as not comparable.

Where every item was run on all sides of a change in the same shares, the change is in the scatter and nothing is done. Else
runs of other epochs than the base's are brought to it by the check standard's link; where no link reaches, items that were run
in such epochs alone are left out, and of the others the runs there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from toolbench.errors import AnalysisError, Fault
from toolbench.metrology import coverage_factor
from toolbench.metrology.links import FEWEST_UNITS, link_uncertainty
from toolbench.quantities import format_value
from toolbench.records.comparison import Item
from toolbench.records.findings import Finding, Severity
from toolbench.records.runs import Link, Run
from toolbench.records.settings import Protocol
from toolbench.season.epochs import Epochs, find_epochs
from toolbench.season.links import Side, Steps, bring_over, find_steps, link_of
from toolbench.season.opening import Season

MEND = (
    "compare runs of one epoch of the rig, or run the check standard in "
    f"{FEWEST_UNITS} blocks or more on both sides of the change, with the report's rig, filter, measurand, direction and response"
)
NO_LINK = "another epoch of the rig, and no check standard links it"


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """What can be compared: items with the runs that are left, each as it would be in the base's epoch, and who was left out.

    Runs of the epochs `together` are taken as they are, those of the epochs in `links` are brought to the base's.
    """

    items: tuple[Item, ...]
    runs: dict[str, Run]
    epochs: Epochs
    together: frozenset[int] = frozenset()
    links: Mapping[int, Mapping[str, Link]] = field(default_factory=dict)
    left_out: tuple[Item, ...] = ()
    findings: tuple[Finding, ...] = ()

    def bring(self, run: Run) -> Run | None:
        """Another run of the items as it would be beside those compared; None where no link reaches its epoch."""
        epoch = self.epochs.of(run.entry)
        if epoch is None or epoch in self.together:
            return run
        return bring_over(run, self.links[epoch]) if epoch in self.links else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Report:
    """A report's items over the epochs: where each run lies, the base's epoch, and the ways from there."""

    items: tuple[Item, ...]
    runs: Mapping[str, Run]
    epochs: Epochs
    places: Mapping[str, int]
    base: int
    steps: Mapping[str, Mapping[int, Steps]]

    @property
    def reached(self) -> set[int]:
        """Epochs that every response has a link to, the base's own among them."""
        return set.intersection(*map(set, self.steps.values()))

    def present(self, items: Iterable[Item]) -> set[int]:
        return {self.places[run] for item in items for run in item.runs}

    def shares(self, item: Item) -> dict[int, Fraction]:
        counted = Counter(self.places[run] for run in item.runs)
        return {epoch: Fraction(number, len(item.runs)) for epoch, number in counted.items()}

    def are_alike(self, items: Sequence[Item]) -> bool:
        """Whether all items lie in the epochs with equal shares of their runs."""
        return all(self.shares(item) == self.shares(items[0]) for item in items)

    def links(self) -> dict[int, dict[str, Link]]:
        return {
            epoch: {response: link_of(ways[epoch], response) for response, ways in self.steps.items()}
            for epoch in sorted(self.reached - {self.base})
        }


def join_epochs(
    season: Season, protocol: Protocol, items: Sequence[Item], runs: Mapping[str, Run], standards: Iterable[Run]
) -> Joined:
    """Sort the runs of a report into epochs of the rig and bring them to that of the base, the first of `items`.

    Parameters
    ----------
    runs
        Every run of the items, by id.
    standards
        Runs of check standards on the rig; others among them are passed over.
    """
    epochs = find_epochs(season.settings)
    if not epochs.changes:
        return Joined(items=tuple(items), runs=dict(runs), epochs=epochs, together=frozenset((0,)))
    base, places = _places(epochs, items, runs)
    report = _Report(
        items=tuple(items),
        runs=runs,
        epochs=epochs,
        places=places,
        base=base,
        steps=find_steps(season, protocol, runs, standards, epochs, base),
    )
    joined = _together(report, items) if report.are_alike(items) else _sorted(report)
    return replace(joined, findings=(*_undated(season, epochs, runs), *joined.findings))


def _sorted(report: _Report) -> Joined:
    """Where the items do not lie in the epochs alike: what a link reaches, without what none does."""
    reached = report.reached
    left_out = tuple(item for item in report.items if reached.isdisjoint(report.present([item])))
    kept = [item for item in report.items if item not in left_out]
    told = [_apart(report, item) for item in left_out]
    present = report.present(kept)
    if not present <= reached and all(report.present([item]) == present for item in kept):
        joined = _together(report, kept)
    else:
        joined = _brought(report, kept)
    return replace(joined, left_out=left_out, findings=(*told, *joined.findings))


def _together(report: _Report, items: Sequence[Item]) -> Joined:
    """Items on all sides of the changes between them, as they are: the differences hold the change so far as their shares differ."""
    present = report.present(items)
    found: tuple[Finding, ...] = ()
    if len(present) > 1 and report.are_alike(items):
        found = (_changed(report, present, "note", "alike, so that is in the scatter"),)
    elif len(present) > 1:
        found = (_changed(report, present, "doubtful", "but not equally often, so part of it is in the differences"),)
    return Joined(
        items=tuple(items),
        runs={run: report.runs[run] for item in items for run in item.runs},
        epochs=report.epochs,
        together=frozenset(present),
        links=report.links(),
        findings=found,
    )


def _brought(report: _Report, items: Sequence[Item]) -> Joined:
    """Runs brought to the base's epoch, those that no link reaches left out."""
    cut = tuple(_cut(report, item) for item in items)
    links = report.links()
    runs = {
        run: bring_over(report.runs[run], links[place]) if (place := report.places[run]) in links else report.runs[run]
        for item in cut
        for run in item.runs
    }
    lost = [run for item in items for run in item.runs if report.places[run] not in report.reached]
    told = [
        _linked(report, cut, epoch, response, link)
        for epoch in sorted(report.present(cut) - {report.base})
        for response, link in links[epoch].items()
    ]
    return Joined(
        items=cut,
        runs=runs,
        epochs=report.epochs,
        together=frozenset((report.base,)),
        links=links,
        findings=(*([_runs_apart(report, lost)] if lost else []), *told),
    )


def too_few(joined: Joined, path: str) -> AnalysisError:
    """The error of a report that has fewer than two items left."""
    lost = ", ".join(item.id for item in joined.left_out)
    kept, were = joined.items[0].id, "was" if len(joined.left_out) == 1 else "were"
    return AnalysisError(
        Fault(f"only {kept} is left: {lost} {were} run in {NO_LINK} to that of {kept}", key=path, mend=MEND)
    )


def _places(epochs: Epochs, items: Sequence[Item], runs: Mapping[str, Run]) -> tuple[int, dict[str, int]]:
    """The base's epoch and that of every run; one that cannot be placed counts with its item's others, else with the base's."""
    known = {item.id: [epoch for r in item.runs if (epoch := epochs.of(runs[r].entry)) is not None] for item in items}
    everywhere = [epoch for found in known.values() for epoch in found]
    base = _most(Counter(known[items[0].id] or everywhere or [0]))
    places: dict[str, int] = {}
    for item in items:
        fallback = _most(Counter(known[item.id] or [base]))
        for run in item.runs:
            epoch = epochs.of(runs[run].entry)
            places[run] = fallback if epoch is None else epoch
    return base, places


def _most(counted: Mapping[int, int | Fraction]) -> int:
    """The epoch with most runs, the first of several."""
    return min(counted, key=lambda epoch: (-counted[epoch], epoch))


def _cut(report: _Report, item: Item) -> Item:
    """An item without its runs in epochs that no link reaches."""
    lost = tuple((run, NO_LINK) for run in item.runs if report.places[run] not in report.reached)
    left = tuple(run for run in item.runs if report.places[run] in report.reached)
    return replace(item, runs=left, excluded=(*item.excluded, *lost))


def _finding(code: str, severity: Severity, message: str, mend: str, subjects: Iterable[str] = ()) -> Finding:
    return Finding(
        code=code, severity=severity, kind="design", message=message, mend=mend, subjects=tuple(dict.fromkeys(subjects))
    )


def _undated(season: Season, epochs: Epochs, runs: Mapping[str, Run]) -> tuple[Finding, ...]:
    """Runs that cannot be placed; doubtful where the season's dated runs lie in several epochs."""
    lost = [run.id for run in runs.values() if epochs.of(run.entry) is None]
    if not lost:
        return ()
    several = len({epochs.of(entry) for entry in season.settings.runs} - {None}) > 1
    names = f"run {lost[0]}" if len(lost) == 1 else f"{len(lost)} runs ({', '.join(lost)})"
    message = (
        f"In which epoch of the rig {names} was made is not known: the start is not stated, nor that of its block."
    )
    return (
        _finding(
            "epoch-not-known", "doubtful" if several else "note", message, "state `started` in runs.csv", subjects=lost
        ),
    )


def _changed(report: _Report, present: Iterable[int], severity: Severity, how: str) -> Finding:
    between = report.epochs.between(min(present), max(present))
    message = f"The rig was changed {between}, between the runs compared; every item was run on all sides {how}."
    return _finding("rig-changed", severity, message, MEND if severity == "doubtful" else "")


def _apart(report: _Report, item: Item) -> Finding:
    between = report.epochs.between(report.base, _most(report.shares(item)))
    return _finding(
        "rig-changed",
        "doubtful",
        f"{item.label} is left out as not comparable: the rig was changed {between} between its runs and those of "
        f"{report.items[0].label}, and no check standard run on both sides links them.",
        MEND,
        (item.id,),
    )


def _runs_apart(report: _Report, lost: Sequence[str]) -> Finding:
    names = f"Run {lost[0]} is" if len(lost) == 1 else f"{len(lost)} runs ({', '.join(lost)}) are"
    return _finding(
        "rig-changed",
        "doubtful",
        f"{names} left out as not comparable: made in another epoch of the rig than {report.items[0].label} "
        f"({report.epochs.words(report.base)}), and no check standard run on both sides links them.",
        MEND,
        lost,
    )


def _linked(report: _Report, items: Sequence[Item], epoch: int, response: str, link: Link) -> Finding:
    """Which factor was applied to which items, how well it is known and from what."""
    epochs, base, steps = report.epochs, report.base, report.steps[response][epoch]
    touched = [(item, sum(report.places[run] == epoch for run in item.runs)) for item in items]
    named = ", ".join(f"{item.label} ({number} of {len(item.runs)} runs)" for item, number in touched if number)
    relative, dof = link_uncertainty(link)
    half = link.factor * relative * coverage_factor(dof) if relative else None
    factor = format_value(link.factor, half, "1")
    through = "; ".join(f"{near.label}: {_counted(near)}, {_counted(far)}" for near, far in steps)
    out = [side.words for step in steps for side in step if side.out_of_control]
    doubt = f" The check standard is out of control {out[0]}, so the link is in doubt." if out else ""
    return _finding(
        "epochs-linked",
        "doubtful" if out else "note",
        f"The rig was changed {epochs.between(base, epoch)}: the {response.replace('_', ' ')} of {named}, made "
        f"{epochs.words(epoch)}, is multiplied by {factor} (95 %) to compare it with what was made {epochs.words(base)}, "
        f"as the check standard shows ({through}).{doubt} This takes the change to act on every tool in proportion. Peaks "
        "and times to a level are not carried over and are left out of these runs.",
        "find what changed on the rig, and run the check standard again on that side" if out else "",
        (item.id for item, number in touched if number),
    )


def _counted(side: Side) -> str:
    """How much a side rests on: "6 runs in 5 blocks before 2026-03-02"."""
    blocks = f" in {side.level.units} blocks" if side.level.units != side.runs else ""
    return f"{side.runs} runs{blocks} {side.words}"
