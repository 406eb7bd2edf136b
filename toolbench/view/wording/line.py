"""What another line would give, in sentences and rows; the same on the terminal, on the page and in a notebook.

Every number of the model carries the word "modelled", or stands in a table whose heading does.
"""

from __future__ import annotations

from toolbench.errors import Fault
from toolbench.quantities import DISPLAY_US, format_number, format_seconds, format_stated, from_si
from toolbench.records.settings import SeasonSettings, Setup, Tool
from toolbench.records.supply import SupplyFigure
from toolbench.season.supply.study import AirStudy, Course, LineState, LineStudy, OtherSupply
from toolbench.supply.advice import Advice, Change, ChangeList
from toolbench.view.wording.printed import list_words, print_number, print_share, response_words, second_unit
from toolbench.view.wording.supply import DRIVE_WORDS, figure_sentence, print_figure, print_percent

MOST_LISTS = 6
NEAR_CHOKING = 0.1
"""A part that is within this share of its largest flow is called near to choking."""


def print_both(value: float, unit: str, settings: SeasonSettings, digits: int = 3) -> str:
    """A number without uncertainty in the display unit, and in the second one where asked."""
    first, other = print_number(value, unit, settings, digits), second_unit(unit, settings)
    if not other:
        return first
    kind = {"Pa": "pressure", "m3/s": "air_flow", "m": "length"}[unit]
    return f"{first} ({format_number(from_si(value, other, kind), digits, unit=other)})"


def print_bore(bore_m: float, settings: SeasonSettings) -> str:
    """A bore in mm, and in inches where US units are printed."""
    text = format_stated(round(from_si(bore_m, "mm", "length"), 3), "mm")
    us = settings.display.also == "US" or settings.display.units.get("length") == DISPLAY_US["length"]
    return f"{text} ({format_number(from_si(bore_m, 'in', 'length'), 3, unit='in')})" if us else text


def tool_words(tool: Tool) -> str:
    """A tool's name with its id, since two specimens of one model share a name."""
    return tool.id if tool.name in ("", tool.id) else f"{tool.name} ({tool.id})"


def title_words(study: LineStudy) -> str:
    """What the study is of."""
    return f"{tool_words(study.tool)} on {study.setup.label} ({study.setup.id})"


def measured_sentence(study: LineStudy) -> str:
    """What was measured of the tool on this very setup."""
    found = study.measured
    if found is None:
        return "No run of this tool on this setup: nothing of it was measured."
    said = [
        f"{words} {print_figure(figure, study.settings)}"
        for words, figure in (
            (DRIVE_WORDS[study.drive], found.drive),
            ("air flow" if study.drive == "inlet_pressure" else "current", found.taken),
            (f"sustained {response_words(study.response)}", found.response),
        )
        if figure is not None
    ]
    runs = "1 run" if len(found.runs) == 1 else f"{len(found.runs)} runs"
    held = ", inlet pressure held" if found.held else ""
    when = f" {found.epoch}, after the rig was changed," if found.epoch else ""
    share = print_share(study.confidence)
    tail = " Figures are effective for this setup: no pressure was recorded at the inlet." if study.effective else ""
    return f"Measured in {runs}{when} under {found.protocol}{held}: {list_words(said)} ({share} intervals).{tail}"


def state_sentence(study: LineStudy, state: LineState, name: str) -> str:
    """Where one line stands while the tool runs: the tested one by the model alone, another from what was measured."""
    settings, tested = study.settings, study.air is not None and state is study.air.tested
    inlet, flow = (state.inlet_alone, state.flow_alone) if tested else (state.inlet, state.flow)
    start = "from the measured one of the tested line" if state.anchored and not tested else "by the stated line alone"
    choked = f" {list_words(list(state.choked))} chokes (modelled)." if state.choked else _near(state)
    limiting = "the regulator" if state.limiting == "regulator" else state.limiting
    return (
        f"{name}: flowing inlet pressure {print_figure(inlet, settings)} ({start}), air flow"
        f" {print_figure(flow, settings)}. Most is lost in {limiting}.{choked}"
    )


def _near(state: LineState) -> str:
    label, left = state.nearest_choking
    if left > NEAR_CHOKING:
        return f" Nothing chokes: {label}, the nearest to it, passes {print_share(round(1 - left, 2))} of its most (modelled)."
    return f" {label} is near to choking: it passes {print_share(round(1 - left, 2))} of its most (modelled)."


def asked_words(study: LineStudy) -> str:
    """What was asked for, in the middle of a sentence."""
    asked, settings = study.asked, study.settings
    said = []
    if study.drive == "voltage":
        return f"a lead of {print_both(asked.length_m or 0.0, 'm', settings)}"
    hose = study.air.hose if study.air is not None else ""
    if asked.length_m is not None or asked.bore_m is not None:
        named = _longest_of_tested(study)
        said.append(f"{hose} for {named}" if named != hose else hose)
    if asked.pressure_pa is not None:
        said.append(f"regulator at {print_both(asked.pressure_pa, 'Pa', settings)}")
    return list_words(said)


