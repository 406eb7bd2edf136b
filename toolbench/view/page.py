"""What every page shares: where the templates lie, the one stylesheet, the content policy, a strict Jinja environment."""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

import toolbench

REPORT_TEMPLATE = "toolbench-report"
SHARED_TEMPLATE = "toolbench-shared"


def templates_folder() -> Path:
    """The folder that holds the template folders.

    In a wheel it lies inside the package, in a checkout beside it. It is never looked for on sys.path, where an
    editable install leaves an old copy.
    """
    package = Path(toolbench.__file__).parent
    shipped = package / "_shipped" / "templates"
    return shipped if shipped.is_dir() else package.parent / "templates"


def style_text() -> str:
    """The one stylesheet, as it stands inside `<style>` on every page."""
    return (templates_folder() / SHARED_TEMPLATE / "style.css").read_text(encoding="utf-8").rstrip("\n")


def _hash(text: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii") + "'"


def content_policy(style: str, script: str = "") -> str:
    """The content policy of a page with one inlined stylesheet and at most one inlined script.

    Parameters
    ----------
    style, script : str
        The exact text between the tags; no script is allowed where `script` is empty.

    References
    ----------
    W3C, Content Security Policy Level 3: hash sources.
    """
    parts = ["default-src 'none'", f"style-src {_hash(str(style))}", "img-src data:"]
    if script:
        parts.append(f"script-src {_hash(str(script))}")
    return "; ".join([*parts, "base-uri 'none'", "form-action 'none'"])


def prepare(environment: Environment) -> Environment:
    """Make a Jinja environment (nbconvert's, too) ours: everything escaped, a missing name an error, our filter known."""
    environment.autoescape = True
    environment.undefined = StrictUndefined
    environment.filters["content_policy"] = content_policy
    return environment


def environment(*folders: str) -> Environment:
    """An environment for pages of our own: the named template folders, then the shared one with `macros.html.j2`."""
    root = templates_folder()
    paths = [root / name for name in (*folders, SHARED_TEMPLATE)]
    return prepare(Environment(loader=FileSystemLoader(paths), trim_blocks=True, lstrip_blocks=True, autoescape=True))
