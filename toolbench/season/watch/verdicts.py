"""Which findings mean that a run is to be repeated at once: the table, with the reason beside every line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from toolbench.records.findings import Finding
from toolbench.records.runs import Run

Verdict = Literal["keep", "repeat", "look"]
"""`look`: nobody can say by the recording alone, as bench.toml does not fit the file; repeating it would change nothing."""

REPEAT: Mapping[str, str] = {
    # Words in runs.csv, from the written list of reasons for an exclusion where it has one.
    "unreadable": "rig fault: recording cannot be read",  # nothing can be taken from it, now or later
    "cut-short": "rig fault: recording too short",  # the last mark or the window is not there
    "run-short": "rig fault: recording too short",
    "run-ends-early": "rig fault: recording too short",  # it would shorten every run it is compared with
    "no-onset": "rig fault: no start in the recording",  # marks count from the onset
    "two-starts": "rig fault: two starts in the recording",  # which of them the marks count from nobody can say
    "clipped": "clipped",  # the top of the curve was never recorded
    "over-range": "clipped: over the sensor's range",  # the certificate says nothing about these values
    "rest-short": "rig fault: no rest before the start",  # the zero of this run is not known; one second more mends it
    "zero-shift": "zero shift",  # the level carries an error that cancels in nothing
    "zero-differs": "zero shift",  # the same, seen beside the like runs
    "dropout": "dropout",  # the mean is one of what is left
    "frozen": "dropout: channel stood still",  # these values were not measured
    "rows-dropped": "dropout: rows lost",  # only where it is wrong: time counted by rows
    "trigger-released": "trigger released",  # the tool did not run for the duration
    "socket-slipped": "socket slip",  # the torque after it is of another joint
    "response-lost": "rig fault: torque lost",  # one of the two above, or an empty receiver; told only where like runs show it too
    "hold-off-target": "supply out of window",  # the protocol's condition was not met
    "rest-off-target": "supply out of window",
    "unit-factor": "wrong setup: unit of the logger",  # the logger's setting differs from that of the like runs
    "level-far-off": "rig fault: level far off",  # half or twice that of three like runs: another tool, a loose cell, or no run at all
    "same-recording": "duplicate file",  # one run counted twice
    "setup-pressure": "wrong setup: regulator",  # the static pressure is not the one of this setup
    "setup-voltage": "wrong setup: supply voltage",  # another pack or outlet
    "setup-line": "wrong setup: hose or coupler",  # the line loses more or less than it did under this setup
    "setup-flow": "wrong setup: air flow",  # another tool is on the hose, or the line leaks
    "pack-low": "wrong setup: charge of the pack",  # charge is the block of a battery run
    "pack-resting": "wrong setup: pack not rested",  # the voltage still recovers from the run before
}
"""Findings that mean: repeat now. Repeating costs a minute at the rig; the same run found the next day costs a session."""

MENDS: Mapping[str, str] = {
    "two-starts": "let the logger record one start only, with the tool at rest before it",
    "clipped": "set the amplifier to a wider range",
    "over-range": "set a wider range, or take the larger cell",
    "rest-short": "let the recording begin half a second before the run",
    "zero-shift": "look at cell, cable and amplifier, and take the zero anew",
    "zero-differs": "look at cell, cable and amplifier, and take the zero anew",
    "dropout": "look at cable and logger",
    "frozen": "look at cable and logger",
    "trigger-released": "the trigger is held until the end of the run",
    "socket-slipped": "look at socket and retainer",
    "response-lost": "look at socket, trigger and supply",
    "unit-factor": "look at the unit that the logger is set to",
    "level-far-off": "look at tool, cell and logger: no repeat scatters so far",
}
"""What to do at the rig, where a finding's own mend is meant for the desk."""

