"""Sentences from numbers; the same strings on the page, in the notes and on the episode page."""

from toolbench.view.wording.caveats import Caveat, caveats, merge
from toolbench.view.wording.notes import notes_text
from toolbench.view.wording.parting import span_sentences
from toolbench.view.wording.rising import rising_sentences
from toolbench.view.wording.sentences import (
    Headline,
    at_least_text,
    compensated_sentence,
    headline_metric,
    headlines,
    limits,
    missing_sentences,
    percent_text,
    sentence,
)

__all__ = [
    "Caveat",
    "Headline",
    "at_least_text",
    "caveats",
    "compensated_sentence",
    "headline_metric",
    "headlines",
    "limits",
    "merge",
    "missing_sentences",
    "notes_text",
    "percent_text",
    "rising_sentences",
    "sentence",
    "span_sentences",
]
