"""The pages of the standings: made in this process, again only when something changed; an earlier state is kept and reachable.

standings.html, standings.csv and standings.json are the present state. When the numbers change, the three files as they were
stay beside them under the next free number: standings-1.html and so on.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from toolbench.errors import Fault, OutputError, ToolbenchError, UsageError
from toolbench.files import locked
from toolbench.report.index import render_page
from toolbench.report.keys import Inputs, bench_key, program_digest
from toolbench.report.ledger import Ledger, refuse_place
from toolbench.report.shipped import find_notebook, find_shipped

PAGE, TABLE, STATE = "standings.html", "standings.csv", "standings.json"
FILES = (PAGE, TABLE, STATE)
_KEPT = re.compile(r"standings-(\d+)\.json")
_MAIN = '<main id="content">\n'


def wants_standings(season: Any) -> bool:
    """Whether the season has a scorecard."""
    return season.settings.scorecard is not None


def write_standings(
    season: Any, ledger: Ledger, templates: Path, inputs: Inputs, program: str, *, standings: Any = None
) -> None:
    """Write the three files where the season has a scorecard and they are not up to date.

    `standings` are what `rank_tools` gave, where they alone are asked for: then what stands against the page is raised,
    where a season goes on with an earlier page. Raises OutputError, UsageError.
    """
    if not wants_standings(season):
        for name in FILES:
            ledger.remove_page(name)
        ledger.made.pop(PAGE, None)
        return
    key = bench_key(season.settings, inputs, program)
    if ledger.made.get(PAGE, {}).get("key") == key and all(ledger.as_written(name) for name in FILES):
        return
    alone = standings is not None
    try:
        standings = standings or _ranked(season)
        texts = _texts(season, standings, ledger, templates)
    except OutputError:
        raise
    except ToolbenchError:
        if alone:
            raise
        # An older page stays, and the index says that it is one.
        ledger.made.pop(PAGE, None)
        return
    for name, text in texts.items():
        ledger.write_page(name, text)
    ledger.made[PAGE] = {"key": key, "inputs": dict(standings.digests)}


def publish_standings(season: Any, standings: Any, out: Path, *, force: bool = False) -> Path:
    """The pages of the standings alone, into an output folder that may hold reports too; gives the page's path.

    Raises
    ------
    OutputError
        When the folder cannot be written, is in use, or holds files of others where pages belong.
    UsageError
        When the state kept last cannot be read, so that nobody can say who moved.
    """
    from toolbench.report.health import health_state
    from toolbench.report.index import write_pages

    templates = find_shipped("templates")
    refuse_place(season, out)
    with locked(out):
        ledger = Ledger(out, force=force)
        ledger.recover()
        ledger.refuse_foreign(["index.html", *FILES])
        program = program_digest(find_notebook("compare.ipynb"), templates)
        inputs = Inputs(Path(season.folder).resolve())
        write_standings(season, ledger, templates, inputs, program, standings=standings)
        ledger.inputs = dict(sorted({**ledger.inputs, **standings.digests}.items()))
        write_pages(season, ledger, templates, health=health_state(ledger), standings=standings_state(ledger))
        ledger.save()
    return out / PAGE


def publish_what_if(season: Any, standings: Any, asked: Any, out: Path, *, force: bool = False) -> Path:
    """A page of its own for a question; the standings stay as they are. Gives its path. Raises OutputError."""
    refuse_place(season, out)
    name = what_if_name(asked)
    with locked(out):
        ledger = Ledger(out, force=force)
        ledger.refuse_foreign([name])
        ledger.write_page(name, what_if_page(season, standings, asked, find_shipped("templates")))
        ledger.save()
    return out / name


def standings_state(ledger: Ledger) -> str:
    """What the index says of the page: empty where there is none, `earlier` where it could not be made again."""
    if PAGE not in ledger.written:
        return ""
    return "made" if PAGE in ledger.made else "earlier"


def _ranked(season: Any) -> Any:
    import toolbench as tb

    return tb.rank_tools(season)


def _texts(season: Any, standings: Any, ledger: Ledger, templates: Path) -> dict[str, str]:
    """The three files; where the numbers changed, the files as they were are kept first."""
    from toolbench.season.standings.keeping import standings_json
    from toolbench.season.standings.rows import standings_csv

    state = standings_json(standings)
    if ledger.as_written(STATE) and _read(ledger.out / STATE) != state:
        _keep(ledger)
    return {
        STATE: state,
        TABLE: standings_csv(standings),
        PAGE: standings_page(season, standings, templates, earlier=_earlier(ledger), folder=ledger.out),
    }


def _keep(ledger: Ledger) -> None:
    """The present files under the next free number; the page says at its top that it is an earlier state."""
    number = max((found for found, _ in _earlier(ledger)), default=0) + 1
    for name in FILES:
        if not (ledger.out / name).is_file():
            continue
        text = _read(ledger.out / name)
        if name == PAGE:
            text = text.replace(
                _MAIN, f'{_MAIN}<p><strong>An earlier state.</strong> <a href="{PAGE}">The present one</a>.</p>\n', 1
            )
        kept = Path(name)
        ledger.write_page(f"{kept.stem}-{number}{kept.suffix}", text)


def _earlier(ledger: Ledger) -> list[tuple[int, str]]:
    """The states kept: number and name of the JSON, oldest first."""
    found = [(int(match[1]), name) for name in ledger.written if (match := _KEPT.fullmatch(name))]
    return sorted((number, name) for number, name in found if (ledger.out / name).is_file())


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise OutputError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error


def standings_page(
    season: Any, standings: Any, templates: Path, *, earlier: list[tuple[int, str]], folder: Path | None = None
) -> str:
    """The page of standings.ipynb's pieces, with what moved since the last of the states kept."""
    import toolbench as tb
    from toolbench.view import show_moves

    pieces = [tb.show_standings(standings).html]
    moved = _moves(standings, earlier, folder)
    if moved is not None:
        pieces.append(show_moves(standings, moved).html)
    pieces += [show(standings).html for show in (tb.show_remarks, tb.show_entries, tb.show_claims, tb.show_scorecard)]
    return render_page(
        templates,
        "standings.html.j2",
        title=_title(season, standings),
        lead="Every number is computed again from the season's records; no table is edited by hand.",
        pieces=pieces,
        earlier=[(number, name.removesuffix(".json") + ".html") for number, name in earlier],
        table=TABLE,
    )


