"""What was noticed: about a file, a run, the design of a comparison or a season."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["wrong", "doubtful", "note"]
Kind = Literal["data", "condition", "design", "statistical", "calibration", "disclosure"]

SEVERITY_ORDER: dict[str, int] = {"wrong": 0, "doubtful": 1, "note": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing noticed. `code` is stable kebab-case; `message` a full sentence with the value seen; `mend` what to do.

    `subjects` are the ids it touches (runs, setups, tools, sensors); identical code and message are merged on a page.
    """

    code: str
    severity: Severity
    kind: Kind
    message: str
    mend: str = ""
    subjects: tuple[str, ...] = ()
    file: str = ""
    line: int | None = None


def worst_first(findings: tuple[Finding, ...] | list[Finding]) -> tuple[Finding, ...]:
    """Sort by severity, keeping the order of discovery within one severity."""
    return tuple(sorted(findings, key=lambda finding: SEVERITY_ORDER[finding.severity]))
