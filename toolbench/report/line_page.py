"""The page of one question about a line: what `air-line.ipynb` shows, in one file that asks for nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from toolbench.report.index import render_page

_OURS = '<body class="tb-pages">', 'class="tb-line-study"'


def line_page(study: Any, templates: Path) -> str:
    """The page of a `LineStudy`."""
    import toolbench as tb

    shown = tb.show_line(study)
    return render_page(templates, "line.html.j2", title=shown.title, piece=shown.html)


def is_line_page(path: Path) -> bool:
    """Whether a file was written here, so that it may be written again."""
    text = path.read_text(encoding="utf-8", errors="replace") if path.is_file() else ""
    return all(sign in text for sign in _OURS)
