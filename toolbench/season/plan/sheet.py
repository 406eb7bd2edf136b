"""The run sheet: every item once in each block, in an order that a seed gives; ready to become runs.csv."""

from __future__ import annotations

import csv
import io
import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from toolbench.errors import Fault, UsageError
from toolbench.records.settings import Protocol, RunEntry
from toolbench.season.opening import Season
from toolbench.settings import clean

Pair = tuple[str, str]

HEAD = ("run", "file", "tool", "setup", "protocol", "logger", "block", "order", "started", "exclude", "reason", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Blocks of one protocol: every cell (tool, setup) once in each."""

    protocol: Protocol
    cells: tuple[Pair, ...]
    blocks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One planned run. `kind` is "run", "conditioning" or "check"; `block_protocol` the protocol its block is of."""

    run: str
    tool: str
    setup: str
    protocol: str
    logger: str
    block: str
    order: int
    kind: str = "run"
    note: str = ""
    block_protocol: str


def make_sheet(
    season: Season, episode: str, wanted: Sequence[Wanted], *, seed: int, logger: str = ""
) -> tuple[SheetRow, ...]:
    """The runs in the order to be made: round by round a block of each protocol, the order in each drawn from `seed`.

    Numbers of blocks and runs go on from those the season has, so that no id is given twice.

    Raises
    ------
    UsageError
        The season has several loggers and nothing says which one is meant.
    """
    draw = random.Random(seed)
    names = _Names(season)
    rows: list[SheetRow] = []
    for number in range(max((one.blocks for one in wanted), default=0)):
        for one in _shuffled([one for one in wanted if number < one.blocks], draw):
            block = names.block(f"{episode}-{one.protocol.id}")
            chosen = _logger(season, one, logger)
            made = _block(season, one, block, _shuffled(one.cells, draw), chosen)
            rows += [replace(row, run=names.run(row), order=names.next_order()) for row in made]
    return tuple(rows)


def _shuffled(things: Sequence, draw: random.Random) -> list:  # type: ignore[type-arg]
    """Fisher and Yates with `random()` alone, whose numbers Python promises to keep for a seed."""
    drawn = list(things)
    for last in range(len(drawn) - 1, 0, -1):
        other = int(draw.random() * (last + 1))
        drawn[last], drawn[other] = drawn[other], drawn[last]
    return drawn


def _block(season: Season, one: Wanted, block: str, cells: Sequence[Pair], logger: str) -> list[SheetRow]:
    """One block: the check standard, every cell with the tool's conditioning runs before its first, the check standard."""
    rows: list[SheetRow] = []
    warm: Counter[tuple[str, str]] = Counter()

    def add(tool: str, setup: str, protocol: Protocol, kind: str, note: str) -> None:
        row = SheetRow(
            run="", tool=tool, setup=setup, protocol=protocol.id, logger=logger, block=block, order=0,
            block_protocol=one.protocol.id,
        )  # fmt: skip
        while warm[(tool, protocol.id)] < protocol.conditioning:
            warm[(tool, protocol.id)] += 1
            rows.append(replace(row, kind="conditioning", note="conditioning run, left out of the comparison"))
        rows.append(replace(row, kind=kind, note=note))

    check = _check_standard(season, one)
    if check is not None:
        add(*check, "check", "check standard, start of the block")
    for tool, setup in cells:
        add(tool, setup, one.protocol, "run", "")
    if check is not None:
        add(*check, "check", "check standard, end of the block")
    return rows


def _check_standard(season: Season, one: Wanted) -> tuple[str, str, Protocol] | None:
    """The reference tool with the setup and protocol it was mostly run under, where it fits the block's kind of supply.

    None where the season has none, or where its run is an item of the block already.
    """
    settings = season.settings
    supplies = {settings.setups[setup].supply for _, setup in one.cells}
    for tool in settings.tools.values():
        if tool.role != "check standard" or tool.status == "retired":
            continue
        made = Counter((run.setup, run.protocol) for run in settings.runs if run.tool == tool.id and not run.excluded)
        known = [pair for pair, _ in made.most_common() if settings.setups[pair[0]].supply in supplies]
        setup, protocol = known[0] if known else (one.cells[0][1], one.protocol.id)
        if not known and tool.supply and tool.supply not in supplies:
            continue
        if protocol == one.protocol.id and (tool.id, setup) in one.cells:
            continue
        return tool.id, setup, settings.protocols[protocol]
    return None


def _logger(season: Season, one: Wanted, stated: str) -> str:
    """The logger of a block: the only one, as stated, or that of the latest run of its cells, else of its protocol."""
    loggers = season.settings.loggers
    if stated:
        if stated not in loggers:
            raise UsageError(Fault(f'there is no logger "{stated}"', mend=f"known: {', '.join(loggers)}"))
        return stated
    if len(loggers) == 1:
        return next(iter(loggers))
    of_protocol = [run for run in season.settings.runs if run.protocol == one.protocol.id]
    of_cells = [run for run in of_protocol if (run.tool, run.setup) in one.cells]
    for runs in (of_cells, of_protocol):
        if runs:
            return max(runs, key=_made).logger
    raise UsageError(
        Fault(
            f"there are {len(loggers)} loggers and no run of protocol {one.protocol.id} yet: which one records is not said",
            mend=f"say it with --logger; known: {', '.join(loggers)}",
        )
    )


def _made(run: RunEntry) -> tuple[float, float]:
    return (run.started.timestamp() if run.started else float("-inf"), run.order or 0.0)


class _Names:
    """Ids, blocks and places in the order that the season does not have yet."""

    def __init__(self, season: Season) -> None:
        runs = season.settings.runs
        self._runs = {run.run.casefold() for run in runs}
        self._blocks = {run.block.casefold() for run in runs}
        self._order = int(max((run.order for run in runs if run.order is not None), default=0))

    def block(self, stem: str) -> str:
        number = 1
        while f"{stem}-{number}".casefold() in self._blocks:
            number += 1
        self._blocks.add(f"{stem}-{number}".casefold())
        return f"{stem}-{number}"

    def run(self, row: SheetRow) -> str:
        kind = {"run": "", "conditioning": "-warm", "check": "-check"}[row.kind]
        wanted = clean(f"{row.block}-{row.tool}-{row.setup}{kind}")
        number, found = 2, wanted
        while found.casefold() in self._runs:
            found, number = f"{wanted}-{number}", number + 1
        self._runs.add(found.casefold())
        return found

    def next_order(self) -> int:
        self._order += 1
        return self._order


def sheet_csv(rows: Sequence[SheetRow], *, loggers: int) -> str:
    """The sheet with the columns of runs.csv, `file` empty; `logger` only where the season has several."""
    names = [name for name in HEAD if name != "logger" or loggers > 1]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    for row in rows:
        writer.writerow([getattr(row, name, "") for name in names])
    return text.getvalue()