def setting_words(study: LineStudy) -> str:
    """What length and bore apply to, where the line has more than one hose; empty elsewhere."""
    if study.air is None or not (study.asked.length_m or study.asked.bore_m):
        return ""
    hoses = [part for part in study.setup.line if part.part == "hose"]
    return f"Length and bore apply to the longest of its {len(hoses)} hoses." if len(hoses) > 1 else ""


def _longest_of_tested(study: LineStudy) -> str:
    """Label of the hose in the tested line that length and bore apply to."""
    assert study.air is not None
    tested, asked = study.air.tested.point.line, study.air.last.point.line
    changed = (one.label for one, other in zip(tested.elements, asked.elements, strict=True) if one != other)
    return next(changed, study.air.hose)


def answer_sentence(study: LineStudy) -> str:
    """The answer in one sentence; empty where nothing else was asked for."""
    air, electric = study.air, study.electric
    other = air if air is not None else electric.asked if electric is not None else None
    percent, response = (other.percent, other.response) if other is not None else (None, None)
    if percent is None:
        return ""
    level = f", {print_figure(response, study.settings)}" if response is not None else ""
    what = f"sustained {response_words(study.response)}"
    said = f"With {asked_words(study)}: {what} {print_percent(percent)} against {study.setup.label}{level}."
    return " ".join(filter(None, [said, setting_words(study)]))


def refused_sentences(study: LineStudy) -> list[str]:
    """Why there is no torque, with what would mend it."""
    return [f"No torque is modelled: {_refusal(fault)}" for fault in study.refused]


def _refusal(fault: Fault) -> str:
    return f"{fault.key}: {fault.message}. What would mend it: {fault.mend}."


def loss_rows(state: LineState, settings: SeasonSettings) -> list[list[str]]:
    """Part, pressure behind it, what it takes, and its share; under a heading that says modelled."""
    return [
        [
            part.label,
            print_number(part.pressure, "Pa", settings, 3),
            print_number(part.loss, "Pa", settings, 2),
            print_share(round(part.share, 2)),
        ]
        for part in state.losses
    ]


def course_sentences(study: LineStudy) -> list[str]:
    """How long the receiver lasts; none where no receiver is stated."""
    return [_course_sentence(study, course) for course in study.air.courses] if study.air is not None else []


def _course_sentence(study: LineStudy, course: Course) -> str:
    where = "at the compressor's cut-out" if course.starts == "cut-out" else "at its cut-in"
    begins = [time for time in course.sag_begins_s if time is not None]
    if not begins:
        sag = "no sag within a minute"
    elif len(begins) == 1:
        sag = f"a sag begins after {format_seconds(round(begins[0], 1))} at the earliest"
    else:
        sag = f"a sag begins after {format_seconds(round(min(begins), 1))} to {format_seconds(round(max(begins), 1))}"
    low, high = sorted(print_number(end, "Pa", study.settings, 3) for end in course.end)
    left = low if low == high else f"{low} to {high}"
    both = ", for air that exchanges heat with the receiver and air that does not" if low != high or begins else ""
    return (
        f"Receiver {where}, {print_both(course.start, 'Pa', study.settings)}: {sag}, and {left} is left at the inlet after"
        f" {format_seconds(round(course.duration_s, 1))} (modelled{both})."
    )


def change_words(change: Change, settings: SeasonSettings, ambient_pa: float) -> str:
    """One change in words."""
    before, after = change.before, change.after
    if before is None or after is None:
        return f"{change.label} laid straight" if change.kind == "straight" else f"{change.label} left out"
    if change.kind == "bore":
        return f"{change.label} changed for one of {print_bore(after, settings)} bore"
    if change.kind == "length":
        return f"{change.label} shortened to {print_both(after, 'm', settings)}"
    if change.kind == "high-flow":
        litres = format_number(from_si(after, "L/(s*bar)", "sonic_conductance"), 2, unit="L/(s*bar)")
        return f"{change.label} changed for one of {litres}"
    return f"regulator raised to {print_both(after - ambient_pa, 'Pa', settings)}"


def advice_sentences(study: LineStudy) -> list[str]:
    """What to change for the wanted pressure; none where none was wanted."""
    air, wanted = study.air, study.asked.want_pa
    if air is None or air.advice is None or wanted is None:
        return []
    advice, settings = air.advice, study.settings
    want = print_both(wanted, "Pa", settings)
    if advice.enough_now:
        now = print_both(air.last.inlet.estimate.value, "Pa", settings)
        of = f" of what is asked for, {asked_words(study)}" if study.asked.is_other else ""
        return [f"{want} at the inlet needs no change{of}: {now} is left (modelled, best value)."]
    if not advice.lists:
        said = [f"No three changes or fewer give {want} at the inlet (modelled)."]
        if advice.closest is not None:
            said.append(f"Closest: {_list_words(study, air, advice.closest)}.")
        return [*said, *_rating_sentences(study, advice)]
    lists = advice.lists[:MOST_LISTS]
    said = [f"For {want} at the inlet, any one of these is enough (modelled, best values without their bands):"]
    said += [f"- {_list_words(study, air, one)}" for one in lists]
    if len(advice.lists) > len(lists):
        said.append(f"{len(advice.lists) - len(lists)} longer or larger lists are left out.")
    return [*said, *_rating_sentences(study, advice)]