TOLD: Mapping[str, str] = {
    "level-differs": "a level that looks odd is no reason for an exclusion; a person looks for a cause while it can be found",
    "spikes": "a level near a spike is in doubt, the rest of the run is good",
    "rate-uneven": "the logger's clock: the next run would have it too",
    "sampling-coarse": "a setting of the logger: the next run would have it too",
    "supply-sag": "may be what the run is about (a small receiver)",
    "channel-missing": "a column that no longer is recorded: the torque is good",
    "cut-last-row": "the run is there in full, only the last row of the tail is not",
    "hold-not-recorded": "no run of this logger would have it",
    "rest-not-recorded": "no run of this logger would have it",
    "calibration-overdue": "true for every run of the day",
}
"""Findings that are told and change nothing, and why. What stands in neither table: wrong means repeat, doubtful is told."""

TOLD_ONCE = frozenset(
    (
        "rate-uneven",
        "sampling-coarse",
        "channel-missing",
        "hold-not-recorded",
        "rest-not-recorded",
        "calibration-overdue",
    )
)
"""Of those: what every further run would show too, and is said with the first one only."""

MAY_BE_UNFINISHED = frozenset(("unreadable", "cut-short", "no-onset", "run-ends-early"))
"""Reasons that a recording shows too while the logger still writes it."""

COMMON_CAUSE = frozenset(("response-lost", "rest-short", "clipped", "over-range"))
"""Reasons that are only told where the like runs that were kept show them too: a repeat would show them again."""


def is_ours(reason: str) -> bool:
    """Whether a reason is one that is entered here, and no word of a person's own."""
    return reason in REPEAT.values()


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """The number of a run and how it stands beside the runs like it. Values in the SI unit `unit`."""

    response: str
    metric: str
    at: float | None
    value: float
    unit: str
    number: int
    """Which run of this tool on this setup under this protocol it is, counting those kept."""
    mean: float | None = None
    """Mean of the runs kept, this one with them."""
    scatter: float | None = None
    """Standard deviation of the runs kept, this one with them, as a share of their mean."""
    of: int = 1
    """How many runs `mean` and `scatter` are taken over."""
    before: tuple[float, ...] = ()
    """The same number of the runs kept before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """Keep, repeat now, or look: with every reason (the first is the main one), what is only told, and the numbers."""

    verdict: Verdict
    reasons: tuple[Finding, ...] = ()
    told: tuple[Finding, ...] = ()
    facts: Facts | None = None
    run: Run | None = None
    start: str = ""
    """First stamp of the file as ISO 8601 where it has absolute time."""

    @property
    def words(self) -> str:
        """The reason as it is entered in runs.csv; empty for a run that is kept."""
        return REPEAT.get(self.reasons[0].code, self.reasons[0].code.replace("-", " ")) if self.reasons else ""

    @property
    def may_be_unfinished(self) -> bool:
        """Whether a recording that is still being written could look like this."""
        return self.verdict == "repeat" and self.reasons[0].code in MAY_BE_UNFINISHED


CONSEQUENCES: Mapping[str, frozenset[str]] = {
    # A run that broke off has other pressures and flows than a whole one; the cause is the reason, not these.
    cause: frozenset(("setup-line", "setup-flow", "hold-off-target", "supply-sag", "zero-differs"))
    for cause in ("trigger-released", "socket-slipped", "response-lost", "dropout", "unit-factor")
}


def causes(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Reasons without those that only follow from another one."""
    left_out = frozenset().union(*(CONSEQUENCES.get(one.code, frozenset()) for one in findings))
    return tuple(one for one in findings if one.code not in left_out)


def is_reason(finding: Finding, seen_before: frozenset[str]) -> bool:
    """Whether a finding means that the run is to be repeated; `seen_before` are codes that like runs show which were kept."""
    if finding.code in COMMON_CAUSE and finding.code in seen_before:
        return False
    if finding.code == "rows-dropped" or (finding.code not in REPEAT and finding.code not in TOLD):
        return finding.severity == "wrong"
    return finding.code in REPEAT
