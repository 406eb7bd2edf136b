"""What another pack or lead would give: voltage at the tool and torque at the current that was recorded."""

from __future__ import annotations

from dataclasses import replace

from toolbench.errors import AnalysisError, Fault
from toolbench.metrology import combine
from toolbench.records.comparison import Estimate, Item
from toolbench.records.settings import Setup
from toolbench.records.supply import SupplyFigure
from toolbench.season.supply.answering import Answer, Subject, as_figure, figure_of, fit_remarks, run_remarks
from toolbench.season.supply.lines import place_of
from toolbench.season.supply.measured import shown
from toolbench.season.supply.modelling import electric_of
from toolbench.season.supply.study import ElectricStudy, OtherSupply
from toolbench.supply.effects import scaled_level
from toolbench.supply.electric import PRIOR_VOLTAGE, Lead, Pack, cold_factor, predict_voltage, voltage_at_tool
from toolbench.supply.fitted import Fitted
from toolbench.supply.modelled import as_modelled


def answer_electric(subject: Subject) -> Answer:
    """The tested pack or lead, the lead asked for, and the season's others.

    Raises
    ------
    AnalysisError
        No current was recorded on the setup, or too little is stated of it.
    """
    current = _current(subject)
    learned = subject.learned
    fit = learned.voltage_exponent if learned is not None else None
    exponent = fit.fitted if fit is not None else PRIOR_VOLTAGE
    tested = _supply(subject, subject.setup)
    study = ElectricStudy(
        tested=_given(subject, subject.setup, tested, None, current, exponent),
        asked=_asked(subject, tested, current, exponent),
        others=tuple(_others(subject, tested, current, exponent)),
        current=current,
    )
    return Answer(
        learned=(figure_of(subject.tool.id, "exponent", exponent),),
        assumed=tuple(dict.fromkeys([*_assumed(tested), "the same current whatever the supply"])),
        remarks=(*fit_remarks(fit), *run_remarks(subject)),
        electric=study,
    )


def _current(subject: Subject) -> SupplyFigure:
    measured = subject.measured
    if measured is not None and measured.taken is not None:
        return measured.taken
    settings = subject.season.settings
    file, line, key = place_of(settings, subject.setup)
    raise AnalysisError(
        Fault(
            f"the current of {subject.tool.id} was not recorded on this setup, so nothing can be worked out for it",
            file=file,
            line=line,
            key=key,
            mend="record current, or ask about a setup with runs that did",
        )
    )


def _supply(subject: Subject, setup: Setup) -> Pack | Lead:
    """The pack or lead of a setup of the season, at its recorded voltage at rest."""
    item = Item(id=setup.id, label=setup.label, tool=subject.tool.id, setup=setup.id, runs=())
    found = electric_of(subject.season.settings, item, subject.runs_on(setup.id))
    if found is None:
        raise ValueError(f"setup {setup.id} is no pack and no lead")
    return found


def _asked(subject: Subject, tested: Pack | Lead, current: SupplyFigure, exponent: Fitted) -> OtherSupply | None:
    length = subject.asked.length_m
    if subject.other is None or length is None or not isinstance(tested, Lead):
        return None
    return _given(subject, subject.other, replace(tested, length_m=length), tested, current, exponent)


def _others(subject: Subject, tested: Pack | Lead, current: SupplyFigure, exponent: Fitted) -> list[OtherSupply]:
    """Every other setup of the same kind of supply; one that states too little is left out."""
    found = []
    for setup in subject.season.settings.setups.values():
        if setup.supply != subject.setup.supply or setup.id == subject.setup.id:
            continue
        try:
            found.append(_given(subject, setup, _supply(subject, setup), tested, current, exponent))
        except AnalysisError:
            continue
    return found


def _given(
    subject: Subject,
    setup: Setup,
    supply: Pack | Lead,
    reference: Pack | Lead | None,
    current: SupplyFigure,
    exponent: Fitted,
) -> OtherSupply:
    """What a supply gives at the tested current; against the `reference`, where there is one."""
    drawn = current.estimate
    try:
        voltage = voltage_at_tool(supply, drawn.value, current_u=drawn.standard_uncertainty)
    except AnalysisError as error:
        file, line, key = place_of(subject.season.settings, setup)
        raise AnalysisError([replace(f, file=file, line=line, key=key) for f in error.faults]) from error
    rest = voltage_at_tool(supply, 0.0)
    sag = combine(rest.value - voltage.value, "V", [(rest, 1.0), (voltage, -1.0)])
    percent = response = None
    if reference is not None:
        change = predict_voltage(
            reference,
            supply,
            current_a=drawn.value,
            current_u=drawn.standard_uncertainty,
            exponent=exponent,
            confidence=subject.confidence,
        )
        percent, response = as_figure(change), _level(subject, change.estimate)
    return OtherSupply(
        setup=setup,
        voltage=shown(voltage, subject.confidence, modelled=True),
        sag=shown(sag, subject.confidence, modelled=True),
        percent=percent,
        response=response,
    )


def _level(subject: Subject, percent: Estimate) -> SupplyFigure | None:
    measured = subject.measured
    if measured is None or measured.response is None:
        return None
    return as_figure(as_modelled(scaled_level(measured.response.estimate, percent), subject.confidence))


def _assumed(supply: Pack | Lead) -> list[str]:
    if isinstance(supply, Lead):
        return ["copper of 0.0175 ohm mm2/m, with a standard uncertainty of 7 %"]
    said = [
        "contacts and wires of a pack 20 mohm, within half of it",
        "cells as stated, with a standard uncertainty of 10 %",
    ]
    if cold_factor(supply.temperature_c).standard_uncertainty > 0:
        said.append("the resistance of cold cells by textbook factors, from memory")
    if supply.rest_voltage_v is None:
        said.append("the voltage at rest by a generic curve, from memory")
    return said
