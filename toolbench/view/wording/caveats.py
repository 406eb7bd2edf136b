"""Caveats: what limits a result, worst first, identical ones merged."""

from __future__ import annotations

from dataclasses import dataclass

from toolbench.records.comparison import ComparisonRecord
from toolbench.records.findings import SEVERITY_ORDER, Finding, Severity
from toolbench.view.wording.printed import item_label, name_some

_EXCLUDED = "run-excluded"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caveat:
    """One caveat as printed: how bad, what, what it touches, and what to do."""

    severity: Severity
    code: str
    text: str
    touches: tuple[str, ...]
    mend: str = ""

    @property
    def touched(self) -> str:
        """What it touches, as printed."""
        return name_some(self.touches)


def merge(findings: tuple[Finding, ...]) -> tuple[Caveat, ...]:
    """Findings as caveats, worst first; those with the same code and message become one that names all it touches."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.code, finding.message), []).append(finding)
    merged = []
    for group in groups.values():
        worst = min(group, key=lambda f: SEVERITY_ORDER[f.severity])
        touches = tuple(dict.fromkeys(s for finding in group for s in finding.subjects))
        merged.append(
            Caveat(severity=worst.severity, code=worst.code, text=worst.message, touches=touches, mend=worst.mend)
        )
    return tuple(sorted(merged, key=lambda c: SEVERITY_ORDER[c.severity]))


def excluded_runs(record: ComparisonRecord) -> tuple[Caveat, ...]:
    """One caveat per item with runs left out, with the reason of each."""
    return tuple(
        Caveat(
            severity="doubtful",
            code=_EXCLUDED,
            text=f"{item_label(record, item.id)}: {_runs(len(item.excluded))} left out: "
            + "; ".join(f"{run} ({reason})" for run, reason in item.excluded)
            + ".",
            touches=(),
        )
        for item in record.items
        if item.excluded
    )


def caveats(record: ComparisonRecord) -> tuple[Caveat, ...]:
    """All caveats of a report: excluded runs and findings, worst first. An exclusion is told once."""
    told = {run for item in record.items for run, _ in item.excluded}
    rest = tuple(f for f in record.findings if not ("excluded" in f.code and f.subjects and set(f.subjects) <= told))
    both = (*excluded_runs(record), *merge(rest))
    return tuple(sorted(both, key=lambda c: SEVERITY_ORDER[c.severity]))


def _runs(count: int) -> str:
    return f"{count} run" if count == 1 else f"{count} runs"
