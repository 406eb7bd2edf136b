"""The words of the trade that a report uses, each explained once, from the glossary."""

from __future__ import annotations

from toolbench.quantities import GLOSSARY, WORDS


def word_rows() -> list[tuple[str, str]]:
    """(word, what it means), in the order of the glossary's list."""
    return [(GLOSSARY[name].label, GLOSSARY[name].definition) for name in WORDS]
