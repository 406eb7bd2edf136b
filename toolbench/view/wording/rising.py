"""Whether a response still moves over the window: the slope as a share of the item's own level."""

from __future__ import annotations

from toolbench.metrology import combine, expanded
from toolbench.quantities import format_percent
from toolbench.records.comparison import ComparisonRecord, Level
from toolbench.records.settings import SeasonSettings
from toolbench.view.wording.printed import item_label, metric_words, print_share, print_span


def rising_sentences(record: ComparisonRecord, settings: SeasonSettings) -> tuple[str, ...]:
    """A sentence for every item whose response still rises or falls over the window, where that leaves zero.

    For example "far: sustained torque is still rising over the window (4 s to 5 s), by 1.2 % ± 0.4 % of its level per second
    (95 % confidence, 5 runs)."
    """
    found = {(row.item, row.response, row.metric): row for row in record.levels}
    told = []
    for (item, response, metric), slope in found.items():
        level = found.get((item, response, "sustained"))
        if metric == "slope" and level is not None and response in record.protocol.response:
            told.append(_sentence(record, settings, slope, level))
    return tuple(filter(None, told))


def _sentence(record: ComparisonRecord, settings: SeasonSettings, slope: Level, level: Level) -> str:
    """The sentence of one item; empty where nothing is claimed."""
    value = level.estimate.value
    if not abs(value) > level.expanded_uncertainty:
        return ""
    # A scale error is the same share of the slope and of the level, so it cancels.
    share = 100.0 * slope.estimate.value / value
    whole = combine(share, "%", [(slope.estimate, 100.0 / value), (level.estimate, -share / value)])
    half = expanded(whole, record.confidence).uncertainty
    if not abs(share) > half:
        return ""
    what = metric_words(record, settings, level.response, "sustained", None)
    return (
        f"{item_label(record, slope.item)}: {what} is still {'rising' if share > 0 else 'falling'} over the window"
        f" ({print_span(*record.window_s)}), by {format_percent(abs(share), half, signed=False)} of its level per second"
        f" ({print_share(record.confidence)} confidence, {slope.n} runs)."
    )
