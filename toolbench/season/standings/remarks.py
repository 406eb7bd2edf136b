"""What must be said of a scorecard's entries: values that are missing, criteria that judge nobody, disclosure not stated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from toolbench.records.findings import Finding
from toolbench.records.scorecard import StatedCriterion
from toolbench.records.settings import SeasonSettings, Tool
from toolbench.season.opening import Season
from toolbench.season.standings.columns import column_value
from toolbench.settings.document import BENCH
from toolbench.settings.tools import TOOLS
from toolbench.standings import Entry


def class_findings(
    season: Season, criteria: Sequence[StatedCriterion], tools: Sequence[Tool], entries: Mapping[str, Entry]
) -> list[Finding]:
    """Everything about the tools of one class that a reader of the standings must know."""
    return [
        *(finding for tool in tools for finding in _of_tool(season.tool_label(tool.id), criteria, tool)),
        *(finding for c in criteria if (finding := _judges_nobody(season.settings, c, entries)) is not None),
    ]


def _of_tool(name: str, criteria: Sequence[StatedCriterion], tool: Tool) -> list[Finding]:
    found = []
    if not tool.obtained:
        mend = "state bought, lent, given or paid in the column obtained"
        found.append(_finding("not-disclosed", f"How {name} was obtained is not stated.", mend, tool))
    if tool.status and not tool.note:
        mend = "say why in the column note"
        found.append(
            _finding("status-without-reason", f"{name} is {tool.status}, and no reason is stated.", mend, tool)
        )
    for column in dict.fromkeys(c.per for c in criteria if c.per):
        value = column_value(tool, column)
        if isinstance(value, str):
            message = f"{name} has no value per {column}: {value.partition(': ')[2]}."
            found.append(_finding("column-without-value", message, f"state {column} in {TOOLS}", tool))
    return found


def _finding(code: str, message: str, mend: str, tool: Tool) -> Finding:
    return Finding(
        code=code,
        severity="doubtful",
        kind="disclosure" if code == "not-disclosed" else "data",
        message=message,
        mend=mend,
        subjects=(tool.id,),
        file=TOOLS,
        line=tool.line,
    )


def _judges_nobody(
    settings: SeasonSettings, criterion: StatedCriterion, entries: Mapping[str, Entry]
) -> Finding | None:
    """A criterion in which no tool of the class has a value, though some were measured in others."""
    marks = [entry.marks[criterion.id] for entry in entries.values()]
    measured = any(mark.estimate is not None for entry in entries.values() for mark in entry.marks.values())
    if not measured or any(mark.estimate is not None for mark in marks):
        return None
    key = f"scorecard.criteria.{criterion.id}"
    return Finding(
        code="criterion-without-value",
        severity="doubtful",
        kind="design",
        message=f"{key}: no tool has a value ({marks[0].missing}), so no score of the class is complete.",
        mend="run the protocol, or take the criterion out",
        file=BENCH,
        line=settings.lines.get(key) or settings.lines.get(f"{key}.id"),
    )
