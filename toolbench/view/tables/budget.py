"""Method and uncertainty budget: components sorted by size, the dominant one said in words."""

from __future__ import annotations

import math

from toolbench.metrology import coverage_factor
from toolbench.quantities import format_number, format_percent, unit_label
from toolbench.records.comparison import ComparisonRecord, Component, Estimate
from toolbench.records.settings import SeasonSettings
from toolbench.view.markup import Compared, Shown, render
from toolbench.view.tables.checked import check_sentences, checked
from toolbench.view.tables.words import word_rows
from toolbench.view.wording import shrinking
from toolbench.view.wording.departing import departure_sentences
from toolbench.view.wording.printed import display_unit, item_label, metric_words, print_number, print_share, scaled
from toolbench.view.wording.sentences import headline_metric
from toolbench.view.wording.shrinking import labelled, largest


def _sorted(components: tuple[Component, ...]) -> list[Component]:
    return sorted(components, key=lambda c: (-abs(c.contribution), c.source))


def budget_rows(estimate: Estimate, record: ComparisonRecord, settings: SeasonSettings) -> list[dict[str, str]]:
    """The components of an estimate as printed: those that count by size, then those the scatter holds already."""
    total = estimate.standard_uncertainty**2
    counted = _sorted(tuple(c for c in estimate.components if not c.contained))
    contained = _sorted(tuple(c for c in estimate.components if c.contained))
    return [
        {
            "label": labelled(record, c),
            "evaluation": c.evaluation,
            "distribution": c.distribution,
            "value": _input(c.value, c, settings, 4),
            "uncertainty": _input(c.standard_uncertainty, c, settings, 2),
            "sensitivity": _sensitivity(c, estimate.unit, settings),
            "degrees": format_number(c.degrees_of_freedom, 3),
            "contribution": print_number(abs(c.contribution), estimate.unit, settings, 2),
            "share": "in the scatter" if c.contained else _share(c.contribution**2, total),
        }
        for c in (*counted, *contained)
    ]


def _input(value: float, component: Component, settings: SeasonSettings, digits: int) -> str:
    """A number of the input quantity in the display unit; a small pure number as it is."""
    if not math.isfinite(value):
        return format_number(None)
    if component.unit in ("", "1"):
        return format_number(value, digits)
    # An error of zero has no unit's offset: of pressures and torques none has.
    return print_number(value, component.unit, settings, digits)


def _sensitivity(component: Component, unit: str, settings: SeasonSettings) -> str:
    """What the value, in its display unit, changes by per display unit of the input."""
    if not math.isfinite(component.sensitivity):
        return format_number(None)
    of = component.unit or "1"
    step = 1.0 if of == "1" else scaled(1.0, of, settings) - scaled(0.0, of, settings)
    change = scaled(component.sensitivity, unit, settings) - scaled(0.0, unit, settings)
    per = "" if of == "1" else unit_label(display_unit(of, settings))
    shown = unit_label(display_unit(unit, settings))
    if per == shown:
        return format_number(change / step, 3)
    return format_number(
        change / step, 3, unit=f"{shown}/({per})" if "·" in per else f"{shown}/{per}" if per else shown
    )


def _share(part: float, total: float) -> str:
    return format_number(100 * part / total, 2, unit="%") if total > 0 else "–"


def dominant_sentence(estimate: Estimate, record: ComparisonRecord | None = None) -> str:
    """Which component weighs most, by how much of the variance, and what would shrink it."""
    first = largest(estimate)
    if first is None:
        return "Nothing is known to form an uncertainty from."
    share = 100 * first.contribution**2 / estimate.standard_uncertainty**2
    verb = "dominates" if share > 50 else "weighs most"
    label = labelled(record, first) if record is not None else first.label or first.source
    remedy = shrinking.sentence(first)
    said = f"{label[:1].upper()}{label[1:]} {verb}: {format_number(share, 2, unit='%')} of the variance."
    return f"{said} {remedy}".strip()


def _budget(
    title: str, estimate: Estimate, factor: float, record: ComparisonRecord, settings: SeasonSettings
) -> dict[str, object]:
    u = estimate.standard_uncertainty
    known = math.isfinite(u)
    combined = (
        format_percent(u, None, signed=False) if estimate.unit == "%" else print_number(u, estimate.unit, settings, 2)
    )
    return {
        "title": title,
        "dominant": dominant_sentence(estimate, record),
        "rows": budget_rows(estimate, record, settings),
        "combined": combined if known else "not assessed",
        "degrees": format_number(estimate.degrees_of_freedom if known else None, 3),
        "factor": format_number(factor, 3),
    }


