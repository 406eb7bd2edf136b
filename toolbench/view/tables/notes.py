"""notes.md: the draft lines as a file."""

from __future__ import annotations

from pathlib import Path

from toolbench import files
from toolbench.view.markup import Compared
from toolbench.view.wording import notes_text


def write_notes(comparison: Compared, folder: str | Path) -> None:
    """Write notes.md into `folder`; nothing where `folder` is empty. Raises OutputError."""
    if str(folder):
        files.write_text(Path(folder) / "notes.md", notes_text(comparison.record, comparison.settings))
