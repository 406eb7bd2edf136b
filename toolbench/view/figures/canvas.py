"""What all figures share: colours, the style as a context, thinning of curves, labels that do not collide.

References
----------
M. Okabe and K. Ito, Color Universal Design (2008): the eight colours that `SERIES` takes from. Contrast of each on its
ground is at least 3:1 (WCAG 2.2, 1.4.11); a test computes it.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from toolbench.records.runs import Floats

LIGHT_GROUND, DARK_GROUND = "#ffffff", "#14171a"
INK, MUTED, RULE = "#1b1e22", "#575d65", "#c6cbd1"
FONT_SIZE = 10.5
MOST_OVERLAID = 5


@dataclass(frozen=True, slots=True)
class Look:
    """How one item is drawn everywhere: a colour on light and one on dark, a dash and a marker as the second cue."""

    light: str
    dark: str
    dash: Any
    marker: str


SERIES = (
    Look("#000000", "#f2f2f0", "solid", "o"),
    Look("#0072b2", "#56b4e9", (0, (6, 1.5)), "s"),
    Look("#d55e00", "#e69f00", (0, (3, 1.2)), "^"),
    Look("#009e73", "#009e73", (0, (6, 1.2, 1.2, 1.2)), "D"),
    Look("#cc79a7", "#cc79a7", (0, (1.2, 1)), "v"),
)


def look(index: int) -> Look:
    """The look of the item at `index`, the baseline being 0; beyond the set, the colours come round with the same cues."""
    return SERIES[index] if index < len(SERIES) else SERIES[1 + (index - 1) % (len(SERIES) - 1)]


def style(salt: str) -> AbstractContextManager[None]:
    """Our matplotlib style for the block, with ids in the SVG that follow from `salt` alone; no global is changed."""
    return rc_context(
        {
            "svg.hashsalt": salt,
            "svg.fonttype": "none",
            "font.family": ["DejaVu Sans"],
            "font.size": FONT_SIZE,
            "axes.titlesize": FONT_SIZE,
            "axes.labelsize": FONT_SIZE,
            "axes.edgecolor": RULE,
            "axes.labelcolor": INK,
            "axes.unicode_minus": True,
            "axes.spines.top": False,
            "axes.spines.right": False,
            "axes.linewidth": 0.8,
            "xtick.color": RULE,
            "ytick.color": RULE,
            "xtick.labelcolor": INK,
            "ytick.labelcolor": INK,
            "text.color": INK,
            "text.parse_math": False,
            "grid.color": RULE,
            "grid.linewidth": 0.5,
            "path.simplify": False,
            "figure.facecolor": LIGHT_GROUND,
            "axes.facecolor": "none",
            "lines.linewidth": 1.6,
        }
    )


class ShownAxes(Axes):
    """Axes on a figure of their own: the last value of a notebook's cell is the picture."""

    def _repr_png_(self) -> bytes:
        stream = io.BytesIO()
        self.get_figure(root=True).savefig(stream, format="png", dpi=110, metadata={"Software": None})  # type: ignore[union-attr]
        return stream.getvalue()


def new_axes(ax: Axes | None) -> Axes:
    """The Axes given, or one on a new figure of its own, which shows itself in a notebook; pyplot is not touched."""
    if ax is not None:
        return ax
    return Figure(figsize=(6.4, 4.0), layout="constrained").add_subplot(axes_class=ShownAxes)


def thin(x: Floats, y: Floats, points: int) -> tuple[Floats, Floats]:
    """At most about `points` points of a curve that keep its peaks: lowest and highest of each bucket, in their order.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        `nan` in `y` stays a gap.
    """
    if len(x) <= points:
        return x, y
    keep: list[int] = [0]
    for part in np.array_split(np.arange(len(x)), max(1, points // 2)):
        values = y[part]
        if np.isnan(values).all():
            keep.append(int(part[0]))
            continue
        keep += sorted({int(part[np.nanargmin(values)]), int(part[np.nanargmax(values)])})
    keep.append(len(x) - 1)
    index = np.unique(keep)
    return x[index], y[index]


def repel(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places near `wanted` at least `gap` apart and, where there is room, inside `low` to `high`; the order is kept."""
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    placed = [0.0] * len(wanted)
    floor = low
    for i in order:
        placed[i] = max(wanted[i], floor)
        floor = placed[i] + gap
    ceiling = high
    for i in reversed(order):
        placed[i] = min(placed[i], ceiling)
        ceiling = placed[i] - gap
    return placed


def honest_limits(low: float, high: float) -> tuple[float, float, bool]:
    """Limits of an axis and whether it is cut: from zero, unless all values lie close together far away from it."""
    cut = low > 0.6 * high > 0
    room = 0.06 * (high - low if cut else max(high, 0) - min(low, 0)) or 1.0
    if cut:
        return low - room, high + room, True
    return (low - room if low < 0 else 0.0), high + room, False


def say_cut(ax: Axes, text: str) -> None:
    """A line on the axes that says where a cut axis starts."""
    ax.text(0.01, 0.02, text, transform=ax.transAxes, fontsize=FONT_SIZE - 1.5, color=MUTED)


def wrapped(text: str, width: int = 18, lines: int = 2) -> str:
    """A label on at most `lines` lines; what does not fit loses its middle."""
    room = width * lines
    parts = textwrap.wrap(shortened(text, room), width)
    while len(parts) > lines:
        room -= 1
        parts = textwrap.wrap(shortened(text, room), width)
    return "\n".join(parts)


def shortened(text: str, room: int) -> str:
    """A text of at most `room` characters; what is cut is the middle, for names of one family differ at their ends."""
    if len(text) <= room:
        return text
    tail = (room - 1) // 2
    return f"{text[: room - 1 - tail].rstrip()}…{text[len(text) - tail :].lstrip()}"


def label_ends(ax: Axes, ends: list[tuple[str, float, Look]]) -> None:
    """Labels right of the axes at the height of each curve's end, pushed apart, each with a line to its curve."""
    if not ends:
        return
    low, high = ax.get_ylim()
    points = ax.get_position().height * float(ax.get_figure(root=True).get_size_inches()[1]) * 72  # type: ignore[union-attr]
    per_line = (high - low) / max(points, 1.0) * FONT_SIZE * 1.2
    texts = [wrapped(name) for name, _, _ in ends]
    tallest = max(text.count("\n") + 1 for text in texts)
    places = repel([y for _, y, _ in ends], per_line * tallest, low + per_line / 2, high - per_line / 2)
    for text, (_, y, seen), place in zip(texts, ends, places, strict=True):
        share, end = (place - low) / (high - low), (y - low) / (high - low)
        ax.plot([1.0, 1.035], [end, share], transform=ax.transAxes, clip_on=False, color=seen.light, linewidth=0.9)
        ax.plot([1.035, 1.075], [share, share], transform=ax.transAxes, clip_on=False, color=seen.light,
                linestyle=seen.dash, linewidth=2.0)  # fmt: skip
        ax.text(1.09, share, text, transform=ax.transAxes, va="center", ha="left", linespacing=1.05, color=INK)
