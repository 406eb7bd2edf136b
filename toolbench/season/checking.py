"""Look a whole season over: every recording read, every report's design judged, the check standard charted."""

from __future__ import annotations

from dataclasses import dataclass

from toolbench.errors import AnalysisError
from toolbench.records.comparison import Item
from toolbench.records.findings import Finding, worst_first
from toolbench.records.runs import Run
from toolbench.records.settings import Protocol, RunEntry
from toolbench.season.beside import like_findings, same_content
from toolbench.season.design import design_findings
from toolbench.season.joining import join_epochs
from toolbench.season.opening import ReportPlan, Season
from toolbench.season.plausible import plausible_findings
from toolbench.season.ratings import rating_findings
from toolbench.season.reducing import early_ends, reduce_runs, unusable
from toolbench.season.standards import chart_findings, chart_standards
from toolbench.season.standings.ranking import scorecard_findings


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What is wrong or doubtful in a season, worst first, and what was looked at."""

    findings: tuple[Finding, ...]
    looked_at: tuple[str, ...]

    @property
    def exit_status(self) -> int:
        """0 when nothing is wrong or doubtful, 1 otherwise."""
        return int(any(finding.severity != "note" for finding in self.findings))


def check_season(season: Season) -> CheckReport:
    """Read every recording, excluded ones too, and say all that is wrong or doubtful, with file, line or run and the mend."""
    settings = season.settings
    findings: list[Finding] = []
    runs: dict[str, Run] = {}
    unreadable = 0
    for protocol in settings.protocols.values():
        entries = [entry for entry in settings.runs if entry.protocol == protocol.id]
        reduced, found = _reduce_what_reads(season, protocol, entries)
        runs.update({run.id: run for run in reduced})
        unreadable += len(entries) - len(reduced)
        findings += found
    for run in runs.values():
        findings += run.findings
    findings += like_findings(list(runs.values()))
    findings += same_content(list(runs.values()))
    for plan in season.plans():
        findings += _plan_findings(season, plan, runs)
    findings += rating_findings(season)
    findings += plausible_findings(settings)
    findings += chart_findings(chart_standards(season, runs.values())) + _not_reported(season)
    findings += scorecard_findings(season)
    looked_at = (
        f"{_count(len(settings.runs), 'recording')}, {len(runs)} of them analysed and {unreadable} not",
        f"{_count(len(settings.episodes), 'episode')} with {_count(len(season.plans()), 'report')}",
        ", ".join(
            _count(len(one), word)
            for one, word in ((settings.tools, "tool"), (settings.setups, "setup"), (settings.sensors, "sensor"))
        ),
    )
    return CheckReport(worst_first(_once(_settled(season, findings))), looked_at)


def _reduce_what_reads(
    season: Season, protocol: Protocol, entries: list[RunEntry]
) -> tuple[tuple[Run, ...], list[Finding]]:
    """Each run by itself, so that one short or broken recording spoils no other's time base."""
    runs: list[Run] = []
    found: list[Finding] = []
    for entry in entries:
        try:
            reduced = reduce_runs(season.settings, protocol, [entry])
        except AnalysisError as error:
            found.append(unusable(entry, error.faults[0]))
            continue
        runs += reduced.runs
        found += reduced.findings
    return tuple(runs), found


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _not_reported(season: Season) -> list[Finding]:
    """Reports that are skipped; a season of which none can be made passes every other check, for want of anything to look at."""
    plans = season.plans()
    skipped = [plan for plan in plans if plan.state == "skipped"]
    if len(skipped) < len(plans) or any(plan.conditioned for plan in skipped):
        return [
            Finding(
                code="report-skipped",
                severity="doubtful" if plan.conditioned else "note",
                kind="design",
                message=f"{plan.path} is skipped: {plan.reason}.",
                mend=f"lower conditioning of protocol {plan.protocol}, or make more runs"
                if plan.conditioned
                else "run the others, or take the report's items out of the episode",
                subjects=(plan.episode,),
            )
            for plan in skipped
        ]
    none = not season.settings.runs
    return [
        Finding(
            code="no-report",
            severity="doubtful",
            kind="design",
            message="The season names no recording that is there: nothing was checked but its tables."
            if none
            else "No report can be made: no episode has runs of two of its items under one protocol.",
            mend="add runs to runs.csv, or put recordings where the `recordings` pattern of bench.toml looks"
            if none
            else "compare the tools and setups of the episodes with those of the runs",
        )
    ]


def _plan_findings(season: Season, plan: ReportPlan, runs: dict[str, Run]) -> list[Finding]:
    settings = season.settings
    items: list[Item] = []
    used: list[Run] = []
    left_out = season.conditioning(plan.protocol) | {entry.run for entry in settings.runs if entry.excluded}
    for cell in plan.cells:
        cell_entries = season.entries(cell.tool, cell.setup, plan.protocol)
        entries = [entry for entry in cell_entries if entry.run not in left_out and entry.run in runs]
        if entries:
            items.append(
                Item(id=cell.id, label=cell.label, tool=cell.tool, setup=cell.setup, runs=tuple(e.run for e in entries))
            )
            used += [runs[e.run] for e in entries]
    if len(items) < 2:
        return []
    episode, protocol = settings.episodes[plan.episode], settings.protocols[plan.protocol]
    early = early_ends([(run.entry, run.available_s) for run in used]) if protocol.duration_s is None else []
    if len({(run.rig, run.filter) for run in used}) > 1:
        return early + design_findings(settings, episode, protocol, items, used)
    joined = join_epochs(season, protocol, items, {run.id: run for run in used}, runs.values())
    kept = [run for run in used if run.id in joined.runs]
    return [*early, *design_findings(settings, episode, protocol, joined.items, kept), *joined.findings]


def _settled(season: Season, findings: list[Finding]) -> list[Finding]:
    """What a run is already excluded for is settled: it stays in the list as a note, with the reason given."""
    reasons = {entry.run: entry.reason for entry in season.settings.runs if entry.excluded}
    settled: list[Finding] = []
    for finding in findings:
        if finding.subjects and all(subject in reasons for subject in finding.subjects):
            given = ", ".join(dict.fromkeys(reasons[subject] for subject in finding.subjects))
            settled.append(
                Finding(
                    code=finding.code,
                    severity="note",
                    kind=finding.kind,
                    message=f"{finding.message} (excluded: {given})",
                    mend="",
                    subjects=finding.subjects,
                    file=finding.file,
                    line=finding.line,
                )
            )
        else:
            settled.append(finding)
    return settled


def _once(findings: list[Finding]) -> list[Finding]:
    return list(dict.fromkeys(findings))
