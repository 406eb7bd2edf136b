"""The page and the notebook of "what would another line give?" show the same, and the page asks for nothing."""

from __future__ import annotations

import re
from pathlib import Path

import toolbench as tb
from toolbench.report.line_page import is_line_page, line_page
from toolbench.report.notebook import run_notebook
from toolbench.report.processes import Starting
from toolbench.report.shipped import find_notebook, find_shipped

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
QUESTION = {"setup": "near", "tool": "quernel-1", "length": "30 m", "want": "6 bar", "loss": "10 %"}


def page() -> str:
    return line_page(tb.open_line(tb.open_season(DEMO), **QUESTION), find_shipped("templates"))


def test_it_is_closed_and_says_what_it_is(tmp_path: Path) -> None:
    html = page()
    assert html.count("<h1>") == 1
    assert "default-src 'none'" in html
    assert not re.search(r'(?:src|href)="(?!#|data:)', html)
    ids = re.findall(r'\sid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    assert str(DEMO) not in html
    assert html == page()
    path = tmp_path / "line.html"
    assert not is_line_page(path)
    path.write_text(html, encoding="utf-8")
    assert is_line_page(path)
    assert not is_line_page(find_shipped("templates") / "toolbench-pages" / "health.html.j2")


def test_the_notebook_runs_and_shows_what_the_page_shows(tmp_path: Path) -> None:
    notebook = run_notebook(
        find_notebook("air-line.ipynb"),
        {"season": str(DEMO)},
        folder=tmp_path,
        cell_timeout_s=120,
        starting=Starting(lambda _: None),
    )
    outputs = [o for c in notebook.cells if c.cell_type == "code" for o in c.outputs]
    shown = ["".join(o["data"]["text/html"]) for o in outputs if "text/html" in o["data"]]
    assert len(shown) == 1
    assert shown[0].strip() in page()
    # Both plots are pictures, not the names of objects.
    assert sum("image/png" in o["data"] for o in outputs) == 2
