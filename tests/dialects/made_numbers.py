"""Numbers as loggers print them, and the ways in which they are missing. The printed text is the expected value."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

Print = Callable[[Random], str]


def fixed(decimals: int, low: float = -40.0, high: float = 260.0) -> Print:
    return lambda random: f"{random.uniform(low, high):.{decimals}f}"


def exponent(digits: int, *, plus: str = "+", mantissa: int = 4) -> Print:
    """`1.2345E+03` with one, two or three digits in the exponent; a plus sign there, everywhere or nowhere."""

    def text(random: Random) -> str:
        power = random.randint(-9 if digits == 1 else -12, 9)
        sign = "-" if power < 0 else plus
        front = f"{random.uniform(-9.99, 9.99):.{mantissa}f}"
        return f"{front}{random.choice('eE')}{sign}{abs(power):0{digits}d}"

    return text


def engineering(random: Random) -> str:
    power = random.choice([-6, -3, 0, 3])
    return f"{random.uniform(1, 999):+.3f}E{power:+03d}"


def shortest(random: Random) -> str:
    """As few decimals as are needed, so whole numbers stand among the others and no point is lost."""
    return f"{round(random.uniform(10, 30), random.choice([0, 1, 2])):g}"


def many_digits(random: Random) -> str:
    return f"{random.uniform(-1, 1) * 10.0 ** random.randint(-9, 9):.17g}"


STYLES: dict[str, Print] = {
    "one decimal": fixed(1),
    "two decimals": fixed(2),
    "five decimals": fixed(5),
    "nine decimals": fixed(9),
    "whole": lambda random: str(random.randint(-2000, 9000)),
    "nineteen digits": lambda random: str(random.randint(10**18, 9 * 10**18)),
    "seventeen digits": many_digits,
    "shortest": shortest,
    "exponent of one digit": exponent(1, plus=""),
    "exponent of two digits": exponent(2),
    "exponent of three digits": exponent(3),
    "plus signs": lambda random: f"{random.uniform(-20, 20):+.3e}",
    "engineering": engineering,
    "zeros in front": lambda random: f"{random.uniform(-99, 99):010.4f}",
    "zeros behind the sign": lambda random: f"{random.choice(['-', '+', ''])}00.{random.randint(0, 9999):04d}",
    "no zero before the mark": lambda random: f"{random.choice(['-', ''])}.{random.randint(10, 9999):04d}",
    "nothing behind the mark": lambda random: f"{random.randint(1, 400)}.",
    "tiny": fixed(12, -1e-6, 1e-6),
}

MISSING: tuple[tuple[str, ...], ...] = (
    ("",),
    (" ",),
    ("NA",),
    ("N/A",),
    ("NaN",),
    ("nan",),
    ("None",),
    ("null",),
    ("<no data>",),
    ("***",),
    ("---",),
    ("X",),
    ("", "NaN"),
    ("NA", "---"),
)

SENTINELS = ("-99.9", "-999.9", "-9999", "9999", "32767", "-32768", "65535", "-2147483648", "2147483647")

GLUED = (("C", ""), ("degC", ""), ("bar", " "), ("V", ""), ("mm", " "), ("%", ""))
"""Units that stand behind every number, and what parts them from it."""


def numbers(random: Random, style: str, rows: int) -> list[str]:
    """Column of one style with a point as the decimal mark; never the same value throughout."""
    return [STYLES[style](random) for _ in range(rows)]


def value(text: str) -> float:
    """The double nearest to the text as printed (Python's own conversion is exact)."""
    return float(text)
