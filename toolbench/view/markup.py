"""What a notebook cell shows: HTML from our own templates, escaped by default, and the same as plain text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Protocol

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from toolbench.records.comparison import ComparisonRecord
from toolbench.records.settings import SeasonSettings

_FRAGMENTS = Path(__file__).parent / "fragments"
THIN = "\u2009"
THIN_UNBROKEN = "\u202f"


class Compared(Protocol):
    """What the view asks of a comparison."""

    @property
    def record(self) -> ComparisonRecord: ...
    @property
    def settings(self) -> SeasonSettings: ...


@dataclass(frozen=True, slots=True)
class Shown:
    """A piece of a report: `html` for a notebook and the page, `text` for a terminal; `title` names the page it opens."""

    html: str
    text: str
    title: str = ""

    def _repr_html_(self) -> str:
        return self.html

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> tuple[dict[str, str], dict[str, Any]]:
        """Both forms at once; the title travels as metadata of the output, where the page template finds it."""
        return {"text/html": self.html, "text/plain": self.text}, {"toolbench": {"title": self.title}}

    def __str__(self) -> str:
        return self.text


@cache
def fragments() -> Environment:
    """The Jinja environment of the fragments: everything escaped, a missing name is an error."""
    return Environment(
        loader=FileSystemLoader(_FRAGMENTS),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def render(name: str, values: Mapping[str, Any]) -> str:
    """One fragment with its values."""
    return unbroken(fragments().get_template(f"{name}.html.j2").render(values))


def unbroken(html: str) -> str:
    """A browser may end a line at a thin space; the narrow no-break space looks the same and keeps number and unit together."""
    return html.replace(THIN, THIN_UNBROKEN)
