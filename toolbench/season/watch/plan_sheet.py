"""What a new recording is of: by its path, by the plan's next open row, or because there is only one possibility."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from toolbench.errors import Fault
from toolbench.records.settings import RunEntry
from toolbench.season.watch.verdicts import is_ours
from toolbench.settings import RUNS, Bench, Faults, clean, path_fault, read_sheet

KINDS = ("tool", "setup", "protocol", "logger")


@dataclass(frozen=True, slots=True)
class Named:
    """What a recording is of; or, in `missing`, what nobody says. `row` is the planned row it takes, `notices` what is odd."""

    entry: RunEntry | None
    row: RunEntry | None = None
    missing: str = ""
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """The planned runs in their order. `is_runs` where they are the rows without a file of runs.csv itself."""

    rows: tuple[RunEntry, ...] = ()
    is_runs: bool = True
    faults: tuple[Fault, ...] = ()

    def open_rows(self, runs: Sequence[RunEntry]) -> tuple[RunEntry, ...]:
        """Rows that no run that is kept has taken."""
        left = list(self.rows)
        for run in runs:
            if not run.excluded and (taken := next((row for row in left if _is_run_of(run, row)), None)) is not None:
                left.remove(taken)
        return tuple(left)


def read_plan(folder: Path, sheet: Path | None, bench: Bench) -> Plan:
    """The sheet's rows; without a sheet the rows of runs.csv that name no file yet."""
    faults = Faults()
    is_runs = sheet is None or (folder / RUNS).resolve() == sheet.resolve()
    where = folder / RUNS if sheet is None or is_runs else sheet
    rows = read_sheet(where.parent, where.name, bench.pattern, bench.known, faults)
    if is_runs:
        rows = tuple(row for row in rows if not row.file and row.tool and row.setup and row.protocol)
    usable = tuple(row for row in rows if _is_known(row, bench))
    return Plan(usable, is_runs, () if is_runs else tuple(faults.found))


def _is_known(row: RunEntry, bench: Bench) -> bool:
    kinds = {"setup": row.setup, "protocol": row.protocol, "tool": row.tool}
    return all(id and ((ids := bench.known.of(kind)) is None or id in ids) for kind, id in kinds.items())


def _is_run_of(run: RunEntry, row: RunEntry) -> bool:
    """Whether a run was made for a planned row."""
    if (row.run and row.run.casefold() == run.run.casefold()) or (row.file and row.file == run.file):
        return True
    if (run.tool, run.setup, run.protocol) != (row.tool, row.setup, row.protocol):
        return False
    if row.order is None and not row.block:
        return not row.run
    return (row.order is None or row.order == run.order) and (not row.block or row.block == run.block)


def name_recording(file: str, bench: Bench, plan: Plan, open_rows: Sequence[RunEntry], block: str) -> Named:
    """What a recording is of.

    A row of runs.csv that names the file comes first, then its path where the `recordings` pattern fits, then the next open
    row of the plan, then what there is only one of.
    """
    listed = next((run for run in bench.settings.runs if run.file == file), None)
    if listed is not None:
        row = next((row for row in plan.rows if _is_run_of(listed, row)), None)
        if row is None and listed.excluded and is_ours(listed.reason):
            # It was judged before it was whole; the row it was made for is still open, and is its own once it is kept.
            row = _first_fitting(open_rows, {kind: str(getattr(listed, kind)) for kind in KINDS[:3]})
        return Named(listed, row)
    unfit = name_fault(file)
    if unfit:
        return Named(None, None, f"{unfit}; rename the file, it is then judged")
    said = {name: value for name, value in (_said(file, bench)).items() if value}
    row = next((row for row in open_rows if row.file == file), None) or _first_fitting(open_rows, said)
    ids = {kind: said.get(kind) or _of(row, kind) or bench.known.only(kind) for kind in KINDS}
    missing = _missing(ids, bench, bool(plan.rows))
    if missing:
        return Named(None, None, missing)
    default = bench.pattern.run_id(file) if bench.pattern is not None else clean(Path(file).stem)
    entry = RunEntry(
        run=(row.run if row is not None else "") or default,
        file=file,
        tool=ids["tool"],
        setup=ids["setup"],
        protocol=ids["protocol"],
        logger=ids["logger"],
        block=said.get("block", "") or (row.block if row is not None else "") or block,
        order=row.order if row is not None else None,
    )
    if row is not None:
        entry = replace(
            entry,
            ambient_temperature_degc=row.ambient_temperature_degc,
            charge=row.charge,
            operator=row.operator,
            note=row.note,
            extra=row.extra,
        )
    return Named(entry, row, notices=_order_notices(row, open_rows, plan))


def name_fault(file: str) -> str:
    """Why a file's name cannot stand in runs.csv, where it would spoil the season or be read back as another; else empty."""
    fault = path_fault(file)
    if fault is None and "\\" in file:
        fault = f"{file!r} holds a backslash, which runs.csv takes for the end of a folder's name"
    if fault is None and (file != file.strip() or file != file.encode(errors="ignore").decode()):
        fault = f"{file!r} begins or ends with a blank, or holds bytes that are no text"
    return fault or ""


def _said(file: str, bench: Bench) -> dict[str, str]:
    return (bench.pattern.match(file) if bench.pattern is not None else None) or {}


def _of(row: RunEntry | None, kind: str) -> str:
    return str(getattr(row, kind)) if row is not None else ""


def _first_fitting(rows: Sequence[RunEntry], said: dict[str, str]) -> RunEntry | None:
    """The first row that says nothing else than the path does."""
    return next(
        (row for row in rows if all(said.get(kind) in (None, "", getattr(row, kind)) for kind in KINDS[:3])), None
    )


def _missing(ids: dict[str, str], bench: Bench, has_plan: bool) -> str:
    """What is not said or not known, in a sentence; empty where all is."""
    unsaid = [kind for kind, id in ids.items() if not id]
    if unsaid:
        where = "its path" if bench.pattern is not None else "bench.toml (recordings = ...)"
        sheet = "the sheet has no open row left" if has_plan else "there is no sheet with an open row"
        return f"nothing says which {', '.join(unsaid)} it is of: {where} does not, and {sheet}; add a row to the sheet, or its row to {RUNS}"
    for kind, id in ids.items():
        known = bench.known.of(kind)
        if known is not None and id not in known:
            return f'{kind} "{id}" is not known to {"tools.csv" if kind == "tool" else "bench.toml"}'
    return ""


def _order_notices(row: RunEntry | None, open_rows: Sequence[RunEntry], plan: Plan) -> tuple[str, ...]:
    if not plan.rows:
        return ()
    if row is None:
        return ("it is not on the sheet",)
    if open_rows and row is not open_rows[0]:
        first = open_rows[0]
        return (f"out of the sheet's order: {first.tool} on {first.setup} was next",)
    return ()
