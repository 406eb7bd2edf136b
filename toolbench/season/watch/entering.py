"""A judged recording as a row of runs.csv: the cells, and the write that loses nothing that was typed meanwhile."""

from __future__ import annotations

import re
import stat
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path, PurePosixPath

from toolbench.errors import Fault, OutputError
from toolbench.files import locked, read_regular, write_bytes
from toolbench.records.settings import RunEntry
from toolbench.season.watch.verdicts import is_ours
from toolbench.settings import RUNS, clean, entered_rows, split_head, with_row

Rows = Sequence[Mapping[str, str]]

TURNS = 3
"""How often a row is worked out anew because the file changed while it was."""


def enter(folder: Path, edit: Callable[[bytes | None], bytes]) -> None:
    """Alter runs.csv, whole or not at all, from what it holds at that moment.

    Raises
    ------
    OutputError
        It cannot be written now: read-only, held by another program, or changing all the time.
    SettingsError
        It cannot be read as CSV.
    """
    path = (folder / RUNS).resolve()
    with locked(folder):
        for _ in range(TURNS):
            data = _content(path)
            made = edit(data)
            if _content(path) != data:
                continue
            if made != data:
                _refuse_read_only(path)
                write_bytes(path, made)
            return
    raise OutputError(Fault("changes all the time and cannot be written", file=RUNS))


def _content(path: Path) -> bytes | None:
    try:
        return read_regular(path)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise OutputError(Fault(f"cannot be read: {error.strerror}", file=RUNS)) from error


def _refuse_read_only(path: Path) -> None:
    """A rename would pass over the mark of a file that is not to be written."""
    if path.exists() and not path.stat().st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH):
        raise OutputError(Fault("is marked read-only", file=RUNS, mend="take the mark away"))


def entering(
    entry: RunEntry,
    words: str,
    *,
    started: datetime,
    row: RunEntry | None,
    fills: bool,
    loggers: int,
    run_id: Callable[[str], str],
    wrote: dict[str, str],
) -> Callable[[bytes | None], bytes]:
    """The edit that enters one recording.

    Parameters
    ----------
    entry : what the recording is of; its `run` is the id wanted
    words : the reason for an exclusion, empty for a run that is kept
    started : with its zone
    row : the planned row that the recording takes, if there is one
    fills : whether that row stands in runs.csv itself, so that a run that is kept is written into it
    loggers : how many the season has
    run_id : default id of the run of a file
    wrote : cells that were entered for this file before; the edit puts what it enters there
    """

    def edit(data: bytes | None) -> bytes:
        rows = entered_rows(data)
        own = find_row(rows, entry.file)
        if own is not None:
            cells = _changed(own, entry, words, _stamp(started, rows), wrote)
            if row is not None and not fills and cells.get("exclude") == "":
                cells |= _planned_id(own, row, rows, run_id)
            wrote.update({"run": own.get("run", "") or run_id(entry.file), **cells})
            return with_row(data, cells, line=int(own["line"]))
        cells = _cells(entry, words, _stamp(started, rows), rows, loggers, run_id)
        if words and row is not None and row.run:
            cells["run"] = _aside(entry, rows, run_id)
        open_row = find_open(rows, row) if row is not None and fills and not words else None
        line = int(open_row["line"]) if open_row is not None else None
        cells |= {name: value for name, value in (open_row or {}).items() if value and name != "line"}
        wrote.update({**cells, "run": cells["run"] or run_id(entry.file)})
        return with_row(data, cells, line=line)

    return edit


def moving(old: str, new: str) -> Callable[[bytes | None], bytes]:
    """The edit that names the new place of a recording that was moved."""

    def edit(data: bytes | None) -> bytes:
        row = find_row(entered_rows(data), old)
        if row is None or data is None:
            raise OutputError(Fault(f"has no row for {old} any more", file=RUNS))
        # The id of a run that is not written is the file's name, which a move may change.
        return with_row(data, {"file": new}, line=int(row["line"]))

    return edit


def find_row(rows: Rows, file: str) -> Mapping[str, str] | None:
    """The row that names a file."""
    return next((row for row in rows if _place(row.get("file", "")) == file), None)


def find_open(rows: Rows, plan: RunEntry) -> Mapping[str, str] | None:
    """The row without a file that a planned run stands in: on its line, else where it says the same."""

    def fits(row: Mapping[str, str]) -> bool:
        said = (("tool", plan.tool), ("setup", plan.setup), ("protocol", plan.protocol), ("run", plan.run))
        return not row.get("file") and all(row.get(name, "") in ("", value) for name, value in said)

    on_line = (row for row in rows if row["line"] == str(plan.line) and fits(row))
    return next(on_line, None) or next((row for row in rows if fits(row) and row.get("tool")), None)


