"""`plan`: how many repeats a difference needs, and the run sheet."""

from __future__ import annotations

import math
import secrets
from pathlib import Path
from typing import TYPE_CHECKING

import click

from toolbench.cli import fitting
from toolbench.cli.options import FOLDER, OutFolder, debug_option, force_option, json_option
from toolbench.cli.wrapping import told
from toolbench.errors import Fault, OutputError, UsageError

if TYPE_CHECKING:
    from toolbench.season.plan.planning import EpisodePlan

LARGEST = 1.0
MOST_SEED = 1_000_000


@click.command()
@click.argument("season", type=FOLDER)
@click.option("--episode", required=True, metavar="E", help="Id of the episode.")
@click.option("--resolve", required=True, metavar="SHARE", help='The difference to show, such as "3 %".')
@click.option("--protocol", metavar="P", help="One protocol of the episode; by default all.")
@click.option(
    "--repeatability", metavar="SHARE", help='Scatter of one run, such as "2 %", instead of the season\'s own.'
)
@click.option("--blocks", type=click.IntRange(1, 200), help="Blocks on the sheet, instead of those that are missing.")
@click.option("--seed", type=click.IntRange(0), help="Of the random order; by default one is drawn, and printed.")
@click.option("--logger", default="", metavar="L", help="Logger that records, where several could be meant.")
@click.option("--interval", metavar="TIME", help='From one start to the next, such as "10 min".')
@click.option(
    "--permission", default="", metavar="TEXT", help="The maker's permission to run a tool above its rated pressure."
)
@click.option(
    "-o",
    "--out",
    "out",
    type=OutFolder(path_type=Path),
    metavar="FILE",
    help="The sheet, as plan.csv; plan.html to print is written beside it.",
)
@force_option
@json_option
@debug_option
def plan(
    season: Path,
    episode: str,
    resolve: str,
    protocol: str | None,
    repeatability: str | None,
    blocks: int | None,
    seed: int | None,
    logger: str,
    interval: str | None,
    permission: str,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> int:
    """How many repeats an episode of SEASON needs to show a difference, and a randomised, blocked run sheet."""
    wanted = share_of(resolve, "--resolve")
    stated = share_of(repeatability, "--repeatability") if repeatability is not None else None
    interval_s = _quantity(interval, "time", "--interval") if interval is not None else None
    if out is not None and out.suffix.casefold() != ".csv":
        raise UsageError(
            Fault(
                "the sheet is a CSV file",
                file=str(out),
                mend="name it plan.csv; plan.html to print is written beside it",
            )
        )
    from toolbench.season.opening import open_season
    from toolbench.season.plan.planning import plan_episode

    made = plan_episode(
        open_season(season, episode=episode),
        episode,
        wanted,
        protocol=protocol,
        repeatability=stated,
        blocks=blocks,
        seed=secrets.randbelow(MOST_SEED) if seed is None else seed,
        logger=logger,
        interval_s=interval_s,
        permission=permission.strip(),
    )
    if as_json:
        from toolbench.season.plan.facts import plan_json

        click.echo(fitting.as_json(plan_json(made)))
    else:
        _tell(made)
    return _write(made, season, out, force, quiet=as_json) if out is not None else _hint(made, quiet=as_json)


def share_of(text: str, option: str) -> float:
    """A share that is written in percent, above 0 and at most 100 %. Raises UsageError."""
    value = _quantity(text, "fraction", option)
    if "%" not in text:
        raise UsageError(Fault(f'"{text}" has no unit', key=option, mend='write it in percent, for example "3 %"'))
    if not 0 < value <= LARGEST:
        where = "is no difference that could be shown" if value <= 0 else "is larger than the level itself"
        raise UsageError(Fault(f'"{text}" {where}', key=option, mend="it lies above 0 % and is at most 100 %"))
    return value


def _quantity(text: str, quantity: str, option: str) -> float:
    from toolbench.quantities.units import QuantityError, to_si

    try:
        value = to_si(text, quantity)
    except QuantityError as error:
        raise UsageError(Fault(str(error), key=option)) from None
    if quantity == "time" and not (math.isfinite(value) and value > 0):
        raise UsageError(Fault(f'"{text}" must be above 0', key=option))
    return value


def _tell(made: EpisodePlan) -> None:
    from toolbench.view.wording import planning as words

    for number, need in enumerate(made.protocols):
        told(fitting.spelt(("\n" if number else "") + f"protocol {need.protocol.id}"))
        for names, report in words.like_reports(need):
            told(fitting.spelt(f"{', '.join(names)}:"))
            told(fitting.spelt(f"  {words.answer_sentence(made, need, report)}"))
            told(fitting.spelt(f"  {words.scatter_sentence(need, report)}"))
            told(fitting.spelt(f"  {words.assumed_sentence(made, report)}"))
            _table(words.needs_table(need, report))
            if report.there:
                told(fitting.spelt(f"  More runs would buy, in {words.row_words(report.rows[0].row)}:"))
                _table(words.gains_table(report))
                told(fitting.spelt(f"  {words.gains_note(need)}"))
        if costs := words.costs_sentence(need):
            told(fitting.spelt(f"the sheet: {costs}"))
    for remark in made.remarks:
        told(fitting.spelt(f"note: {remark}"))


def _table(cells: list[list[str]]) -> None:
    right = [False] + [True] * (len(cells[0]) - 1)
    for line in fitting.table_lines(cells, right=right, width=fitting.line_width()):
        click.echo(f"    {line}")


def _hint(made: EpisodePlan, *, quiet: bool) -> int:
    if made.sheet and not quiet:
        told(
            f"seed {made.seed}; -o plan.csv writes the sheet of {len(made.sheet)} runs (with --seed {made.seed}: this order)"
        )
    return 0


def _write(made: EpisodePlan, season: Path, out: Path, force: bool, *, quiet: bool) -> int:
    """Write both sheets, or say why there is none: 1 where more runs are needed than are planned."""
    from toolbench.files import digest_bytes, write_text
    from toolbench.season.plan.sheet import sheet_csv
    from toolbench.view.run_sheet import sheet_html

    if not made.sheet:
        told(
            "no sheet was written: "
            + ("too many runs are needed" if _too_many(made) else "no run is missing; --blocks plans more"),
            err=True,
        )
        return int(_too_many(made))
    text = sheet_csv(made.sheet, loggers=len(made.season.settings.loggers))
    printed = out.with_suffix(".html")
    if not force:
        refuse_foreign(out, printed)
    write_text(out, text)
    write_text(printed, sheet_html(made, digest_bytes(text.encode("utf-8"))))
    if not quiet:
        click.echo(f"{out} ({len(made.sheet)} runs, seed {made.seed})\n{printed} (to print)")
        told(f"(now: toolbench watch {season} --sheet {out})")
    return int(_too_many(made))


def _too_many(made: EpisodePlan) -> bool:
    return any(need.too_many and not need.blocks for need in made.protocols)


def refuse_foreign(sheet: Path, printed: Path) -> None:
    """Stop where a file lies that was not written here, or was filled in since. Raises OutputError."""
    from toolbench.files import digest
    from toolbench.view.run_sheet import is_sheet

    known = is_sheet(_text(printed)) if printed.is_file() else ""
    for path, ours in ((printed, bool(known)), (sheet, bool(known) and sheet.is_file() and digest(sheet) == known)):
        if path.exists() and not ours:
            raise OutputError(
                Fault(
                    "lies there already and was not written by plan, or was changed since",
                    file=str(path),
                    mend="choose another name with -o, or overwrite it with --force",
                )
            )


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8", errors="replace")
