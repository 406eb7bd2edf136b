"""Every time base a logger may write, as printed cells and the exact seconds from the first sample.

Seconds are fractions: whole nanoseconds for stamps, the decimal number as printed times its unit for numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from random import Random

from made_table import Clock, Column, Must, Refusal

S = 1_000_000_000
"""Nanoseconds in a second."""
DAY = 86_400 * S
MORNING = datetime(2026, 3, 21, 10, 15, 3)
"""A start whose day cannot be a month."""
UNSETTLED = Refusal("time", "unit")
AMBIGUOUS = Refusal("time", "format|day|month")

Make = Callable[[Random, int], Clock]
CLOCKS: dict[str, Make] = {}


def clock(name: str) -> Callable[[Make], Make]:
    def enter(make: Make) -> Make:
        CLOCKS[name] = make
        return make

    return enter


def column(header: str, cells: Sequence[str], *, unit: str = "") -> Column:
    return Column(header=header, cells=tuple(cells), values=tuple(cells), unit_cell=unit, clock=True)


# Numbers ----------------------------------------------------------------------------------------------------------

FACTORS = {"s": 1, "ms": Fraction(1, 10**3), "us": Fraction(1, 10**6), "min": 60, "h": 3600}
SPELLINGS = {
    "s": ("s", "sec"),
    "ms": ("ms", "msec"),
    "us": ("us", "µs"),
    "min": ("min",),
    "h": ("h", "hours"),
}
STEPS = {
    "s": ("0.001", "0.02", "0.5", "1"),
    "ms": ("1", "0.5", "20", "250"),
    "us": ("100", "2.5", "1000"),
    "min": ("0.05", "0.5", "1"),
    "h": ("0.0005", "0.01", "0.25"),
}
BASES = ("t", "Time", "Elapsed", "Zeit", "Temps")


def counted(first: str, step: str, n: int) -> list[str]:
    """Evenly spaced decimals, printed with the digits of the step."""
    start, width = Decimal(first), Decimal(step)
    return [str(start + k * width) for k in range(n)]


def seconds_of(cells: Sequence[str], factor: Fraction | int) -> tuple[Fraction, ...]:
    values = [Fraction(cell) for cell in cells]
    return tuple((value - values[0]) * factor for value in values)


def slack(cells: Sequence[str], factor: Fraction | int) -> float:
    """Four roundings of the largest time in the file."""
    return max(float(abs(Fraction(cell)) * factor) for cell in cells) * 2.0**-50


def number_clock(header: str, unit_cell: str, cells: Sequence[str], unit: str, **more: object) -> Clock:
    factor = FACTORS[unit]
    made = Clock((column(header, cells, unit=unit_cell),), seconds_of(cells, factor), slack(cells, factor), unit=unit)
    return replace(made, **more)  # type: ignore[arg-type]


def relative(unit: str, first: str = "0") -> Make:
    def make(random: Random, n: int) -> Clock:
        spelling = random.choice(SPELLINGS[unit])
        base = random.choice(BASES)
        header = random.choice([f"{base} [{spelling}]", f"{base} ({spelling})"])
        if spelling == unit and random.random() < 0.2:
            header = f"{base}_{unit}"
        return number_clock(header, spelling, counted(first, random.choice(STEPS[unit]), n), unit)

    return make


for _unit in FACTORS:
    CLOCKS[f"number in {_unit}"] = relative(_unit)
CLOCKS["number, long after zero"] = relative("s", "37.25")
CLOCKS["number, below zero"] = relative("ms", "-12.5")


@clock("number with jitter")
def jittered(random: Random, n: int) -> Clock:
    cells = [f"{k * 0.01 + random.uniform(0, 0.0008):.6f}" for k in range(n)]
    return number_clock("t [s]", "s", cells, "s")


@clock("number with a gap")
def gap(random: Random, n: int) -> Clock:
    row = random.randint(4, n - 3)
    cells = [f"{(k + (40 if k >= row else 0)) * 0.02:.2f}" for k in range(n)]
    return number_clock("t (s)", "s", cells, "s", must=(Must("gap", row),), allowed="gap")


@clock("number that steps back")
def step_back(random: Random, n: int) -> Clock:
    row = random.randint(5, n - 3)
    cells = [f"{(k if k < row else k - row) * 0.5:.1f}" for k in range(n)]
    return number_clock("t [s]", "s", cells, "s", must=(Must("back", row),), allowed="back|gap|repeat")


@clock("number that repeats")
def repeats(random: Random, n: int) -> Clock:
    row = random.randint(5, n - 3)
    cells = [f"{(k if k < row else k - 1) * 0.5:.1f}" for k in range(n)]
    return number_clock("Elapsed [ms]", "ms", cells, "ms", must=(Must("repeat", row),), allowed="repeat")


@clock("number without unit")
def unsettled(random: Random, n: int) -> Clock:
    cells = counted("0", random.choice(["0.01", "1", "10"]), n)
    return number_clock(
        "Time", "", cells, "ms", refusals=(UNSETTLED,), may_read=False, settle={"column": "@", "unit": "ms"}
    )


def with_wall_clock(unit: str, step: str, step_ns: int) -> Make:
    """A number without unit beside a date and clock: only one unit makes both run alike."""

    def make(random: Random, n: int) -> Clock:
        cells = counted("0", step, n)
        stamps = [f"{MORNING + timedelta(seconds=k * step_ns // S):%Y-%m-%d %H:%M:%S}" for k in range(n)]
        made = number_clock("Test time", "", cells, unit, allowed="several-clocks|unit|clock")
        return replace(made, columns=(*made.columns, column("Logged at", stamps)), must=(Must("unit|clock"),))

    return make


CLOCKS["minutes told by a second clock"] = with_wall_clock("min", "0.05", 3 * S)
CLOCKS["hours told by a second clock"] = with_wall_clock("h", "0.01", 36 * S)
CLOCKS["milliseconds told by a second clock"] = with_wall_clock("ms", "1000", S)
CLOCKS["seconds told by a second clock"] = with_wall_clock("s", "1", S)


def epoch(digits: int) -> Make:
    def make(random: Random, n: int) -> Clock:
        # By hand: 2026-03-01T10:00:00Z is 20513 days of 86400 s and 36000 s after 1970.
        step = random.choice([1, 3, 20]) if digits else 1
        first = (20_513 * 86_400 + 36_000) * 10**digits + random.randint(0, 9)
        cells = [str(first + k * step) for k in range(n)]
        seconds = tuple(Fraction(k * step, 10**digits) for k in range(n))
        start = f"2026-03-01T10:00:{0 if digits else first % 60:02d}"
        return Clock((column(random.choice(["timestamp", "epoch", "Time"]), cells),), seconds, start=start)

    return make


for _digits, _unit in ((0, "s"), (3, "ms"), (6, "us"), (9, "ns")):
    CLOCKS[f"epoch in {_unit}"] = epoch(_digits)


@clock("epoch in s with decimals")
def epoch_decimals(random: Random, n: int) -> Clock:
    cells = [f"{20_513 * 86_400 + 36_000 + k // 100}.{k % 100:02d}0000" for k in range(0, 2 * n, 2)]
    return Clock((column("timestamp", cells),), seconds_of(cells, 1), slack=1e-9)


# No time in the rows ----------------------------------------------------------------------------------------------

RATES = {
    "rate in Hz": ("Sample rate", "500", "Hz", Fraction(1, 500)),
    "rate in kHz": ("Sampling rate", "2", "kHz", Fraction(1, 2000)),
    "interval in ms": ("Sampling interval", "0.5", "ms", Fraction(1, 2000)),
    "interval in s": ("Sample interval", "0.004", "s", Fraction(1, 250)),
}


def rate(kind: str, *, index: bool) -> Make:
    def make(random: Random, n: int) -> Clock:
        name, text, unit, step = RATES[kind]
        first = random.choice([0, 1, 512])
        columns = (column("Sample", [str(first + k) for k in range(n)]),) if index else ()
        return Clock(
            columns,
            tuple(k * step for k in range(n)),
            slack=1e-15 * n,
            preamble=((name, text, unit),),
            must=(Must("rate|interval|preamble"),),
            rows_matter=index,
        )

    return make


for _kind in RATES:
    CLOCKS[_kind] = rate(_kind, index=False)
    CLOCKS[f"index, {_kind}"] = rate(_kind, index=True)


@clock("two rates that differ")
def two_rates(random: Random, n: int) -> Clock:
    made = rate("rate in Hz", index=False)(random, n)
    other = ("Scan rate", "2", "kHz")
    # By hand: 500 Hz is 2 ms a row.
    return replace(
        made,
        preamble=(*made.preamble, other),
        refusals=(Refusal("time", "rate"),),
        may_read=False,
        settle={"rate_hz": 500.0},
        must=(),
    )


# Stamps -----------------------------------------------------------------------------------------------------------


def fields(at: int, start: datetime = MORNING) -> dict[str, int]:
    """Date and clock `at` nanoseconds after the start."""
    whole, rest = divmod(at, S)
    moment = start + timedelta(seconds=whole)
    return {
        "Y": moment.year,
        "y": moment.year % 100,
        "M": moment.month,
        "D": moment.day,
        "h": moment.hour,
        "h12": moment.hour % 12 or 12,
        "m": moment.minute,
        "s": moment.second,
        "ms": rest // 10**6,
        "us": rest // 10**3,
        "ns": rest,
        "half": moment.hour >= 12,
    }


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DATES = {
    "iso": "{Y:04d}-{M:02d}-{D:02d}",
    "slashed year first": "{Y:04d}/{M:02d}/{D:02d}",
    "dotted": "{D:02d}.{M:02d}.{Y:04d}",
    "day first": "{D:02d}/{M:02d}/{Y:04d}",
    "month first": "{M:02d}/{D:02d}/{Y:04d}",
    "day first, no zeros": "{D}/{M}/{Y}",
    "dashed day first": "{D:02d}-{M:02d}-{Y:04d}",
    "month by name": "{D:02d}-{Mon}-{Y:04d}",
}
FRACTIONS = {0: "", 3: ".{ms:03d}", 6: ".{us:06d}", 9: ".{ns:09d}"}
STEPS_NS = {0: (S, 2 * S), 3: (10**6, 20 * 10**6, 500 * 10**6), 6: (125 * 10**3, 10**6), 9: (12_345, 10**6)}


def told(pattern: str, at: int, start: datetime = MORNING) -> str:
    parts = fields(at, start)
    return pattern.format(
        Mon=MONTHS[parts["M"] - 1],
        half_upper="PM" if parts["half"] else "AM",
        half_lower="pm" if parts["half"] else "am",
        half_dots="p.m." if parts["half"] else "a.m.",
        **parts,
    )


def exact(times: Sequence[int]) -> tuple[Fraction, ...]:
    return tuple(Fraction(at - times[0], S) for at in times)


def even(random: Random, n: int, digits: int) -> list[int]:
    step = random.choice(STEPS_NS[digits])
    return [k * step for k in range(n)]


def stamps(
    pattern: str,
    *,
    digits: tuple[int, ...] = (0, 3, 6),
    names: tuple[str, ...] = ("Time", "Date Time", "Zeitstempel"),
    start: datetime = MORNING,
) -> Make:
    """One cell of date and clock."""

    def make(random: Random, n: int) -> Clock:
        chosen = random.choice(digits)
        times = even(random, n, chosen)
        cells = [told(pattern.replace("#", FRACTIONS[chosen]), at, start) for at in times]
        dated = start.isoformat() if "{Y" in pattern else ""
        return Clock((column(random.choice(names), cells),), exact(times), start=dated)

    return make


CLOCK24 = "{h:02d}:{m:02d}:{s:02d}#"
for _name, _date in DATES.items():
    CLOCKS[f"stamp, {_name}"] = stamps(f"{_date} {CLOCK24}")
CLOCKS["stamp, iso with T"] = stamps(f"{DATES['iso']}T{CLOCK24}", digits=(0, 3, 6, 9))
CLOCKS["stamp, iso with Z"] = stamps(f"{DATES['iso']}T{CLOCK24}Z", digits=(0, 3, 6, 9))
CLOCKS["stamp, iso with offset"] = stamps(f"{DATES['iso']}T{CLOCK24}+02:00")
CLOCKS["stamp, zone in the name"] = stamps(
    f"{DATES['slashed year first']} {CLOCK24}", names=("Time (GMT+01:00)", "Date Time, GMT+02:00")
)
CLOCKS["stamp, abbreviated zone"] = stamps(f"{DATES['iso']} {CLOCK24} MESZ", digits=(0, 3))
CLOCKS["stamp, twelve hours"] = stamps(
    DATES["month first"] + " {h12:02d}:{m:02d}:{s:02d}# {half_upper}",
    digits=(0, 3),
    start=datetime(2026, 3, 21, 11, 59, 55),
)
CLOCKS["stamp, twelve hours lower case"] = stamps(
    DATES["dashed day first"] + " {h12}:{m:02d}:{s:02d} {half_lower}",
    digits=(0,),
    start=datetime(2026, 3, 21, 23, 59, 50),
)
CLOCKS["stamp, twelve hours dotted"] = stamps(
    DATES["iso"] + " {h12:02d}:{m:02d}:{s:02d} {half_dots}", digits=(0,), start=datetime(2026, 3, 21, 12, 59, 55)
)
CLOCKS["stamp, over midnight"] = stamps(f"{DATES['dotted']} {CLOCK24}", start=datetime(2026, 3, 31, 23, 59, 59))


def late_day(pattern: str) -> Make:
    """Day and month look alike until midnight makes the thirteenth of it."""
    return stamps(f"{pattern} {CLOCK24}", digits=(0,), start=datetime(2026, 11, 12, 23, 59, 54))


CLOCKS["stamp, day told by a late row"] = late_day(DATES["day first"])
CLOCKS["stamp, month told by a late row"] = late_day(DATES["month first"])


@clock("stamp, day and month the same")
def same_day(random: Random, n: int) -> Clock:
    return stamps(f"{DATES['day first']} {CLOCK24}", start=datetime(2026, 5, 5, 9, 0, 0))(random, n)


@clock("stamp, day or month over midnight")
def ambiguous(random: Random, n: int) -> Clock:
    """Read one way a second passes at midnight, the other way a month less a day: only one of them is even, but both may be."""
    made = stamps(f"{DATES['day first']} {CLOCK24}", digits=(0,), start=datetime(2026, 4, 3, 23, 59, 54))(random, n)
    return replace(
        made, refusals=(AMBIGUOUS,), allowed="day|month|format", settle={"column": "@", "format": "%d/%m/%Y %H:%M:%S"}
    )


@clock("stamp, day or month within one day")
def ambiguous_day(random: Random, n: int) -> Clock:
    """The seconds are the same either way; the date is not known, which must be said or refused."""
    made = stamps(f"{DATES['month first']} {CLOCK24}", digits=(0,), start=datetime(2026, 4, 3, 9, 0, 0))(random, n)
    return replace(
        made,
        start="",
        refusals=(AMBIGUOUS,),
        must=(Must("day|month|format"),),
        allowed="day|month|format",
        settle={"column": "@", "format": "%m/%d/%Y %H:%M:%S"},
    )


def daily(pattern: str, start: datetime, digits: tuple[int, ...] = (0, 3)) -> Make:
    return stamps(pattern, digits=digits, names=("Time", "Clock", "Uhrzeit"), start=start)


CLOCKS["clock only"] = daily(CLOCK24, MORNING)
CLOCKS["clock only, over midnight"] = daily(CLOCK24, datetime(2026, 3, 21, 23, 59, 58))
CLOCKS["clock only, twelve hours over noon"] = daily(
    "{h12}:{m:02d}:{s:02d}# {half_upper}", datetime(2026, 3, 21, 11, 59, 58)
)
CLOCKS["clock only, twelve hours over midnight"] = daily(
    "{h12:02d}:{m:02d}:{s:02d} {half_lower}", datetime(2026, 3, 21, 23, 59, 55), (0,)
)


def twenty_four(pattern: str, next_day: bool) -> Make:
    """24:00:00 for the end of a day; the next row is the first second of the next."""

    def make(random: Random, n: int) -> Clock:
        row = random.randint(2, n - 2)
        start = datetime(2026, 3, 22) - timedelta(seconds=row)
        times = [k * S for k in range(n)]
        cells = [told(pattern, at, start) for at in times]
        cells[row] = told(pattern, times[row] - S, start).replace("23:59:59", "24:00:00")
        return Clock((column("Time", cells),), exact(times))

    return make


CLOCKS["stamp, 24:00:00"] = twenty_four(f"{DATES['dotted']} {CLOCK24}".replace("#", ""), True)
CLOCKS["clock only, 24:00:00"] = twenty_four(CLOCK24.replace("#", ""), False)


def parts(columns: Sequence[tuple[str, str, str]], start: datetime = MORNING, step: int = 20 * 10**6) -> Make:
    """Several cells: (header, unit cell, pattern) each."""

    def make(random: Random, n: int) -> Clock:
        times = [k * step for k in range(n)]
        made = tuple(
            column(head, [told(pattern, at, start) for at in times], unit=unit) for head, unit, pattern in columns
        )
        dated = start.isoformat() if any("{Y" in pattern for _, _, pattern in columns) else ""
        return Clock(made, exact(times), start=dated)

    return make


PLAIN24 = "{h:02d}:{m:02d}:{s:02d}"
CLOCKS["date and clock"] = parts([("Date", "", DATES["dotted"]), ("Time", "", PLAIN24 + ".{ms:03d}")])
CLOCKS["iso date and clock over midnight"] = parts(
    [("Date", "", DATES["iso"]), ("Time", "", PLAIN24 + ".{ms:03d}")], datetime(2026, 3, 21, 23, 59, 59)
)
CLOCKS["date, clock and milliseconds"] = parts([("Date", "", DATES["iso"]), ("Time", "", PLAIN24), ("ms", "", "{ms}")])
CLOCKS["date, clock and microseconds"] = parts(
    [("Datum", "", DATES["dotted"]), ("Uhrzeit", "", PLAIN24), ("us", "", "{us}")], step=125 * 10**3
)
CLOCKS["clock and milliseconds"] = parts([("Time", "", PLAIN24), ("ms", "", "{ms:03d}")], step=50 * 10**6)
CLOCKS["date, clock and AM or PM"] = parts(
    [("Date", "", DATES["month first"]), ("Time", "", "{h12:02d}:{m:02d}:{s:02d}"), ("AM/PM", "", "{half_upper}")],
    datetime(2026, 3, 21, 11, 59, 57),
    S,
)
CLOCKS["six columns"] = parts(
    [
        ("Year", "", "{Y}"),
        ("Month", "", "{M}"),
        ("Day", "", "{D}"),
        ("Hour", "", "{h}"),
        ("Minute", "", "{m}"),
        ("Second", "", "{s}"),
    ],
    step=S,
)
CLOCKS["six columns, decimals"] = parts(
    [
        ("Y", "", "{Y}"),
        ("M", "", "{M:02d}"),
        ("D", "", "{D:02d}"),
        ("h", "", "{h:02d}"),
        ("m", "", "{m:02d}"),
        ("s", "", "{s:02d}.{ms:03d}"),
    ],
    datetime(2026, 3, 21, 10, 59, 59),
)


@clock("milliseconds as four digits")
def four_digits(random: Random, n: int) -> Clock:
    """`.0250` for 250 ms: the field never exceeds 0999, and only as a count do the rows stand evenly over the second."""
    step = random.choice([50, 100]) * 10**6
    # Two seconds at least must pass, else nothing shows that the fraction wraps at a thousand.
    times = [k * step for k in range(max(n, 45))][:n]
    cells = [told(DATES["iso"] + " " + PLAIN24 + ".{ms:04d}", at) for at in times]
    return Clock(
        (column("Time", cells),), exact(times), must=(Must("count|fraction|millisecond"),), allowed="count|fraction"
    )


@clock("milliseconds without zeros in front")
def bare_counts(random: Random, n: int) -> Clock:
    """`.5`, `.55`, `.105` for 5, 55 and 105 ms: as fractions the clock would run back."""
    times = [k * 50 * 10**6 + 5 * 10**6 for k in range(n)]
    cells = [told(DATES["iso"] + " " + PLAIN24 + ".{ms}", at) for at in times]
    return Clock(
        (column("Time", cells),), exact(times), must=(Must("count|fraction|millisecond"),), allowed="count|fraction"
    )


@clock("format that changes on the way")
def changing(random: Random, n: int) -> Clock:
    first, second = sorted(random.sample(range(3, n - 2), 2))
    start = datetime(2026, 3, 21, 12, 59, 50)
    patterns = ["{h12}:{m:02d}:{s:02d} {half_lower}", "{h12:02d}:{m:02d}:{s:02d} {half_upper}", PLAIN24]
    cells = []
    for k in range(n):
        pattern = patterns[(k >= first) + (k >= second)]
        cells.append(told(f"{DATES['day first']} {pattern}", k * S, start))
    return Clock(
        (column("Time", cells),),
        tuple(Fraction(k) for k in range(n)),
        must=(Must("format", second),),
        allowed="format",
    )


def coarse(seconds: int, each: int, pattern: str) -> Make:
    """Stamps that change every so many rows: equal ones stay equal unless spreading is asked for."""

    def make(random: Random, n: int) -> Clock:
        times = [k // each * seconds * S for k in range(n)]
        cells = [told(pattern, at, datetime(2026, 3, 21, 10, 15)) for at in times]
        return Clock(
            (column("Time", cells),),
            exact(times),
            must=(Must("spread"),),
            allowed="repeat|coarse|spread|equal|stamp|gap",
        )

    return make


CLOCKS["stamps of a whole second, ten rows each"] = coarse(1, 10, f"{DATES['iso']} {PLAIN24}")
CLOCKS["stamps of a minute, six rows each"] = coarse(60, 6, DATES["iso"] + " {h:02d}:{m:02d}")


@clock("clock set back in autumn")
def autumn(random: Random, n: int) -> Clock:
    """Clocks went from 03:00 to 02:00 in Berlin on 25 October 2026: without a zone the file runs back by 3600 s."""
    row = random.randint(3, n - 3)
    start = datetime(2026, 10, 25, 3) - timedelta(seconds=row)
    times = [k * S - (3600 * S if k >= row else 0) for k in range(n)]
    cells = [told(f"{DATES['iso']} {PLAIN24}", at, start) for at in times]
    return Clock(
        (column("Time", cells),),
        exact(times),
        must=(Must("back", row),),
        allowed="back|zone|gap",
        refusals=(Refusal("time", "zone"),),
    )


@clock("clock set forward in spring")
def spring(random: Random, n: int) -> Clock:
    """Clocks went from 02:00 to 03:00 in Berlin on 29 March 2026; without a zone that is a gap of an hour."""
    row = random.randint(5, n - 3)
    start = datetime(2026, 3, 29, 2) - timedelta(seconds=row)
    times = [k * S + (3600 * S if k >= row else 0) for k in range(n)]
    cells = [told(f"{DATES['iso']} {PLAIN24}", at, start) for at in times]
    return Clock((column("Time", cells),), exact(times), must=(Must("gap", row),), allowed="gap|zone")


@clock("hung logger")
def hung(random: Random, n: int) -> Clock:
    """One stamp stays for half the file."""
    row, length = random.randint(4, 6), n // 3
    times = [k * S if k < row else row * S if k < row + length else (k - length + 1) * S for k in range(n)]
    cells = [told(f"{DATES['iso']} {PLAIN24}", at) for at in times]
    return Clock(
        (column("Time", cells),),
        exact(times),
        must=(Must("repeat|equal|hung|stands|stood", row + 1),),
        allowed="repeat|equal|hung|stand|stood|spread|coarse|gap",
    )


@clock("two clocks that disagree")
def two_clocks(random: Random, n: int) -> Clock:
    """The second runs 37 s late and without fractions: the chosen one must be named."""
    times = [k * 500 * 10**6 for k in range(n)]
    cells = [f"{k * 0.5:.1f}" for k in range(n)]
    late = [told(f"{DATES['iso']} {PLAIN24}", at + 37 * S) for at in times]
    columns = (column("t [s]", cells, unit="s"), column("Received", late))
    return Clock(columns, exact(times), must=(Must("several-clocks|Received"),), allowed="several-clocks")


@clock("no time at all")
def no_time(random: Random, n: int) -> Clock:
    return Clock(
        (),
        tuple(Fraction(k, 1000) for k in range(n)),
        slack=1e-15 * n,
        refusals=(Refusal("time", "time"),),
        may_read=False,
        settle={"rate_hz": 1000.0},
        rows_matter=False,
    )


@clock("unit of time that the second clock denies")
def wrong_unit(random: Random, n: int) -> Clock:
    """The name says seconds, the wall clock says milliseconds: two readings that differ."""
    made = with_wall_clock("ms", "1000", S)(random, n)
    first = replace(made.columns[0], header="Time [s]", unit_cell="s")
    return replace(
        made,
        columns=(first, made.columns[1]),
        refusals=(Refusal("time", "unit|clock|ms"),),
        may_read=False,
        must=(),
        settle={"column": "Time [s]", "unit": "ms"},
    )
