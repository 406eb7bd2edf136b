"""Sentences from numbers. Every expected sentence is by hand: what a careful person would say of the numbers given."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest
import view_records
from view_records import Compared, difference, with_differences

from toolbench.metrology import expanded
from toolbench.records.comparison import POOLED, Component, Difference, Estimate, Level, Span
from toolbench.records.findings import Finding
from toolbench.records.settings import AssumedRepeatability, Display
from toolbench.view import wording
from toolbench.view.wording.parting import span_sentence
from toolbench.view.wording.printed import name_some
from toolbench.view.wording.sentences import touching

NAN = math.nan


def plain(text: str) -> str:
    """Thin spaces as spaces, so that the cases below can be typed."""
    return text.replace("\u2009", " ")


CASES: list[tuple[str, dict[str, Any], str]] = [
    (
        "lower",
        {},
        "far: 9.4 % ± 1.9 % less sustained torque than near (95 % confidence, 5 and 5 runs).",
    ),
    (
        "higher, in blocks",
        {"value": 4.2, "half": 1.3, "blocks": 5},
        "far: 4.2 % ± 1.3 % more sustained torque than near (95 % confidence, 5 and 5 runs, paired in 5 blocks).",
    ),
    (
        "not resolved",
        {"value": -1.2, "half": 3.0},
        "far: no difference in sustained torque from near resolved (smallest resolvable 4.1 %): "
        "−1.2 % ± 3.0 % (95 % confidence, 5 and 5 runs).",
    ),
    (
        "alone yes, together no",
        {"value": -2.4, "half": 1.9},
        "far: no difference in sustained torque from near resolved (smallest resolvable 4.1 %): "
        "−2.4 % ± 1.9 % (95 % confidence, 5 and 5 runs). Taken alone this row's interval leaves zero; held together "
        "over all 8 rows of the response it does not.",
    ),
    (
        "no repeat",
        {"half": NAN, "n": 1, "smallest": NAN},
        "far: −9.4 % in sustained torque against near, not assessed: no repeat to judge by (1 and 1 runs).",
    ),
    (
        "skewed interval",
        {"value": -20.0, "interval": (-31.0, -12.0)},
        "far: 20.0 % (12.0 % to 31.0 %) less sustained torque than near (95 % confidence, 5 and 5 runs).",
    ),
    (
        "at a mark",
        {"metric": "at_mark", "at": 2.5},
        "far: 9.4 % ± 1.9 % less torque at 2.5 s than near (95 % confidence, 5 and 5 runs).",
    ),
    (
        "a time is longer, not more",
        {"metric": "rise_time", "value": 12.0, "half": 3.1, "unit": "s"},
        "far: rise time 12.0 % ± 3.1 % longer than with near (95 % confidence, 5 and 5 runs).",
    ),
    (
        "a time to a level",
        {"metric": "time_to", "at": 400.0, "value": -12.0, "half": 3.1, "unit": "s"},
        "far: time to 400.0 N·m 12.0 % ± 3.1 % shorter than with near (95 % confidence, 5 and 5 runs).",
    ),
    (
        "a pressure is higher",
        {"metric": "regulator_needed", "value": 8.0, "half": 1.1, "unit": "Pa"},
        "far: regulator pressure needed 8.0 % ± 1.1 % higher than with near (95 % confidence, 5 and 5 runs).",
    ),
]


@pytest.mark.parametrize(("given", "expected"), [pytest.param(c[1], c[2], id=c[0]) for c in CASES])
def test_one_difference_as_a_sentence(three: Compared, given: dict[str, Any], expected: str) -> None:
    assert plain(wording.sentence(three.record, three.settings, difference(**given))) == expected


@pytest.mark.parametrize(
    ("within", "value", "expected"),
    [
        ("yes", 0.4, "The interval lies inside the stated limit of ±3.0 %."),
        ("no", -9.4, "The interval lies outside the stated limit of ±3.0 %."),
        ("undecided", 2.0, "Whether the difference stays within ±3.0 % is undecided."),
    ],
)
def test_an_equivalence_limit_is_judged_in_words(three: Compared, within: str, value: float, expected: str) -> None:
    episode = dataclasses.replace(three.record.episode, equivalent_within=0.03)
    record = dataclasses.replace(three.record, episode=episode)
    row = difference(value=value, within=within)
    assert plain(wording.sentence(record, three.settings, row)).endswith(expected)


def test_a_base_near_zero_gets_no_percentage(three: Compared) -> None:
    row = difference(value=NAN, interval=(NAN, NAN))
    row = dataclasses.replace(
        row,
        verdict="lower",
        family_verdict="lower",
        difference=dataclasses.replace(row.difference, value=-3.0),
        difference_interval=dataclasses.replace(row.difference_interval, lower=-5.0, upper=-1.0),
    )
    text = plain(wording.sentence(three.record, three.settings, row))
    assert text == (
        "far: no percentage in sustained torque against near, whose level is too near zero; the difference is"
        " −3.0 ± 2.0 N·m, lower."
    )


def test_assumed_repeatability_is_named(three: Compared) -> None:
    assumed = AssumedRepeatability(value=0.04, source="last season's runs")
    protocol = dataclasses.replace(three.record.protocol, repeatability=assumed)
    record = dataclasses.replace(three.record, protocol=protocol)
    text = plain(wording.sentence(record, three.settings, difference(n=1, half=9.0, value=-20.0)))
    assert text.endswith("Repeatability assumed: 4.0 % (last season's runs).")


def test_repeats_lent_to_a_single_run_are_named(three: Compared) -> None:
    row = difference(n=1, half=9.0, value=-20.0)
    lent = Component(source="repeatability/far", label=POOLED, contribution=4.0, evaluation="A")
    row = dataclasses.replace(row, percent=dataclasses.replace(row.percent, components=(lent,)))
    # Constructed: what the protocol assumes is not used where the bench's own repeats are, so it must not be named.
    assumed = AssumedRepeatability(value=0.04, source="last season's runs")
    protocol = dataclasses.replace(three.record.protocol, repeatability=assumed)
    text = plain(wording.sentence(dataclasses.replace(three.record, protocol=protocol), three.settings, row))
    assert text.endswith("A single run is judged by the repeatability pooled from the bench's other runs.")


def test_a_bounded_difference_without_a_bounded_percentage(three: Compared) -> None:
    row = difference(value=170.0, interval=(NAN, NAN))
    row = dataclasses.replace(row, verdict="not resolved", family_verdict="not resolved")
    text = plain(wording.sentence(three.record, three.settings, row))
    assert "170" not in text
    assert "no percentage" in text


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (difference(at_least=-7.8), "at least 7.8 % less (95 % confidence, one-sided)"),
        (difference(value=9.4, at_least=7.8), "at least 7.8 % more (95 % confidence, one-sided)"),
        # Cut to the place of the uncertainty, not rounded: "at least 13.7 %" would promise more than 13.66 %.
        (difference(value=-13.7, at_least=-13.66), "at least 13.6 % less (95 % confidence, one-sided)"),
        (difference(at_least=None), ""),
        (difference(value=-2.4, at_least=-0.8), ""),  # the direction is not claimed for all rows together
    ],
)
def test_the_one_sided_bound(three: Compared, row: Difference, expected: str) -> None:
    assert plain(wording.at_least_text(three.record, row)) == expected


def test_headlines_take_the_sustained_level_and_one_per_pair(three: Compared) -> None:
    found = wording.headlines(three.record, three.settings)
    assert [(h.item, h.baseline, h.metric) for h in found] == [
        ("far", "near", "sustained"),
        ("coiled", "near", "sustained"),
    ]
    assert found[0].verdict == "lower"
    assert plain(found[0].percent_text) == "−6.9 % ± 1.9 %"  # by hand: 100 * (900 * (1 - 0.09 / 1.3) / 900 - 1)


def test_headlines_take_the_last_mark_where_nothing_is_sustained(three: Compared) -> None:
    rows = (difference(metric="at_mark", at=2.0), difference(metric="at_mark", at=6.0))
    found = wording.headlines(with_differences(three, *rows).record, three.settings)
    assert [(h.metric, h.at) for h in found] == [("at_mark", 6.0)]


def test_an_item_without_a_run_is_named(three: Compared) -> None:
    failed = view_records.make(2, failed=True)
    assert wording.headlines(failed.record, failed.settings) == ()
    assert wording.missing_sentences(failed.record) == (
        "near: nothing to compare, no run could be used.",
        "far: nothing to compare, no run could be used.",
    )
    assert wording.missing_sentences(three.record) == ()


def test_when_curves_part(three: Compared) -> None:
    span = Span(
        item="far", baseline="near", response="torque", from_s=1.25, to_s=12.0, smallest_percent=-6.2,
        largest_percent=-9.9,
    )  # fmt: skip
    assert plain(span_sentence(three.record, [span])) == (
        "far against near: the curves of torque part from 1.25 s to 12 s, 6.2 % to 9.9 % lower (simultaneous band,"
        " 95 % confidence)."
    )
    together = dataclasses.replace(three.record, spans=(span,))
    assert wording.span_sentences(together)[1] == (
        "coiled against near: the curves of torque are not told apart at any time."
    )


def test_ends_of_a_parting_are_said_with_their_uncertainty(three: Compared) -> None:
    def said(**ends: float) -> str:
        span = Span(
            item="far", baseline="near", response="torque", from_s=1.25, to_s=6.0, smallest_percent=-6.2,
            largest_percent=-9.9, share=0.879, **ends,
        )  # fmt: skip
        return plain(span_sentence(three.record, [span])).partition("confidence).")[2]

    both = {"mean_from_s": 0.61234, "outer_from_s": 0.25, "mean_to_s": 7.0, "outer_to_s": 8.5}
    assert said(**both) == (
        " It began between 0.25 s and 1.25 s (by the means, 0.612 s); it ended between 6 s and 8.5 s (by the means, 7 s)."
    )
    nowhere = {"mean_from_s": -math.inf, "outer_from_s": -math.inf, "mean_to_s": 7.0, "outer_to_s": math.inf}
    assert said(**nowhere) == (
        " It may have begun at any time before 1.25 s; it may have lasted to any time after 6 s (by the means, 7 s)."
    )
    judged = {"mean_from_s": 1.25, "outer_from_s": 1.25, "mean_to_s": 6.0, "outer_to_s": 6.0}
    assert said(**judged) == ""
    gapped = Span(
        item="far", baseline="near", response="torque", from_s=1.25, to_s=6.0, smallest_percent=-6.2,
        largest_percent=-9.9, share=0.879,
    )  # fmt: skip
    assert "part from 1.25 s to 6 s (the band leaves zero in 87 % of it), 6.2 %" in plain(
        span_sentence(three.record, [gapped])
    )


def test_what_bands_reach_outside_what_they_were_chosen_for_is_told_once(three: Compared) -> None:
    shares = {"far": 0.954, "coiled": 0.951}
    bands = tuple(dataclasses.replace(band, coverage=shares.get(band.item)) for band in three.record.bands)
    said = wording.span_sentences(dataclasses.replace(three.record, bands=bands))
    assert plain(said[-1]) == (
        "Curves of torque from few runs, rough ones or ones of uneven scatter: in simulation of the like, bands made for"
        " 95 % held over the whole run in 95 % of the reports."
    )
    one = tuple(
        dataclasses.replace(band, coverage=0.954 if band.item == "far" else None) for band in three.record.bands
    )
    said = wording.span_sentences(dataclasses.replace(three.record, bands=one))
    assert plain(said[-1]).startswith("far against near: curves of torque")


def test_many_stretches_become_one_sentence(three: Compared) -> None:
    def span(start: float, end: float, percent: float) -> Span:
        return Span(
            item="far", baseline="near", response="torque", from_s=start, to_s=end, smallest_percent=percent,
            largest_percent=percent,
        )  # fmt: skip

    spans = (span(3.0, 9.0, -5.0), span(1.0, 1.0, -4.0), span(10.0, 12.0, -6.0), span(0.2, 0.2, 3.0))
    said = wording.span_sentences(dataclasses.replace(three.record, spans=spans, bands=()))
    assert [plain(text) for text in said] == [
        "far against near: the curves of torque part in 3 stretches between 1 s and 12 s, the longest from 3 s to 9 s,"
        " 4.0 % to 6.0 % lower (simultaneous band, 95 % confidence).",
        "far against near: the curves of torque part at 0.2 s, 3.0 % higher (simultaneous band, 95 % confidence).",
    ]


def test_a_band_that_nothing_is_known_of_says_nothing() -> None:
    single = view_records.make(2, 1)
    assert wording.span_sentences(single.record) == ()


def test_what_may_not_be_said(three: Compared) -> None:
    rows = (difference(value=-1.2, half=3.0),)
    said = wording.limits(with_differences(three, *rows).record, three.settings)
    assert said[0] == "That far and near are the same: no difference was resolved, which is not the same thing."
    assert any(text.startswith("Which of the compared items is ahead") for text in said)


@pytest.mark.parametrize("word", ["true", "real", "certified", "safe", "false", "power"])
def test_no_text_says_what_is_not_to_be_said(any_comparison: Compared, word: str) -> None:
    text = wording.notes_text(any_comparison.record, any_comparison.settings)
    assert word not in text.lower().replace(".", " ").replace(",", " ").split()


def test_identical_findings_are_merged_and_the_worst_comes_first(three: Compared) -> None:
    found = wording.caveats(three.record)
    assert [c.severity for c in found] == ["wrong", "doubtful", "doubtful", "note"]
    held = next(c for c in found if c.code == "hold-off-target")
    assert held.touches == ("far-r02", "near-r02")


def test_an_excluded_run_is_told_with_its_reason_and_once(three: Compared) -> None:
    again = Finding(
        code="run-excluded", severity="note", kind="data", message="far-r06 excluded.", subjects=("far-r06",)
    )
    record = dataclasses.replace(three.record, findings=(again,))
    assert [c.text for c in wording.caveats(record)] == ["far: 1 run left out: far-r06 (socket slip)."]


def test_a_caveat_touches_only_what_it_names(three: Compared) -> None:
    assert [f.code for f in touching(three.record, "far", "near")] == [
        "sensor-overdue",
        "hold-off-target",
    ]
    other = Finding(code="x", severity="doubtful", kind="data", message="Other.", subjects=("coiled-r01",))
    record = dataclasses.replace(three.record, findings=(other,))
    assert touching(record, "far", "near") == ()
    assert touching(record, "coiled", "near") == (other,)


def test_notes_name_the_row_of_each_number(three: Compared) -> None:
    lines = wording.notes_text(three.record, three.settings).splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith("- far: 6.9"))
    # by hand: the header is line 1, far's marks are lines 2 to 4, its sustained level is line 5
    assert "`differences.csv` line 5: item far, baseline near" in "\n".join(lines[place : place + 3])


def test_notes_and_page_say_the_same(three: Compared) -> None:
    notes = wording.notes_text(three.record, three.settings)
    assert all(line.text in notes for line in wording.headlines(three.record, three.settings))


def test_notes_escape_names() -> None:
    named = view_records.make(2, long_names=True)
    notes = wording.notes_text(named.record, named.settings)
    assert "<b>" not in notes
    assert "\\<b\\>" in notes


def test_a_second_unit_system_is_printed_beside() -> None:
    from toolbench.view.wording.printed import print_value

    settings = dataclasses.replace(view_records.make(2).settings, display=Display(also="US"))
    # NIST SP 811 B.8: 1 ft·lbf = 1.355818 N·m, so 900 N·m is 663.8 ft·lbf and 9.4 N·m is 6.9
    assert plain(print_value(900.0, 9.4, "N*m", settings)) == "900.0 ± 9.4 N·m (663.8 ± 6.9 ft·lbf)"


def _moving(
    slope: float, u_slope: float, level: float = 800.0, u_level: float = 1.0, scale: float = 0.0
) -> tuple[str, ...]:
    """Sentences of one item whose response has this slope [N·m/s] and level [N·m]; 9 degrees of freedom, a shared scale."""
    made = view_records.make()
    base = next(row for row in made.record.levels if row.metric == "sustained")

    def row(metric: str, value: float, u: float, unit: str) -> Level:
        parts = (
            Component(
                source=f"repeatability/{metric}", label="", contribution=u, degrees_of_freedom=9.0, evaluation="A"
            ),
            Component(source="scale/cell", label="", contribution=scale * value),
        )
        estimate = Estimate(value=value, unit=unit, components=parts)
        half = expanded(estimate, 0.95).uncertainty
        return dataclasses.replace(base, metric=metric, estimate=estimate, expanded_uncertainty=half, n=10)

    levels = (row("slope", slope, u_slope, "N*m/s"), row("sustained", level, u_level, "N*m"))
    return wording.rising_sentences(dataclasses.replace(made.record, levels=levels), made.settings)


@pytest.mark.parametrize(
    ("slope", "u", "scale", "told"),
    [
        # by hand: 8 of 800 N·m is 1 % per second; k = 2.262 with 9 degrees of freedom, so 1 N·m/s is 0.28 %
        (8.0, 1.0, 0.0, "still rising over the window (9.6 s to 12 s), by 1.00 % ± 0.28 % of its level per second"),
        (-8.0, 1.0, 0.0, "still falling over the window (9.6 s to 12 s), by 1.00 % ± 0.28 % of its level per second"),
        (8.0, 1.0, 0.4, "by 1.00 % ± 0.28 %"),  # a scale error is in both and changes nothing
        (2.27, 1.0, 0.0, "by 0.28 % ± 0.28 %"),  # just outside
        (2.25, 1.0, 0.0, ""),  # just inside: nothing is claimed
        (0.0, 1.0, 0.0, ""),
        (8.0, math.nan, 0.0, ""),  # a single run: nothing to judge by
    ],
)
def test_still_rising_or_falling_only_where_the_slope_leaves_zero(
    slope: float, u: float, scale: float, told: str
) -> None:
    said = _moving(slope, u, scale=scale)
    if not told:
        assert said == ()
        return
    (text,) = said
    assert told in plain(text)
    assert text.endswith("confidence, 10 runs).")


def test_a_level_near_zero_has_no_slope_in_percent() -> None:
    assert _moving(8.0, 1.0, level=1.0, u_level=2.0) == ()


def test_many_names_are_told_by_the_first_and_their_number() -> None:
    assert name_some([f"r{n}" for n in range(6)]) == "r0, r1, r2, r3, r4, r5"
    assert name_some([f"r{n}" for n in range(7)]) == "r0, r1, r2 and 4 more"
