"""The files beside a page: the numbers with the sentences made from them, and the draft lines."""

from __future__ import annotations

from pathlib import Path

from toolbench import files, season
from toolbench.view.markup import Compared
from toolbench.view.wording import headlines, notes_text


def write_results(comparison: season.Comparison, folder: str | Path) -> None:
    """Write results.json, levels.csv, differences.csv and curves.csv into `folder`; nothing where `folder` is empty.

    The headline sentences stand in results.json as they are printed, so every page says them in the same words.

    Raises
    ------
    OutputError
        The folder cannot be written.
    """
    sentences = [
        {"item": line.item, "baseline": line.baseline, "text": line.text, "verdict": line.verdict}
        for line in headlines(comparison.record, comparison.settings)
    ]
    season.write_results(comparison, folder, sentences)


def write_notes(comparison: Compared, folder: str | Path) -> None:
    """Write notes.md into `folder`; nothing where `folder` is empty. Raises OutputError."""
    if str(folder):
        files.write_text(Path(folder) / "notes.md", notes_text(comparison.record, comparison.settings))
