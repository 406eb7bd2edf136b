"""Where the response rests before each run, over the season."""

from __future__ import annotations

from matplotlib.axes import Axes

from toolbench.quantities import unit_label
from toolbench.season.bench import Bench, RestLevel
from toolbench.view.figures.canvas import RULE, look, new_axes
from toolbench.view.figures.inline import inline, spread_words
from toolbench.view.markup import Shown, render
from toolbench.view.wording.printed import display_unit, print_both, response_words, scaled


def rest_groups(bench: Bench) -> list[tuple[str, str, list[RestLevel]]]:
    """(rig, response, its rest levels in order of time), each a figure and a table of its own."""
    groups: dict[tuple[str, str], list[RestLevel]] = {}
    for rest in bench.rests:
        groups.setdefault((rest.rig, rest.response), []).append(rest)
    return [(rig, response, rests) for (rig, response), rests in groups.items()]


def plot_rest(bench: Bench, ax: Axes | None = None, *, group: int = 0) -> Axes:
    """Where the runs of one rig rested before their onset, in the order they were made.

    Parameters
    ----------
    bench : Bench
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    group : int
        Which rig and response, counted as `rest_groups` gives them.
    """
    ax = new_axes(ax)
    _, response, rests = rest_groups(bench)[group]
    seen = look(0)
    levels = [scaled(rest.level, rest.unit, bench.settings) for rest in rests]
    ax.axhline(0, color=RULE, linewidth=0.8)
    ax.plot(range(1, len(levels) + 1), levels, color=seen.light, marker=seen.marker, linestyle="none", markersize=3.5)
    ax.set_ylabel(
        f"{response_words(response).capitalize()} at rest [{unit_label(display_unit(rests[0].unit, bench.settings))}]"
    )
    ax.set_xlabel("Run, in order of time")
    return ax


def show_rest(bench: Bench) -> Shown:
    """Where the runs rested before their onset over the season, for each rig."""
    groups = [_rest(bench, k, *group) for k, group in enumerate(rest_groups(bench))]
    html = render("rest", {"groups": groups})
    return Shown(
        html=html, text="\n".join(f"{one['title']}: {one['words']}" for one in groups) or "No run could be read."
    )


def _rest(bench: Bench, number: int, rig: str, response: str, rests: list[RestLevel]) -> dict[str, object]:
    title = f"{response_words(response).capitalize()} at rest" + (f", {rig}" if rig else "")
    words = f"{len(rests)} runs, {spread_words([one.level for one in rests], rests[0].unit, bench.settings)}."
    by_day: dict[str, list[RestLevel]] = {}
    for one in rests:
        by_day.setdefault(one.day.isoformat() if one.day else "–", []).append(one)
    return {
        "title": title,
        "words": words,
        "svg": inline(f"rest {number} {title}", title, words, lambda ax: plot_rest(bench, ax, group=number)),
        "rows": [
            {
                "day": day,
                "runs": str(len(mine)),
                "low": print_both(min(one.level for one in mine), mine[0].unit, bench.settings, 3),
                "high": print_both(max(one.level for one in mine), mine[0].unit, bench.settings, 3),
            }
            for day, mine in by_day.items()
        ],
    }
