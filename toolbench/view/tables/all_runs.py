"""The result with all runs beside the result with the runs used, as printed."""

from __future__ import annotations

from collections.abc import Sequence

from toolbench.records.comparison import ComparisonRecord, Difference, ExcludedRun
from toolbench.records.settings import SeasonSettings
from toolbench.view.wording.printed import VERDICT_SIGNS, item_label, list_words, metric_words
from toolbench.view.wording.sentences import percent_text


def all_runs_sentences(record: ComparisonRecord) -> tuple[str, ...]:
    """Which excluded runs were put back, with the reason of each; which could not be; and what they change."""
    found = record.all_runs
    if found is None:
        return ()
    lost = [one for one in found.excluded if one.failure]
    said = [f"{_named(record, [one])} cannot be put back: {one.failure.rstrip('.')}." for one in lost]
    if found.put_back:
        said.insert(0, f"Put back for this table only: {_named(record, found.put_back)}.")
        said.append(_turns(record))
    return tuple(said)


def _turns(record: ComparisonRecord) -> str:
    both = record.all_runs.beside(record.differences) if record.all_runs else []
    turned = sum(whole.family_verdict != row.family_verdict for whole, row in both)
    if not turned:
        return "No verdict turns."
    return f"{turned} of {len(both)} verdicts {'turns' if turned == 1 else 'turn'}: what is said there rests on leaving runs out."


def _named(record: ComparisonRecord, runs: Sequence[ExcludedRun]) -> str:
    return list_words([f"{one.run} of {item_label(record, one.item)} ({one.reason})" for one in runs])


def with_all_runs(record: ComparisonRecord, settings: SeasonSettings) -> dict[str, object] | None:
    """Sentences and rows of the table; None where nothing was excluded by hand."""
    found = record.all_runs
    if found is None:
        return None
    rows = [_row(record, settings, whole, row) for whole, row in found.beside(record.differences)]
    return {"sentences": all_runs_sentences(record), "rows": rows}


def _row(record: ComparisonRecord, settings: SeasonSettings, whole: Difference, row: Difference) -> dict[str, object]:
    return {
        "item": item_label(record, row.item),
        "baseline": item_label(record, row.baseline),
        "what": metric_words(record, settings, row.response, row.metric, row.at),
        "used": percent_text(row),
        "used_verdict": row.family_verdict,
        "used_sign": VERDICT_SIGNS[row.family_verdict],
        "whole": percent_text(whole),
        "whole_verdict": whole.family_verdict,
        "whole_sign": VERDICT_SIGNS[whole.family_verdict],
        "turns": whole.family_verdict != row.family_verdict,
    }
