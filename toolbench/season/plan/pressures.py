"""Planned pressures against rated ones: what is above a rating is not planned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from toolbench.errors import Fault
from toolbench.records.settings import Protocol, SeasonSettings, Setup, Tool
from toolbench.season.watch.setup_shown import in_words


def pressure_faults(
    settings: SeasonSettings,
    protocol: Protocol,
    cells: Sequence[tuple[str, str]],
    recorded: Mapping[tuple[str, str], float],
    *,
    permission: str = "",
) -> list[Fault]:
    """Tools and parts of the line that a plan would put above their rated pressure [Pa, gauge].

    The pressure planned is the highest of what is stated (the regulator's, without one that at which the compressor stops,
    and what the protocol holds) and of what was `recorded` for that tool on that setup before. A cited `permission` of the
    maker lifts a tool's rating, never that of a hose, coupler or fitting.
    """
    found: list[Fault] = []
    for tool, setup in dict.fromkeys(cells):
        facts = settings.setups[setup]
        planned = _planned(facts, protocol)
        if (tool, setup) in recorded:
            planned.append((recorded[(tool, setup)], f"recorded at the inlet in its runs under {protocol.id}"))
        for pressure, source in [max(planned)] if planned else []:
            found += _of_parts(settings, facts, pressure, source)
            if not permission:
                found += _of_tool(settings, settings.tools.get(tool), facts, pressure, source)
    return list(dict.fromkeys(found))


def _planned(setup: Setup, protocol: Protocol) -> list[tuple[float, str]]:
    """The stated pressures and who says them; none for a setup without air."""
    if setup.supply not in ("air", ""):
        return []
    stated = setup.facts.get("regulator.set")
    words = "the regulator's setting"
    if stated is None:
        stated, words = setup.facts.get("receiver.cut_out"), "the receiver's cut_out, with no regulator stated"
    pressures = [(float(stated[0]), words)] if stated is not None and not isinstance(stated[0], str) else []
    for name, hold in (("hold", protocol.hold), ("rest", protocol.rest)):
        if hold is not None and hold.channel in ("inlet_pressure", "supply_pressure"):
            pressures.append((hold.at, f"what protocol {protocol.id} asks for under {name}"))
    return pressures


def _of_parts(settings: SeasonSettings, setup: Setup, pressure: float, source: str) -> list[Fault]:
    return [
        Fault(
            f"its {part.name or part.part} is rated for {in_words(part.rated_pressure_pa, 'inlet_pressure')}, and "
            f"{in_words(pressure, 'inlet_pressure')} is planned ({source}): not planned above a rated pressure",
            file="bench.toml",
            line=settings.lines.get(f"setups.{setup.id}.line[{number}]"),
            key=f"setups.{setup.id}",
            mend="plan a lower pressure, or fit a part that is rated for it",
        )
        for number, part in enumerate(setup.line, start=1)
        if part.rated_pressure_pa is not None and pressure > part.rated_pressure_pa
    ]


def _of_tool(
    settings: SeasonSettings, tool: Tool | None, setup: Setup, pressure: float, source: str
) -> Sequence[Fault]:
    if tool is None or tool.rated_pressure_pa is None or pressure <= tool.rated_pressure_pa:
        return ()
    return (
        Fault(
            f"tool {tool.id} is rated for {in_words(tool.rated_pressure_pa, 'inlet_pressure')}, and "
            f"{in_words(pressure, 'inlet_pressure')} is planned ({source}): not planned above its rating",
            file="bench.toml",
            line=settings.lines.get(f"setups.{setup.id}"),
            key=f"setups.{setup.id}",
            mend='plan a lower pressure, or cite the maker\'s permission with --permission "..."',
        ),
    )
