"""Setups that are stated above a rating: the regulator's setting against what the parts and the tools on it bear."""

from __future__ import annotations

from collections.abc import Iterator

from toolbench.quantities import format_number, from_si
from toolbench.records.findings import Finding
from toolbench.records.settings import SeasonSettings, Setup
from toolbench.season.opening import Season

MEND = "set the regulator lower, or fit what is rated for it"


def rating_findings(season: Season) -> list[Finding]:
    """A doubtful finding for every part and every tool that stands above its rated pressure at the stated setting."""
    settings = season.settings
    found: list[Finding] = []
    for setup in settings.setups.values():
        stated = setup.facts.get("regulator.set")
        if stated is not None and not isinstance(stated[0], str):
            found += _of_setup(season, setup, float(stated[0]))
    return found


def _of_setup(season: Season, setup: Setup, setting_pa: float) -> Iterator[Finding]:
    settings = season.settings
    for number, part in enumerate(setup.line, start=1):
        if part.rated_pressure_pa is not None and setting_pa > part.rated_pressure_pa:
            name = f"part {number}, {part.name or part.part},"
            yield _finding(settings, setup, number, name, setting_pa, part.rated_pressure_pa)
    for id in _tools_on(season, setup):
        tool = settings.tools.get(id)
        if tool is not None and tool.rated_pressure_pa is not None and setting_pa > tool.rated_pressure_pa:
            yield _finding(settings, setup, None, f"tool {id}", setting_pa, tool.rated_pressure_pa)


def _tools_on(season: Season, setup: Setup) -> list[str]:
    """Tools that have runs on a setup, or that an episode puts on it."""
    ran = [run.tool for run in season.settings.runs if run.setup == setup.id]
    planned = [cell.tool for plan in season.plans() for cell in plan.cells if cell.setup == setup.id]
    return list(dict.fromkeys([*ran, *planned]))


def _finding(
    settings: SeasonSettings, setup: Setup, number: int | None, name: str, setting_pa: float, rated_pa: float
) -> Finding:
    seen, rated = (format_number(from_si(p, "bar", "pressure"), 3, unit="bar") for p in (setting_pa, rated_pa))
    key = f"setups.{setup.id}" + (f".line[{number}]" if number is not None else "")
    return Finding(
        code="over-rating",
        severity="doubtful",
        kind="condition",
        message=f"Setup {setup.id}: its regulator is set to {seen}, and {name} is rated for {rated}.",
        mend=MEND,
        subjects=(setup.id,),
        file="bench.toml",
        line=settings.lines.get(key) or settings.lines.get(f"setups.{setup.id}"),
    )
