"""`line`: where an air line, a pack or a lead loses, and what another one would give."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from toolbench.cli import fitting
from toolbench.cli.options import FOLDER, OutFolder, debug_option, force_option, json_option
from toolbench.cli.wrapping import told
from toolbench.errors import Fault, OutputError, ToolbenchError, UsageError

if TYPE_CHECKING:
    from toolbench.season.supply.study import LineState, LineStudy

_OPTIONS = ("setup", "tool", "length", "bore", "pressure", "want", "loss")


@click.command()
@click.argument("season", type=FOLDER)
@click.option("--setup", required=True, metavar="S", help="Id of the tested setup.")
@click.option("--tool", required=True, metavar="T", help="Id of the tool.")
@click.option("--length", metavar="L", help='Length of the longest hose (mains: of the lead), such as "25 m".')
@click.option("--bore", metavar="B", help='Bore of that hose, such as "13 mm".')
@click.option("--pressure", metavar="P", help='Setting of the regulator, gauge, such as "90 psi".')
@click.option("--want", metavar="PRESSURE", help="Flowing inlet pressure that is wanted: what to change for it.")
@click.option("--loss", metavar="PERCENT", help='Loss that is allowed, such as "10 %": the longest hose of each bore.')
@click.option(
    "-o", "--out", "out", type=OutFolder(path_type=Path), metavar="FILE", help="The same as a page, FILE.html."
)
@force_option
@json_option
@debug_option
def line(
    season: Path,
    setup: str,
    tool: str,
    length: str | None,
    bore: str | None,
    pressure: str | None,
    want: str | None,
    loss: str | None,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> int:
    """Flow and pressure along the air line of a setup of SEASON with a tool running, and what another line would give.

    Exit status 1 where the answer is refused: too little pressure left for a figure of torque, a part that chokes or stands
    above its rating, figures that hold for this setup alone.
    """
    if out is not None and out.suffix.casefold() not in (".html", ".htm"):
        raise UsageError(Fault("the page is an HTML file", file=str(out), mend="name it line.html"))
    from toolbench.season.opening import open_season
    from toolbench.season.supply.asking import open_line

    with _named_options():
        study = open_line(
            open_season(season),
            setup=setup,
            tool=tool,
            length=length,
            bore=bore,
            pressure=pressure,
            want=want,
            loss=loss,
        )
    if as_json:
        from toolbench.season.supply.study_json import study_json

        click.echo(fitting.as_json(study_json(study)))
    else:
        tell(study)
    if out is not None:
        _write(study, out, force, quiet=as_json)
    return int(bool(study.refused))


@contextmanager
def _named_options() -> Iterator[None]:
    """Faults of an argument under the name of its option."""
    try:
        yield
    except ToolbenchError as error:
        faults = [replace(f, key=f"--{f.key}") if f.key in _OPTIONS and not f.file else f for f in error.faults]
        raise type(error)(faults) from error


def tell(study: LineStudy) -> None:
    """Print a study: what was measured, the line, the answer, advice, what it rests on, and the cautions."""
    from toolbench.view.cautions import REMINDER, line_cautions
    from toolbench.view.wording import line as words

    _say(words.title_words(study))
    _say(words.measured_sentence(study))
    _block([*filter(None, [words.answer_sentence(study)]), *words.refused_sentences(study)])
    if study.air is not None:
        _tell_state(study, study.air.tested, "As tested")
        if study.air.asked is not None:
            _tell_state(study, study.air.asked, f"Asked for, {words.asked_words(study)}")
    else:
        _tell_supplies(study)
    _block(words.course_sentences(study))
    _block(words.advice_sentences(study))
    if heading := words.longest_heading(study):
        _block([f"{heading}:"])
        _table([["bore", "longest"], *words.longest_rows(study)])
    _block(words.rest_sentences(study))
    _block([REMINDER, *(f"- {text}" for text in line_cautions(study.tool, words.setups_of(study)))])


def _tell_state(study: LineStudy, state: LineState, name: str) -> None:
    from toolbench.view.wording import line as words

    _block([words.state_sentence(study, state, name)])
    _say("Modelled by the stated line alone, part after part:")
    _table([["part", "behind it", "loss", "share"], *words.loss_rows(state, study.settings)])


def _tell_supplies(study: LineStudy) -> None:
    """Packs or leads, one under the other: a table of them is too wide for a terminal."""
    from toolbench.view.wording import line as words

    for label, voltage, sag, percent, level, measured in words.supply_rows(study):
        change = f"; {study.response} {percent}, {level}" if percent != "–" else ""
        seen = f" Measured: {measured}." if measured != "–" else ""
        _block([f"{label}, modelled: {voltage} at the tool, {sag} less than at rest{change}.{seen}"])


def _block(lines: list[str]) -> None:
    if lines:
        click.echo()
    for text in lines:
        _say(text)


def _say(text: str) -> None:
    told(fitting.spelt(text))


def _table(cells: list[list[str]]) -> None:
    right = [False] + [True] * (len(cells[0]) - 1)
    width = fitting.line_width()
    for text in fitting.table_lines(cells, right=right, width=None if width is None else width - 2):
        click.echo(f"  {text}")


def _write(study: LineStudy, out: Path, force: bool, *, quiet: bool) -> None:
    """Write the page; one that lies there and is not ours is kept without --force. Raises OutputError."""
    from toolbench.files import write_text
    from toolbench.report.line_page import is_line_page, line_page
    from toolbench.report.shipped import find_shipped

    if out.exists() and not force and not is_line_page(out):
        raise OutputError(
            Fault(
                "lies there already and was not written by line",
                file=str(out),
                mend="choose another name with -o, or overwrite it with --force",
            )
        )
    write_text(out, line_page(study, find_shipped("templates")))
    if not quiet:
        told(f"\n{out}")
