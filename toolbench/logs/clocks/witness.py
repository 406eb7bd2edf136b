"""Several clocks in one file: a second one settles a missing unit, contradicts a wrong one, or takes over from one that steps back."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from toolbench.errors import RecordingError
from toolbench.logs.clocks.clock import key_text, no_unit
from toolbench.logs.clocks.offsets import offset_ns, offset_text
from toolbench.logs.clocks.one_clock import Clock, read_clock
from toolbench.logs.clocks.timesource import Ratio, TimeSource
from toolbench.logs.columns.tables import Table
from toolbench.logs.names import SHORT_UNITS
from toolbench.logs.source import refusal
from toolbench.records.findings import Finding

AGREES = 0.02
_TIMED = ("number", "epoch", "stamp")


@dataclass(frozen=True, slots=True)
class _Read:
    source: TimeSource
    clock: Clock

    @property
    def back(self) -> int:
        """Steps back."""
        return int((np.diff(self.clock.seconds) < 0).sum())

    @property
    def repeats(self) -> int:
        """Rows with the time of the row before."""
        return int((np.diff(self.clock.seconds) == 0).sum())

    @property
    def resolution(self) -> float:
        """Smallest step that the clock shows [s]."""
        steps = np.diff(self.clock.seconds)
        return float(steps[steps > 0].min()) if (steps > 0).any() else np.inf

    @property
    def span(self) -> float:
        """Seconds from the first row to the last [s]."""
        return float(self.clock.seconds[-1])


def choose_best(source: TimeSource, table: Table, *, file: str) -> tuple[TimeSource, tuple[Finding, ...]]:
    """The clock to take, its unit settled, and what the others say about it.

    Raises
    ------
    RecordingError
        The unit of the chosen clock is nowhere and no other clock settles it, or another clock denies the unit that the file names.
    """
    others = [read for other in source.others if (read := _try(other, table, file)) is not None]
    witnesses = [read for read in others if _may_testify(read, table.rows)]
    preamble = [other for other in source.others if other.kind == "rate"]
    if source.kind == "unsettled":
        chosen, settled = _settle(source, witnesses, preamble, table, file)
        return chosen, (*settled, *_note_others(chosen, [o for o in source.others if o.columns], ()))
    own = _try(source, table, file)
    found: tuple[Finding, ...] = ()
    chosen = source
    if not source.stated:
        chosen, found = _better(source, own, others, table, file)
    if chosen is source and own is not None and source.kind in _TIMED and len(own.clock.seconds) > 1:
        found = _contradicted(own, witnesses, table, file)
    rest = [other for other in (source, *source.others) if other.columns and other.columns != chosen.columns]
    if chosen.stated:
        return chosen, found
    reads = [read for read in (own, *others) if read is not None]
    return chosen, (*found, *_note_others(chosen, rest, _offsets(chosen, reads)))


def _try(source: TimeSource, table: Table, file: str) -> _Read | None:
    """A clock as read, None where it cannot be: a witness is never a reason to refuse a file."""
    if not source.columns or any(column.index not in table.columns for column in source.columns):
        return None
    try:
        clock = read_clock(source, table, file=file)
    except RecordingError:
        return None
    return _Read(source, clock) if len(clock.seconds) else None


def _may_testify(read: _Read, rows: int) -> bool:
    """Whether a clock covers nearly all rows, moves, and never steps back."""
    named = read.source.kind in ("stamp", "epoch") or (read.source.kind == "number" and read.source.named)
    return named and len(read.clock.seconds) >= 0.9 * rows and read.back == 0 and read.span > 0


def _settle(
    source: TimeSource, witnesses: Sequence[_Read], preamble: Sequence[TimeSource], table: Table, file: str
) -> tuple[TimeSource, tuple[Finding, ...]]:
    """The unit under which the column agrees with a second clock."""
    own = _try(source, table, file)
    if own is None or len(own.clock.seconds) < 2:
        raise no_unit(source, file)
    steps = np.diff(own.clock.seconds)
    usual = float(np.median(steps))
    seen: list[str] = []
    votes: dict[Ratio, tuple[float, float, str]] = {}
    for name, mine, theirs, doubt in _testimonies(own, usual, witnesses, preamble):
        ratio = _ratio_for(mine, theirs, doubt)
        seen.append(f"{mine:g} there, {theirs:g} s by {name}")
        if ratio is not None:
            votes.setdefault(ratio, (mine, theirs, name))
    if len(votes) != 1:
        what = "; no second clock settles it" + (f" ({'; '.join(seen[:3])})" if seen else "")
        raise no_unit(source, file, what)
    ratio, (mine, theirs, name) = next(iter(votes.items()))
    unit = SHORT_UNITS[ratio]
    found = Finding(
        code="unit-by-second-clock",
        severity="note",
        kind="data",
        message=f"{source.label!r} has no unit; read as {unit}: {mine:g} there is {theirs:g} s by {name}",
        mend=key_text(source.label, unit),
        line=table.line(0),
    )
    return replace(source, kind="number", unit=unit, ratio=ratio), (found,)


def _testimonies(
    own: _Read, usual: float, witnesses: Sequence[_Read], preamble: Sequence[TimeSource]
) -> list[tuple[str, float, float, float]]:
    """What each second clock says: its name, the length in the column's own unit, the length in seconds, its doubt in seconds."""
    found = [(f"{read.source.label!r}", own.span, read.span, 2 * read.resolution) for read in witnesses]
    for source in preamble:
        if source.rate_hz < 0:
            found.append((f"the lines above ({source.label!r})", own.span, -source.rate_hz, 2.0))
        else:
            found.append((f"the rate above ({source.label!r})", usual, 1 / source.rate_hz, 0.0))
    return [(name, mine, theirs, doubt) for name, mine, theirs, doubt in found if mine > 0]


