"""Cautions. Expected texts: the cautions of the project's domain notes; 29 CFR for the numbers of the US rules."""

from __future__ import annotations

import dataclasses

import view_records
from view_records import Compared

from toolbench.view.cautions import REMINDER, cautions


def _with_bore(compared: Compared, bore_m: float) -> Compared:
    setups = {
        key: dataclasses.replace(s, line=tuple(dataclasses.replace(p, bore_m=bore_m) for p in s.line))
        for key, s in compared.settings.setups.items()
    }
    return Compared(compared.record, dataclasses.replace(compared.settings, setups=setups))


def test_the_reminder_is_word_for_word() -> None:
    assert REMINDER == (
        "Reminders only. Follow the makers' instructions, your local codes and a licensed or competent person; this"
        " software does not assess safety."
    )


def test_a_hose_over_half_an_inch_needs_a_safety_device(three: Compared) -> None:
    def said(bore_m: float) -> bool:
        compared = _with_bore(three, bore_m)
        return any("1926.302(b)(7)" in text for text in cautions(compared.record, compared.settings))

    assert said(0.019)
    assert not said(0.0127)  # 1/2 inch is 12.7 mm: not over it


def test_a_tool_above_its_rating_is_told_with_both_pressures(three: Compared) -> None:
    first = cautions(three.record, three.settings)[0].replace("\u2009", " ")
    assert "recorded at 6.80 bar" in first  # constructed: the rest pressure of every run of the fixture
    assert "rated 6.30 bar" in first
    tools = {k: dataclasses.replace(t, rated_pressure_pa=7e5) for k, t in three.settings.tools.items()}
    settled = dataclasses.replace(three.settings, tools=tools)
    assert not any("rated 7" in text for text in cautions(three.record, settled))


def test_cautions_fit_the_supply(three: Compared) -> None:
    battery = {k: dataclasses.replace(s, supply="battery", line=()) for k, s in three.settings.setups.items()}
    settings = dataclasses.replace(three.settings, setups=battery)
    texts = " ".join(cautions(three.record, settings))
    assert "Packs: none damaged" in texts
    assert "Hose" not in texts
    assert "Receiver" in " ".join(cautions(three.record, three.settings))


def test_every_report_says_that_it_is_no_torque_specification() -> None:
    compared = view_records.make(2, failed=True)
    assert cautions(compared.record, compared.settings)[-1].endswith("no torque specification for any joint.")