def _place(written: str) -> str:
    return str(PurePosixPath(written.replace("\\", "/"))) if written else ""


def _stamp(started: datetime, rows: Rows) -> str:
    """ISO 8601 with the local offset; without it where the other rows have none, as both cannot be put in one order."""
    plain = any(row.get("started") and not re.search(r"(Z|[+-]\d\d:?\d\d)$", row["started"]) for row in rows)
    local = started.astimezone()
    return (local.replace(tzinfo=None) if plain else local).isoformat(timespec="seconds")


def _cells(
    entry: RunEntry, words: str, stamp: str, rows: Rows, loggers: int, run_id: Callable[[str], str]
) -> dict[str, str]:
    """All cells of a new row."""
    taken = _taken(rows, run_id)
    default = run_id(entry.file)
    run = unique(entry.run, taken)
    order = entry.order if entry.order is not None else _last_order(rows) + 1
    return {
        "run": run if run != default or _states_runs(rows) else "",
        "file": entry.file,
        "tool": entry.tool,
        "setup": entry.setup,
        "protocol": entry.protocol,
        "logger": entry.logger if loggers > 1 else "",
        "block": entry.block,
        "order": f"{order:g}",
        "started": stamp,
        "exclude": "yes" if words else "",
        "reason": words,
        **_planned_cells(entry),
    }


def _taken(rows: Rows, run_id: Callable[[str], str]) -> set[str]:
    return {(row.get("run") or run_id(_place(row.get("file", "")))).casefold() for row in rows}


def _aside(entry: RunEntry, rows: Rows, run_id: Callable[[str], str]) -> str:
    """Id of a run that is left out, so that the planned one stays free for the run that is kept."""
    default = run_id(entry.file)
    wanted = default if default.casefold() != entry.run.casefold() else f"{entry.run}-out"
    return unique(wanted, {*_taken(rows, run_id), entry.run.casefold()})


def _planned_id(own: Mapping[str, str], row: RunEntry, rows: Rows, run_id: Callable[[str], str]) -> dict[str, str]:
    """The planned id for a run that was left out under its file's name and is kept after all."""
    aside = own.get("run", "").casefold() in ("", run_id(_place(own["file"])).casefold(), f"{row.run}-out".casefold())
    return {"run": row.run} if aside and row.run and row.run.casefold() not in _taken(rows, run_id) else {}


def _planned_cells(entry: RunEntry) -> dict[str, str]:
    """What the plan says of a run beside its ids; columns that nobody here knows are carried along."""
    cells = {split_head(name)[0]: value for name, value in entry.extra.items()}
    if entry.ambient_temperature_degc is not None:
        cells["ambient_temperature"] = f"{entry.ambient_temperature_degc:g} degC"
    if entry.charge is not None:
        cells["charge"] = f"{100 * entry.charge:g} %"
    return {**cells, "operator": entry.operator, "note": entry.note}


def _states_runs(rows: Rows) -> bool:
    return not rows or any(row.get("run") for row in rows)


def _last_order(rows: Rows) -> float:
    numbers = [row["order"].replace(",", ".") for row in rows if row.get("order")]
    return max((float(text) for text in numbers if re.fullmatch(r"\d+(\.\d+)?", text)), default=0.0)


def unique(wanted: str, taken: set[str]) -> str:
    """An id that no run has, case aside: the one wanted, else with a number behind it."""
    wanted = clean(wanted)
    number, found = 2, wanted
    while found.casefold() in taken:
        found, number = f"{wanted}-{number}", number + 1
    return found


def _changed(
    row: Mapping[str, str], entry: RunEntry, words: str, stamp: str, wrote: Mapping[str, str]
) -> dict[str, str]:
    """Cells of a row that is there already: what a person typed stays, what was entered here before is brought up to date."""
    cells: dict[str, str] = {}
    if row.get("started", "") in ("", wrote.get("started")):
        cells["started"] = stamp
    if not row.get("order") and entry.order is not None:
        cells["order"] = f"{entry.order:g}"
    excluded, reason = row.get("exclude", ""), row.get("reason", "")
    if words and ((not excluded and not reason) or is_ours(reason)):
        cells |= {"exclude": "yes", "reason": words}
    elif not words and is_ours(reason):
        cells |= {"exclude": "", "reason": ""}
    return cells