def _ratio_for(mine: float, theirs: float, doubt: float) -> Ratio | None:
    """The unit that makes the column as long as the second clock says, within its doubt; None where none or several do."""
    if doubt > 0.5 * theirs:
        doubt = 0.5 * theirs
    fitting = [
        ratio for ratio in SHORT_UNITS if abs(mine * ratio[0] / ratio[1] - theirs) <= max(AGREES * theirs, doubt)
    ]
    return fitting[0] if len(fitting) == 1 else None


def _better(
    source: TimeSource, own: _Read | None, others: Sequence[_Read], table: Table, file: str
) -> tuple[TimeSource, tuple[Finding, ...]]:
    """Another clock where this one steps back or stands still and that one does not."""
    no_findings: tuple[Finding, ...] = ()
    if own is None:
        for read in others:
            if read.source.kind != "unsettled":
                return read.source, (_taken(source, read.source, "cannot be read", table),)
        return source, ()
    if own.back == 0 and (source.kind != "stamp" or own.repeats == 0):
        return source, ()
    best, found = own, no_findings
    for read in others:
        candidate, settled = read, no_findings
        if not read.source.named or len(read.clock.seconds) < len(own.clock.seconds):
            continue
        if read.source.kind == "unsettled":
            if not _may_testify(own, table.rows):
                continue
            try:
                known, settled = _settle(read.source, [own], [], table, file)
            except RecordingError:
                continue
            candidate = _Read(known, read.clock)
        if (candidate.back, candidate.repeats) < (best.back, best.repeats) and candidate.back == 0:
            best, found = candidate, settled
    if best is own:
        return source, ()
    why = (
        f"steps back {'once' if own.back == 1 else f'{own.back} times'}"
        if own.back
        else f"shows {own.repeats} rows with the time of the row before"
    )
    return best.source, (*found, _taken(source, best.source, why, table))


def _taken(source: TimeSource, chosen: TimeSource, why: str, table: Table) -> Finding:
    return Finding(
        code="clock-chosen",
        severity="note",
        kind="data",
        message=f"{chosen.label!r} is taken as the time, since {source.label!r} {why}",
        mend=f"state it: time = {json.dumps(source.label, ensure_ascii=False)}" if len(source.columns) == 1 else "",
        line=table.line(0),
    )


def _contradicted(own: _Read, witnesses: Sequence[_Read], table: Table, file: str) -> tuple[Finding, ...]:
    """A unit that only the file names and a second clock denies is refused; clocks that merely run apart are told.

    A unit that the user states is believed: then no other clock is looked at.
    """
    for read in witnesses:
        doubt = max(AGREES * max(read.span, own.span), 2 * read.resolution)
        if abs(own.span - read.span) <= doubt or own.span <= 0:
            continue
        apart = "".join(f"; {text}" for text in _offsets(own.source, [own, read]))
        raw = own.span * own.source.ratio[1] / own.source.ratio[0]
        ratio = _ratio_for(raw, read.span, 2 * read.resolution)
        both = f"{own.source.label!r} spans {own.span:g} s, {read.source.label!r} spans {read.span:g} s"
        if own.source.kind == "number" and ratio is not None and ratio != own.source.ratio:
            unit = SHORT_UNITS[ratio]
            raise refusal(
                file,
                f"{both}: the name says {own.source.unit}, by the other clock its numbers are {unit}",
                key="time",
                mend=key_text(own.source.label, unit),
            )
        return (
            Finding(
                code="clocks-disagree",
                severity="doubtful",
                kind="data",
                message=f"two clocks of the file disagree: {both}; the first is taken{apart}",
                mend=f"state the one to take: time = {json.dumps(read.source.label, ensure_ascii=False)}, or the first",
                line=table.line(0),
            ),
        )
    return ()


def _offsets(chosen: TimeSource, reads: Sequence[_Read]) -> list[str]:
    """By how much the other clocks are ahead of the chosen one or behind it."""
    told = []
    mine = next((read for read in reads if read.source.columns == chosen.columns), None)
    for read in reads:
        if mine is None or read is mine:
            continue
        apart = offset_ns(mine.clock, read.clock, max(mine.resolution, read.resolution))
        if apart is not None:
            both_dated = mine.clock.dated and read.clock.dated
            told.append(offset_text(read.source.label, apart, of_day=not both_dated))
    return told


def _note_others(chosen: TimeSource, others: Sequence[TimeSource], offsets: Sequence[str]) -> tuple[Finding, ...]:
    """Say which other columns could have been the clock."""
    if not others:
        return ()
    listed = ", ".join(repr(other.label) for other in others)
    key = json.dumps(chosen.label, ensure_ascii=False)
    if len(chosen.columns) > 1:
        names = ", ".join(json.dumps(c.written or c.name, ensure_ascii=False) for c in chosen.columns)
        key = f"{{ column = [{names}] }}"
    return (
        Finding(
            code="several-clocks",
            severity="note",
            kind="data",
            message=f"{chosen.label!r} is taken as the time; {listed} could be it too"
            + "".join(f"; {text}" for text in offsets),
            mend=f"state it: time = {key}",
        ),
    )
