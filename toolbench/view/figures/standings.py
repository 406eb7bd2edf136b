"""Pictures of the standings: scores with intervals and groups not told apart, and every tool's value in each criterion."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib.ticker as ticks
from matplotlib.axes import Axes

from toolbench.quantities import format_number
from toolbench.quantities.format import NONE
from toolbench.season.standings.outcome import ClassStandings, Standings
from toolbench.season.standings.rows import group_letters, named_groups
from toolbench.standings import Score
from toolbench.view.figures.canvas import FONT_SIZE, INK, MUTED, RULE, look, new_axes, say_cut, shortened, wrapped
from toolbench.view.figures.inline import inline
from toolbench.view.markup import Shown, render
from toolbench.view.wording.printed import print_share
from toolbench.view.wording.standings import (
    MEANS,
    class_sentences,
    class_title,
    exact_words,
    place_words,
    print_anchor,
    print_chance,
    print_mark,
    print_ranks,
    print_score,
)
from toolbench.view.wording.tools import obtained_text

MOST_DRAWN = 25
"""Rows of the picture; the table has them all."""
MOST_MARKED = 5
_ROW = 0.27
"""Height of a row of a picture [in]."""


@dataclass(frozen=True, slots=True)
class _Bar:
    """One row of the picture of scores."""

    label: str
    score: Score
    rank: str


def _bars(one: ClassStandings) -> list[_Bar]:
    ranked = [_Bar(one.facts[row.tool].label, row.score, str(row.rank)) for row in one.standing.ranked]
    open_ = [_Bar(one.facts[row.score.tool].label, row.score, NONE) for row in one.standing.unranked]
    return [*ranked, *open_][:MOST_DRAWN]


def plot_standings(standings: Standings, ax: Axes | None = None, *, supply: str | None = None) -> Axes:
    """Scores of one kind of supply with their intervals; lines at the right join tools that are not told apart.

    Parameters
    ----------
    standings : Standings
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    supply : str, optional
        Kind of supply; the first class otherwise.
    """
    ax, one = new_axes(ax), _class_of(standings, supply)
    bars = _bars(one)
    for y, bar in enumerate(bars):
        _draw_bar(ax, y, bar.score)
    _limits(ax, bars)
    _draw_groups(ax, one, len(bars))
    ax.set_yticks(range(len(bars)), [f"{bar.rank}   {shortened(bar.label, 26)}" for bar in bars])
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(len(bars) + 0.1, -0.7)
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x", color=RULE)
    ax.set_axisbelow(True)
    ax.set_xlabel("Score [%]", fontsize=FONT_SIZE)
    return ax


def _class_of(standings: Standings, supply: str | None) -> ClassStandings:
    return next(one for one in standings.classes if supply is None or one.supply == supply)


def _draw_bar(ax: Axes, y: int, score: Score) -> None:
    seen = look(0)
    if score.value is None:
        ax.plot([score.lowest, score.highest], [y, y], color=MUTED, linewidth=1.4, linestyle=(0, (2, 2)))
        return
    if score.interval is not None:
        ends = [score.interval.lower, score.interval.upper]
        ax.plot(ends, [y, y], color=look(1).light, linewidth=3.2, solid_capstyle="butt")
    ax.plot([score.value], [y], marker=seen.marker, markersize=5.5, color=seen.light)


def _limits(ax: Axes, bars: Sequence[_Bar]) -> None:
    ends = [end for bar in bars for end in (bar.score.lowest, bar.score.highest)]
    ends += [end for bar in bars if bar.score.interval for end in (bar.score.interval.lower, bar.score.interval.upper)]
    low, high = (min(ends), max(ends)) if ends else (0.0, 100.0)
    room = max(0.12 * (high - low), 1.0)
    ax.set_xlim(max(low - room, 0.0), min(high + room, 100.0))
    ax.xaxis.set_major_locator(ticks.MaxNLocator(5, steps=[1, 2, 5, 10]))
    if low - room > 0:
        say_cut(ax, "The axis does not start at zero.")


def _draw_groups(ax: Axes, one: ClassStandings, rows: int) -> None:
    """A line per group right of the axes, a dot at each of its tools: tools on one line are not told apart."""
    place = {row.tool: y for y, row in enumerate(one.standing.ranked)}
    beside = ax.get_yaxis_transform()
    for number, (name, group) in enumerate(named_groups(one)):
        ys = [place[tool] for tool in group if place[tool] < rows]
        if not ys or number > 6:
            continue
        x = 1.04 + 0.045 * number
        ax.plot([x, x], [min(ys), max(ys)], transform=beside, clip_on=False, color=MUTED, linewidth=1.4)
        ax.plot(
            [x] * len(ys), ys, transform=beside, clip_on=False, color=INK, marker="o", markersize=3.5, linestyle="none"
        )
        ax.text(x, min(ys) - 0.3, name, transform=beside, ha="center", va="bottom", color=INK)


def plot_criteria(standings: Standings, ax: Axes | None = None, *, supply: str | None = None) -> Axes:
    """One line per criterion, from its worse anchor to its better one, and on it the values of the first five tools.

    Parameters
    ----------
    standings : Standings
    ax : Axes, optional
        Drawn on; a new figure otherwise.
    supply : str, optional
        Kind of supply; the first class otherwise.
    """
    ax, one = new_axes(ax), _class_of(standings, supply)
    marked = _marked(one)
    step = 0.5 / max(len(marked), 1)
    for y, criterion in enumerate(standings.criteria):
        ax.plot([0, 1], [y, y], color=RULE, linewidth=0.8, zorder=0)
        for k, (_, score) in enumerate(marked):
            value, seen = score.values.get(criterion.id), look(k)
            if value is not None:
                at = y + (k - (len(marked) - 1) / 2) * step
                ax.plot(
                    [value], [at], marker=seen.marker, markersize=6, color=seen.light, linestyle="none", clip_on=False
                )
        for x, anchor, side in ((0.0, criterion.worst_at, "left"), (1.0, criterion.best_at, "right")):
            text = print_anchor(anchor, criterion, standings.settings).partition(" (")[0]
            ax.text(x, y + 0.44, text, ha=side, va="center", color=MUTED, fontsize=FONT_SIZE - 1.5)
    names = [f"{wrapped(c.label, 26)}\n{print_share(c.weight)} of the score" for c in standings.criteria]
    ax.set_yticks(range(len(standings.criteria)), names)
    ax.tick_params(axis="y", length=0)
    ax.set_xlim(0, 1)
    ax.set_xticks([0, 0.25, 0.5, 0.75, 1.0], ["0", "0.25", "0.5", "0.75", "1"])
    ax.set_ylim(len(standings.criteria) - 0.3, -0.7)
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x", color=RULE)
    ax.set_axisbelow(True)
    ax.set_xlabel("Value between the anchors", fontsize=FONT_SIZE)
    _name_marks(ax, [label for label, _ in marked])
    return ax


def _marked(one: ClassStandings) -> list[tuple[str, Score]]:
    return [(bar.label, bar.score) for bar in _bars(one)][:MOST_MARKED]


def _name_marks(ax: Axes, names: Sequence[str]) -> None:
    """What each marker is, right of the axes."""
    for k, name in enumerate(names):
        y = 0.94 - 0.11 * k
        seen = look(k)
        ax.plot([1.05], [y], transform=ax.transAxes, clip_on=False, marker=seen.marker, color=seen.light, markersize=6)
        ax.text(1.075, y, shortened(name, 20), transform=ax.transAxes, va="center", color=INK)


def show_standings(standings: Standings) -> Shown:
    """The standings of every kind of supply: score, ranks a tool may have, chance of its rank, groups, and each criterion."""
    classes = [_shown(standings, one) for one in standings.classes]
    confidence = print_share(standings.classes[0].standing.scores.confidence) if standings.classes else ""
    values = {
        "classes": classes,
        "means": " ".join(filter(None, (MEANS.format(confidence=confidence), exact_words(standings.criteria)))),
        "asked": standings.asked,
        "criteria": [c.label for c in standings.criteria],
    }
    lines = [line for one in classes for line in _lines(one)]
    return Shown(html=render("standings", values), text="\n".join(lines) or "No tool enters the standings.")


def _lines(one: dict[str, object]) -> list[str]:
    rows: list[dict[str, str]] = [*one["rows"], *one["more"]]  # type: ignore[misc]
    told = [f"{row['rank']}  {row['label']}  {row['score']}  {row['groups']}".rstrip() for row in rows]
    return [str(one["title"]), *told, *map(str, one["sentences"])]  # type: ignore[call-overload]


def _shown(standings: Standings, one: ClassStandings) -> dict[str, object]:
    title = class_title(standings, one)
    rows, show = _rows(standings, one), standings.scorecard.show
    ranked = len(one.standing.ranked)
    cut = min(show, ranked) if show else ranked
    sentences = class_sentences(one)
    drawn = len(_bars(one))
    words = " ".join([*(f"{row['label']}: {row['score']}." for row in rows[:drawn]), *sentences])
    return {
        "id": one.supply or "any",
        "title": title,
        "sentences": sentences,
        "rows": [*rows[:cut], *rows[ranked:]],
        "more": rows[cut:ranked],
        "cut": cut,
        "apart": [_apart_row(standings, one, k) for k in range(len(one.apart))],
        "families": any(facts.tool.family for facts in one.facts.values()),
        "svg": inline(
            f"standings {one.supply}",
            f"Scores: {title}",
            words,
            lambda ax: plot_standings(standings, ax, supply=one.supply),
            place=_room(drawn + 1, 0.28, 0.58),
            height=_tall(drawn + 1),
        )
        if drawn
        else "",
        "lines_svg": inline(
            f"criteria {one.supply}",
            f"Values in each criterion: {title}",
            _criteria_words(standings, one),
            lambda ax: plot_criteria(standings, ax, supply=one.supply),
            place=_room(3 * len(standings.criteria), 0.35, 0.36),
            height=_tall(3 * len(standings.criteria)),
        )
        if drawn
        else "",
        "drawn": drawn if drawn < len(rows) else 0,
    }


def _tall(rows: int) -> float:
    """Height of a picture with so many rows [in]."""
    return 0.95 + _ROW * max(rows, 2)


def _room(rows: int, left: float, width: float) -> tuple[float, float, float, float]:
    bottom = 0.58 / _tall(rows)
    return left, bottom, width, 1.0 - bottom - 0.2 / _tall(rows)


def _criteria_words(standings: Standings, one: ClassStandings) -> str:
    told = []
    for criterion in standings.criteria:
        values = [
            f"{label} {format_number(score.values[criterion.id], 2)}"
            for label, score in _marked(one)
            if criterion.id in score.values
        ]
        told.append(f"{criterion.label}: {', '.join(values) or 'no value'}.")
    return " ".join(told)


def _rows(standings: Standings, one: ClassStandings) -> list[dict[str, object]]:
    letters = group_letters(one)
    ranked = [
        {
            **_row(standings, one, row.tool, row.score),
            "rank": str(row.rank),
            "ranks": print_ranks(*row.rank_interval),
            "chance": print_chance(float(row.probability_of_rank[row.rank - 1]))
            if len(one.standing.ranked) > 1
            else NONE,
            "groups": letters[row.tool],
        }
        for row in one.standing.ranked
    ]
    open_ = [
        {
            **_row(standings, one, row.score.tool, row.score),
            "rank": NONE,
            "ranks": print_ranks(*row.possible_ranks),
            "chance": NONE,
            "groups": "",
        }
        for row in one.standing.unranked
    ]
    return [*ranked, *open_]


def _row(standings: Standings, one: ClassStandings, tool: str, score: Score | None) -> dict[str, object]:
    facts = one.facts[tool]
    return {
        "label": facts.label,
        "place": place_words(facts),
        "obtained": obtained_text(facts.tool),
        "family": facts.tool.family or NONE,
        "score": print_score(score) if score else NONE,
        "marks": [_mark(standings, one, tool, score, c.id) for c in standings.criteria],
    }


def _mark(standings: Standings, one: ClassStandings, tool: str, score: Score | None, id: str) -> dict[str, str]:
    mark = one.entries[tool].marks.get(id) if tool in one.entries else None
    if mark is None or mark.estimate is None or score is None:
        return {"text": "missing" if mark else NONE, "why": mark.missing if mark else "", "value": ""}
    return {
        "text": print_mark(mark.estimate, standings.settings),
        "why": "",
        "value": format_number(score.values[id], place=0.01),
    }


def _apart_row(standings: Standings, one: ClassStandings, k: int) -> dict[str, object]:
    apart = one.apart[k]
    return {**_row(standings, one, apart.facts.tool.id, apart.score), "reason": apart.reason}