def _budgets(record: ComparisonRecord, settings: SeasonSettings) -> list[dict[str, object]]:
    """The budgets of the headline differences, then those of the levels they are made of."""
    found: list[dict[str, object]] = []
    for row in record.differences:
        if (row.metric, row.at) == headline_metric(record, row.response):
            what = metric_words(record, settings, row.response, row.metric, row.at)
            title = f"{item_label(record, row.item)} against {item_label(record, row.baseline)}: {what}"
            estimate, factor = row.percent, row.coverage_factor
            if row.verdict != "not assessed" and not math.isfinite(row.interval.lower):
                # The base is too near zero for a percentage: what is judged is the difference.
                estimate = row.difference
                factor = coverage_factor(estimate.degrees_of_freedom, record.confidence)
            found.append(_budget(title, estimate, factor, record, settings))
    for level in record.levels:
        if record.is_told(level) and (level.metric, level.at) == headline_metric(record, level.response):
            what = metric_words(record, settings, level.response, level.metric, level.at)
            title = f"{item_label(record, level.item)}: {what}"
            found.append(_budget(title, level.estimate, level.coverage_factor, record, settings))
    return found


def _family(record: ComparisonRecord, share: str) -> str:
    if not record.family_size:
        return "No row of the response could be judged."
    return (
        f"Intervals of one row hold at {share}; the interval for all {record.family_size} rows of the response together"
        f" uses {format_number(100 * record.family_level, 2, unit='%')} per row."
    )


def _supporting(record: ComparisonRecord) -> tuple[str, ...]:
    if not record.supporting_size:
        return ()
    return (
        f"The {record.supporting_size} supporting rows (times, slope, supply) hold together among themselves, with"
        f" {format_number(100 * record.supporting_level, 2, unit='%')} per row.",
    )


def _without_blocks(record: ComparisonRecord, settings: SeasonSettings) -> str:
    """Whether means rest on runs or on sittings, with the two scatters where sittings count (ISO 5725-3)."""
    independent = "Runs were compared as independent of each other; no complete blocks were used."
    judged = [level for level in record.levels if level.sittings]
    if not judged:
        repeated = any(_is_repeated(record, item.runs) for item in record.items)
        return f"{independent} Sittings differ no more than their runs do." if repeated else independent
    first = next((one for one in judged if (one.metric, one.at) == headline_metric(record, one.response)), judged[0])
    within, one_run = (
        print_number(value, first.estimate.unit, settings, 2)
        for value in (first.repeatability, first.intermediate_precision)
    )
    return (
        f"No complete blocks were used, and sittings differ by more than their runs do: means are judged by the scatter"
        f" between sittings, with one degree of freedom fewer than there are of them ({len(judged)} of"
        f" {len(record.levels)} levels). One run scatters by {within} within a sitting (repeatability) and by {one_run}"
        f" from sitting to sitting (intermediate precision)"
        f" in {metric_words(record, settings, first.response, first.metric, first.at)}."
    )


def _is_repeated(record: ComparisonRecord, ids: tuple[str, ...]) -> bool:
    """Whether an item was run in several sittings, and more than once in one of them."""
    entries = [run.entry for run in record.runs if run.id in ids]
    sittings = {entry.block or (entry.started.date() if entry.started else None) for entry in entries}
    return None not in sittings and 1 < len(sittings) < len(entries)


def _within_blocks(record: ComparisonRecord) -> str:
    """In how many blocks pairs were compared; empty where none was."""
    told = [row for row in record.differences if record.is_told(row)]
    counts = sorted({row.blocks for row in told if row.blocks})
    if not counts:
        return ""
    number = " to ".join(dict.fromkeys(str(count) for count in (counts[0], counts[-1])))
    kind = "blocks that both were run in" if any(row.within for row in told) else "complete blocks"
    said = f"Items were compared within {number} {kind}, so what differs from session to session cancels."
    if any(not row.blocks for row in told):
        said += (
            " Where the runs of a pair lie in too few common blocks, they were compared as independent of each other."
        )
    return said


def method_sentences(record: ComparisonRecord, settings: SeasonSettings) -> tuple[str, ...]:
    """How the numbers were formed, in words."""
    share = print_share(record.confidence)
    rule = sorted({run.onset.rule for run in record.runs})
    how = _within_blocks(record) or _without_blocks(record, settings)
    return (
        f"Runs are aligned on the onset of the response (rule: {', '.join(rule) or 'none'}), found on the raw signal. What a"
        " sensor reads at rest is not taken off: it is part of the scatter of repeats.",
        "Levels are means over runs with components by the GUM (JCGM 100:2008); the same source in two values is the"
        " same error, so a shared scale cancels in a percentage and a zero error does not.",
        how,
        _family(record, share),
        *_supporting(record),
        *departure_sentences(record, settings),
        "Smallest resolvable: the true difference that this many runs with this scatter show with 80\u2009% power.",
        "Bands on the curves are simultaneous: they hold over the whole time at once.",
    )


def show_budget(comparison: Compared) -> Shown:
    """The method in sentences, the budget of every headline difference, in percent of the baseline's level, and of its levels."""
    record, settings = comparison.record, comparison.settings
    budgets, check = _budgets(record, settings), checked(record, settings)
    html = render(
        "budget",
        {"budgets": budgets, "method": method_sentences(record, settings), "check": check, "words": word_rows()},
    )
    lines = [*method_sentences(record, settings), *(f"{b['title']}. {b['dominant']}" for b in budgets)]
    lines += check_sentences(record.monte_carlo) if record.monte_carlo else ()
    return Shown(html=html, text="\n".join(lines))
