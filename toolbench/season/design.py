"""What the design of a comparison allows: one factor or several, few runs, missing repeats, calibration and disclosure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from toolbench.errors import AnalysisError, Fault
from toolbench.quantities import GLOSSARY
from toolbench.records.comparison import Item
from toolbench.records.findings import Finding
from toolbench.records.runs import Run
from toolbench.records.settings import Episode, Protocol, SeasonSettings, Setup, Tool
from toolbench.season.blocking import block_findings
from toolbench.season.calibrating import calibration_findings

NEEDS_DISCLOSURE = ("lent", "given", "paid")


def refuse_unlike(runs: Sequence[Run], report: str) -> None:
    """Runs of different rigs or filters are different measurands and are never compared. Raises AnalysisError."""
    for what in ("rig", "filter"):
        seen: dict[str, str] = {}
        for run in runs:
            seen.setdefault(getattr(run, what), run.id)
        if len(seen) > 1:
            listed = ", ".join(f"{value or 'not stated'} (run {run})" for value, run in seen.items())
            raise AnalysisError(
                Fault(
                    f"the runs differ in {what}: {listed}; they are not the same measurand and are not compared",
                    key=report,
                    mend="compare runs of one logger setting, or state the same rig and filter if they are the same",
                )
            )


def design_findings(
    settings: SeasonSettings, episode: Episode, protocol: Protocol, items: Sequence[Item], runs: Sequence[Run]
) -> list[Finding]:
    """Everything about the design that a reader must know, in the order a reviewer asks."""
    found: list[Finding] = []
    found += _confounded(settings, episode, items)
    found += _few_runs(protocol, items)
    found += block_findings(episode, items, runs)
    found += _conditions_met(protocol, runs)
    found += _ambient(runs)
    found += calibration_findings(settings, runs)
    found += disclosure_findings(episode, [settings.tools[t] for t in dict.fromkeys(item.tool for item in items)])
    return found


def differing_parts(first: Setup, second: Setup) -> tuple[str, ...]:
    """What two setups differ in, part by part: `hose 1 length`, `number of couplers`, `regulator set`; empty where nothing stated does.

    More of the same coupler or fitting is one difference, wherever it stands in the line.
    """
    keys = sorted({key for key in (*first.facts, *second.facts) if not key.startswith("line.")})
    found = [key.replace(".", " ").replace("_", " ") for key in keys if first.facts.get(key) != second.facts.get(key)]
    hoses = [[part for part in setup.line if part.part == "hose"] for setup in (first, second)]
    if len(hoses[0]) != len(hoses[1]):
        found.append("number of hoses")
    for number, pair in enumerate(zip(*hoses, strict=False), start=1):
        found += [
            f"hose {number} {word}" for name, word in HOSE_FACTS if len({getattr(hose, name) for hose in pair}) > 1
        ]
    for kind, words in (("coupler", "couplers"), ("fitting", "fittings")):
        fitted = [
            Counter(replace(part, name="") for part in setup.line if part.part == kind) for setup in (first, second)
        ]
        if set(fitted[0]) == set(fitted[1]) and fitted[0] != fitted[1]:
            found.append(f"number of {words}")
        elif fitted[0] != fitted[1]:
            found.append(words)
    return tuple(found)


HOSE_FACTS = (
    ("bore_m", "bore"),
    ("length_m", "length"),
    ("roughness_m", "roughness"),
    ("coil_diameter_m", "coil"),
    ("material", "material"),
)


def _confounded(settings: SeasonSettings, episode: Episode, items: Sequence[Item]) -> list[Finding]:
    if episode.factor or len(items) < 2:
        return []
    base = items[0]
    found: list[Finding] = []
    for item in items[1:]:
        parts = list(differing_parts(settings.setups[base.setup], settings.setups[item.setup]))
        if item.tool != base.tool and item.setup != base.setup:
            parts.insert(0, "tool")
        if len(parts) > 1 and item.setup != base.setup:
            found.append(
                Finding(
                    code="two-factors",
                    severity="doubtful",
                    kind="design",
                    message=f"{item.label} differs from {base.label} in {len(parts)} things at once "
                    f"({', '.join(parts)}), so the difference has no single cause.",
                    mend='change one part at a time, or name what the setups are meant to differ in with factor = "..."',
                    subjects=(item.id, base.id),
                )
            )
    return found


def _few_runs(protocol: Protocol, items: Sequence[Item]) -> list[Finding]:
    few = [item for item in items if 0 < len(item.runs) < protocol.min_runs]
    return [
        Finding(
            code="few-runs",
            severity="doubtful",
            kind="design",
            message=f"{item.label} has {len(item.runs)} {'run' if len(item.runs) == 1 else 'runs'}; "
            f"the protocol asks for {protocol.min_runs}.",
            mend="repeat the test",
            subjects=(item.id,),
        )
        for item in few
    ]


def _conditions_met(protocol: Protocol, runs: Sequence[Run]) -> list[Finding]:
    found: list[Finding] = []
    for name, hold, attribute in (("hold", protocol.hold, "hold_met"), ("rest", protocol.rest, "rest_met")):
        if hold is None:
            continue
        missed = [run for run in runs if getattr(run.conditions, attribute) is False]
        unknown = [run for run in runs if getattr(run.conditions, attribute) is None]
        words = "while running" if name == "hold" else "before the onset"
        if missed:
            found.append(
                Finding(
                    code=f"{name}-off-target",
                    severity="doubtful",
                    kind="condition",
                    message=f"{_label(hold.channel)} {words} was off its target in {_runs(missed)}.",
                    mend="repeat at the target, or exclude with the reason supply out of window",
                    subjects=tuple(run.id for run in missed),
                )
            )
        if unknown:
            found.append(
                Finding(
                    code=f"{name}-not-recorded",
                    severity="doubtful",
                    kind="condition",
                    message=f"{_label(hold.channel)} {words} is not known for {_runs(unknown)}, so nobody can say it was held.",
                    mend=f"record {hold.channel}",
                    subjects=tuple(run.id for run in unknown),
                )
            )
    return found


def _label(channel: str) -> str:
    """The channel as the glossary names it, else as the settings do."""
    label = GLOSSARY[channel].label if channel in GLOSSARY else channel
    return label[:1].upper() + label[1:]


def _runs(runs: Sequence[Run]) -> str:
    return f"run {runs[0].id}" if len(runs) == 1 else f"{len(runs)} runs ({', '.join(run.id for run in runs)})"


AMBIENT_SPREAD_K = 5.0
"""Runs compared should be made within this spread of ambient temperature (common practice, no source)."""

CHARGE_SPREAD = 0.10
"""Packs compared should start within this spread of charge (common practice, no source)."""


def _ambient(runs: Sequence[Run]) -> list[Finding]:
    found: list[Finding] = []
    warm = [r.entry.ambient_temperature_degc for r in runs if r.entry.ambient_temperature_degc is not None]
    if warm and max(warm) - min(warm) > AMBIENT_SPREAD_K:
        found.append(
            Finding(
                code="ambient-spread",
                severity="doubtful",
                kind="condition",
                message=f"Ambient temperature ran from {min(warm):.1f} to {max(warm):.1f} °C over the runs compared.",
                mend=f"compare runs made within {AMBIENT_SPREAD_K:.0f} K",
            )
        )
    charge = [r.entry.charge for r in runs if r.entry.charge is not None]
    if charge and max(charge) - min(charge) > CHARGE_SPREAD + 1e-9:
        found.append(
            Finding(
                code="charge-spread",
                severity="doubtful",
                kind="condition",
                message=f"The pack's charge at the start ran from {min(charge):.0%} to {max(charge):.0%}.",
                mend="start every run within 10 % of the same charge",
            )
        )
    return found


def disclosure_findings(episode: Episode, tools: Sequence[Tool]) -> list[Finding]:
    """Tools that were lent, given or tested for payment in an episode that does not say so."""
    return [
        Finding(
            code="not-disclosed",
            severity="doubtful",
            kind="disclosure",
            message=f"{tool.name} was {tool.obtained}"
            + (f" by {tool.obtained_from}" if tool.obtained_from else "")
            + f", and episode {episode.id} does not say so.",
            mend='say it with disclosure = "..." in the episode',
            subjects=(tool.id,),
        )
        for tool in tools
        if tool.obtained in NEEDS_DISCLOSURE and not episode.disclosure
    ]
