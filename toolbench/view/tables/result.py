"""The result in sentences, and the caveats that stand with it."""

from __future__ import annotations

from toolbench.view.markup import Compared, Shown, render
from toolbench.view.tables.all_runs import all_runs_sentences, with_all_runs
from toolbench.view.wording import caveats, headlines, merge, missing_sentences, rising_sentences, span_sentences
from toolbench.view.wording.printed import VERDICT_SIGNS
from toolbench.view.wording.sentences import conditions_sentence

SEVERITY_WORDS = {"wrong": "Wrong", "doubtful": "Doubtful", "note": "Note"}


def show_result(comparison: Compared) -> Shown:
    """One sentence per question, each with the caveats that touch it; when the curves part; what the ± means."""
    record, settings = comparison.record, comparison.settings
    lines = headlines(record, settings)
    shared = set.intersection(*({f.message for f in line.touched_by} for line in lines)) if len(lines) > 1 else set()
    curves = (*span_sentences(record), *rising_sentences(record, settings))
    values = {
        "lines": [(line, [c for c in merge(line.touched_by) if c.text not in shared]) for line in lines],
        "shared": [c for c in merge(record.findings) if c.text in shared],
        "missing": missing_sentences(record),
        "spans": curves,
        "foot": conditions_sentence(record) if lines else "",
        "signs": VERDICT_SIGNS,
    }
    told = [*(line.text for line in lines), *missing_sentences(record), *curves]
    return Shown(html=render("result", values), text="\n".join(told))


def show_caveats(comparison: Compared) -> Shown:
    """Everything that limits the result, worst first, identical ones merged; and the result with all runs, where some were excluded."""
    record, settings = comparison.record, comparison.settings
    found = caveats(record)
    values = {"caveats": found, "words": SEVERITY_WORDS, "all_runs": with_all_runs(record, settings)}
    lines = [f"{SEVERITY_WORDS[c.severity]}: {c.text}" for c in found] or ["No check that ran found a caveat."]
    return Shown(html=render("caveats", values), text="\n".join([*lines, *all_runs_sentences(record)]))