def _title(season: Any, standings: Any) -> str:
    return f"Standings: {standings.scorecard.title or season.settings.name or 'the season'}"


def _moves(standings: Any, earlier: list[tuple[int, str]], folder: Path | None) -> Any:
    from toolbench.season.standings.keeping import find_moves

    if not earlier or folder is None:
        return None
    kept = folder / earlier[-1][1]
    try:
        return find_moves(standings, _read(kept))
    except UsageError as error:
        mend = "put it back as it was, or delete it: the page then compares with the state kept before it"
        raise UsageError([replace(fault, file=str(kept), mend=mend) for fault in error.faults]) from None


def what_if_page(season: Any, standings: Any, asked: Any, templates: Path) -> str:
    """The standings as they are beside those asked for, and these in full."""
    import toolbench as tb

    pieces = [tb.show_what_if(standings, asked).html, tb.show_standings(asked).html, tb.show_scorecard(asked).html]
    return render_page(
        templates,
        "standings.html.j2",
        title=f"What if: {standings.scorecard.title or season.settings.name or 'the season'}",
        lead="A question put to the standings; the standings themselves stay as they are.",
        pieces=pieces,
        earlier=[],
        table="",
    )


def what_if_name(asked: Any) -> str:
    """File name of a what-if page, from what was asked."""
    words = re.sub(r"[^a-z0-9.]+", "-", " ".join(asked.asked).lower()).strip("-")
    return f"standings-what-if-{words[:80].rstrip('-')}.html"
