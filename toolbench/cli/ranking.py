"""`standings`: the scorecard alone, on the terminal and as pages; what would be if another setup, weight or anchor counted."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from toolbench.cli.options import FOLDER, OutFolder, debug_option, force_option

if TYPE_CHECKING:
    from toolbench.season.standings.outcome import ClassStandings, Standings

NARROW = 64
"""Terminals with fewer columns get fewer of the table's."""


@click.command()
@click.argument("season", type=FOLDER)
@click.option(
    "--what-if", "what_if", multiple=True, metavar="TOOL=SETUP", help="Another setup that is to count for a tool."
)
@click.option(
    "--weight", "weights", multiple=True, metavar="CRITERION=PERCENT", help="Another weight; the others share the rest."
)
@click.option(
    "--anchor", "anchors", multiple=True, metavar="CRITERION=WORST,BEST", help="Other anchors, in the criterion's unit."
)
@click.option(
    "-o",
    "--out",
    type=OutFolder(path_type=Path),
    help="Folder for the pages; by default reports, and none for what-if questions.",
)
@force_option
@debug_option
def standings(
    season: Path, what_if: Sequence[str], weights: Sequence[str], anchors: Sequence[str], out: Path | None, force: bool
) -> int:
    """Scores and ranks of SEASON's tools by its scorecard; a what-if question stands beside them and overwrites nothing."""
    from toolbench.report.standings import publish_standings, publish_what_if
    from toolbench.season import open_season, rank_tools

    asked_setups = dict(_pairs("--what-if", what_if))
    opened = open_season(season)
    found = rank_tools(opened)
    if not (what_if or weights or anchors):
        _tell(found)
        click.echo(publish_standings(opened, found, out or Path("reports"), force=force))
        return 0
    asked = rank_tools(
        opened,
        what_if=asked_setups,
        weights={id: _share(id, text) for id, text in _pairs("--weight", weights)},
        anchors={id: _anchors(found, id, text) for id, text in _pairs("--anchor", anchors)},
    )
    _tell_beside(found, asked)
    if out is not None:
        click.echo(publish_what_if(opened, found, asked, out, force=force))
    return 0


def _pairs(option: str, texts: Sequence[str]) -> list[tuple[str, str]]:
    """NAME=VALUE, each name once. Raises a usage error."""
    found: dict[str, str] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not (name.strip() and sign and value.strip()):
            raise click.UsageError(f"{option} {text!r} is not NAME=VALUE")
        if name.strip() in found:
            raise click.UsageError(f"{option} names {name.strip()!r} twice")
        found[name.strip()] = value.strip()
    return list(found.items())


def _share(id: str, text: str) -> float:
    """A weight: 30, 30 % or 30%. Raises a usage error."""
    try:
        percent = float(text.removesuffix("%"))
    except ValueError:
        percent = -1.0
    if not 0 <= percent <= 100:
        raise click.UsageError(f"--weight {id}={text}: a percentage from 0 to 100 is needed, as in {id}=30")
    return percent / 100.0


def _anchors(found: Standings, id: str, text: str) -> tuple[float, float]:
    """Two anchors [unit of the criterion]. Raises a usage error."""
    unit = next((c.unit for c in found.criteria if c.id == id), "")
    parts = text.split(",")
    if len(parts) != 2:
        raise click.UsageError(
            f"--anchor {id}={text}: two values are needed, the one that earns nothing first: {id}=200,1400"
        )
    worst, best = (_anchor(id, part.strip(), unit) for part in parts)
    return worst, best


def _anchor(id: str, text: str, unit: str) -> float:
    from toolbench.quantities.units import QuantityError, unit_factor

    number, _, written = text.partition(" ")
    try:
        value = float(number)
        if written in ("", unit):
            return value
        factor = unit_factor(written)
    except QuantityError as error:
        raise click.UsageError(f"--anchor {id}: {error}") from None
    except ValueError:
        raise click.UsageError(f"--anchor {id}: {text!r} is not a number, as in 400 or '400 {unit}'") from None
    if factor.si_unit != unit:
        raise click.UsageError(f"--anchor {id}: {text!r} is not in the criterion's unit, {unit}")
    return value * factor.scale + factor.offset


