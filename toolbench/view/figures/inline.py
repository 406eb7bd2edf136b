"""A figure of a notebook cell as SVG for a page, and words for its text alternative."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from toolbench import files
from toolbench.records.settings import SeasonSettings
from toolbench.view.figures.canvas import style
from toolbench.view.figures.svg import page_svg, raw_svg
from toolbench.view.wording.printed import print_both

_WIDTH, _HEIGHT = 6.6, 3.6


def inline(
    name: str,
    title: str,
    description: str,
    draw: Callable[[Axes], object],
    *,
    place: tuple[float, float, float, float] = (0.13, 0.24, 0.85, 0.73),
    height: float = _HEIGHT,
) -> str:
    """A figure drawn by `draw` as SVG for a page, its ids made from `name`; `place` is where its axes stand in it.

    `height` is that of the figure [in].
    """
    salt = f"tb-{re.sub(r'[^a-z0-9]+', '-', name.lower())}-{files.digest_bytes(name.encode())[:6]}"
    with style(salt):
        figure = Figure(figsize=(_WIDTH, height))
        draw(figure.add_axes(place))
        raw = raw_svg(figure)
    return page_svg(raw, salt, title, description)


def spread_words(values: Sequence[float], unit: str, settings: SeasonSettings) -> str:
    """Lowest and highest of some levels, for a text alternative."""
    return f"from {print_both(min(values), unit, settings)} to {print_both(max(values), unit, settings)}"
