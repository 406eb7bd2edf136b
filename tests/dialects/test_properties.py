"""Whatever the dialect, a table comes back as it was written, and what changes nothing in a file changes no number."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolbench.logs import Log, read_log
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn

MANY = settings(
    max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

# Else -9999 among small numbers would be taken for "no value", with a finding that says so.
EVERY_NUMBER_COUNTS = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(missing=()))

DOUBLES = st.floats(allow_nan=False, allow_infinity=False, allow_subnormal=False, min_value=-1e300, max_value=1e300)
WHOLE = st.integers(min_value=-(10**19) + 1, max_value=10**19 - 1)
"""Whole numbers of up to nineteen digits."""

EVERY_NUMBER_COUNTS = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(missing=()))
"""No number means "no value": those that loggers use for it are among the drawn ones sooner or later."""


@dataclass(frozen=True)
class Style:
    """How a table is written; a comma is never both the delimiter and the mark, unless every cell is quoted."""

    delimiter: str = ","
    decimal: str = "."
    quoted: bool = False
    trailing: bool = False
    end: str = "\n"
    encoding: str = "utf-8"
    above: tuple[str, ...] = ()
    below: str = ""


@st.composite
def styles(draw: st.DrawFn) -> Style:
    delimiter = draw(st.sampled_from([",", ";", "\t", "|"]))
    return Style(
        delimiter=delimiter,
        decimal="." if delimiter == "," else draw(st.sampled_from([".", ","])),
        quoted=draw(st.booleans()),
        trailing=draw(st.booleans()),
        end=draw(st.sampled_from(["\n", "\r\n"])),
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])),
        above=tuple(draw(st.lists(st.sampled_from(["Rig: rear", "Set: none", "[Data]", ""]), max_size=3))),
    )


def line(cells: list[str], style: Style) -> str:
    kept = [f'"{cell}"' for cell in cells] if style.quoted else cells
    return style.delimiter.join(kept) + (style.delimiter if style.trailing else "")


def written(rows: list[list[str]], style: Style, names: list[str]) -> bytes:
    table = [line([cell.replace(".", style.decimal) for cell in row], style) for row in rows]
    lines = [*style.above, line(names, style), *table]
    text = "".join(each + style.end for each in lines) + style.below
    return text.encode(style.encoding)


def read(content: bytes, tmp_path: Path) -> Log:
    path = tmp_path / "table.csv"
    path.write_bytes(content)
    return read_log(path, logger=EVERY_NUMBER_COUNTS, with_digest=False)


NAMES = ["t [s]", "Force [N]", "Strain", "Count"]


@st.composite
def tables(draw: st.DrawFn) -> list[list[str]]:
    """Rows as printed: seconds, a double of 17 digits, the shortest form of one, a whole number."""
    length = draw(st.integers(min_value=3, max_value=12))
    doubles = st.lists(DOUBLES, min_size=length, max_size=length)
    first, second = draw(doubles), draw(doubles)
    whole = draw(st.lists(WHOLE, min_size=length, max_size=length))
    return [[f"{k / 4}", f"{first[k]:.16e}", repr(second[k]), str(whole[k])] for k in range(length)]


def same_numbers(log: Log, rows: list[list[str]]) -> None:
    assert log.data.index.tolist() == [float(row[0]) for row in rows]
    for k, name in enumerate(log.data.columns, 1):
        printed = [row[k] for row in rows]
        got = log.data[name].tolist()
        # A whole number may come as it is or as the nearest double.
        assert [float(value) for value in got] == [float(text) for text in printed]
        assert all(str(value) == text for value, text in zip(got, printed, strict=True) if isinstance(value, int))


@MANY
@given(rows=tables(), style=styles())
def test_a_table_comes_back_as_written(rows, style, tmp_path):
    log = read(written(rows, style, NAMES), tmp_path)
    same_numbers(log, rows)
    assert dict(log.units) == {"Force": "N", "Strain": "", "Count": ""}


@MANY
@given(
    first=st.integers(min_value=10**18, max_value=2 * 10**18),
    steps=st.lists(st.integers(1, 1500), min_size=3, max_size=12),
)
def test_epochs_keep_their_last_nanosecond(first, steps, tmp_path):
    stamps = [first]
    for step in steps:
        stamps.append(stamps[-1] + step)
    text = "timestamp,F [N]\n" + "".join(f"{stamp},{k}.5\n" for k, stamp in enumerate(stamps))
    log = read(text.encode(), tmp_path)
    # Exact: whole nanoseconds below 2^53, divided once.
    assert log.data.index.tolist() == [(stamp - first) / 10**9 for stamp in stamps]


@MANY
@given(rows=tables(), style=styles(), shift=st.integers(min_value=-400, max_value=4000))
def test_a_shift_of_the_time_moves_no_second(rows, style, shift, tmp_path):
    moved = [[f"{float(row[0]) + shift}", *row[1:]] for row in rows]
    plain, later = (read(written(table, style, NAMES), tmp_path) for table in (rows, moved))
    # Quarters of a second are exact in binary, so the difference is.
    assert later.data.index.tolist() == plain.data.index.tolist()
    assert later.data.equals(plain.data)


@MANY
@given(rows=tables(), style=styles(), order=st.permutations([1, 2, 3]))
def test_the_order_of_the_columns_does_not_matter(rows, style, order, tmp_path):
    turned = [[row[0], *(row[k] for k in order)] for row in rows]
    names = [NAMES[0], *(NAMES[k] for k in order)]
    plain, other = read(written(rows, style, NAMES), tmp_path), read(written(turned, style, names), tmp_path)
    assert list(other.data.columns) == [list(plain.data.columns)[k - 1] for k in order]
    assert other.data[list(plain.data.columns)].equals(plain.data)


@MANY
@given(rows=tables(), style=styles())
def test_quotes_do_not_matter(rows, style, tmp_path):
    bare, quoted = (read(written(rows, replace(style, quoted=on), NAMES), tmp_path) for on in (False, True))
    assert quoted.data.equals(bare.data)
    assert quoted.units == bare.units


@MANY
@given(
    rows=tables(),
    style=styles(),
    footer=st.sampled_from(["End of record", "*** stopped by hand ***", "Peak: see the sheet"]),
)
def test_a_line_behind_changes_no_value(rows, style, footer, tmp_path):
    plain = read(written(rows, style, NAMES), tmp_path)
    longer = read(written(rows, replace(style, below=footer + style.end), NAMES), tmp_path)
    assert longer.data.equals(plain.data)
    assert [f.code for f in longer.findings if f.code not in {g.code for g in plain.findings}] == ["footer"]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_last_line_end_does_not_matter(end, tmp_path):
    rows = [[f"{k / 4}", f"{k}.125", f"{k}.5", str(k)] for k in range(20)]
    content = written(rows, Style(end=end), NAMES)
    assert read(content, tmp_path).data.equals(read(content.removesuffix(end.encode()), tmp_path).data)