def _tell(found: Standings) -> None:
    """The standings as a table for each class, with the sentences that go with it."""
    from toolbench.cli.wrapping import told
    from toolbench.view.wording.standings import class_sentences, class_title

    for one in found.classes:
        told(_plain(class_title(found, one)))
        _lines(
            [_row(one, k) for k in range(len(one.standing.ranked))]
            + [_open_row(one, k) for k in range(len(one.standing.unranked))]
        )
        for sentence in class_sentences(one):
            told(f"  {_plain(sentence)}")
        for apart in one.apart:
            told(_plain(f"  apart: {apart.facts.label}: {apart.reason}"))
        click.echo()
    severe = [one for one in found.findings if one.severity != "note"]
    if severe:
        told(f"{len(severe)} {'caveat' if len(severe) == 1 else 'caveats'}: the page names them")


def _row(one: ClassStandings, k: int) -> list[str]:
    from toolbench.season.standings.rows import group_letters
    from toolbench.view.wording.standings import print_chance, print_ranks, print_score

    row = one.standing.ranked[k]
    chance = print_chance(float(row.probability_of_rank[row.rank - 1])) if len(one.standing.ranked) > 1 else ""
    letters = group_letters(one)[row.tool]
    return [
        one.facts[row.tool].label,
        str(row.rank),
        print_score(row.score),
        letters,
        print_ranks(*row.rank_interval),
        chance,
    ]


def _open_row(one: ClassStandings, k: int) -> list[str]:
    from toolbench.view.wording.standings import print_ranks, print_score

    row = one.standing.unranked[k]
    return [_name(one, row.score.tool), "-", print_score(row.score), "", print_ranks(*row.possible_ranks), ""]


def _name(one: ClassStandings, tool: str) -> str:
    """The label of a tool; its id on a narrow terminal, where the end of a label would be cut off."""
    from toolbench.cli.fitting import line_width

    width = line_width()
    return tool if width is not None and width < NARROW else one.facts[tool].label


HEADS = ["tool", "rank", "score", "alike", "may rank", "chance"]


def _lines(rows: Sequence[Sequence[str]]) -> None:
    """Rows as aligned columns, fewer of them on a narrow terminal."""
    from toolbench.cli.fitting import line_width, table_lines

    if not rows:
        return
    width = line_width()
    columns, indent = (len(HEADS), "  ") if width is None or width >= NARROW else (4, "")
    table = [HEADS[:columns], *(list(row)[:columns] for row in rows)]
    right = [False, True, False, False, True, True][:columns]
    for line in table_lines(
        [[_plain(cell) for cell in row] for row in table],
        right=right,
        width=None if width is None else width - len(indent),
    ):
        click.echo(f"{indent}{line}")


def _tell_beside(found: Standings, asked: Standings) -> None:
    """Standings as they are and as asked, side by side."""
    from toolbench.cli.wrapping import told
    from toolbench.view.wording.standings import class_title, dropped_sentences

    told(_plain(f"what if: {'; '.join(asked.asked)}"))
    now = {one.supply: one for one in found.classes}
    for one in asked.classes:
        rows = _beside_rows(now[one.supply], one)
        if rows:
            told(_plain(class_title(asked, one)))
            _beside_lines(rows)
            for sentence in dropped_sentences(now[one.supply], one):
                told(f"  {_plain(sentence)}")
            click.echo()


def _beside_rows(now: ClassStandings, one: ClassStandings) -> list[list[str]]:
    from toolbench.view.tables.standings import side_by_side

    return [
        [
            row["label"] if _is_wide() else row["tool"],
            f"{row['rank_now']} > {row['rank_if']}",
            row["score_now"],
            row["score_if"],
            row["beyond"],
        ]
        for row in side_by_side(now, one)
    ]


def _is_wide() -> bool:
    """Whether a terminal, or a file, has room for standings side by side."""
    from toolbench.cli.fitting import line_width

    width = line_width()
    return width is None or width >= NARROW + 14


def _beside_lines(rows: Sequence[Sequence[str]]) -> None:
    from toolbench.cli.fitting import line_width, table_lines

    width = line_width()
    kept, indent = ([0, 1, 2, 3, 4], "  ") if _is_wide() else ([0, 1, 3], "")
    heads = ["tool", "rank > if", "score", "score if", "change"]
    table = [[heads[k] for k in kept], *([_plain(row[k]) for k in kept] for row in rows)]
    for line in table_lines(table, right=[False] * len(kept), width=None if width is None else width - len(indent)):
        click.echo(f"{indent}{line}")


def _plain(text: str) -> str:
    from toolbench.cli.fitting import spelt

    return spelt(text)
