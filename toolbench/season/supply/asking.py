"""The question "what would another line give?": from words to the value that the command, the notebook and the page show."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from types import MappingProxyType
from typing import TypeAlias

from toolbench.errors import AnalysisError, Fault, UsageError
from toolbench.quantities import QuantityError, format_stated, from_si, to_si
from toolbench.quantities.format import THIN
from toolbench.records.settings import Setup, Tool
from toolbench.records.supply import Drive
from toolbench.season.opening import Season, pick
from toolbench.season.plausible import asked_beyond_model
from toolbench.season.supply.air_answer import answer_air, check_rating, longest_hose
from toolbench.season.supply.answering import Answer, Subject
from toolbench.season.supply.electric_answer import answer_electric
from toolbench.season.supply.learning import learn_tool
from toolbench.season.supply.lines import is_modelled_air, place_of
from toolbench.season.supply.study import Asked, LineStudy
from toolbench.season.supply.tested import kind_on, tested_setups
from toolbench.supply.air import ATMOSPHERE_PA_ABS

Stated: TypeAlias = str | float | None
"""A quantity with its unit as text, or a number in SI (pressures gauge)."""

CONFIDENCE = 0.95
_EXAMPLES = {"length": "25 m", "bore": "13 mm", "pressure": "90 psi", "want": "6.2 bar", "loss": "10 %"}
_QUANTITIES = {"length": "length", "bore": "length", "pressure": "pressure", "want": "pressure", "loss": "fraction"}


def open_line(
    season: Season,
    *,
    setup: str,
    tool: str,
    length: Stated = None,
    bore: Stated = None,
    pressure: Stated = None,
    want: Stated = None,
    loss: Stated = None,
) -> LineStudy:
    """A tool on a setup of a season: where its pressure or voltage is lost, and what another line or supply would give.

    Parameters
    ----------
    season : Season
    setup, tool : str
        Ids. The setup is the tested one, with which everything is compared.
    length, bore : str or float, optional
        Of the longest hose of the line asked for, ``"25 m"``, ``"13 mm"`` or a number [m]; `length` is that of the lead on mains.
    pressure : str or float, optional
        The regulator's setting of the line asked for, gauge, ``"90 psi"`` or a number [Pa].
    want : str or float, optional
        Flowing inlet pressure that is wanted, gauge: the shortest lists of changes that give it.
    loss : str or float, optional
        Share of the pressure that the line may lose, ``"10 %"``: the longest hose of each bore that keeps to it.

    Returns
    -------
    LineStudy
        What is modelled in it says so. `refused` holds why there is no torque where too little pressure is left or a part chokes.

    Raises
    ------
    UsageError
        A name the season lacks, a quantity without unit or out of range, a tool that does not fit the supply.
    AnalysisError
        A setup that states no line, a part or tool above its rated pressure, a tool whose demand or current nobody knows, or
        another line where no pressure was recorded at the tool's inlet.
    """
    found = pick(season.settings.setups, setup, "setup")
    one = pick(season.settings.tools, tool, "tool")
    kind = _supply_of(season, found, one)
    ambient = season.settings.ambient_pressure_pa_abs or ATMOSPHERE_PA_ABS
    asked = Asked(
        length_m=_number("length", length, ambient),
        bore_m=_number("bore", bore, ambient),
        pressure_pa=_number("pressure", pressure, ambient),
        want_pa=_number("want", want, ambient),
        loss_percent=_percent(_number("loss", loss, ambient)),
    )
    _check_fits(kind, asked)
    if beyond := asked_beyond_model(
        {"length": asked.length_m, "bore": asked.bore_m, "pressure": asked.pressure_pa, "want": asked.want_pa}
    ):
        raise UsageError(beyond)
    texts = (_said(length, asked.length_m, "m"), _said(bore, asked.bore_m, "mm"))
    other = _altered(season, found, asked, texts, kind) if asked.is_other else None
    subject = _subject(season, found, one, asked, other, kind)
    answer = answer_air(subject) if kind == "air" else answer_electric(subject)
    return _study(subject, answer)


def _subject(season: Season, setup: Setup, tool: Tool, asked: Asked, other: Setup | None, kind: str) -> Subject:
    """What is asked, with what the recordings teach of the tool."""
    if kind == "air":
        # A rating is said before any recording is read.
        check_rating(season.settings, setup, tool, "")
        if other is not None:
            check_rating(season.settings, other, tool, "pressure" if asked.pressure_pa is not None else "")
    learned = learn_tool(season, tool.id, kind_on(season, tool.id, setup.id))
    drive: Drive = "inlet_pressure" if kind == "air" else "voltage"
    return Subject(
        season=season,
        setup=setup,
        tool=tool,
        asked=asked,
        other=other,
        drive=drive,
        learned=learned,
        tested=tested_setups(season.settings, learned, drive, CONFIDENCE) if learned is not None else {},
        confidence=CONFIDENCE,
    )


def _study(subject: Subject, answer: Answer) -> LineStudy:
    learned = subject.learned
    return LineStudy(
        settings=subject.season.settings,
        setup=subject.setup,
        tool=subject.tool,
        asked=subject.asked,
        drive=subject.drive,
        tested=MappingProxyType(dict(subject.tested)),
        response=learned.kind.response if learned is not None else "torque",
        learned=answer.learned,
        assumed=answer.assumed,
        remarks=answer.remarks,
        effective=answer.effective,
        confidence=subject.confidence,
        digests=MappingProxyType(learned.digests() if learned is not None else {}),
        air=answer.air,
        electric=answer.electric,
    )


def _supply_of(season: Season, setup: Setup, tool: Tool) -> str:
    """Kind of supply of a setup. Raises where the tool does not fit it or it states nothing to work with."""
    kind = setup.supply or ("air" if setup.line else "")
    if not kind or (kind == "air" and not is_modelled_air(setup)):
        file, line, key = place_of(season.settings, setup)
        raise AnalysisError(
            Fault(
                "states no air line (a regulator's pressure and its parts), no pack and no lead: nothing can be worked out",
                file=file,
                line=line,
                key=key,
                mend='add regulator = "6.9 bar" and line = [ { part = "hose", bore = "13 mm", length = "12 m" } ]',
            )
        )
    if tool.supply and tool.supply != kind:
        raise UsageError(
            Fault(
                f"{tool.id} runs on {tool.supply}, and setup {setup.id} is a supply of {kind}",
                key="tool",
                mend="name a tool and a setup that fit",
            )
        )
    return kind


def _number(name: str, value: Stated, ambient: float) -> float | None:
    """A stated quantity in SI. Raises UsageError for one without unit, or that is not above zero."""
    if value is None or value == "":
        return None
    example = f'for example "{_EXAMPLES[name]}"'
    try:
        number = (
            to_si(value, _QUANTITIES[name], ambient_pressure_pa=ambient) if isinstance(value, str) else float(value)
        )
    except QuantityError as error:
        raise UsageError(Fault(str(error), key=name)) from None
    if name == "loss" and isinstance(value, str) and "%" not in value:
        raise UsageError(Fault(f'"{value}" has no unit', key=name, mend=f"write it in percent, {example}"))
    if not (math.isfinite(number) and number > 0):
        raise UsageError(Fault(f'"{value}" is not above zero', key=name, mend=f"write it with its unit, {example}"))
    return number


def _percent(share: float | None) -> float | None:
    if share is not None and share >= 1:
        text = format_stated(100 * share, "%")
        raise UsageError(
            Fault(f'"{text}" is all of the pressure', key="loss", mend="it lies above 0 % and below 100 %")
        )
    return None if share is None else 100.0 * share


def _check_fits(kind: str, asked: Asked) -> None:
    """Raise UsageError for what has no meaning on a pack or a lead."""
    if kind == "air":
        return
    values = {"length": asked.length_m, "bore": asked.bore_m, "pressure": asked.pressure_pa, "want": asked.want_pa}
    values["loss"] = asked.loss_percent
    allowed = ("length",) if kind == "mains" else ()
    what = "a lead has a length" if kind == "mains" else "a pack has none of them: name a setup of another pack"
    faults = [
        Fault(f"has no meaning on a supply of {kind}", key=name, mend=what)
        for name, value in values.items()
        if value is not None and name not in allowed
    ]
    if faults:
        raise UsageError(faults)


def _altered(season: Season, setup: Setup, asked: Asked, texts: tuple[str, str], kind: str) -> Setup:
    """The setup that is asked for: its longest hose and its regulator, or its lead, changed; `texts` are length and bore as said."""
    facts = dict(setup.facts)
    if kind != "air":
        facts["lead.length"] = (asked.length_m or 0.0, "m")
        return replace(setup, label=f"{texts[0]} lead", facts=MappingProxyType(facts))
    parts = list(setup.line)
    if asked.length_m is not None or asked.bore_m is not None:
        place = longest_hose(setup)
        if place is None:
            raise UsageError(
                Fault(f"the line of setup {setup.id} has no hose that could be longer or wider", key="length")
            )
        part = parts[place]
        bore, length = texts[1] or _said(None, part.bore_m, "mm"), texts[0] or _said(None, part.length_m, "m")
        parts[place] = replace(
            part,
            name=f"hose {bore} × {length}",
            length_m=asked.length_m or part.length_m,
            bore_m=asked.bore_m or part.bore_m,
        )
    if asked.pressure_pa is not None:
        facts["regulator.set"] = (asked.pressure_pa, "Pa")
        _reachable(season, setup, asked.pressure_pa)
    return replace(setup, label="asked for", line=tuple(parts), facts=MappingProxyType(facts))


def _said(stated: Stated, metres: float | None, unit: str) -> str:
    """A length or bore as it was said, else in `unit`; empty for none."""
    if metres is None:
        return ""
    if isinstance(stated, str):
        return re.sub(r"(?<=\d)\s*(?=[A-Za-z])", THIN, stated.strip())
    return format_stated(from_si(metres, unit, "length"), unit)


def _reachable(season: Season, setup: Setup, pressure_pa: float) -> None:
    """Raise AnalysisError where the compressor stops below the regulator's setting."""
    stops = setup.facts.get("receiver.cut_out")
    if stops is None or isinstance(stops[0], str) or pressure_pa <= stops[0]:
        return
    file, line, key = place_of(season.settings, setup)
    asked, cut_out = (format_stated(from_si(p, "bar", "pressure"), "bar") for p in (pressure_pa, float(stops[0])))
    raise AnalysisError(
        Fault(
            f"its compressor stops at {cut_out}, so a regulator set to {asked} never has that pressure before it",
            file=file,
            line=line,
            key=key,
            mend=f"ask for less than {cut_out}",
        )
    )
