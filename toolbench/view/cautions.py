"""Cautions that fit a comparison: reminders, none of them an assessment.

References
----------
29 CFR 1926.302(b) (US, construction): hoses; 29 CFR 1910.242(b): compressed air for cleaning.
"""

from __future__ import annotations

from toolbench.quantities import format_number, from_si
from toolbench.records.comparison import ComparisonRecord
from toolbench.records.settings import SeasonSettings, Setup, Tool

REMINDER = (
    "Reminders only. Follow the makers' instructions, your local codes and a licensed or competent person;"
    " this software does not assess safety."
)
_HALF_INCH_M = 0.0127

_ALWAYS = (
    "Impact-rated sockets with retainers; eye and hearing protection for everyone near; hand-arm vibration limits count"
    " every repeat.",
    "Reaction torque: a guard in line with the bolt and the arm, nobody in the plane of the arm; proof-load the rig and"
    " check it for cracks.",
    "Results compare tools on this rig. They are no torque specification for any joint.",
)
_AIR = (
    "Hose, couplers and receiver never above their rated pressure. Release the pressure before disconnecting.",
    "Hose connections positively secured, with retainers (29 CFR 1926.302(b)(1) and (b)(2), a US rule for"
    " construction), and hose restraints; working pressure not exceeded ((b)(5)).",
    "Receiver: relief valve, drain, and inspection to the local rule.",
    "Compressed air for cleaning below 30 psi with guarding and protective equipment (29 CFR 1910.242(b)); never at"
    " people.",
)
_BATTERY = ("Packs: none damaged or modified, no charging below 0 °C.",)
_MAINS = ("Mains: a residual-current device.",)


def _bar(pressure_pa: float) -> str:
    return format_number(from_si(pressure_pa, "bar", "pressure"), 3, unit="bar")


def _wide_hose(setups: list[Setup]) -> list[str]:
    names = [s.label or s.id for s in setups if any((p.bore_m or 0) > _HALF_INCH_M for p in s.line)]
    if not names:
        return []
    return [
        f"Hose over 1/2 inch (12.7 mm) bore ({', '.join(names)}): a safety device at the source that cuts the pressure"
        " if the hose fails (29 CFR 1926.302(b)(7), a US rule for construction)."
    ]


def _highest_pressure(record: ComparisonRecord, tool: Tool) -> float:
    """The highest inlet pressure recorded for a tool, at rest or flowing [Pa, gauge]; 0 where none was recorded."""
    seen = [
        pressure
        for run in record.runs
        if run.entry.tool == tool.id
        for pressure in (run.conditions.rest_pressure, run.conditions.flowing_pressure)
        if pressure is not None
    ]
    return max(seen, default=0.0)


def _above_rating(record: ComparisonRecord, tools: list[Tool]) -> list[str]:
    said = []
    for tool in tools:
        highest = _highest_pressure(record, tool)
        if tool.rated_pressure_pa is not None and highest > tool.rated_pressure_pa:
            said.append(
                f"{tool.name or tool.id} was recorded at {_bar(highest)} at the inlet, above its rated"
                f" {_bar(tool.rated_pressure_pa)}. A tool is not run above its rating without the maker's permission."
            )
    return said


def cautions(record: ComparisonRecord, settings: SeasonSettings) -> tuple[str, ...]:
    """The cautions that fit the tools and setups of a comparison, the particular ones first. `REMINDER` goes with them."""
    tools = [settings.tools[t] for t in dict.fromkeys(i.tool for i in record.items) if t in settings.tools]
    setups = [settings.setups[s] for s in dict.fromkeys(i.setup for i in record.items) if s in settings.setups]
    return (*_above_rating(record, tools), *_of_supplies(tools, setups), *_ALWAYS)


def bench_cautions(settings: SeasonSettings) -> tuple[str, ...]:
    """The cautions that fit the tools and setups of a whole season, at the bench. `REMINDER` goes with them."""
    return (*_of_supplies([*settings.tools.values()], [*settings.setups.values()]), *_ALWAYS[:2])


def planned_cautions(tools: list[Tool], setups: list[Setup], *, starts: int, permission: str = "") -> tuple[str, ...]:
    """The cautions that fit planned runs, for a run sheet. `REMINDER` goes with them."""
    cited = [f"A tool is planned above its rated pressure with the maker's permission, as cited: {permission}"]
    counted = f"This sheet means {starts} starts: every one counts for the hand-arm vibration limits."
    return (*(cited if permission else ()), *_of_supplies(tools, setups), *_ALWAYS, counted)


def line_cautions(tool: Tool, setups: list[Setup]) -> tuple[str, ...]:
    """The cautions that fit a tool on the lines, packs or leads of a calculation. `REMINDER` goes with them."""
    modelled = "Modelled figures come from a line as stated, not from a measurement: no line is built on them alone."
    return (modelled, *_of_supplies([tool], setups), *_ALWAYS)


def _of_supplies(tools: list[Tool], setups: list[Setup]) -> list[str]:
    kinds = {s.supply for s in setups} | {t.supply for t in tools}
    said = _wide_hose(setups)
    for kind, texts in (("air", _AIR), ("battery", _BATTERY), ("mains", _MAINS)):
        if kind in kinds:
            said += texts
    return said
