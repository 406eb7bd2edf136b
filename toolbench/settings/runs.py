"""runs.csv and the files that the pattern finds -> one entry per recording."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path, PurePosixPath

from toolbench.records.settings import RunEntry
from toolbench.settings.convert import frozen
from toolbench.settings.faults import Faults, did_you_mean, id_fault, nearest
from toolbench.settings.models import ABSOLUTE_ZERO_DEGC, BELOW_ZERO_K
from toolbench.settings.recordings import Pattern, clean, path_fault
from toolbench.settings.spreadsheet import Row, Table, read_table

RUNS = "runs.csv"
COLUMNS = (
    "file", "tool", "setup", "protocol", "run", "logger", "block", "order", "started", "ambient_temperature", "charge",
    "operator", "exclude", "reason", "note",
)  # fmt: skip
_YES = {"yes", "y", "true", "1", "x"}
_NO = {"", "no", "n", "false", "0"}


@dataclass(frozen=True, slots=True)
class Known:
    """The ids that a run may name. `tools` is None where any tool may be named: no tools.csv."""

    tools: tuple[str, ...] | None
    setups: tuple[str, ...]
    protocols: tuple[str, ...]
    loggers: tuple[str, ...]
    default_tools: tuple[str, ...] = ()

    def of(self, kind: str) -> tuple[str, ...] | None:
        return {"tool": self.tools, "setup": self.setups, "protocol": self.protocols, "logger": self.loggers}[kind]

    def only(self, kind: str) -> str:
        """The id that is meant where none is named: the only one there is."""
        ids = (self.tools or self.default_tools) if kind == "tool" else self.of(kind)
        return ids[0] if ids and len(ids) == 1 else ""


def read_runs(folder: Path, pattern: Pattern | None, known: Known, faults: Faults) -> tuple[RunEntry, ...]:
    """All runs: rows of runs.csv first, in their order, then the files that only the pattern knows, by name."""
    table = read_table(folder, RUNS, faults)
    entries = _rows(table, pattern, known) if table is not None else []
    if pattern is not None:
        listed = {entry.file for entry in entries}
        for file in pattern.files(folder):
            if file not in listed and (entry := _found(file, pattern, known, faults)) is not None:
                entries.append(entry)
    _unique(entries, faults)
    return tuple(entries)


def read_sheet(folder: Path, file: str, pattern: Pattern | None, known: Known, faults: Faults) -> tuple[RunEntry, ...]:
    """Planned runs: rows with the columns of runs.csv, of which `file` and `run` may be empty, in the order to be made.

    A `file` or a `run` that is not stated is an empty text in the entry.
    """
    table = read_table(folder, file, faults)
    if table is None:
        return ()
    percent = _is_charge_percent(table)
    rows = []
    for row in table.rows:
        said = row.text("file")
        place = str(PurePosixPath(said.replace("\\", "/"))) if said and not path_fault(said) else ""
        planned = _entry(row, place or "planned", table, pattern, known, percent)
        rows.append(replace(planned, file=place, run=row.text("run")))
    return tuple(sorted(rows, key=lambda row: float("inf") if row.order is None else row.order))


def _rows(table: Table, pattern: Pattern | None, known: Known) -> list[RunEntry]:
    needed = ("file",) if pattern else ("file", "tool", "setup", "protocol")
    missing = [name for name in needed if name not in table.columns and (name == "file" or not known.only(name))]
    for name in missing:
        close = nearest(name, [column for column in table.columns if column not in COLUMNS])
        table.fault(None, name, f'the column "{name}" is needed', f'is "{close}" meant?' if close else None)
    if missing:
        return []
    entries: list[RunEntry] = []
    seen: dict[str, int] = {}
    percent = _is_charge_percent(table)
    for row in table.rows:
        file = _file(row, table)
        if file is None:
            continue
        if file in seen:
            table.fault(row, "file", f'"{file}" stands already on line {seen[file]}')
            continue
        seen[file] = row.line
        entries.append(_entry(row, file, table, pattern, known, percent))
    _check_stamps(entries, table)
    return entries


def _file(row: Row, table: Table) -> str | None:
    written = row.text("file")
    problem = path_fault(written) if written else "the file is missing"
    if problem:
        table.fault(row, "file", problem, "recordings lie inside the season folder" if written else None)
        return None
    return str(PurePosixPath(written.replace("\\", "/")))


def _entry(row: Row, file: str, table: Table, pattern: Pattern | None, known: Known, percent: bool) -> RunEntry:
    said = (pattern.match(file) if pattern else None) or {}
    ids = {kind: _id(kind, row, said, table, known) for kind in ("tool", "setup", "protocol", "logger")}
    run = row.text("run") or (pattern.run_id(file) if pattern else clean(PurePosixPath(file).stem))
    if problem := id_fault(run):
        table.fault(row, "run", problem)
    excluded = _excluded(row, table)
    ambient = table.quantity(row, "ambient_temperature", "temperature") if row.text("ambient_temperature") else None
    if ambient is not None and ambient < ABSOLUTE_ZERO_DEGC:
        table.fault(row, "ambient_temperature", f'"{row.text("ambient_temperature")}" {BELOW_ZERO_K}')
    return RunEntry(
        run=run,
        file=file,
        **ids,
        block=row.text("block") or said.get("block", ""),
        order=table.number(row, "order"),
        started=_stamp(row, table),
        ambient_temperature_degc=ambient,
        charge=_charge(row, table, percent),
        operator=row.text("operator"),
        excluded=excluded,
        reason=row.text("reason"),
        note=row.text("note"),
        line=row.line,
        extra=frozen({table.columns[name].written: cell for name, cell in row.cells.items() if name not in COLUMNS}),
    )


def _id(kind: str, row: Row, said: Mapping[str, str], table: Table, known: Known) -> str:
    """A tool, setup, protocol or logger: as the row says, else as the path says, else the only one."""
    id = row.text(kind) or said.get(kind, "") or known.only(kind)
    ids = known.of(kind)
    if not id:
        several = f": there are {len(ids)}" if ids and kind == "logger" else ""
        table.fault(row, kind, f"the {kind} is missing{several}", did_you_mean("", ids or (), none=_none(kind)))
    elif ids is not None and id not in ids:
        table.fault(row, kind, f'{kind} "{id}" is not known', did_you_mean(id, ids, none=_none(kind)))
    elif ids is None and (problem := id_fault(id)):
        table.fault(row, kind, problem)
    return id


def _none(kind: str) -> str:
    return "tools.csv names none" if kind == "tool" else f"bench.toml has no table [{kind}s.ID]"


def _excluded(row: Row, table: Table) -> bool:
    text = row.text("exclude").casefold()
    if text in _NO:
        return False
    if text not in _YES:
        table.fault(row, "exclude", f'"{row.text("exclude")}" is not known here', 'write "yes" or leave it empty')
    if not row.text("reason"):
        table.fault(row, "reason", "an excluded run needs a reason", 'such as "socket slip" or "trigger released"')
    return True


def _stamp(row: Row, table: Table) -> datetime | None:
    text = row.text("started")
    if not text:
        return None
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        table.fault(row, "started", f'"{text}" is no ISO 8601 time', "write it as 2026-05-31T14:30")
        return None


def _check_stamps(entries: Iterable[RunEntry], table: Table) -> None:
    """Times with and without a zone cannot be put in order."""
    zones = {entry.started.tzinfo is None for entry in entries if entry.started is not None}
    if len(zones) == 2:
        table.fault(None, "started", "some times have a zone and others have none", "write all in one way")


def _is_charge_percent(table: Table) -> bool:
    """Whether a column of charges without a unit is in percent: one of its plain numbers is above 1."""
    cells = [row.text("charge").replace(",", ".") for row in table.rows]
    return any(float(cell) > 1 for cell in cells if re.fullmatch(r"\d+(\.\d+)?", cell))


def _charge(row: Row, table: Table, percent: bool) -> float | None:
    """State of charge as a share. The header gives the unit, or the cell; a column without any is in percent as soon as
    one of its cells is above 1."""
    text = row.text("charge")
    if not text:
        return None
    if text.endswith("%") or table.columns["charge"].unit:
        value = table.quantity(row, "charge", "fraction")
    else:
        value = table.number(row, "charge")
        value = value / 100 if value is not None and percent else value
    if value is not None and not 0 <= value <= 1:
        table.fault(row, "charge", f'"{text}" must lie in 0 to 100 %')
    return value


def _found(file: str, pattern: Pattern, known: Known, faults: Faults) -> RunEntry | None:
    """A run that stands in no row; what its path leaves open is the only one there is."""
    said = pattern.match(file) or {}
    ids: dict[str, str] = {}
    for kind in ("tool", "setup", "protocol", "logger"):
        ids[kind] = said.get(kind) or known.only(kind)
        options = known.of(kind)
        if not ids[kind]:
            faults.bench(
                ("recordings",), f"{file}: the pattern does not say which {kind}", f"add {{{kind}}} to the pattern"
            )
        elif options is not None and ids[kind] not in options:
            mend = did_you_mean(ids[kind], options, none=_none(kind))
            faults.bench(("recordings",), f'{file}: {kind} "{ids[kind]}" is not known', mend)
        elif problem := id_fault(ids[kind]):
            faults.bench(("recordings",), f"{file}: {problem}")
    return RunEntry(
        run=pattern.run_id(file),
        file=file,
        tool=ids["tool"],
        setup=ids["setup"],
        protocol=ids["protocol"],
        logger=ids["logger"],
        block=said.get("block", ""),
    )


def _unique(entries: Iterable[RunEntry], faults: Faults) -> None:
    seen: dict[str, RunEntry] = {}
    for entry in entries:
        other = seen.setdefault(entry.run.casefold(), entry)
        if other is not entry:
            where = f"on line {other.line}" if other.line else f"for {other.file}"
            message = f'run "{entry.run}" stands already {where} (case does not count)'
            mend = 'give one of them another id in the column "run"'
            if entry.line:
                faults.add(message, file=RUNS, line=entry.line, key="run", mend=mend)
            else:
                faults.bench(("recordings",), f"{entry.file}: {message}", mend)
