"""`watch`: at the bench, each new recording judged and entered in runs.csv."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import click

from toolbench.cli.options import FILE, FOLDER, debug_option, json_option
from toolbench.errors import shown

POLL_S = 0.2
"""Time between two looks at the folder."""


@click.command()
@click.argument("season", type=FOLDER)
@click.option("--sheet", type=FILE, metavar="PLAN", help="Planned runs: a CSV file with the columns of runs.csv.")
@click.option("--block", default="", metavar="NAME", help="Block of runs where neither path nor plan says it.")
@click.option("--new-only", is_flag=True, help="Leave recordings alone that are there already.")
@click.option("--once", is_flag=True, help="Judge what is there and end: 0 all kept, 1 one is to be repeated.")
@click.option("--until-done", is_flag=True, help="End when the sheet is filled.")
@click.option("--bell", is_flag=True, help="Ring the terminal's bell: once for a run that is kept, three times else.")
@json_option
@debug_option
def watch(
    season: Path,
    sheet: Path | None,
    block: str,
    new_only: bool,
    once: bool,
    until_done: bool,
    bell: bool,
    as_json: bool,
) -> int:
    """Judge each new recording of SEASON: keep, or repeat now and why; and enter it in runs.csv. Ctrl-C ends it."""
    from toolbench.season.watch.watching import Watch

    folder = season.parent if season.name == "bench.toml" else season
    watched = Watch(folder, sheet=sheet, block=block, new_only=new_only)
    teller: _Teller = _JsonTeller() if as_json else _Teller(bell)
    teller.start(watched)
    try:
        _look_until(watched, teller, once=once, until_done=until_done)
    except KeyboardInterrupt:
        teller.end(watched)
        return 130
    teller.end(watched)
    return int(once and any(one.judgement.verdict != "keep" for one in watched.judged.values()))


def _look_until(watched: Any, teller: _Teller, *, once: bool, until_done: bool) -> None:
    """Look again and again until nothing is left to wait for, where an end is asked for."""
    while True:
        for one in watched.step(time.monotonic()):
            teller.tell(one, watched)
        if once and watched.is_idle():
            return
        if until_done and watched.desk.plan.rows and not watched.open_rows():
            return
        time.sleep(POLL_S)


class _Teller:
    """Says on a terminal, or in a pipe, what a person at the rig wants to know."""

    def __init__(self, bell: bool = False) -> None:
        self.bell = bell

    def start(self, watched: Any) -> None:
        from toolbench.cli.verdicts import next_text, say
        from toolbench.view.cautions import REMINDER, bench_cautions

        settings = watched.desk.bench.settings
        for caution in bench_cautions(settings):
            say(caution)
        say(REMINDER)
        say("")
        entered, new = len(settings.runs), len(watched.there_already)
        say(f"watching {', '.join(watched.arrivals.roots)} below {watched.folder}; Ctrl-C ends it")
        say(f"{_count(entered, 'recording')} in runs.csv, {new or 'none'} there and not entered")
        for fault in watched.desk.faults():
            say(f"note: {fault}")
        if watched.desk.plan.rows:
            rows = watched.open_rows()
            say(next_text(rows[0] if rows else None, len(rows)))
        say("")

    def tell(self, one: Any, watched: Any) -> None:
        from toolbench.cli.verdicts import say, say_judged
        from toolbench.season.watch.watching import Judged

        if isinstance(one, Judged):
            say_judged(one, watched.desk.bench.settings)
            if self.bell and sys.stdout.isatty():
                click.echo("\a" * (1 if one.judgement.verdict == "keep" else 3), nl=False)
        else:
            say(f"note: {one.text}")

    def end(self, watched: Any) -> None:
        from toolbench.cli.verdicts import next_text, say

        for told in watched.enter_pending():
            say(f"note: {told.text}")
        by = {
            word: [o for o in watched.judged.values() if o.judgement.verdict == word]
            for word in ("keep", "repeat", "look")
        }
        say("")
        parts = [f"{len(by['keep'])} kept", f"{len(by['repeat'])} to repeat"]
        say(", ".join(parts + ([f"{len(by['look'])} not judged"] if by["look"] else [])))
        for one in by["repeat"]:
            say(f"  {one.entry.run if one.entry else shown(one.file)}: {one.judgement.words}")
        for one in by["look"]:
            say(f"  {shown(one.file)}: {one.judgement.reasons[0].message}")
        if watched.desk.plan.rows:
            rows = watched.open_rows()
            say(next_text(rows[0] if rows else None, len(rows)))
        if watched.pending:
            say(
                f"not in runs.csv, as it could not be written: {', '.join(map(shown, watched.pending))}; the next watch enters them"
            )
        waiting = watched.arrivals.waiting()
        if waiting:
            say(f"not complete: {', '.join(map(shown, waiting))}")


class _JsonTeller(_Teller):
    """One JSON object a line, for other programs."""

    def start(self, watched: Any) -> None:
        _line(
            {
                "event": "started",
                "entered": len(watched.desk.bench.settings.runs),
                "there_already": list(watched.there_already),
                "open_rows": len(watched.open_rows()) if watched.desk.plan.rows else None,
            }
        )

    def tell(self, one: Any, watched: Any) -> None:
        from toolbench.cli.verdicts import judged_json
        from toolbench.season.watch.watching import Judged

        _line(
            judged_json(one) if isinstance(one, Judged) else {"event": "told", "text": one.text, "fault": one.is_fault}
        )

    def end(self, watched: Any) -> None:
        watched.enter_pending()
        verdicts = [one.judgement.verdict for one in watched.judged.values()]
        _line(
            {
                "event": "ended",
                "kept": verdicts.count("keep"),
                "to_repeat": verdicts.count("repeat"),
                "not_judged": verdicts.count("look"),
                "open_rows": len(watched.open_rows()) if watched.desk.plan.rows else None,
                "not_entered": list(watched.pending),
            }
        )


def _line(content: dict[str, Any]) -> None:
    click.echo(json.dumps(content, ensure_ascii=False, allow_nan=False))
    sys.stdout.flush()


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
