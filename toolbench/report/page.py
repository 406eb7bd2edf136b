"""Notebook to page through nbconvert with our own template, and the content policy that closes a page."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

from toolbench.errors import Fault, RenderError
from toolbench.view.page import REPORT_TEMPLATE, prepare

_STYLE = re.compile(r"<style\b[^>]*>(.*?)</style>", re.S | re.I)
_SCRIPT = re.compile(r"<script\b([^>]*)>(.*?)</script>", re.S | re.I)
_POLICY = re.compile(r"\n?<meta\b[^>]*http-equiv=[\"']?Content-Security-Policy[^>]*>", re.I)
_CHARSET = re.compile(r"<meta\b[^>]*charset=[^>]*>", re.I)


@lru_cache(maxsize=4)
def _exporter(templates: str) -> Any:
    # HTMLExporter parses the finished page a second time; the plain exporter with the page's few filters does not.
    from nbconvert.exporters import TemplateExporter

    folder = Path(templates) / REPORT_TEMPLATE
    if not folder.is_dir():
        raise RenderError(Fault("the template of the report page is not there", file=str(folder)))
    exporter = TemplateExporter(
        template_name=REPORT_TEMPLATE,
        extra_template_basedirs=[templates],
        file_extension=".html",
    )
    prepare(exporter.environment)
    return exporter


def export_page(notebook: Any, *, templates: Path, title: str, results: dict[str, Any]) -> str:
    """The report page of an executed notebook.

    Parameters
    ----------
    notebook : NotebookNode
        Executed and checked.
    templates : Path
        Folder that holds our template folders; only these are used, never the current folder.
    title : str
        Name of the page.
    results : dict
        The content of results.json, for the template (`resources.toolbench.results`).

    Raises
    ------
    RenderError
        When the template is missing or cannot be filled.
    """
    import jinja2

    resources = {"metadata": {"name": title}, "toolbench": {"results": results, "title": title}}
    try:
        html, _ = _exporter(str(templates)).from_notebook_node(notebook, resources=resources)
    except jinja2.TemplateError as error:
        raise RenderError(
            f"the template {REPORT_TEMPLATE} cannot be filled: {type(error).__name__}: {error}"
        ) from error
    return close_page(html)


def _hash(text: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii") + "'"


def close_page(html: str) -> str:
    """Put a content policy in the page that lets through its own inline styles and scripts and nothing else.

    The hashes are taken from the finished text, so they hold whatever a template or a cell has put there.
    """
    styles = sorted({_hash(found) for found in _STYLE.findall(html)})
    scripts = sorted(
        {_hash(body) for attributes, body in _SCRIPT.findall(html) if "application/json" not in attributes}
    )
    policy = "; ".join(
        [
            "default-src 'none'",
            "img-src data:",
            f"style-src {' '.join(styles) or chr(39) + 'none' + chr(39)}",
            f"script-src {' '.join(scripts) or chr(39) + 'none' + chr(39)}",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )
    meta = f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
    html = _POLICY.sub("", html)
    charset = _CHARSET.search(html)
    if charset:
        return html[: charset.end()] + "\n" + meta + html[charset.end() :]
    return re.sub(r"(<head\b[^>]*>)", lambda found: f'{found.group(1)}<meta charset="utf-8">\n{meta}', html, count=1)