def _list_words(study: LineStudy, air: AirStudy, one: ChangeList) -> str:
    ambient = one.line.ambient_pa_abs
    inlet = float(one.point.inlet_pa_abs) - ambient + air.offset_pa
    words = list_words([change_words(change, study.settings, ambient) for change in one.changes])
    return f"{words}: {print_both(inlet, 'Pa', study.settings)}, modelled"


def _rating_sentences(study: LineStudy, advice: Advice) -> list[str]:
    assert study.air is not None
    ambient = study.air.last.point.line.ambient_pa_abs
    said = ["What is put there must be rated for the pressure at rest."]
    if advice.passed_over:
        said.append(
            f"The line is long: {advice.passed_over} changes that help least on their own were not tried together with others."
        )
    if advice.ceiling is None:
        said.append("The regulator is not raised, since nobody states what the line and the tool are rated for.")
        return said
    ceiling = print_both(advice.ceiling.pressure_pa_abs - ambient, "Pa", study.settings)
    said.append(f"The regulator is raised to {ceiling} at most, for which {advice.ceiling.label} is rated.")
    if advice.unrated:
        said.append(f"Nobody states a rating of {list_words(list(advice.unrated))}.")
    return said


def longest_rows(study: LineStudy) -> list[list[str]]:
    """Bore and longest hose; none where no loss was asked for."""
    if study.air is None:
        return []
    return [
        [
            print_bore(one.bore_m, study.settings),
            "none" if one.length_m is None else print_both(one.length_m, "m", study.settings, 2),
        ]
        for one in study.air.longest
    ]


def longest_heading(study: LineStudy) -> str:
    """What the table of longest hoses holds; empty where there is none."""
    if study.air is None or not study.air.longest:
        return ""
    share = print_share((study.asked.loss_percent or 0.0) / 100)
    none = any(one.length_m is None for one in study.air.longest)
    why = "; none: the rest of the line loses more than that without any hose, or a part chokes" if none else ""
    return (
        f"Longest hose of each bore with which the whole line loses no more than {share} of the flowing pressure behind the"
        f" regulator (modelled{why})"
    )


def supply_rows(study: LineStudy) -> list[list[str]]:
    """Packs or leads: label, modelled voltage at the tool, sag, percent, torque, measured voltage; none for an air line."""
    electric = study.electric
    if electric is None:
        return []
    rows = [electric.tested, *([electric.asked] if electric.asked is not None else []), *electric.others]
    return [supply_row(study, one, is_asked=one is electric.asked) for one in rows]


def supply_row(study: LineStudy, one: OtherSupply, *, is_asked: bool = False) -> list[str]:
    """One pack or lead as printed; modelled but for the last."""
    settings = study.settings
    tested = None if is_asked else study.tested.get(one.setup.id)
    return [
        one.setup.label,
        plain_figure(one.voltage, settings),
        plain_figure(one.sag, settings),
        _without_word(print_percent(one.percent)) if one.percent is not None else "–",
        plain_figure(one.response, settings),
        plain_figure(tested.drive if tested is not None else None, settings),
    ]


def _without_word(text: str) -> str:
    return text.removesuffix(" modelled")


def plain_figure(figure: SupplyFigure | None, settings: SeasonSettings) -> str:
    """A figure for a table whose heading says whether it is modelled."""
    return _without_word(print_figure(figure, settings))


def setups_of(study: LineStudy) -> list[Setup]:
    """The setups that an answer is about, the asked one last."""
    air, electric = study.air, study.electric
    if air is not None:
        return [study.setup, *([air.asked.setup] if air.asked is not None else [])]
    return [study.setup, *([electric.asked.setup] if electric is not None and electric.asked is not None else [])]


def rest_sentences(study: LineStudy) -> list[str]:
    """What the answer rests on: what was learned, what had to be assumed, and what speaks against it."""
    said = [figure_sentence(study.settings, one, study.drive, outside=False) for one in study.learned]
    if study.assumed:
        said.append(f"Assumed, as nobody states it: {list_words(list(study.assumed))}.")
    if study.air is not None:
        said.append(
            "Assumed in every band, as standard uncertainties: friction in hoses a factor of 1.3, couplers 10 %, bores 2 %,"
            " the regulator's droop 30 %."
        )
    return [*said, *study.remarks]


def tested_rows(study: LineStudy) -> list[list[str]]:
    """The tested setups in the sweep's picture as measured: label, length and bore of the hose, inlet pressure, torque, runs."""
    sweep = study.air.sweep if study.air is not None else None
    return [
        [
            mark.tested.label,
            print_number(mark.length_m, "m", study.settings, 3),
            print_bore(mark.bore_m, study.settings),
            print_figure(mark.tested.drive, study.settings),
            print_figure(mark.tested.response, study.settings),
            f"{len(mark.tested.runs)}, {mark.tested.protocol}",
        ]
        for mark in (sweep.marks if sweep is not None else ())
    ]
