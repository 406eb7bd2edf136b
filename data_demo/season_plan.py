"""What the demo season asks, and every run it is made of: episodes, sessions of blocks, loose runs, planted flaws."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone

from bench_parts import Cell
from logger_dialects import DIALECTS

SEED = 20260113
ZONE = timezone(timedelta(hours=1))
CHECK_BLOCK_OUT = "ip-4"


@dataclass(frozen=True)
class Episode:
    """One [[episodes]] table."""

    id: str
    title: str
    question: str
    expected: str
    protocols: tuple[str, ...]
    tools: tuple[str, ...] = ()
    setups: tuple[str, ...] = ()
    pairs: tuple[tuple[str, str], ...] = ()
    factor: str = ""
    equivalent_within: str = ""
    disclosure: str = ""
    notes: str = ""


EPISODES = (
    Episode(
        "far-end",
        "The far end of the bay",
        "What does the long hose to the last pit cost, and does a wider one give it back?",
        "At a static setting about 5 % on the long hose; nothing where the inlet pressure is held.",
        ("held", "static"),
        ("quernel-1", "fennwhit"),
        ("near", "far", "far-wide"),
        factor="the line as a whole",
        equivalent_within="5 %",
        disclosure="The Fennwhit was lent by its seller for six weeks and goes back; the seller saw nothing before publication.",
    ),
    Episode(
        "couplers",
        "One coupler or three",
        "Do two more mated pairs in the drop line show at the wheel?",
        "Some loss, fewer than 10 %.",
        ("static",),
        ("quernel-1", "quernel-2"),
        ("one-coupler", "three-couplers"),
    ),
    Episode(
        "inlet-pressure",
        "Four, five and six bar",
        "How does torque follow the pressure at the regulator?",
        "Somewhat less than in proportion.",
        ("stepped",),
        ("quernel-1",),
        ("at-6", "at-5", "at-4"),
    ),
    Episode(
        "small-receiver",
        "The call-out van's receiver",
        "Does a 40 L receiver last for a 12 s run?",
        "It does not; the last seconds sag.",
        ("long",),
        ("quernel-1",),
        ("bay-receiver", "small-receiver"),
    ),
    Episode(
        "packs",
        "One string, two strings, and a cold morning",
        "What does a second string of cells give, and what does the cold take?",
        "Near 10 % each way.",
        ("battery",),
        ("ostrel",),
        ("one-string", "two-strings", "one-string-cold", "two-strings-cold"),
        factor="the pack as a whole",
        notes="All packs were charged together for each block; the cold pack of two strings was there for one block only.",
    ),
    Episode(
        "mains-lead",
        "Fifty metres of lead",
        "Does the long lead to the yard cost torque?",
        "About 5 %.",
        ("mains",),
        ("pelmoor",),
        ("lead-5", "lead-50"),
    ),
    Episode(
        "retest",
        "The first wrench again",
        "Does the wrench of January still give its number in February?",
        "Yes.",
        ("held",),
        ("quernel-1",),
        ("near", "near-again"),
        equivalent_within="5 %",
    ),
    Episode(
        "best-on-worst",
        "The best on the worst",
        "Does the stronger specimen on the long hose still beat the old wrench on the short one?",
        "Yes, by 10 % or more.",
        ("static",),
        pairs=(("old-tasselby", "near"), ("quernel-2", "far"), ("quernel-2", "near")),
        factor="tool and line together",
    ),
)


@dataclass(frozen=True)
class PlannedRun:
    """One row of runs.csv to be, with what is planted in it."""

    run: str
    cell: Cell
    logger: str
    folder: str
    started: datetime
    block: str = ""
    order: int = 0
    charge: str = ""
    operator: str = "ab"
    reason: str = ""
    note: str = ""
    flaw: str = ""
    copy_of: str = ""

    @property
    def file(self) -> str:
        return f"recordings/{self.folder}/{self.run}{DIALECTS[self.logger].suffix}"


# ---- the plan -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Session:
    """Complete blocks of some cells, one block a day from `first_day` on; weekends stay free."""

    prefix: str
    folder: str
    logger: str
    first_day: datetime
    blocks: int
    cells: tuple[Cell, ...]
    check: bool = True
    charged: bool = False


def _cells(tools: Sequence[str], setups: Sequence[str], protocol: str) -> tuple[Cell, ...]:
    return tuple(Cell(tool, setup, protocol) for tool in tools for setup in setups)


def _day(month: int, day: int) -> datetime:
    return datetime(2026, month, day, 8, 30, tzinfo=ZONE)


LINES = ("near", "far", "far-wide")
SESSIONS = (
    Session("fe", "far-end", "wall", _day(1, 13), 4, _cells(("quernel-1", "fennwhit"), LINES, "held")),
    Session("fs", "far-end-static", "tablet", _day(1, 19), 4, _cells(("quernel-1", "fennwhit"), LINES, "static")),
    Session(
        "co",
        "couplers",
        "cart",
        _day(1, 26),
        5,
        _cells(("quernel-1", "quernel-2"), ("one-coupler", "three-couplers"), "static"),
    ),
    Session("ip", "inlet-pressure", "cart", _day(2, 2), 5, _cells(("quernel-1",), ("at-6", "at-5", "at-4"), "stepped")),
    Session(
        "bw",
        "best-on-worst",
        "tablet",
        _day(2, 10),
        4,
        (
            Cell("old-tasselby", "near", "static"),
            Cell("quernel-2", "far", "static"),
            Cell("quernel-2", "near", "static"),
        ),
    ),
    Session("re", "retest", "wall", _day(2, 23), 4, (Cell("quernel-1", "near-again", "held"),)),
    Session(
        "pk",
        "packs",
        "pack",
        _day(3, 3),
        4,
        _cells(("ostrel",), ("one-string", "two-strings", "one-string-cold"), "battery"),
        check=False,
        charged=True,
    ),
    Session(
        "ml", "mains-lead", "lead", _day(3, 10), 5, _cells(("pelmoor",), ("lead-5", "lead-50"), "mains"), check=False
    ),
)


def blocked_runs(session: Session) -> Iterator[PlannedRun]:
    """Every cell once in every block, in an order shuffled per block, the check standard first."""
    day = session.first_day
    for number in range(1, session.blocks + 1):
        while day.weekday() > 4:
            day += timedelta(days=1)
        block = f"{session.prefix}-{number}"
        cells = list(session.cells)
        random.Random(f"{SEED} {block}").shuffle(cells)
        if session.check:
            cells.insert(0, Cell("old-tasselby", "near", "check"))
        for order, cell in enumerate(cells, start=1):
            check = cell.protocol == "check"
            yield PlannedRun(
                run=f"{session.prefix}{number}-check"
                if check
                else f"{session.prefix}{number}-{cell.tool}-{cell.setup}",
                cell=cell,
                logger=session.logger,
                folder="check-standard" if check else session.folder,
                started=day + timedelta(minutes=12 * order),
                block=block,
                order=order,
                charge=f"{97 - number % 3}" if session.charged else "",
                operator="ab" if number % 2 else "kv",
            )
        day += timedelta(days=1)


def loose_runs() -> Iterator[PlannedRun]:
    """Runs outside blocks: arrivals (in no episode), the receivers, and the one run on a cold pack of two strings."""
    morning = _day(1, 12)
    for minutes, tool, number in (
        *((10 * n, "quernel-1", n) for n in (1, 2, 3)),
        *((40 + 10 * n, "quernel-2", n) for n in (1, 2, 3)),
        *((80 + 10 * n, "fennwhit", n) for n in (1, 2, 3)),
    ):
        started = morning + timedelta(minutes=minutes)
        yield PlannedRun(
            f"ar-{tool}-{number}",
            Cell(tool, "near", "arrival"),
            "desk",
            "arrival",
            started,
            note="acceptance on arrival",
        )
    afternoon = _day(2, 9) + timedelta(hours=5)
    for number in (1, 2, 3):
        for late, setup in enumerate(("bay-receiver", "small-receiver")):
            started = afternoon + timedelta(minutes=40 * number + 15 * late)
            cell = Cell("quernel-1", setup, "long")
            yield PlannedRun(f"sr{number}-quernel-1-{setup}", cell, "tank", "small-receiver", started)
    yield PlannedRun(
        "pk4-ostrel-two-strings-cold",
        Cell("ostrel", "two-strings-cold", "battery"),
        "pack",
        "packs",
        _day(3, 6) + timedelta(minutes=60),
        block="pk-4",
        order=4,
        charge="96",
        operator="kv",
        note="one run only: the pack went back to its bus",
    )


def planted_runs(plan: dict[str, PlannedRun]) -> Iterator[PlannedRun]:
    """Runs that went wrong and were repeated, each a few minutes before the good run of its block; and a copied file."""

    def before(run: str, flaw: str, reason: str) -> PlannedRun:
        good = plan[run]
        started = good.started - timedelta(minutes=5)
        return replace(good, run=f"{run}-first", started=started, order=0, reason=reason, flaw=flaw, note="repeated")

    yield before("fe2-fennwhit-far", "slipped-socket", "socket slip")
    yield before("fs3-quernel-1-near", "clipped", "clipped")
    yield before("co2-quernel-1-three-couplers", "zero-shift", "zero shift")
    yield before("sr3-quernel-1-small-receiver", "trigger-released", "trigger released")
    twin = plan["ar-fennwhit-3"]
    yield replace(
        twin,
        run="ar-fennwhit-4",
        started=twin.started + timedelta(minutes=10),
        copy_of=twin.run,
        flaw="duplicate-file",
    )


FLAWED_IN_PLACE = {
    "fe3-quernel-1-far-wide": "hold-off-target",
    "ar-quernel-2-2": "foot-pounds",
    f"{CHECK_BLOCK_OUT.replace('-', '')}-check": "check-out-of-control",
}


def plan_runs() -> list[PlannedRun]:
    """All runs of the season, in the order they were made."""
    runs = [run for session in SESSIONS for run in blocked_runs(session)] + list(loose_runs())
    plan = {run.run: run for run in runs}
    runs += planted_runs(plan)
    return sorted(
        (replace(run, flaw=FLAWED_IN_PLACE.get(run.run, run.flaw)) for run in runs),
        key=lambda run: (run.started, run.run),
    )
